//! The command as a person or a script meets it: answers, exit codes, files.

use assert_cmd::Command;
use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};
use tempfile::TempDir;

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// The design that the README writes step by step.
fn readme_design() -> String {
    let readme = fs::read_to_string(root().join("README.md")).expect("README.md");
    let blocks = readme.split("```board\n").skip(1);
    blocks.map(|block| block.split("```").next().expect("a block ends")).collect()
}

/// A folder with one design in it.
fn folder(name: &str, text: &str) -> TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join(name), text).expect("written");
    folder
}

struct Answer {
    code: i32,
    out: String,
    err: String,
}

fn ask(folder: &Path, arguments: &[&str], input: &str) -> Answer {
    let output = Command::cargo_bin("coldboard")
        .expect("the program")
        .current_dir(folder)
        .args(arguments)
        .write_stdin(input)
        .output()
        .expect("it ran");
    Answer {
        code: output.status.code().expect("an exit code"),
        out: String::from_utf8(output.stdout).expect("text"),
        err: String::from_utf8(output.stderr).expect("text"),
    }
}

#[test]
fn the_walk_of_the_readme_works() {
    let folder = folder("counter.board", &readme_design());
    let check = ask(folder.path(), &["check", "counter.board"], "");
    assert_eq!((check.code, check.out.as_str()), (0, "counter: nothing found\n"), "{}", check.err);
    let run = ask(folder.path(), &["run", "counter.board", "--corner", "all"], "");
    assert_eq!(run.code, 0, "{}{}", run.out, run.err);
    assert!(run.out.ends_with("3 of 3 runs passed\n"), "{}", run.out);
}

#[test]
fn the_failures_that_the_readme_promises_come() {
    let unclocked = readme_design().replace("    drive /reset low for 2 clocks\n", "");
    let run = ask(folder("a.board", &unclocked).path(), &["run", "a.board"], "");
    assert_eq!(run.code, 1);
    assert!(run.out.contains("what it stores has never been defined"), "{}", run.out);

    let fast = readme_design().replace("clock clk 1 MHz", "clock clk 60 MHz");
    let run = ask(folder("a.board", &fast).path(), &["run", "a.board"], "");
    assert_eq!(run.code, 1);
    assert!(run.out.contains("rate: U1 (74HC163) rate: CLK rose again after 16.667 ns"), "{}", run.out);

    let unfed = readme_design().replace("feed U1, U2 from", "feed U1 from");
    let run = ask(folder("a.board", &unfed).path(), &["run", "a.board"], "");
    assert_eq!(run.code, 1);
    assert!(run.out.contains("not-fed: U2 (74HC14) is not fed: it drives nothing"), "{}", run.out);
}

#[test]
fn results_come_as_data() {
    let folder = folder("counter.board", &readme_design());
    let run = ask(folder.path(), &["run", "counter.board", "--json", "--corner", "slowest"], "");
    let reports: Value = serde_json::from_str(&run.out).expect("JSON");
    assert_eq!(reports[0]["trial"], "counts");
    assert_eq!(reports[0]["corner"], "slowest");
    assert_eq!(reports[0]["passed"], true);
    assert_eq!(reports[0]["tables"][0]["columns"][0], "q");
    let again = ask(folder.path(), &["run", "counter.board", "--json", "--corner", "slowest"], "");
    assert_eq!(run.out, again.out, "the same question gives the same bytes");
    let check = ask(folder.path(), &["check", "counter.board", "--json"], "");
    let findings: Value = serde_json::from_str(&check.out).expect("JSON");
    assert_eq!(findings.as_array().map(Vec::len), Some(0));
}

#[test]
fn waves_and_diagrams_are_written_whole() {
    let folder = folder("counter.board", &readme_design());
    let arguments =
        ["run", "counter.board", "--vcd", "w.vcd", "--diagram", "d.svg", "--signals", "clk,q", "--to", "4us"];
    let run = ask(folder.path(), &arguments, "");
    assert_eq!(run.code, 0, "{}", run.err);
    let bytes = fs::read(folder.path().join("w.vcd")).expect("the waves");
    let mut parser = vcd::Parser::new(bytes.as_slice());
    let header = parser.parse_header().expect("a VCD header");
    assert!(header.find_var(&["counter", "clk"]).is_some());
    assert!(fs::read_to_string(folder.path().join("d.svg")).expect("the diagram").contains("</svg>"));
    let nowhere = ask(folder.path(), &["run", "counter.board", "--vcd", "no/such/w.vcd"], "");
    assert_eq!(nowhere.code, 2);
    assert!(nowhere.err.contains("cannot write no/such/w.vcd"), "{}", nowhere.err);
}

