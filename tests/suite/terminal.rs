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

/// The command in a folder, with nothing to read.
pub(crate) fn coldboard(folder: &Path, arguments: &str) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_coldboard"));
    command.current_dir(folder).args(arguments.split_whitespace()).stdin(Stdio::null());
    command
}

/// The exit code with a reader who reads all, and with one who has gone before anything is written.
fn codes(folder: &Path, arguments: &str) -> (i32, i32, String) {
    let read = coldboard(folder, arguments).output().expect("it ran");
    let (reader, writer) = std::io::pipe().expect("a pipe");
    drop(reader);
    let unread = coldboard(folder, arguments).stdout(writer).output().expect("it ran");
    let [a, b] = [&read, &unread].map(|output| output.status.code().expect("an exit code"));
    assert_eq!(read.stderr, unread.stderr, "{arguments}: a reader who goes away is no mistake");
    (a, b, String::from_utf8_lossy(&read.stdout).into_owned())
}

#[test]
fn the_verdict_stays_when_the_reader_goes_away() {
    let folder = folder();
    let path = folder.path();
    let own = "part OWN \"wrong\" {\n    package DIP4 { 1 A in  2 Y out  3 GND ground  4 VCC power }\n    Y = A\n    \
               table {\n        A | Y\n        0 | 1\n        1 | 1\n    }\n}\n";
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
        ("refit good.board HC=HCT --estimated", 0),
        ("refit bad.board U1=74HC14", 1),
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

/// What a terminal would act on: clearing the screen, a title, colours by both kinds of escape, a bell, going back, and
/// what turns the direction of a line. The colour is none of ours.
const HOSTILE: &str = "x\u{1b}[2J\u{1b}]0;t\u{7}\u{1b}[7m\u{9b}31m\u{8}\r\u{b}\u{7f}\u{85}\u{61c}\u{200b}\u{200e}\u{200f}\
                       \u{2028}\u{2029}\u{202a}\u{202e}\u{2066}\u{2069}y";

/// The characters of the C0 and C1 sets (ECMA-48) but tab and line feed, and those that Unicode Standard Annex 9 and the
/// Unicode Character Database (Bidi_Control, Zl, Zp) call controls of direction and of lines.
fn is_raw(c: char) -> bool {
    let n = u32::from(c);
    (n < 0x20 && c != '\t' && c != '\n')
        || (0x7f..0xa0).contains(&n)
        || (0x2028..=0x202e).contains(&n)
        || (0x2066..=0x2069).contains(&n)
        || [0x61c, 0x200b, 0x200e, 0x200f].contains(&n)
}

/// The text without the colours that the program itself uses: bold, dim, the four of the diagnostics and those of the help.
fn without_our_colours(text: &str) -> String {
    let mut text = text.to_owned();
    for code in ["0", "1", "2", "4", "31", "32", "33", "35", "36"] {
        text = text.replace(&format!("\u{1b}[{code}m"), "");
    }
    text
}

/// Runs a command with and without colours, and looks at all that it says. Returns both streams, without colours.
#[track_caller]
fn harmless(folder: &Path, arguments: &[&str], input: &str) -> [String; 2] {
    let mut said = Vec::new();
    for colour in ["never", "always"] {
        let mut command = coldboard(folder, "");
        let output = assert_cmd::Command::from_std({
            command.stdin(Stdio::piped()).args(arguments);
            command.args(["--colour", colour]);
            command
        })
        .write_stdin(input)
        .output()
        .expect("it ran");
        let code = output.status.code();
        assert!(code.is_some_and(|code| code < 3), "{arguments:?}: {code:?}");
        for bytes in [output.stdout, output.stderr] {
            let mut text = String::from_utf8(bytes).expect("text");
            if colour == "always" {
                text = without_our_colours(&text);
            }
            let raw = text.chars().find(|&c| is_raw(c));
            assert_eq!(raw, None, "{arguments:?} {colour}: {text:?}");
            said.push(text);
        }
    }
    said.truncate(2);
    said.try_into().expect("two streams")
}

/// Every kind of item, with `@` in each text.
const ITEMS: &str = r#"
names step "@" { GO = 1 }
instructions TINY "@" { step ADD = 1 "@" }
part OWN "@" {
    note "@"
    package DIP4 { 1 A in  2 Y out  3 GND ground  4 VCC power }
    forbid A = 0 "@"
    Y = A
    family HC { source "@"  note "@" }
}
family HC2 "@" { source "@" }
board desk "@" {
    note "@"
    rail VCC 5 V
    rail GND
    feed U1 from VCC GND
    connector P header-1x4 "@" { 1 VCC "@"  2 GND  3 a  4 y }
    U1 74HC04 "@" { 1A = a  1Y = y  [2..6]A = GND }
    accept missing-decoupling on U1 "@"
    unused-path U1.1A to U1.1Y "@"
    synchroniser U1 to U1 "@"
}
assembly all "@" {
    note "@"
    D desk "@"
    cable c "@" { D.P }
}
trial walks on desk "@" {
    note "@"
    load U1 "@"
    run for 1 us
}
use "@"
# @
"#;

#[test]
fn what_stands_in_a_design_is_harmless_in_every_place() {
    let folder = folder();
    let path = folder.path();
    let places = ITEMS.matches('@').count();
    for place in 0..places {
        let mut pieces = ITEMS.split('@').enumerate();
        let first = pieces.next().map_or("", |(_, piece)| piece);
        let text = pieces
            .fold(first.to_owned(), |text, (at, piece)| text + if at - 1 == place { HOSTILE } else { "plain" } + piece);
        fs::write(path.join("h.board"), text).expect("written");
        let command = ["check", "run", "format"][place % 3];
        let [_, err] = harmless(path, &[command, "h.board"], "");
        assert!(err.contains("U+001B cannot stand in a text"), "{place}: {err}");
    }
    fs::write(path.join("h.board"), ITEMS.replace('@', HOSTILE)).expect("written");
    fs::create_dir(path.join("own")).expect("a folder");
    fs::write(path.join("own/h.part"), ITEMS.replace('@', HOSTILE)).expect("written");
    for arguments in [
        "check h.board",
        "check h.board --json",
        "run h.board",
        "sweep h.board",
        "refit h.board HC=AC",
        "timing h.board",
        "power h.board",
        "picture h.board",
        "image h.board",
        "format h.board",
        "format --check h.board",
        "part --verify h.board",
        "part --verify h.board --json",
        "part OWN --library own",
        "library own --library own",
        "check good.board --library own",
    ] {
        let words: Vec<&str> = arguments.split(' ').collect();
        harmless(path, &words, "");
    }
    // Names are made of letters, digits and few marks, so that controls in them are mistakes of their own.
    for text in
        [format!("board {HOSTILE} {{ }}"), format!("board a {{ rail {HOSTILE} 5 V }}"), format!("{HOSTILE} a {{ }}")]
    {
        fs::write(path.join("n.board"), text).expect("written");
        harmless(path, &["check", "n.board"], "");
    }
}

/// A name of a file may hold anything but `/` and NUL (POSIX.1-2017, 3.170).
#[cfg(unix)]
#[test]
fn names_of_files_are_harmless() {
    let folder = folder();
    let path = folder.path();
    let inner = path.join(HOSTILE);
    fs::create_dir(&inner).expect("a folder");
    for (name, text) in DESIGNS {
        fs::write(inner.join(name), text).expect("written");
    }
    fs::write(inner.join("wrong.board"), "board a { rail VCC 5 Q }").expect("written");
    fs::write(inner.join("wrong.part"), "part OWN { }").expect("written");
    let file = |name: &str| format!("{HOSTILE}/{name}");
    for name in ["good.board", "bad.board", "wrong.board", "missing.board"] {
        let name = file(name);
        for command in ["check", "run", "sweep", "timing", "power", "picture", "rom", "format"] {
            harmless(path, &[command, &name], "");
        }
        harmless(path, &["format", "--check", &name], "");
        harmless(path, &["refit", &name, "HC=HCT"], "");
        harmless(path, &["part", "--verify", &name], "");
        let [json, _] = harmless(path, &["check", &name, "--json"], "");
        if !json.is_empty() {
            serde_json::from_str::<serde_json::Value>(&json).expect("JSON");
        }
    }
    let [_, err] = harmless(path, &["check", &file("missing.board")], "");
    assert!(err.contains("\\u{1b}[2J"), "{err}");
    let [json, _] = harmless(path, &["part", "--verify", &file("wrong.part"), "--json"], "");
    let found: serde_json::Value = serde_json::from_str(&json).expect("JSON");
    assert_eq!(found[0]["places"][0]["file"], file("wrong.part"), "the name is still itself");
    harmless(path, &["library", "latch", "--library", HOSTILE], "");
    harmless(path, &["check", "good.board", "--library", &file("none")], "");
    harmless(path, &["run", "good.board", "--vcd", &file("no/a.vcd")], "");
    harmless(path, &["merge", &file("none")], "");
}

#[test]
fn arguments_and_answers_of_a_person_are_harmless() {
    let folder = folder();
    let path = folder.path();
    for arguments in [
        &[HOSTILE][..],
        &["check", "good.board", HOSTILE],
        &["check", "good.board", &format!("--{HOSTILE}")],
        &["run", "good.board", HOSTILE],
        &["run", "good.board", "--corner", HOSTILE],
        &["run", "good.board", "--temperature", HOSTILE],
        &["run", "good.board", "--power-up", HOSTILE],
        &["run", "good.board", "--why", HOSTILE],
        &["run", "good.board", "--diagram", "d.svg", "--from", HOSTILE],
        &["run", "good.board", "--vcd", "d.vcd", "--signals", HOSTILE],
        &["sweep", "good.board", "--clock", HOSTILE],
        &["sweep", "good.board", "--voltage", HOSTILE],
        &["sweep", "good.board", "--slice", HOSTILE],
        &["sweep", "good.board", "--cores", HOSTILE],
        &["sweep", "good.board", "--across", HOSTILE],
        &["refit", "good.board", HOSTILE],
        &["refit", "good.board", &format!("U1={HOSTILE}")],
        &["timing", "good.board", HOSTILE],
        &["timing", "good.board", "--clock", HOSTILE],
        &["timing", "good.board", "--corner", HOSTILE],
        &["power", "good.board", HOSTILE],
        &["power", "good.board", "--on", HOSTILE],
        &["image", "good.board", HOSTILE],
        &["part", HOSTILE],
        &["library", HOSTILE],
        &["library", "--family", HOSTILE],
        &["rule", HOSTILE],
        &["reference", HOSTILE],
    ] {
        let [_, err] = harmless(path, arguments, "");
        assert!(!err.is_empty(), "{arguments:?} is told to be wrong");
    }
    let lines =
        format!("{HOSTILE}\nuntil {HOSTILE}\nwhy {HOSTILE}\nset {HOSTILE} high\nmemory {HOSTILE}\nclose {HOSTILE}\n");
    let [_, err] = harmless(path, &["run", "bad.board", "--step"], &lines);
    assert!(err.contains("\\u{1b}[2J"), "{err}");
}

/// A journal comes from elsewhere, and its texts need not be what a sweep would write.
#[test]
fn a_journal_from_elsewhere_is_harmless() {
    let folder = folder();
    let path = folder.path();
    coldboard(path, "sweep bad.board --voltage 4.5V,5V --journal j.jsonl").output().expect("it ran");
    let crc = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC);
    let journal = fs::read_to_string(path.join("j.jsonl")).expect("a journal");
    let hostile = serde_json::to_string(HOSTILE).expect("a text");
    let hostile = hostile.trim_matches('"');
    let lines = journal.lines().map(|line| {
        let (item, _) = line.split_once(",\"crc\":\"").expect("a checksum");
        let item = format!("{item}}}").replace("fails", hostile).replace("5 V", hostile);
        let checksum = crc.checksum(item.as_bytes());
        format!("{},\"crc\":\"{checksum:08x}\"}}\n", item.strip_suffix('}').expect("its end"))
    });
    fs::write(path.join("h.jsonl"), lines.collect::<String>()).expect("written");
    let [text, err] = harmless(path, &["merge", "h.jsonl"], "");
    assert!(text.contains("\\u{1b}[2J"), "{text}{err}");
    let [json, _] = harmless(path, &["merge", "h.jsonl", "--json"], "");
    let sweep: serde_json::Value = serde_json::from_str(&json).expect("JSON");
    assert_eq!(sweep["header"]["axes"][0]["values"][0], HOSTILE);
    harmless(path, &["merge", "h.jsonl", "--across", "voltage", "--csv", "h.csv", "--svg", "h.svg"], "");
    let svg = fs::read_to_string(path.join("h.svg")).expect("a picture");
    assert_eq!(svg.chars().find(|&c| is_raw(c)), None);
}

