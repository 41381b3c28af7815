//! What long runs write: waveforms, diagrams, figures.

use super::*;
use crate::export::assert_xml;
use std::collections::BTreeMap;

/// By the name of a variable, its values, each with the time in picoseconds from which on it stood; and the last time.
pub(super) fn waves(file: &Path) -> (BTreeMap<String, Vec<(i64, String)>>, i64) {
    let bytes = fs::read(file).unwrap_or_else(|error| panic!("{}: {error}", file.display()));
    let mut parser = vcd::Parser::new(bytes.as_slice());
    let header = parser.parse_header().expect("a header");
    assert_eq!(header.timescale, Some((1, vcd::TimescaleUnit::PS)));
    let mut names = BTreeMap::new();
    let mut scopes: Vec<&[vcd::ScopeItem]> = vec![&header.items];
    while let Some(items) = scopes.pop() {
        for item in items {
            match item {
                vcd::ScopeItem::Scope(scope) => scopes.push(&scope.items),
                vcd::ScopeItem::Var(variable) => {
                    names.insert(variable.code, variable.reference.clone());
                }
                _ => {}
            }
        }
    }
    let (mut now, mut values) = (0, BTreeMap::new());
    for command in parser {
        let (code, value) = match command.expect("a command") {
            vcd::Command::Timestamp(time) => {
                now = i64::try_from(time).expect("a time");
                continue;
            }
            vcd::Command::ChangeScalar(code, value) => (code, value.to_string()),
            vcd::Command::ChangeVector(code, value) => (code, value.to_string()),
            _ => continue,
        };
        let changes: &mut Vec<(i64, String)> = values.entry(names[&code].clone()).or_default();
        changes.push((now, value));
    }
    (values, now)
}

/// Holds a waveform of the counter's bits and its clock against arithmetic, for so many clocks that were counted.
#[track_caller]
pub(super) fn assert_waves(file: &Path, clocks: i64) {
    let (values, end) = waves(file);
    assert_eq!(end, behind(clocks));
    for bit in 0..4 {
        let changes = &values[&format!("q{bit}")];
        // Unknown, cleared at the first clock, and then once in 2^b clocks.
        assert_eq!(changes.len() as i64, 2 + (clocks >> bit), "q{bit}");
        assert_eq!(changes[0], (0, "x".to_owned()));
        for (at, (time, value)) in (0..).zip(&changes[1..]) {
            // Cleared two clocks before the first one that counts would be there: at 50 ns.
            let edge = if at == 0 { PERIOD / 2 } else { rise(at << bit) };
            assert!((edge + 1..edge + PERIOD / 2).contains(time), "q{bit}: {time} ps");
            assert_eq!(*value, (at & 1).to_string(), "q{bit} at {time} ps");
        }
    }
    // Low at first, then twice a clock; two clocks clear.
    let clock = &values["clk"];
    assert_eq!(clock.len() as i64, 1 + 2 * (clocks + 2));
    for (at, (time, value)) in (0..).zip(clock) {
        assert_eq!((*time, value.as_str()), (at * PERIOD / 2, ["0", "1"][at as usize % 2]));
    }
}

#[test]
fn a_waveform_file_holds_every_edge_of_a_long_run() {
    // 60,000 is 0 mod 16.
    let folder = folder(&[
        ("holds", "    run for 59996 clocks\n    expect q = 0"),
        ("fails", "    run for 59996 clocks\n    expect q = 1"),
    ]);
    let path = folder.path();
    for (trial, code) in [("holds", 0), ("fails", 1)] {
        let run =
            ask(path, &format!("run long.board {trial} --vcd {trial}.vcd --signals q0,q1,q2,q3,clk --memory 16MB"));
        assert_eq!(run.code, code, "{}{}", run.out, run.err);
    }
    assert_waves(&path.join("holds.vcd"), 60_000);
    let [holds, fails] = ["holds.vcd", "fails.vcd"].map(|name| fs::read(path.join(name)).expect("a file"));
    assert!(holds == fails, "the same run gives the same bytes, whatever is expected of it");
    assert_eq!(names(path), ["fails.vcd", "holds.vcd", "long.board"]);
}