#[test]
fn a_person_goes_from_clock_to_clock() {
    let folder = folder("counter.board", &readme_design());
    let run = ask(folder.path(), &["run", "counter.board", "--step"], "\n2\nU1.QA\nnonsense\n\nquit\n");
    let lines: Vec<&str> = run.out.lines().filter(|line| line.starts_with("clock ")).collect();
    assert!(lines[0].starts_with("clock 1 at 500 ns:"), "{}", run.out);
    assert!(lines[1].starts_with("clock 2 at"), "{}", run.out);
    assert!(lines[2].starts_with("clock 4 at"), "two clocks on: {}", run.out);
    assert!(lines[3].contains("U1.QA=1"), "{}", run.out);
    assert!(run.err.contains("nonsense"), "{}", run.err);
    let end = ask(folder.path(), &["run", "counter.board", "--step"], "");
    assert_eq!(end.code, 0, "without more lines it runs to its end: {}", end.out);
}

#[test]
fn causes_are_told_for_any_time() {
    let folder = folder("counter.board", &readme_design());
    let run = ask(folder.path(), &["run", "counter.board", "--why", "q0@2.6us"], "");
    assert_eq!(run.code, 0);
    assert!(run.out.contains("U1.QA (74HC163), moved by CLK"), "{}", run.out);
    assert!(run.out.contains("the stimulus on clk"), "{}", run.out);
    let wrong = ask(folder.path(), &["run", "counter.board", "--why", "qq"], "");
    assert_eq!(wrong.code, 2);
}

#[test]
fn what_cannot_be_used_ends_with_two() {
    let folder = folder("bad.board", "board a {\n    rail VCC 5 Q\n    U1 74HC999 { CLK = phi }\n}\n");
    for arguments in [
        &["run", "bad.board"][..],
        &["check", "bad.board"],
        &["check", "missing.board"],
        &["run", "bad.board", "--corner", "sideways"],
        &["format", "bad.board"],
        &["rule", "no-such-rule"],
        &["reference", "no-such-word-at-all"],
        &["dance"],
    ] {
        let answer = ask(folder.path(), arguments, "");
        assert_eq!(answer.code, 2, "{arguments:?}: {}{}", answer.out, answer.err);
        assert!(!answer.err.is_empty(), "{arguments:?}");
    }
    let check = ask(folder.path(), &["check", "bad.board"], "");
    assert!(check.err.contains("bad.board:2:16"), "{}", check.err);
}

#[test]
fn a_trial_that_is_not_there_is_named_with_those_that_are() {
    let folder = folder("counter.board", &readme_design());
    let run = ask(folder.path(), &["run", "counter.board", "cuonts"], "");
    assert_eq!(run.code, 2);
    assert!(run.err.contains("did you mean `counts`?"), "{}", run.err);
}

#[test]
fn layout_can_be_checked_and_written() {
    let folder = folder("a.board", "board a{rail VCC 5 V\n# kept\nrail GND}\n");
    let check = ask(folder.path(), &["format", "--check", "a.board"], "");
    assert_eq!((check.code, check.out.as_str()), (1, "a.board\n"));
    assert_eq!(ask(folder.path(), &["format", "--write", "a.board"], "").code, 0);
    assert_eq!(ask(folder.path(), &["format", "--check", "a.board"], "").code, 0);
    assert!(fs::read_to_string(folder.path().join("a.board")).expect("read").contains("# kept"));
}

#[test]
fn a_folder_of_parts_overrides_the_library() {
    let design = "board a {\n    rail VCC 5 V\n    rail GND\n    feed U1 from VCC GND\n    U1 BUFFY { A = in  Y = out }\n}\n\
                  trial t on a {\n    set in = high\n    run for 1 us\n    expect out is low\n}\n";
    let part = "part BUFFY \"an inverter of our own\" {\n    package DIP4 { 1 A in  2 Y out  3 GND ground  4 VCC power }\n    Y = not A\n}\n";
    let folder = folder("a.board", design);
    assert_eq!(ask(folder.path(), &["run", "a.board"], "").code, 2, "the library has no such part");
    fs::create_dir(folder.path().join("own")).expect("a folder");
    fs::write(folder.path().join("own/BUFFY.part"), part).expect("written");
    let run = ask(folder.path(), &["run", "a.board", "--library", "own"], "");
    assert_eq!(run.code, 0, "{}{}", run.out, run.err);
}

#[test]
fn pages_are_printed() {
    let folder = tempfile::tempdir().expect("a folder");
    let rules = ask(folder.path(), &["rule"], "");
    assert!(rules.out.contains("missing-decoupling"), "{}", rules.out);
    let page = ask(folder.path(), &["rule", "missing-decoupling"], "");
    assert!(page.code == 0 && page.out.len() > 200, "{}", page.out);
    assert_eq!(ask(folder.path(), &["reference"], "").out, coldboard::language::REFERENCE);
    let help = ask(folder.path(), &["--help"], "");
    assert!(help.code == 0 && help.out.contains("check"), "{}", help.out);
}

