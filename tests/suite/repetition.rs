//! Repetition, procedures and vectors in trials. What an adder must come to is added by the test itself.

use assert_cmd::Command;
use std::fs;
use std::path::Path;
use tempfile::TempDir;

const SUM: &str = "board sum {
    rail VCC 5 V
    rail GND
    feed U1 from VCC GND
    connector J1 header-2x8 { 1 VCC  2 GND  3..6 a[0..3]  7..10 b[0..3]  11..14 s[0..3]  15 carry  16 GND }
    U1 74HC283 { A[1..4] = a[0..3]  B[1..4] = b[0..3]  C0 = GND  S[1..4] = s[0..3]  C4 = carry }
    C1 capacitor 100 nF decouples U1
}
procedure add(x, y) {
    set a = x
    set b = y
    run for 1 us
    expect s = (x + y) % 16
    expect carry = (x + y) / 16
}
board counter {
    rail VCC 5 V
    rail GND
    feed U1 from VCC GND
    connector J1 header-1x8 { 1 clk  2 /clr  3..6 q[0..3]  7 VCC  8 GND }
    U1 74HC163 { CLK = clk  /CLR = /clr  /LOAD = VCC  ENP = VCC  ENT = VCC  [A..D] = GND  Q[A..D] = q[0..3]  RCO = open }
    C1 capacitor 100 nF decouples U1
}
";

fn folder(trials: &str) -> TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("d.board"), format!("{SUM}{trials}")).expect("written");
    folder
}

fn ask(folder: &Path, arguments: &[&str]) -> (i32, String, String) {
    let mut command = Command::cargo_bin("coldboard").expect("the program");
    let output = command.current_dir(folder).args(arguments).output().expect("it ran");
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("text");
    (output.status.code().expect("an exit code"), text(output.stdout), text(output.stderr))
}

/// Runs the trial t on the adder.
fn run(body: &str) -> (i32, String, String) {
    let folder = folder(&format!("trial t on sum {{\n{body}\n}}\n"));
    ask(folder.path(), &["run", "d.board", "t"])
}

#[track_caller]
fn passes(body: &str, count: usize) {
    let (code, out, err) = run(body);
    assert!(code == 0 && out.contains(&format!(": {count} expectation")), "{out}{err}");
}

/// Refused before anything runs, with these words.
#[track_caller]
fn refused(body: &str, words: &[&str]) {
    let (code, out, err) = run(body);
    assert_eq!((code, out.as_str()), (2, ""), "{err}");
    for word in words {
        assert!(err.contains(word), "{word} is not in: {err}");
    }
    assert_eq!(err.matches("error[").count(), 1, "one mistake is told once: {err}");
}

#[test]
fn steps_are_taken_for_each_value() {
    // 256 sums and 256 carries, each by the formulas of the procedure.
    passes("each x in 0..15 { each y in 15..0 { do add(x, y) } }", 512);
    passes("repeat 5 times { do add(7, 9) }", 10);
    passes("repeat 0 times { do add(7, 9) }", 0);
    passes("set a = 0 set b = 0 each i in 0..3 { set a[i] = high run for 1 us expect s[i] is high }", 4);
    passes("set b = 0 each n in 1..3, 8 { set a = n run for 1 us expect s = n and carry is low }", 4);
    passes("set a = 2 * 3 set b = (1 + 2) * 3 run for 1 us expect s = 20 % 5 + 15 expect s = 30 / 2", 2);
}

#[test]
fn a_failure_names_the_variables_of_its_turn() {
    let (code, out, _) = run("set b = 1 each i in 0..3 { set a = i run for 1 us expect s != 3 }");
    assert_eq!(code, 1);
    // 2 + 1 = 3.
    assert!(out.contains("with i = 2") && out.contains("3 expectations passed, 1 failed"), "{out}");
    let (_, out, _) = run("set b = 0 set a = 0 repeat 60 times { run for 1 us expect s = 1 }");
    assert!(out.contains("50 failed"), "failures are bounded: {out}");
}

