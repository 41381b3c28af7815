//! The command at its edges: readers who go away, hostile texts.

use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use tempfile::TempDir;

/// A counter that passes, one that fails, and a board with errors.
const DESIGNS: [(&str, &str); 2] = [
    (
        "good.board",
        "board good {\n    rail VCC 5 V\n    rail GND\n    feed U1 from VCC GND\n    connector P header-1x4 { 1 VCC  2 GND  3 a  4 y }\n    \
         U1 74HC04 { 1A = a  1Y = y  [2..6]A = GND }\n    C1 capacitor 100 nF decouples U1\n}\n\
         trial holds on good {\n    set a = low\n    run for 1 us\n    expect y is high\n}\n",
    ),
    (
        // Nothing feeds U1, and an inverter does not give what it takes.
        "bad.board",
        "board bad {\n    rail VCC 5 V\n    rail GND\n    connector P header-1x4 { 1 VCC  2 GND  3 a  4 y }\n    \
         U1 74HC04 { 1A = a  1Y = y  [2..6]A = GND }\n    C1 capacitor 100 nF decouples U1\n}\n\
         trial fails on bad {\n    clock a 1 MHz\n    run for 1 us\n    expect y is high\n}\n",
    ),
];

fn folder() -> TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    for (name, text) in DESIGNS {
        fs::write(folder.path().join(name), text).expect("written");
    }
    folder
}

fn coldboard(folder: &Path, arguments: &str) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_coldboard"));
    command
        .current_dir(folder)
        .args(arguments.split_whitespace())
        .stdin(Stdio::null());
    command
}

/// The exit code with a reader who reads all, and with one who has gone before anything is written.
fn codes(folder: &Path, arguments: &str) -> (i32, i32, String) {
    let read = coldboard(folder, arguments).output().expect("it ran");
    let (reader, writer) = std::io::pipe().expect("a pipe");
    drop(reader);
    let unread = coldboard(folder, arguments)
        .stdout(writer)
        .output()
        .expect("it ran");
    let [a, b] = [&read, &unread].map(|output| output.status.code().expect("an exit code"));
    assert_eq!(
        read.stderr, unread.stderr,
        "{arguments}: a reader who goes away is no mistake"
    );
    (a, b, String::from_utf8_lossy(&read.stdout).into_owned())
}

#[test]
fn the_verdict_stays_when_the_reader_goes_away() {
    let folder = folder();
    let path = folder.path();
    let own = "part OWN \"wrong\" {\n    package DIP4 { 1 A in  2 Y out  3 GND ground  4 VCC power }\n    Y = A\n    \
               table { A | Y  0 | 1 }\n}\n";
    fs::write(path.join("own.part"), own).expect("written");
    fs::write(path.join("laid.board"), "board a{rail VCC 5 V\nrail GND}\n").expect("written");
    for (arguments, wanted) in [
        ("check good.board", 0),
        ("check bad.board", 1),
        ("check bad.board --json", 1),
        ("run good.board", 0),
        ("run bad.board", 1),
        ("run bad.board --json", 1),
        ("run bad.board --step", 1),
        ("power good.board holds", 0),
        ("power bad.board fails", 1),
        ("sweep good.board --corner all", 0),
        ("sweep bad.board --corner all --json", 1),
        ("swap good.board HC=HCT --estimated", 0),
        ("swap bad.board U1=74HC14", 1),
        ("timing good.board", 0),
        ("part --verify own.part", 1),
        ("part 574", 0),
        ("format --check good.board laid.board", 1),
        ("format good.board", 0),
        ("picture good.board", 0),
        ("library latch", 0),
        ("reference", 0),
        ("rule", 0),
        ("--help", 0),
        ("run --help", 0),
        ("--version", 0),
        ("dance", 2),
    ] {
        let (read, unread, out) = codes(path, arguments);
        assert_eq!((read, unread), (wanted, wanted), "{arguments}: {out}");
    }
    let journal = coldboard(path, "sweep bad.board --journal j.jsonl");
    assert_eq!({ journal }.output().expect("it ran").status.code(), Some(1));
    let (read, unread, _) = codes(path, "merge j.jsonl");
    assert_eq!((read, unread), (1, 1));
}