/// The layout changes no text, so what it prints is what it would write, also of a file from a system with other line ends.
#[test]
fn other_line_ends_are_no_controls() {
    let folder = tempfile::tempdir().expect("a folder");
    let text = DESIGNS[0].1.replace("\n", " # a comment\n");
    fs::write(folder.path().join("unix.board"), &text).expect("written");
    fs::write(folder.path().join("dos.board"), text.replace('\n', "\r\n")).expect("written");
    let [unix, _] = harmless(folder.path(), &["format", "unix.board"], "");
    let [dos, err] = harmless(folder.path(), &["format", "dos.board"], "");
    assert_eq!(unix, dos, "{err}");
    assert!(unix.contains("# a comment"), "{unix}");
}

#[test]
fn a_time_beyond_reason_is_one_error() {
    let folder = folder();
    for time in ["10 years", "400 d", "99999999999 s", "99999999999999999999999 s", "99999999999999999999 clocks"] {
        let text = DESIGNS[0].1.replace("run for 1 us", &format!("run for {time}"));
        fs::write(folder.path().join("long.board"), text).expect("written");
        let output = coldboard(folder.path(), "run long.board").output().expect("it ran");
        let err = String::from_utf8(output.stderr).expect("text");
        assert_eq!(output.status.code(), Some(2), "{time}");
        assert_eq!(err.matches("error[").count(), 1, "{time}: {err}");
    }
}