/// A flip-flop, a switch and a memory, for hands that try something.
const DESK: &str = "
names words { BLANK = 0xFF }
board desk {
    rail VCC 5 V
    rail GND
    feed U1..U2 from VCC GND
    C1..C2 capacitor 100 nF decouples U1..U2
    connector J1 header-1x4 { 1 VCC  2 GND  3 clk  4 d }
    SW1 switch { 1 = VCC  2 = s }
    SW2 changeover { common = t  up = VCC  down = GND }
    R1..R2 resistor 10 kohm { 1 = (s, t)  2 = GND }
    U1 74HC74 {
        1D = d  1CLK = clk  /1CLR = VCC  /1PRE = VCC  1Q = q  /1Q = open
        2D = s  2CLK = clk  /2CLR = VCC  /2PRE = VCC  2Q = open  /2Q = open
    }
    U2 28C256-15 { A[0..14] = GND  DQ[0..7] = m[0..7]  /CE = GND  /OE = t  /WE = VCC }
}
trial walks on desk {
    clock clk 1 MHz
    set d = low
    show each clock: q
    run for 40 clocks
}";

#[test]
fn a_person_sets_inputs_asks_why_and_waits_for_something() {
    let folder = folder("desk.board", DESK);
    let lines = "q\n2\nset d high\nuntil q is high\nuntil q is low and s is low\n-q\n";
    let run = ask(folder.path(), &["run", "desk.board", "--step"], lines);
    let clocks: Vec<&str> = run.out.lines().filter(|line| line.starts_with("clock ")).collect();
    // Two on from the first; d is set there, taken over at clock 4, and seen behind it.
    let places: Vec<&str> = clocks.iter().map(|line| &line[..8]).collect();
    assert_eq!(places[..4], ["clock 1 ", "clock 1 ", "clock 3 ", "clock 5 "], "{}", run.out);
    assert!(clocks[3].contains("q=1"), "{}", run.out);
    // It never becomes low again: the rest passes, and the trial ends.
    assert_eq!(clocks.len(), 4, "{}", run.out);
    assert_eq!(run.code, 0, "{}{}", run.out, run.err);

    let lines = "set d high\n2\nwhy q\nclose SW1\nflip SW2 down\nm as words\n\
                 until s is high and m = BLANK\n\
                 memory U2 0x20 3\nset d low\nuntil q is low\nrelease d\nuntil q is unknown\nquit\n";
    let run = ask(folder.path(), &["run", "desk.board", "--step"], lines);
    assert!(run.out.contains("U1.1Q (74HC74), moved by 1CLK, from 1D"), "{}", run.out);
    assert!(run.out.contains("  0020  FF FF FF\n"), "{}", run.out);
    assert!(run.out.contains("  m=BLANK\n"), "{}", run.out);
    let clocks = run.out.lines().filter(|line| line.starts_with("clock "));
    assert_eq!(clocks.count(), 6, "{}", run.out);
    assert!(run.err.lines().count() <= 2, "{}", run.err);
}

#[test]
fn a_person_is_told_what_cannot_be_done() {
    let folder = folder("desk.board", DESK);
    for (line, told) in [
        ("until", "until what?"),
        ("until q", "is no condition"),
        ("until nothing is high", "nothing"),
        ("until q is high } set x = 1", "is no condition"),
        ("why m", "`m` has 8 bits"),
        ("why nothing", "nothing"),
        ("set d 2", "does not fit the 1 bit of"),
        ("set d=2", "does not fit the 1 bit of"),
        ("set dd high", "did you mean `d`?"),
        ("why", "of what?"),
        ("set d", "to what?"),
        ("set nothing high", "nothing"),
        ("release", "?"),
        ("close SW3", "no button or switch `SW3`; did you mean"),
        ("close SW2", "SW2 is flipped"),
        ("flip SW1 up", "SW1 is closed and opened"),
        ("m as nothing", "nothing"),
        ("memory U1", "U1 has no memory"),
        ("memory U7", "no chip `U7`"),
        ("memory U2 0x8000", "U2 has the words 0 to 0x7FFF"),
        ("memory U2 x", "`x` is no number"),
        ("memory U2 18446744073709551615 18446744073709551615", "U2 has the words"),
    ] {
        let run = ask(folder.path(), &["run", "desk.board", "--step"], &format!("{line}\nquit\n"));
        assert!(run.err.contains(told), "{line}: {}", run.err);
        assert_eq!(run.code, 0, "{line}: {}", run.out);
    }
}

