//! Long runs that somebody interrupts.
#![cfg(unix)]

use super::files::assert_waves;
use super::*;
use std::os::unix::process::ExitStatusExt;
use std::process::{Child, Output};
use std::time::{Duration, Instant};

/// The numbers of SIGINT and SIGTERM (POSIX.1-2017, kill).
const INT: i32 = 2;
const TERM: i32 = 15;

/// So long something is waited for that must come.
const PATIENCE: Duration = Duration::from_secs(120);

/// Waits until something is so.
#[track_caller]
fn wait(what: &str, mut so: impl FnMut() -> bool) {
    let begun = Instant::now();
    while !so() {
        assert!(begun.elapsed() < PATIENCE, "waited for {what}");
        std::thread::sleep(Duration::from_millis(5));
    }
}

/// A command that goes on in the background.
struct Running(Option<Child>);

impl Running {
    fn start(folder: &Path, arguments: &str) -> Running {
        let mut command = command(folder, arguments);
        let command = command.stdout(Stdio::piped()).stderr(Stdio::piped());
        Running(Some(command.spawn().expect("it runs")))
    }

    fn send(&self, signal: i32) {
        let child = self.0.as_ref().expect("it runs").id();
        let sent = Command::new("kill").args([format!("-{signal}"), child.to_string()]).status();
        assert!(sent.expect("kill").success());
    }

    fn end(mut self) -> Output {
        let child = self.0.take().expect("it runs");
        child.wait_with_output().expect("it ended")
    }
}

impl Drop for Running {
    /// A test that failed leaves nothing running.
    fn drop(&mut self) {
        if let Some(child) = &mut self.0 {
            let _ = child.kill();
            let _ = child.wait();
        }
    }
}

/// True when a waveform is in the making, and some of it is on the disk.
fn is_written(folder: &Path) -> bool {
    let entries = fs::read_dir(folder).expect("listed").flatten();
    entries
        .filter(|entry| entry.file_name().to_string_lossy().ends_with(".new"))
        .any(|entry| entry.metadata().is_ok_and(|found| found.len() > 100_000))
}

/// Starts a run that would take weeks, and interrupts it when some of its waveform is there.
fn interrupted(trial: &str, signal: i32) -> (TempDir, Answer) {
    let folder = folder(&[("endless", trial)]);
    let run = Running::start(folder.path(), "run long.board --json --vcd w.vcd --signals q0,q1,q2,q3,clk");
    wait("the waveform", || is_written(folder.path()));
    run.send(signal);
    let answer = answer(run.end());
    (folder, answer)
}

#[test]
fn a_run_that_is_interrupted_tells_what_came_until_then() {
    for signal in [INT, TERM] {
        let (folder, run) = interrupted("    run for 500 s\n    expect q = 1", signal);
        // 128 and the number of SIGINT, as shells have it; SIGTERM is the same here.
        assert_eq!(run.code, 130, "{}{}", run.out, run.err);
        let report = &reports(&run)[0];
        assert_eq!((&report["interrupted"], &report["passed"]), (&true.into(), &false.into()));
        assert_eq!(report["failures"], Value::Array(Vec::new()), "what was not reached did not fail");
        let clocks = report["clocks"].as_i64().expect("a number");
        // 100,000 bytes of waveform are more than 1,000 clocks of some ten lines of a dozen bytes.
        assert!(clocks > 500, "{clocks}");
        let end = ps(&report["end"]);
        // The clock that was counted last has risen, and the next one not.
        assert!((rise(clocks - 2)..rise(clocks - 1)).contains(&end), "{end}");
        let (values, last) = super::files::waves(&folder.path().join("w.vcd"));
        assert_eq!(last, end);
        let rises = values["clk"].iter().filter(|(_, value)| value == "1");
        assert_eq!(rises.count() as i64, clocks);
        let counted = clocks - 2;
        let late = end - rise(counted);
        // Whether what it counted last has come out yet hangs on the picosecond at which it was interrupted.
        let q0 = values["q0"].len() as i64;
        if late > PERIOD / 2 {
            assert_eq!(q0, 2 + counted);
        } else {
            assert!((1 + counted..=2 + counted).contains(&q0), "{q0} of {counted}");
        }
        assert_eq!(names(folder.path()), ["long.board", "w.vcd"]);
    }
}

#[test]
fn a_run_that_had_failed_by_then_has_failed() {
    // 4 clocks were counted.
    let (folder, run) = interrupted("    expect q = 5\n    run for 500 s\n    expect q = 1", INT);
    assert_eq!(run.code, 1, "{}{}", run.out, run.err);
    let report = &reports(&run)[0];
    assert_eq!(report["failures"].as_array().map(Vec::len), Some(1), "{}", run.out);
    assert_eq!(report["interrupted"], true);
    assert_eq!(names(folder.path()), ["long.board", "w.vcd"]);
}