#[test]
fn several_runs_write_files_of_their_own() {
    let folder = folder(&[
        ("once", "    run for 1 clock\n    expect q = 5"),
        ("twice", "    run for 2 clocks\n    expect q = 6"),
    ]);
    let run = ask(folder.path(), "run long.board --corner fastest,random:7 --vcd w.vcd --signals q0,q1,q2,q3,clk");
    assert_eq!(run.code, 0, "{}{}", run.out, run.err);
    let wanted = ["once-fastest", "once-random7", "twice-fastest", "twice-random7"];
    let mut wanted: Vec<String> = wanted.iter().map(|name| format!("w-{name}.vcd")).collect();
    wanted.insert(0, "long.board".to_owned());
    assert_eq!(names(folder.path()), wanted);
    assert_waves(&folder.path().join("w-once-random7.vcd"), 5);
    assert_waves(&folder.path().join("w-twice-fastest.vcd"), 6);
}

#[test]
fn a_file_that_cannot_be_written_is_said_and_nothing_is_left() {
    let folder = folder(&[("long", "    run for 20000 clocks\n    expect q = 3")]);
    let path = folder.path();
    fs::create_dir(path.join("there")).expect("a folder");
    for target in ["there", "no/such/w.vcd"] {
        let run = ask(path, &format!("run long.board --vcd {target}"));
        assert_eq!((run.code, run.out.as_str()), (2, ""), "{target}: {}", run.err);
        assert!(run.err.contains(target), "{}", run.err);
        assert_eq!(run.err.lines().count(), 1, "{}", run.err);
    }
    assert_eq!(names(path), ["long.board", "there"]);
    assert_eq!(names(&path.join("there")).len(), 0);
}

/// full(4): /dev/full is always full.
#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_does_not_take_the_report_along() {
    // 20,004 is 4 mod 16.
    let folder = folder(&[("long", "    run for 20000 clocks\n    expect q = 3")]);
    let path = folder.path();
    for option in ["--vcd", "--diagram"] {
        let run = ask(path, &format!("run long.board {option} /dev/full"));
        assert_eq!(run.code, 2, "{option}: {}", run.err);
        assert!(run.err.contains("cannot write /dev/full: the disk is full"), "{}", run.err);
        assert!(run.out.contains("q is 0x4"), "{option}: {}", run.out);
        let run = ask(path, &format!("run long.board --json {option} /dev/full"));
        assert_eq!(run.code, 2, "{option}: {}", run.err);
        assert_eq!(reports(&run)[0]["clocks"], 20_006);
    }
    assert_eq!(names(path), ["long.board"]);
}

/// The texts of a picture, in order.
fn texts(svg: &str) -> Vec<&str> {
    let ends = svg.split("</text>");
    ends.filter_map(|part| part.rsplit_once('>').map(|(_, text)| text)).filter(|text| !text.trim().is_empty()).collect()
}

#[test]
fn a_diagram_shows_a_late_window_and_says_where_it_had_to_begin() {
    let folder = folder(&[("long", "    run for 99996 clocks\n    expect q = 0")]);
    let path = folder.path();
    let (from, to) = (behind(98_000), behind(98_010));
    let run =
        ask(path, &format!("run long.board --diagram late.svg --signals q --from {from}ps --to {to}ps --memory 16MB"));
    assert_eq!((run.code, run.err.as_str()), (0, ""), "{}", run.out);
    let late = fs::read_to_string(path.join("late.svg")).expect("a picture");
    assert_xml(&late);
    // 98,000 is 0 mod 16.
    let wanted = ["0", "1", "2", "3", "4", "5", "6", "7", "8", "9", "A"];
    let texts = texts(&late);
    assert!(texts.ends_with(&wanted), "{texts:?}");

    // A clock is two changes of clk, two of the bits of q on the average, one of `half` in eight: more than 4 a clock. A
    // quarter of 16 MB is 262,144 changes of 16 bytes, so the first third of 100,000 clocks has no room.
    let run = ask(path, "run long.board --diagram all.svg --signals q,clk,half --memory 16MB");
    assert_eq!(run.code, 0, "{}", run.out);
    let (what, begins) = run.err.split_once(" begins at ").expect("a remark");
    assert_eq!(what, "the diagram of long");
    let (begins, why) = begins.split_once(": ").expect("a reason");
    let begins = ps(&Value::from(begins));
    assert!((behind(33_333)..behind(100_000)).contains(&begins), "{begins}");
    assert!(why.contains("--memory") && why.contains("--from"), "{why}");
    assert_xml(&fs::read_to_string(path.join("all.svg")).expect("a picture"));

    let run = ask(path, "run long.board --diagram all.svg --signals q,clk,half");
    assert_eq!((run.code, run.err.as_str()), (0, ""), "512 MB are enough");
}