#[test]
fn what_cannot_be_done_is_told_before_anything_runs() {
    refused("each i in 0..20 { set a = i }", &["16 does not fit the 4 bits of `a`", "d.board:"]);
    refused("each i in 0..20 { set a[i] = high }", &["there is no"]);
    refused("set a = 7 / (2 - 2)", &["divides by zero"]);
    refused("set a = i", &["nothing in the design names a value i"]);
    refused("repeat (1 - 2) times { run for 1 us }", &["-1 times cannot be done"]);
    refused("do sub(1, 2)", &["there is no procedure `sub`"]);
    refused("do ad(1, 2)", &["did you mean `add`?"]);
    refused("do add(1)", &["add takes 2 numbers, not 1", "do add(x, y)"]);
    refused("repeat 2 times { corner slowest }", &["holds for the whole trial"]);
    refused("each i in 0..1 { clock a0 1 MHz }", &["holds for the whole trial"]);
    refused("each i in A..D { run for 1 us }", &["counts with numbers"]);
    refused("repeat 2000 times { expect never s is off }", &["more than 1000 steps that last"]);
}

#[test]
fn repetitions_without_an_end_are_refused_at_once() {
    let limit = "this trial takes more than 10,000,000 steps";
    refused("repeat 1000000000000 times { run for 1 us }", &[limit, "d.board:"]);
    refused("repeat 4000 times { repeat 4000 times { run for 1 us } }", &[limit]);
    refused("each i in 0..99999999999 { set a = 1 }", &[limit]);
    refused("step a0 (4000 * 4000) times", &[limit]);
}

#[test]
fn procedures_cannot_do_themselves() {
    let folder = folder(
        "procedure ping { do pong }\nprocedure pong { do ping }\ntrial t on sum { do ping }\n\
         procedure own(n) { set a = n  do own(n + 1) }\ntrial u on sum { do own(1) }\n",
    );
    for (trial, name) in [("t", "ping"), ("u", "own")] {
        let (code, _, err) = ask(folder.path(), &["run", "d.board", trial]);
        assert!(code == 2 && err.contains(&format!("the procedure {name} does itself")), "{err}");
    }
}

#[test]
fn clocks_can_be_counted_in_repetitions() {
    let folder = folder(
        "trial t on counter {\n clock clk 1 MHz\n drive /clr low for 2 clocks\n set /clr = high\n\
         each n in 1..40 { run for 1 clock  expect q = n % 16 }\n each n in 1..3 { run for (n * 2) clocks }\n\
         expect q = 4\n }\n",
    );
    // 40 + 2 + 4 + 6 = 52 clocks, 52 % 16 = 4.
    let (code, out, err) = ask(folder.path(), &["run", "d.board", "t"]);
    assert!(code == 0 && out.contains("41 expectations passed"), "{out}{err}");
    let (code, out, err) = ask(folder.path(), &["run", "d.board", "t", "--untimed"]);
    assert!(code == 0 && out.contains("41 expectations passed"), "{out}{err}");
}

/// Runs the adder on a file of vectors.
fn vectors(file: &[u8]) -> (i32, String, String) {
    let folder = folder("trial t on sum {\n vectors \"v.csv\" every 1 us\n}\n");
    fs::write(folder.path().join("v.csv"), file).expect("written");
    ask(folder.path(), &["run", "d.board", "t"])
}

#[test]
fn vectors_are_driven_and_compared() {
    let mut all = "set a, set b, expect s, expect carry\n".to_owned();
    for (a, b) in (0..256).map(|pair| (pair / 16, pair % 16)) {
        all += &format!("{a}, 0x{b:X}, {}, 0b{}\n", (a + b) % 16, (a + b) / 16);
    }
    let (code, out, err) = vectors(all.as_bytes());
    assert!(code == 0 && out.contains("512 expectations passed"), "{out}{err}");
    // An unknown addend makes the sum unknown; a bit of one that is not driven as well. 8 + X: bits 0 to 2 are unknown.
    let marks = "# marks\n\nset a,set b,expect s,expect a\r\nX,0,X,X\n0b0XXX,8,0b1XXX,-\nZ,0,-,Z\n1,1,0b00-0,0b-001\n";
    let (code, out, err) = vectors(marks.as_bytes());
    assert!(code == 0 && out.contains("8 expectations passed"), "{out}{err}");
    let (code, out, _) = vectors(b"set a,set b,expect s\n1,1,2\n1,2,4\n");
    assert!(code == 1 && out.contains("v.csv:3: s is 0x3, expected 0x4"), "{out}");
}