#[test]
fn what_was_asked_for_later_than_the_interruption_is_no_mistake() {
    let folder = folder(&[("endless", "    run for 500 s")]);
    let run = Running::start(
        folder.path(),
        "run long.board --why q0@400s --diagram d.svg --from 400s --vcd w.vcd --signals q0,q1,q2,q3,clk",
    );
    wait("the waveform", || is_written(folder.path()));
    run.send(INT);
    let run = answer(run.end());
    assert_eq!(run.code, 130, "{}{}", run.out, run.err);
    assert!(run.out.contains("INTERRUPTED, nothing failed until then"), "{}", run.out);
    assert!(run.err.contains("--why asks for 400 s, but endless was interrupted at"), "{}", run.err);
    assert!(run.err.contains("no diagram: it would begin at 400 s"), "{}", run.err);
    assert_eq!(names(folder.path()), ["long.board", "w.vcd"]);
}

#[test]
fn a_second_signal_ends_it_at_once() {
    // A table of all clocks is longer than a pipe that nobody reads takes, 64 KB, pipe(7): the report gets stuck.
    let folder = folder(&[("endless", "    show each clock: q, r, held, carry, up\n    run for 500 s")]);
    let run = Running::start(folder.path(), "run long.board --json --vcd w.vcd --signals q0,q1,q2,q3,clk");
    wait("the waveform", || is_written(folder.path()));
    run.send(INT);
    let whole = folder.path().join("w.vcd");
    wait("the end of the run", || whole.exists());
    run.send(INT);
    let output = run.end();
    assert_eq!(output.status.signal(), Some(INT));
    assert_eq!(names(folder.path()), ["long.board", "w.vcd"]);
    super::files::waves(&whole);
}

#[test]
fn no_further_run_is_begun() {
    // Each of these is short: the signal comes in the middle of one, or between two.
    let folder = folder(&[("short", "    run for 1000 clocks\n    expect q = 12")]);
    let run =
        Running::start(folder.path(), "run long.board --corner random:1..10000 --vcd w.vcd --signals q0,q1,q2,q3,clk");
    let tenth = folder.path().join("w-short-random10.vcd");
    wait("the tenth run", || tenth.exists());
    run.send(INT);
    let run = answer(run.end());
    assert_eq!(run.code, 130, "{}{}", run.out, run.err);
    // 1,004 is 12 mod 16.
    let told = run.out.lines().last().expect("a last line");
    let (held, wanted) = told.split_once(" of ").expect("how many passed");
    assert_eq!(wanted, "10000 runs passed");
    let held: usize = held.parse().expect("a number");
    assert!((10..10_000).contains(&held), "{told}");
    let left = |begun| format!("interrupted: {} runs not begun", 10_000 - begun);
    let mut begun = [held, held + 1].into_iter();
    let begun = begun.find(|&begun| run.err.contains(&left(begun)));
    let begun = begun.unwrap_or_else(|| panic!("{held} held, {}", run.err));
    // The design, and a file of each run.
    assert_eq!(names(folder.path()).len(), begun + 1);
    assert_waves(&tenth, 1_004);
}

#[test]
fn figures_of_an_interrupted_trial_are_told_and_no_verdict() {
    let folder = folder(&[("endless", "    run for 500 s")]);
    // Nothing tells from outside how far it is. A signal that comes before the run ends the program, and another one is
    // tried later.
    let run = [100, 300, 1_000, 3_000, 10_000, 30_000].iter().find_map(|&ms| {
        let run = Running::start(folder.path(), "power long.board endless --json");
        std::thread::sleep(Duration::from_millis(ms));
        run.send(INT);
        let output = run.end();
        (output.status.signal() != Some(INT)).then(|| answer(output))
    });
    let run = run.expect("it attends to signals");
    assert_eq!(run.code, 130, "{}{}", run.out, run.err);
    let value: Value = serde_json::from_str(&run.out).expect("JSON");
    assert_eq!(value["run"]["interrupted"], true, "{}", run.out);
    assert!(ps(&value["run"]["time"]) > 0);
    assert!(run.err.contains("interrupted: the figures are those of the first"), "{}", run.err);
}

#[test]
fn an_interrupted_sweep_goes_on_to_the_same_bytes() {
    let trial = "    run for 10000 clocks\n    expect q = 4";
    let folder = folder(&[("long", trial)]);
    let path = folder.path();
    // 10,004 is 4 mod 16. 30 points.
    let grid = "sweep long.board --clock 2MHz..6MHz/5 --corner random:1..6 --json --cores 2";
    let whole = ask(path, &format!("{grid} --journal whole.jsonl"));
    assert_eq!(whole.code, 0, "{}{}", whole.out, whole.err);
    let run = Running::start(path, &format!("{grid} --journal cut.jsonl"));
    let journal = path.join("cut.jsonl");
    let lines = || fs::read_to_string(&journal).map_or(0, |text| text.lines().count());
    wait("two points", || lines() > 2);
    run.send(INT);
    let cut = answer(run.end());
    assert_eq!(cut.code, 130, "{}", cut.err);
    let done = lines() - 1;
    assert!((2..30).contains(&done), "{done}");
    let told = format!("interrupted after {done} of 30 points: --continue cut.jsonl goes on");
    assert!(cut.err.contains(&told), "{}", cut.err);
    let on = ask(path, &format!("{grid} --continue cut.jsonl"));
    assert_eq!((on.code, &on.out), (0, &whole.out), "{}", on.err);
    let [a, b] = ["whole.jsonl", "cut.jsonl"].map(|name| fs::read(path.join(name)).expect("a journal"));
    assert!(a == b, "the journals are the same");
    assert_eq!(names(path), ["cut.jsonl", "long.board", "whole.jsonl"]);
}
