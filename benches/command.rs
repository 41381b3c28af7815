//! Whole commands, as a person at a terminal waits for them: the process, reading the design, the work, the answer.
//!
//! Runs of dunlin that pass and that fail only at their end have the same length, so that their ratio is what a failure
//! costs.

#![allow(clippy::disallowed_methods, reason = "a bench reads files and clocks")]

use criterion::{BenchmarkId, Criterion, criterion_group, criterion_main};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Duration;
use tempfile::TempDir;

const CARILLON: &str = "designs/carillon/carillon.board";
const DUNLIN: &str = "designs/dunlin/dunlin.board";

/// The last byte that the program `sort` puts out, in its trial; and one that never comes.
const LAST: &str = "238, 243, 249\n";
const WRONG: &str = "238, 243, 250\n";

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// Runs the program; it must end with this code.
fn run(arguments: &[&str], code: i32) {
    let status = Command::new(env!("CARGO_BIN_EXE_coldboard"))
        .current_dir(root())
        .args(arguments)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status();
    assert_eq!(status.expect("it starts").code(), Some(code), "{arguments:?}");
}

/// Copies a folder with all that is in it.
fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to).expect("a folder");
    for entry in fs::read_dir(from).expect("a folder").flatten() {
        let target = to.join(entry.file_name());
        if entry.path().is_dir() {
            copy(&entry.path(), &target);
        } else {
            fs::copy(entry.path(), target).expect("copied");
        }
    }
}

/// Dunlin with a wrong expectation of the last byte that is sorted.
fn failing(folder: &Path) -> String {
    copy(&root().join("designs/dunlin"), folder);
    let trials = folder.join("trials.board");
    let text = fs::read_to_string(&trials).expect("the trials");
    assert_eq!(text.matches(LAST).count(), 1, "the trial has been changed");
    fs::write(trials, text.replace(LAST, WRONG)).expect("written");
    folder.join("dunlin.board").display().to_string()
}

fn commands(criterion: &mut Criterion) {
    let folder: TempDir = tempfile::tempdir().expect("a folder");
    let wrong = failing(&folder.path().join("dunlin"));
    let waves = folder.path().join("waves.vcd").display().to_string();
    let grid = ["--clock", "0.8MHz,1MHz", "--voltage", "4.75V,5V", "--corner", "all"];
    let sweep = [["sweep", CARILLON, "rings_the_other_tune"].as_slice(), &grid].concat();
    let rows: [(&str, &str, &[&str], i32); 10] = [
        ("run", "carillon", &["run", CARILLON], 0),
        ("run", "dunlin, passes", &["run", DUNLIN, "sort"], 0),
        ("run", "dunlin, fails", &["run", &wrong, "sort"], 1),
        ("run", "dunlin, short", &["run", DUNLIN, "selftest"], 0),
        (
            "run",
            "dunlin, short, all nets into a file",
            &["run", DUNLIN, "selftest", "--vcd", &waves, "--signals", "all"],
            0,
        ),
        ("sweep", "carillon, 12 points", &sweep, 0),
        ("check", "carillon", &["check", CARILLON], 0),
        ("check", "dunlin", &["check", DUNLIN], 0),
        ("timing", "dunlin", &["timing", DUNLIN], 0),
        ("rule", "nothing but the process", &["rule", "fan-out"], 0),
    ];
    for (command, name, arguments, code) in rows {
        let mut group = criterion.benchmark_group(command);
        group.sample_size(10);
        group.warm_up_time(Duration::from_millis(200));
        group.measurement_time(Duration::from_secs(1));
        group.bench_function(BenchmarkId::from_parameter(name), |bencher| {
            bencher.iter(|| run(arguments, code));
        });
        group.finish();
    }
}

criterion_group!(benches, commands);
criterion_main!(benches);