#[test]
fn a_bad_file_of_vectors_is_told_with_line_and_column() {
    let long = [b"set a,expect s\n".as_slice(), &b"1,".repeat(10_000)].concat();
    for (file, told) in [
        (b"".as_slice(), "v.csv:1:1: there are no vectors in this file"),
        (b"a,b\n", "v.csv:1:1: `a` does not say what its column is"),
        (b"set a, expect zz\n", "v.csv:1:8: "),
        (b"set VCC\n1\n", "is a rail; a trial cannot drive it"),
        (b"set a,set a\n1,1\n", "v.csv:1:7: there are two columns `set a`"),
        (b"set a,expect s\n1\n", "v.csv:2:1: 1 cell here, but the heading has 2 columns"),
        (b"set a,expect s\n1,2,3\n", "v.csv:2:5: 3 cells here"),
        (b"set a,expect s\n1,\n", "v.csv:2:3: this cell is empty"),
        (b"set a,expect s\n1, 16\n", "v.csv:2:4: 16 does not fit 4 bits"),
        (b"set a,expect s\n1,0b2\n", "v.csv:2:3: `0b2` is not a value"),
        (b"set a,expect s\n1,\xFF\n", "v.csv:2:3: this is not a text"),
        (&long, "v.csv:2:16385: this line has 20000 bytes"),
    ] {
        let (code, out, err) = vectors(file);
        assert!(code == 2 && out.is_empty() && err.contains(told), "{told}: {err}");
    }
    let folder = folder("trial t on sum {\n vectors \"gone.csv\" every 1 us\n}\n");
    let (code, _, err) = ask(folder.path(), &["run", "d.board", "t"]);
    assert!(code == 2 && err.contains("gone.csv"), "{err}");
}

#[test]
fn what_is_recorded_can_be_taken_as_vectors() {
    let folder = folder(
        "trial counts on counter {\n clock clk 1 MHz\n record \"c.csv\" each clock: /clr, q\n\
         drive /clr low for 2 clocks\n set /clr = high\n run for 20 clocks\n}\n\
         trial again on counter {\n clock clk 1 MHz\n vectors \"c.csv\" each clock\n}\n\
         trial sums on sum {\n record \"s.csv\" every 1 us: a, b, s[0..1], s[2..3], carry\n\
         each x in 0..15 { set a = x  set b = 15 - x / 2  run for 1 us }\n}\n\
         trial sums_again on sum { vectors \"s.csv\" every 1 us }\n",
    );
    let to = folder.path().join("out");
    fs::create_dir(&to).expect("made");
    let told = |trial: &str| ask(folder.path(), &["run", "d.board", trial, "--record", "out"]);
    for trial in ["counts", "sums"] {
        let (code, out, err) = told(trial);
        assert_eq!(code, 0, "{out}{err}");
        if trial == "counts" {
            let text = fs::read_to_string(to.join("c.csv")).expect("recorded");
            fs::write(folder.path().join("c.csv"), &text).expect("copied");
            let lines: Vec<&str> = text.lines().collect();
            assert_eq!(lines[0], "set /clr, expect q");
            // Cleared by the first edge, once more by the second, then counting.
            assert_eq!(&lines[1..6], ["0, X", "0, 0x0", "1, 0x0", "1, 0x1", "1, 0x2"]);
            let (code, out, err) = told("again");
            assert!(code == 0 && out.contains("22 expectations passed"), "{out}{err}");
        }
    }
    fs::copy(to.join("s.csv"), folder.path().join("s.csv")).expect("copied");
    let (code, out, err) = told("sums_again");
    assert!(code == 0 && out.contains("48 expectations passed"), "{out}{err}");
    let (code, _, err) = ask(folder.path(), &["run", "d.board", "sums"]);
    assert!(code == 0 && err.contains("s.csv is not written: name a folder with --record"), "{err}");
}

#[test]
fn a_record_writes_nowhere_else() {
    for name in ["../x.csv", "/tmp/x.csv", "a/b.csv", "", ".hidden", "C:x"] {
        refused(&format!("record \"{name}\" every 1 us: a"), &["a record is a plain file name"]);
    }
    refused("record \"c.csv\" every 1 us: a[0, 2]", &["a comma ends a cell of the file"]);
    // The files of the design stay as they are.
    let folder = folder("trial t on sum {\n record \"d.board\" every 1 us: a\n run for 2 us\n}\n");
    let (code, _, err) = ask(folder.path(), &["run", "d.board", "t", "--record", "."]);
    assert_eq!(code, 2, "{err}");
    assert!(fs::read_to_string(folder.path().join("d.board")).expect("there").starts_with("board sum"));
}