#[test]
fn a_slice_of_more_than_a_sweep_can_have_is_refused() {
    let folder = folder();
    let output = coldboard(folder.path(), "sweep good.board --slice 1/99999999999").output().expect("it ran");
    let err = String::from_utf8(output.stderr).expect("text");
    assert_eq!(output.status.code(), Some(2));
    assert!(err.contains("a sweep has 20000 points at most"), "{err}");
}

/// Bash hands a process substitution over as a pipe below /dev/fd, and /dev/stdin is one behind `|`.
#[cfg(target_os = "linux")]
#[test]
fn a_pipe_that_is_open_is_read_and_one_that_is_not_is_refused() {
    let folder = folder();
    let path = folder.path();
    let mut command = coldboard(path, "run /dev/stdin");
    command.stdin(Stdio::piped());
    let read = assert_cmd::Command::from_std(command).write_stdin(DESIGNS[0].1).output().expect("it ran");
    assert_eq!(read.status.code(), Some(0));
    let made = Command::new("mkfifo").arg(path.join("p.board")).status();
    assert!(made.expect("mkfifo").success());
    for (name, told) in [
        ("p.board", "is a named pipe"),
        ("/dev/zero", "is a device or a socket"),
        ("/dev/stdin", "is a device or a socket"),
    ] {
        let output = coldboard(path, &format!("check {name}")).output().expect("it ran");
        let err = String::from_utf8(output.stderr).expect("text");
        assert_eq!(output.status.code(), Some(2), "{name}");
        assert!(err.contains(told), "{name}: {err}");
    }
}
