//! Signals: SIGINT (control-C) and SIGTERM end the program as they always do, but first the temporary files of writes in
//! progress are removed. Who attends to them is told of the first one instead.

use super::files::unfinished;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};

/// How many attend.
static ATTENDING: AtomicUsize = AtomicUsize::new(0);

/// A signal came while somebody attended.
static INTERRUPTED: AtomicBool = AtomicBool::new(false);

/// Somebody who would rather be told than ended; see [`attend`].
#[derive(Debug)]
pub(crate) struct SignalGuard(());

/// Until what this returns is dropped, the first SIGINT or SIGTERM only sets a flag, so that a long run can tell what it
/// has come to; [`interrupted`] tells. A second one ends the program at once.
#[must_use = "it attends as long as it is kept"]
pub(crate) fn attend() -> SignalGuard {
    if ATTENDING.fetch_add(1, Ordering::SeqCst) == 0 {
        INTERRUPTED.store(false, Ordering::SeqCst);
        platform::attending(true);
    }
    SignalGuard(())
}

/// True once a signal came while somebody attended. Cheap: one load.
pub(crate) fn interrupted() -> bool {
    INTERRUPTED.load(Ordering::Relaxed)
}

impl Drop for SignalGuard {
    fn drop(&mut self) {
        if ATTENDING.fetch_sub(1, Ordering::SeqCst) == 1 {
            platform::attending(false);
        }
    }
}

/// Begins to watch for signals. When that is refused they end the program as if nobody watched, and the next write finds
/// the temporary files.
pub(crate) fn watch() {
    platform::watch();
}

#[cfg(unix)]
mod platform {
    use super::{ATTENDING, INTERRUPTED, Ordering, unfinished};
    use signal_hook::consts::{SIGINT, SIGTERM};
    use signal_hook::flag::register_conditional_default;
    use signal_hook::iterator::Signals;
    use signal_hook::low_level::emulate_default_handler;
    use std::sync::atomic::AtomicBool;

    const SIGNALS: [i32; 2] = [SIGINT, SIGTERM];

    /// A thread takes the signals: a handler itself could neither lock nor remove a file.
    pub(super) fn watch() {
        let Ok(mut signals) = Signals::new(SIGNALS) else {
            return;
        };
        let take = move || {
            for signal in signals.forever() {
                let attended = ATTENDING.load(Ordering::SeqCst) > 0;
                if attended && !INTERRUPTED.swap(true, Ordering::SeqCst) {
                    continue;
                }
                // Nothing is begun or put in its place any more from here on.
                let _no_more = unfinished::remove_all();
                let _ = emulate_default_handler(signal);
            }
        };
        let name = std::thread::Builder::new().name("signals".to_owned());
        if name.spawn(take).is_err() {
            // The handler is there and nobody takes what it hands on: let it end the program itself.
            static ALWAYS: AtomicBool = AtomicBool::new(true);
            for signal in SIGNALS {
                let _ = register_conditional_default(signal, &ALWAYS);
            }
        }
    }

    /// The thread looks at how many attend.
    pub(super) fn attending(_: bool) {}
}

#[cfg(not(unix))]
mod platform {
    use super::INTERRUPTED;
    use signal_hook::consts::{SIGINT, SIGTERM};
    use signal_hook::flag::{register, register_conditional_default};
    use std::sync::atomic::{AtomicBool, Ordering};

    /// The next signal ends the program.
    static ENDS: AtomicBool = AtomicBool::new(true);

    pub(super) fn watch() {
        for signal in [SIGINT, SIGTERM] {
            // In this order: the first signal sets what lets the second one end the program.
            let _ = register_conditional_default(signal, &ENDS);
            let _ = register(signal, &ENDS);
            let _ = register(signal, &INTERRUPTED);
        }
    }

    pub(super) fn attending(on: bool) {
        ENDS.store(!on, Ordering::SeqCst);
    }
}

#[cfg(all(test, unix))]
mod tests {
    use super::*;
    use crate::cli::files::Stream;
    use signal_hook::consts::{SIGINT, SIGTERM};
    use signal_hook::low_level::raise;
    use std::io::Write;
    use std::os::unix::process::ExitStatusExt;
    use std::path::Path;
    use std::process::Command;
    use std::time::Duration;

    /// The variable by which this test starts itself anew: signals are the business of a whole process.
    const PLAY: &str = "COLDBOARD_TEST_SIGNALS";

    /// A process that begins a file, meets some signals, and would end well in the end.
    fn play(script: &str, folder: &Path) {
        watch();
        let mut stream = Stream::create(&folder.join("a.txt")).expect("begun");
        stream.write_all(b"half").expect("written");
        stream.flush().expect("written");
        let begun = std::fs::read_dir(folder).expect("listed").count();
        assert_eq!(begun, 1, "the file is in the making");
        let attention = script.contains("attend").then(attend);
        for word in script.split(' ') {
            match word {
                "int" => raise(SIGINT).expect("raised"),
                "term" => raise(SIGTERM).expect("raised"),
                "told" => {
                    // The thread takes a moment; without the signal this never ends, and the test with it.
                    assert!(attention.is_some(), "attended");
                    while !interrupted() {
                        std::thread::sleep(Duration::from_millis(1));
                    }
                }
                _ => {}
            }
        }
        if script.ends_with("int") || script.ends_with("term") {
            std::thread::sleep(Duration::from_secs(60));
        }
        drop(stream);
    }

    #[test]
    fn a_signal_ends_the_program_unless_somebody_attends() {
        if let Ok(script) = std::env::var(PLAY) {
            let (script, folder) = script.split_once(':').expect("a script and a folder");
            return play(script, Path::new(folder));
        }
        for (script, ends_by) in [
            ("int", Some(SIGINT)),
            ("term", Some(SIGTERM)),
            ("attend int told", None),
            ("attend term told", None),
            ("attend int told int", Some(SIGINT)),
            ("attend int told term", Some(SIGTERM)),
            ("attend", None),
        ] {
            let folder = tempfile::tempdir().expect("a folder");
            let name = "cli::signals::tests::a_signal_ends_the_program_unless_somebody_attends";
            let output = Command::new(std::env::current_exe().expect("this program"))
                .args([name, "--exact", "--nocapture", "--test-threads=1"])
                .env(PLAY, format!("{script}:{}", folder.path().display()))
                .output()
                .expect("it ran");
            let told = String::from_utf8_lossy(&output.stdout);
            assert_eq!(output.status.signal(), ends_by, "{script}: {told}");
            assert_eq!(output.status.success(), ends_by.is_none(), "{script}: {told}");
            let left = std::fs::read_dir(folder.path()).expect("listed").count();
            assert_eq!(left, 0, "{script}: nothing half-written is left");
        }
    }
}