/// Two buttons and two switches, each with a pull-up: pressed or closed is low.
const PANEL: &str = "board panel {
    rail VCC 5 V
    rail GND
    connector J1 header-1x8 { 1 VCC  2 GND  3 clk  4 /step  5 a  6 b  7 c  8 d }
    SW1 button { 1 = a  2 = GND }
    SW2 button { 1 = b  2 = GND }
    SW3 switch { 1 = c  2 = GND }
    SW4 switch { 1 = d  2 = GND }
    RN1 network bussed 6 pins 1 kohm { 1 = VCC  2 = a  3 = b  4 = c  5 = d  6 = /step }
    R1 resistor 1 kohm { 1 = clk  2 = GND }
}
";

fn panel(body: &str) -> (i32, String, String) {
    let folder = folder(&format!("{PANEL}trial t on panel {{\n{body}\n}}\n"));
    ask(folder.path(), &["run", "d.board", "t"])
}

#[track_caller]
fn panel_passes(body: &str, count: usize) {
    let (code, out, err) = panel(body);
    assert!(code == 0 && out.contains(&format!(": {count} expectation")), "{out}{err}");
    assert!(!out.contains("pulse of 0 ns"), "{out}");
}

#[test]
fn stimuli_can_begin_together() {
    // Both for 3 ms; then SW2 alone has been released for 2 ms.
    panel_passes(
        "expect on rise b: a = 0  expect on rise a: b = 1
         run for 1 us  together { press SW1 for 5 ms  press SW2 for 3 ms }  run for 1 us",
        2,
    );
    // The clock rises at 0.5 us + n: 3 clocks end at 3 us, and the reset is asserted for the whole time.
    panel_passes(
        "clock clk 1 MHz  expect never /step is high and a is low
         together { drive /step low for 3 clocks  press SW1 for 2 us } expect a is high within 1 us",
        2,
    );
    panel_passes("together { set clk = high  close SW3  run for 2 us } expect c is low and clk is high", 1);
}

#[test]
fn only_stimuli_begin_together() {
    let (code, _, err) = panel("together { press SW1 for 5 ms  expect a is low }");
    assert!(code == 2 && err.contains("this is no stimulus that could begin together"), "{err}");
    let (code, _, err) = panel("together { repeat 300 times { set clk = high } }");
    assert!(code == 2 && err.contains("more than 256 stimuli begin together"), "{err}");
    panel_passes("together { each i in 1..2 { press SW[i] for 1 ms } } run for 1 us expect a is high and b is high", 1);
}

#[test]
fn contacts_are_worked_several_at_once() {
    panel_passes(
        "close SW3, SW4, SW1 run for 1 us expect c is low and d is low and a is low and b is high open SW3, SW1 run for 1 us expect a is high and c is high and d is low",
        2,
    );
    panel_passes("close SW[1..1] run for 1 us expect a is low", 1);
}

#[test]
fn steps_keep_the_idle_level() {
    // A pull-up holds /step high: three pulses low, of half a millisecond each.
    panel_passes(
        "run for 1 us  expect on fall /step: clk = 0, 0, 0  step /step 3 times  expect /step is high  run for 1 us",
        4,
    );
    panel_passes(
        "set clk = low  run for 1 us  expect on rise clk: a = 1, 1  step clk 2 times every 2 us  expect clk is low  run for 1 us",
        3,
    );
    panel_passes(
        "set clk = high  run for 1 us  expect on fall clk: a = 1, 1  step clk 2 times every 2 us  expect clk is high  run for 1 us",
        3,
    );
    // Before anything has a level the name says it.
    panel_passes("expect on fall /step: clk = 0  step /step 1 times  run for 1 us  expect /step is high", 2);
}

#[test]
fn a_pulse_of_no_length_is_noted_with_its_cure() {
    let (code, out, _) = panel("run for 1 us set clk = high set clk = low run for 1 us");
    assert!(
        code == 0 && out.contains("the trial drives clk to two levels at one moment") && out.contains("run for 1 us"),
        "{out}"
    );
    let (_, out, _) = panel("run for 1 us set clk = high run for 1 ns set clk = low run for 1 us");
    assert!(!out.contains("two levels"), "{out}");
}

#[test]
fn a_contact_that_is_worked_wrong_says_what_it_is() {
    for (step, told) in [
        ("press SW3 for 1 ms", "SW3 is a switch, not a button"),
        ("flip SW1 up", "SW1 is a button, not a changeover switch"),
        ("flip SW1 up", "press it: `press SW1 for 5 ms`"),
        ("close RN1", "`RN1` is not a switch or a button of this circuit"),
        ("close SW9", "`SW9` is not a switch or a button of this circuit"),
    ] {
        let (code, _, err) = panel(step);
        assert!(code == 2 && err.contains(told), "{step}: {err}");
    }
}