/// Four inverters, each on a bit of the counter.
const INVERTERS: &str = "board long {
    rail VCC 5 V
    rail GND
    feed U1..U5 from VCC GND
    connector P header-1x4 { 1 VCC  2 GND  3 clk  4 /reset }
    U1 74HC163 {
        CLK = clk  /CLR = /reset  /LOAD = VCC  ENP = VCC  ENT = VCC  [A..D] = GND
        Q[A..D] = q[0..3]  RCO = open
    }
    U2 74HC04 { 1A = q0  1Y = n0  [2..6]A = GND  [2..6]Y = open }
    U3 74HC04 { 1A = q1  1Y = n1  [2..6]A = GND  [2..6]Y = open }
    U4 74HC04 { 1A = q2  1Y = n2  [2..6]A = GND  [2..6]Y = open }
    U5 74HC04 { 1A = q3  1Y = n3  [2..6]A = GND  [2..6]Y = open }
    C[1..5] capacitor 100 nF decouples U1..U5
}
trial long on long {
    clock clk RATE
    drive /reset low for 2 clocks
    set /reset = high
    run for 40000 clocks
}
";

/// An amount of current as it is printed, in microamperes.
fn microamperes(value: &Value) -> f64 {
    let text = value.as_str().expect("a text");
    let (number, unit) = text.split_once(' ').expect("a unit");
    let number: f64 = number.parse().expect("a number");
    number * [("nA", 1e-3), ("uA", 1.0), ("mA", 1e3)].iter().find(|(name, _)| *name == unit).expect(unit).1
}

#[test]
fn what_moves_draws_as_often_as_arithmetic_says() {
    let folder = tempfile::tempdir().expect("a folder");
    let drawn = |rate: &str| {
        fs::write(folder.path().join("long.board"), INVERTERS.replace("RATE", rate)).expect("written");
        let power = ask(folder.path(), "power long.board long --json");
        assert_eq!(power.code, 0, "{}", power.err);
        let value: Value = serde_json::from_str(&power.out).expect("JSON");
        let chips = value["chips"].as_array().expect("chips").clone();
        ["U2", "U3", "U4", "U5"].map(|path| {
            let chip = chips.iter().find(|chip| chip["chip"] == path).expect(path);
            microamperes(&chip["moving"])
        })
    };
    let (fast, slow) = (drawn("10 MHz"), drawn("5 MHz"));
    // P = C V^2 f (SCHS154D and all sheets of HC): bit b rises once in 2^(b+1) clocks, so that each of these chips, which
    // are alike, draws half of what the one before it does, and all of them half as much at half the rate.
    let near = |a: f64, b: f64| (a / b - 1.0).abs() < 0.01;
    for at in 0..4 {
        assert!(near(fast[at], 2.0 * slow[at]), "{fast:?} {slow:?}");
        assert!(near(fast[0], fast[at] * f64::from(1 << at)), "{fast:?}");
    }
    assert!(fast[3] > 0.0);
}

#[test]
fn what_is_no_size_is_refused_in_a_sentence() {
    let folder = folder(&[("short", "    run for 1 clock")]);
    for (size, sentence) in [
        ("15MB", "15MB is too little: give at least 16MB"),
        ("16383KB", "16383KB is too little: give at least 16MB"),
        ("0GB", "0GB is too little: give at least 16MB"),
        ("512", "`512` is not a size such as 512MB or 2GB"),
        ("1.5GB", "`1.5GB` is not a size such as 512MB or 2GB"),
        ("much", "`much` is not a size such as 512MB or 2GB"),
        // 2^34 GB are 2^64 bytes.
        ("17179869184GB", "`17179869184GB` is not a size such as 512MB or 2GB"),
        ("-16MB", "`-16MB` is not a size such as 512MB or 2GB"),
    ] {
        let run = ask(folder.path(), &format!("run long.board --memory {size}"));
        assert_eq!(run.code, 2, "{size}");
        assert!(run.err.contains(sentence), "{size}: {}", run.err);
    }
    for size in ["16MB", "16384KB", "2GB"] {
        let run = ask(folder.path(), &format!("run long.board --memory {size}"));
        assert_eq!(run.code, 0, "{size}: {}", run.err);
    }
}