#[test]
fn boards_and_cables_are_drawn() {
    let path = root().join("designs/carillon/carillon.board");
    let path = path.to_str().expect("a path");
    let folder = tempfile::tempdir().expect("a folder");
    let drawn = ask(folder.path(), &["picture", path], "");
    assert_eq!(drawn.code, 0, "{}", drawn.err);
    assert!(drawn.out.starts_with("<svg "), "{}", drawn.out);
    let written = ask(folder.path(), &["picture", path, "--svg", "c.svg"], "");
    assert_eq!((written.code, written.out.as_str()), (0, ""), "{}", written.err);
    let file = fs::read_to_string(folder.path().join("c.svg")).expect("written");
    assert_eq!(file, drawn.out);
    let alone = ask(folder.path(), &["picture", path, "count_board"], "");
    assert!(alone.out.contains("74HC161"), "{}", alone.out);
    let nowhere = ask(folder.path(), &["picture", path, "--svg", "no/such/c.svg"], "");
    assert_eq!(nowhere.code, 2);
    let nothing = ask(folder.path(), &["picture", path, "nothing"], "");
    assert_eq!(nothing.code, 2);
}

#[test]
fn power_is_told_at_rest_and_while_a_trial_runs() {
    let design = root().join("designs/carillon/carillon.board");
    let design = design.to_string_lossy();
    let rest = ask(&root(), &["power", &design], "");
    assert_eq!(rest.code, 0, "{}", rest.err);
    assert!(rest.out.starts_with("carillon, at rest\n"), "{}", rest.out);
    let run = ask(&root(), &["power", &design, "rings_the_other_tune", "--json"], "");
    assert_eq!(run.code, 0, "{}", run.err);
    let value: Value = serde_json::from_str(&run.out).expect("JSON");
    assert_eq!(value["run"]["trial"], "rings_the_other_tune");
    assert_eq!(value["boards"].as_array().map(Vec::len), Some(4));
    assert_eq!(value["supplies"][0]["gives"], "1 A");
    // The oscillator runs at 1 MHz, so the clock board moves more than the others.
    let moving = |at: usize| value["boards"][at]["moving"].as_str().expect("a current").to_owned();
    assert!(moving(0).ends_with("uA") && moving(0) != "0 A", "{}", moving(0));
    // A board is told by the name that the table has for it.
    let clock = ask(&root(), &["power", &design, "--on", "CLOCK"], "");
    assert_eq!(clock.code, 0, "{}", clock.err);
    let lines: Vec<&str> = clock.out.lines().collect();
    assert!(lines[3].starts_with("CLOCK "), "{}", clock.out);
    assert!(!clock.out.contains("COUNT"), "{}", clock.out);
    let unknown = ask(&root(), &["power", &design, "rings_the_other_tun"], "");
    assert_eq!(unknown.code, 2);
    assert!(unknown.err.contains("did you mean `rings_the_other_tune`?"), "{}", unknown.err);
}

#[test]
fn findings_stand_by_board_and_acceptances_are_counted() {
    let design = root().join("designs/faulty/outputs-fight.board");
    let check = ask(&root(), &["check", &design.to_string_lossy(), "wrong"], "");
    assert_eq!(check.code, 1);
    assert!(check.out.starts_with("A: 1 error\n"), "{}", check.out);
    let design = root().join("designs/carillon/carillon.board");
    let check = ask(&root(), &["check", &design.to_string_lossy()], "");
    assert_eq!((check.code, check.out.as_str()), (0, "carillon: nothing found, 1 accepted\n"));
}

/// 3.2 V at most from HC at 3.3 V, where HC at 5 V needs 3.5 V (TI SCLS131D): the run holds, and tells what it cannot see.
#[test]
fn a_run_that_holds_tells_of_errors_that_no_run_sees() {
    let text = |receiver: &str| {
        format!(
            "board b {{ rail V5 5 V  rail V3 3.3 V  rail GND  feed U1 from V3 GND  feed U2 from V5 GND
                connector P header-1x5 {{ 1 V5  2 V3  3 GND  4 a  5 y }}
                U1 74HC04 {{ 1A = a  1Y = x  [2..6]A = GND }}
                U2 {receiver} {{ 1A = x  1Y = y  [2..6]A = GND }}
                C1..C2 capacitor 100 nF decouples U1..U2 }}
            trial t on b {{ set a = low  run for 1 us  expect y is low }}"
        )
    };
    let asked = |receiver: &str| {
        let folder = folder("b.board", &text(receiver));
        ask(folder.path(), &["run", "b.board"], "")
    };
    let told = "finds errors in b, so that it may fail at the bench: level-mismatch";
    let mixed = asked("74HC04");
    assert_eq!(mixed.code, 0);
    assert!(mixed.out.contains(told), "{}", mixed.out);
    let sound = asked("74HCT04");
    assert!(!sound.out.contains("coldboard check"), "{}", sound.out);
}
