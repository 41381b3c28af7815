//! The program as a process: it ends by itself, with 0, 1 or 2, and without a panic.

use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};
use std::{fs, thread};
use tempfile::TempDir;

/// Longer runs are ended; those that are not allowed to take so long are defects.
const LONGEST: Duration = Duration::from_secs(60);

/// What a process left.
pub(crate) struct Ended {
    /// None when it had to be ended, although it may take long.
    pub(crate) code: Option<i32>,
    pub(crate) out: String,
    pub(crate) err: String,
}

/// A folder with files.
pub(crate) fn folder(files: &[(&str, &str)]) -> TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    for (name, text) in files {
        fs::write(folder.path().join(name), text).expect("written");
    }
    folder
}

/// Runs the program, and panics when it panics, or is ended by a signal.
pub(crate) fn ask(folder: &Path, arguments: &[String], input: &[u8], slow: bool) -> Ended {
    // Files instead of pipes: nothing waits for a reader.
    let out = folder.join(".out");
    let err = folder.join(".err");
    let file = |path: &Path| Stdio::from(fs::File::create(path).expect("a file"));
    let mut child = Command::new(env!("CARGO_BIN_EXE_coldboard"))
        .current_dir(folder)
        .args(arguments)
        .env("NO_COLOR", "1")
        .stdin(Stdio::piped())
        .stdout(file(&out))
        .stderr(file(&err))
        .spawn()
        .expect("it starts");
    let mut pipe = child.stdin.take().expect("a pipe");
    // It need not read everything.
    let _ = pipe.write_all(input);
    drop(pipe);
    let begun = Instant::now();
    let mut pause = Duration::from_micros(500);
    let status = loop {
        if let Some(status) = child.try_wait().expect("its end") {
            break Some(status);
        }
        if begun.elapsed() > LONGEST {
            child.kill().expect("ended");
            child.wait().expect("ended");
            break None;
        }
        thread::sleep(pause);
        pause = (pause * 2).min(Duration::from_millis(20));
    };
    let text = |path: &Path| {
        let bytes = fs::read(path).expect("what it wrote");
        String::from_utf8(bytes).expect("text")
    };
    let (out, err) = (text(&out), text(&err));
    assert!(status.is_some() || slow, "{arguments:?} does not end");
    let ended = status.map(|status| status.code());
    let code = ended.map(|code| code.unwrap_or_else(|| panic!("{arguments:?}: a signal: {err}")));
    assert!(code.is_none_or(|code| (0..=2).contains(&code)), "{arguments:?}: {code:?}: {err}");
    let panicked = err.contains("panicked at") || err.contains("RUST_BACKTRACE");
    assert!(!panicked, "{arguments:?}: {err}");
    Ended { code, out, err }
}
