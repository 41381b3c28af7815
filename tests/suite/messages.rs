//! What a person is told who asks for something that cannot be: each message names the thing, and what to do.

use super::sweep::ask;
use std::fs;
use std::path::Path;
use tempfile::TempDir;

const COUNTER: &str = "board counter {
    rail VCC 5 V  rail GND  feed U1 from VCC GND
    connector J1 header-1x4 { 1 VCC  2 GND  3 clk  4 /reset }
    U1 74HC163 { CLK = clk  /CLR = /reset  /LOAD = VCC  ENP = VCC  ENT = VCC  [A..D] = GND  Q[A..D] = q[0..3]  RCO = open }
    C1 capacitor 100 nF decouples U1
    D[0..3] led red 1 kohm { anode = q[0..3]  cathode = GND }
}
trial counts on counter {
    clock clk 1 MHz
    drive /reset low for 2 clocks
    set /reset = high
    run for 4 clocks
    expect q = 4
}
";

fn folder() -> TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("c.board"), COUNTER).expect("written");
    fs::create_dir(folder.path().join("sub")).expect("made");
    folder
}

/// Each is refused with 2, and its words, before anything has been run or written.
fn refused(folder: &Path, cases: &[(&str, &str)]) {
    for (arguments, wanted) in cases {
        let (code, out, err) = ask(folder, arguments);
        assert_eq!(code, 2, "{arguments}: {out}{err}");
        assert!(err.contains(wanted), "{arguments}: {err}");
        assert_eq!(out, "", "{arguments}");
    }
    let text = fs::read_to_string(folder.join("c.board")).expect("the design");
    assert_eq!(text, COUNTER);
}

#[test]
fn outputs_that_cannot_be_are_refused_before_the_run() {
    let folder = folder();
    // A record of one byte and the end of the file (Intel HEX): 01 + 00 + 00 + 00 + 55 + AA = 100.
    let image = ":0100000055AA\n:00000001FF\n";
    fs::write(folder.path().join("x.hex"), image).expect("written");
    let design = format!("contents digits {{ file \"x.hex\" }}\n{COUNTER}");
    fs::write(folder.path().join("d.board"), design).expect("written");
    refused(
        folder.path(),
        &[
            ("run c.board --vcd x --diagram ./x", "--vcd and --diagram are one file"),
            ("run c.board --vcd c.board", "--vcd would write over c.board, which is read"),
            ("run c.board --vcd sub/../c.board", "which is read"),
            ("run c.board --vcd sub", "sub is a folder: name a file for --vcd"),
            ("run c.board --diagram no/x.svg", "there is no folder no"),
            ("sweep c.board --csv x --svg x", "--csv and --svg are one file"),
            ("sweep c.board --journal c.board", "which is read"),
            ("timing c.board --svg sub", "sub is a folder"),
            ("picture c.board --svg c.board", "which is read"),
            ("part 574 --svg no/x.svg", "there is no folder no"),
            ("rom d.board digits --write x.hex", "x.hex, which is read"),
            ("rom d.board digits --write x.txt", "end it with .hex, .s19 or .bin"),
        ],
    );
    assert_eq!(fs::read_dir(folder.path()).expect("listed").count(), 4);
}

#[cfg(unix)]
#[test]
fn one_device_takes_several_outputs() {
    let folder = folder();
    let (code, _, err) = ask(folder.path(), "run c.board --vcd /dev/null --diagram /dev/null");
    assert_eq!((code, err.as_str()), (0, ""));
}

#[cfg(target_os = "linux")]
#[test]
fn an_answer_that_cannot_be_written_is_no_success() {
    let folder = folder();
    let full = fs::OpenOptions::new().write(true).open("/dev/full").expect("the device");
    let output = std::process::Command::new(env!("CARGO_BIN_EXE_coldboard"))
        .current_dir(folder.path())
        .args(["run", "c.board"])
        .stdout(full)
        .output()
        .expect("it ran");
    assert_eq!(output.status.code(), Some(2));
    let told = String::from_utf8(output.stderr).expect("text");
    assert_eq!(told, "error: cannot write the answer: the disk is full\n");
}

#[test]
fn times_that_a_run_does_not_have_are_told() {
    let folder = folder();
    refused(
        folder.path(),
        &[
            ("run c.board --from 5us --to 2us --diagram x.svg", "--from must be the earlier one"),
            ("run c.board --from 5us", "--diagram <FILE>"),
            ("run c.board --to -5us --diagram x.svg", "`-5us` is before it"),
            ("run c.board --why q3@", "a time is missing"),
            ("run c.board --why q3@-1us", "`-1us` is before it"),
        ],
    );
    // Two clocks, then four more, at 1 MHz: 6 us.
    let (code, out, err) = ask(folder.path(), "run c.board --why q3@99s");
    assert_eq!(code, 2);
    assert_eq!(err, "error: --why asks for 99 s, but counts ended at 6 us\n");
    assert!(!out.contains("why"), "{out}");
    let (code, _, err) = ask(folder.path(), "run c.board --from 1ms --diagram x.svg");
    assert_eq!(code, 2);
    assert!(err.contains("would begin at 1 ms, but counts ended at 6 us"), "{err}");
    assert!(!folder.path().join("x.svg").exists());
}

#[test]
fn names_that_mean_nothing_come_with_the_nearest_one() {
    let folder = folder();
    refused(
        folder.path(),
        &[
            ("run c.board count", "did you mean `counts`?"),
            ("run c", "there is no such file; did you mean `c.board`?"),
            ("check c.bord", "there is no such file; did you mean `c.board`?"),
            ("run c.board zz", "it has: counts"),
            ("sweep c.board count", "did you mean `counts`?"),
            ("power c.board count", "did you mean `counts`?"),
            ("refit c.board U1=LS --trial count", "did you mean `counts`?"),
            ("run c.board --why cly", "did you mean `clk`?"),
            ("run c.board --why q", "ask for one of them: q3, q2, q1, q0"),
            ("run c.board --vcd x --signals cly", "did you mean `clk`?"),
            ("run c.board --signals clk", "--vcd FILE or --diagram FILE"),
            ("timing c.board --clock ck=1MHz", "did you mean `clk`?"),
            ("library --family XX", "the families are: AC, ACT"),
            ("library --family hc", "did you mean `HC`?"),
            ("reference Trals", "did you mean `Trials`?"),
            ("reference zzz", "its sections are: "),
            ("power c.board counts --on counter", "cannot be used with"),
            ("run c.board --step --json", "cannot be used with"),
            ("run c.board --power-up zero,one", "is several states"),
            ("swap c.board U1=74LS163", "'refit'"),
            ("image c.board", "'rom'"),
        ],
    );
}

#[test]
fn values_below_zero_are_no_options() {
    let folder = folder();
    refused(
        folder.path(),
        &[
            ("sweep c.board --voltage -5V", "a supply of -5 V feeds nothing"),
            ("sweep c.board --clock -5V", "`-5V` is a voltage, not a frequency"),
            ("sweep c.board --samples -1", "write a whole number from 0 to 1000"),
            ("timing c.board --paths -1", "write a whole number from 0 to 1000"),
            ("library --pins x", "write a whole number from 1 to 1000"),
        ],
    );
}

#[test]
fn a_swap_that_another_one_undoes_is_refused_with_both() {
    let folder = folder();
    refused(
        folder.path(),
        &[
            ("refit c.board U1=74LS163 U1=74HCT163", "`U1=74LS163` and `U1=74HCT163` both change U1"),
            ("refit c.board U1=74LS163 *=HCT", "`U1=74LS163` and `*=HCT` both change U1"),
            ("refit c.board U1=", "does not say what is put in its place"),
            ("refit c.board =HC", "does not say what is replaced"),
        ],
    );
}

#[test]
fn a_colour_and_a_memory_that_are_none_are_told() {
    let folder = folder();
    let written = |name: &str, text: String| {
        fs::write(folder.path().join(name), text).expect("written");
        let (code, _, err) = ask(folder.path(), &format!("run {name}"));
        assert_eq!(code, 2);
        err
    };
    let pink = written("p.board", COUNTER.replace("led red", "led pink"));
    assert!(pink.contains("`pink` is no colour of an LED"), "{pink}");
    assert!(pink.contains("red, orange, amber, yellow, green, blue, white"), "{pink}");
    let green = written("g.board", COUNTER.replace("led red", "led gren"));
    assert!(green.contains("did you mean `green`?"), "{green}");
    // A record of one byte and the end of the file (Intel HEX): 01 + 00 + 00 + 00 + 55 + AA = 100.
    fs::write(folder.path().join("x.hex"), ":0100000055AA\n:00000001FF\n").expect("written");
    let load = "clock clk 1 MHz  load U1 from \"x.hex\"";
    let memory = written("m.board", COUNTER.replace("clock clk 1 MHz", load));
    assert!(memory.contains("`U1` is a 74HC163, which has no memory to load"), "{memory}");
    // A clock on a net that is not there is one mistake, not two.
    let clock = written("k.board", COUNTER.replace("clock clk", "clock clq"));
    assert_eq!(clock.matches("error").count(), 1, "{clock}");
}

#[test]
fn timing_names_the_parts_and_compares_no_clock_with_itself() {
    let folder = tempfile::tempdir().expect("a folder");
    let text = "board ripple {
        rail VCC 5 V  rail GND  feed U1..U3 from VCC GND  C[1..3] capacitor 100 nF decouples U1..U3
        connector J1 header-1x7 { 1 VCC  2 GND  3 clk  4 a  5 b  6 x  7 out }
        U1 74HC4040 { /CP = clk  MR = GND  Q1 = a  Q2 = b  Q[3..12] = open }
        U2 74HC74 {
            1D = x  1CLK = clk  /1PRE = VCC  /1CLR = VCC  1Q = y  /1Q = open
            2D = z  2CLK = b  /2PRE = VCC  /2CLR = VCC  2Q = out  /2Q = open
        }
        U3 74HC04 { 1A = y  1Y = z  [2..6]A = GND  [2..6]Y = open }
    }";
    fs::write(folder.path().join("r.board"), text).expect("written");
    let (code, out, err) = ask(folder.path(), "timing r.board --clock clk=1MHz");
    assert_eq!(code, 0, "{out}{err}");
    assert!(!out.contains("b: moves"), "{out}");
    assert!(out.contains("b: made as clocks"), "{out}");
    for line in out.lines().filter(|line| line.contains("to be faster")) {
        assert!(line.contains("parts: "), "{line}");
    }
}

#[test]
fn slips_in_a_file_are_told_as_what_they_are() {
    let folder = folder();
    let told = |from: &str, to: &str| {
        let text = COUNTER.replacen(from, to, 1);
        assert_ne!(text, COUNTER);
        fs::write(folder.path().join("s.board"), text).expect("written");
        ask(folder.path(), "run s.board")
    };
    let (_, _, err) = told("100 nF", "100 n");
    assert!(err.contains("did you mean `100 nF`?"), "{err}");
    // The brace of a line is forgotten: one mistake, told at the line that cannot belong in it.
    let (_, _, err) = told("RCO = open }", "RCO = open");
    assert!(err.contains("the block `U1 74HC163` is not closed"), "{err}");
    assert_eq!(err.matches("error").count(), 1, "{err}");
    let (_, _, err) = told("expect q = 4", "expect q = 4, 5");
    assert!(err.contains("expect on rise strobe: a = 1, 4, 9"), "{err}");
    let (_, _, err) = told("74HC163", "74AC163");
    assert!(err.contains("take a family that there is a sheet for, or write `74AC163 estimated`"), "{err}");
}

#[test]
fn what_is_wanted_is_as_wide_as_what_is_found() {
    let folder = tempfile::tempdir().expect("a folder");
    let text = "board byte {
        rail VCC 5 V  rail GND  feed U1 from VCC GND  C1 capacitor 100 nF decouples U1
        connector J1 header-2x10 { 1 VCC  2 GND  3 clk  4..11 d[0..7]  12..19 q[0..7] }
        U1 74HC574 { CLK = clk  /OE = GND  D[1..8] = d[0..7]  Q[1..8] = q[0..7] }
    }
    trial keeps on byte {
        set d = 1  set clk = low
        expect on fall clk: q = 2
        step clk 2 times
    }";
    fs::write(folder.path().join("b.board"), text).expect("written");
    let (code, out, _) = ask(folder.path(), "run b.board");
    assert_eq!(code, 1, "{out}");
    assert!(out.contains("q is 0x01, expected 0x02"), "{out}");
}

#[test]
fn a_write_that_is_too_short_is_told_by_its_pins() {
    // The 62256-70 writes while both /CE and /WE are low, for 50 ns at least (common practice for 70 ns parts).
    let folder = tempfile::tempdir().expect("a folder");
    let text = "board store {
        rail VCC 5 V  rail GND  feed U1 from VCC GND  C1 capacitor 100 nF decouples U1
        connector J1 header-2x14 { 1 VCC  2 GND  3..17 a[0..14]  18..25 d[0..7]  26 /we  27 /ce }
        U1 62256-70 { A[0..14] = a[0..14]  DQ[0..7] = d[0..7]  /CE = /ce  /OE = VCC  /WE = /we }
    }
    trial short on store {
        set /ce = low  set /we = high  set a = 5  set d = 0x55
        run for 1 us
        drive /we low for 20 ns
        set /we = high
        run for 1 us
    }";
    fs::write(folder.path().join("r.board"), text).expect("written");
    let (code, out, _) = ask(folder.path(), "run r.board");
    assert_eq!(code, 1);
    assert!(out.contains("write (made of /CE, /WE) was active for 20 ns only"), "{out}");
    assert!(!out.contains("was high"), "{out}");
}

#[test]
fn a_map_of_one_axis_is_one_row() {
    let folder = folder();
    // HC parts take 2 to 6 V (TI SCLS297D and others of the family).
    let (code, out, err) = ask(folder.path(), "sweep c.board --voltage 1V,4.5V,5V --svg m.svg");
    assert_eq!(code, 1, "{err}");
    let row: Vec<&str> = out.lines().filter(|line| line.starts_with("  counts")).collect();
    assert_eq!(row.len(), 1, "{out}");
    assert_eq!(row[0].split_whitespace().collect::<Vec<_>>(), ["counts", "V", "+", "+"]);
    assert!(out.contains("across: voltage\n"), "{out}");
    let svg = fs::read_to_string(folder.path().join("m.svg")).expect("the picture");
    assert_eq!(svg.matches(">+</text>").count(), 2);
    assert_eq!(svg.matches(">V</text>").count(), 1);
    assert!(svg.contains("voltage across; 2 of 3 points passed"), "{svg}");
    let (_, out, _) = ask(folder.path(), "sweep c.board --voltage 5V");
    assert!(!out.contains("across"), "{out}");
}

#[test]
fn a_search_tells_how_many_rates_it_tried() {
    let folder = folder();
    let (_, out, _) = ask(folder.path(), "sweep c.board --highest 1MHz..2MHz/1MHz --voltage 1V --samples 5");
    assert!(out.contains("not run"), "{out}");
    assert!(!out.contains("tried"), "{out}");
    // Both ends hold, far below the 25 MHz of the sheet; between them lies no step.
    let (_, out, _) = ask(folder.path(), "sweep c.board --highest 1MHz..2MHz/1MHz --samples 5");
    assert!(out.contains("1 lower rate was tried and passed"), "{out}");
}

#[test]
fn one_wrong_row_is_one_error() {
    let folder = folder();
    let board = |body: &str| {
        let text = format!("board b {{\n rail VCC 5 V\n rail GND\n feed U1 from VCC GND\n{body}\n}}\n");
        fs::write(folder.path().join("row.board"), text).expect("written");
        let (code, _, err) = ask(folder.path(), "check row.board");
        assert_eq!(code, 2, "{err}");
        err
    };
    for (body, told) in [
        (" U1 74HC574 { Q[1..24] = m[0..23]  D[1..8] = GND  CLK = GND  /OE = GND }", "has no pin `Q"),
        (" U1 74HC00 { [1..4]Z = m[0..3] }", "Z`"),
        (" U1 74HC574 { }\n connector J1 header-1x8 { 1..16 m[0..15] }", "J1 has no pin 1"),
        (" U1 74HC574 { D[1..8] = GND  D[1..8] = VCC }", "is wired twice"),
        (" U1 74HC574 { }\n each i in 0..15 { R[i] resistor 1 kohm { 3 = m[i] } }", "resistor has no pin 3"),
    ] {
        let err = board(body);
        assert_eq!(err.matches("error[").count(), 1, "{body}: {err}");
        assert!(err.contains(told), "{told}: {err}");
        // Of equal words nothing is counted.
        let alike = told.starts_with("resistor");
        assert!(alike || err.contains("more of this kind at this place"), "{told}: {err}");
    }
}

#[test]
fn an_error_in_a_used_file_comes_alone() {
    let folder = folder();
    fs::write(folder.path().join("used.board"), "board used {\n rail VCC 5\n}\nprocedure p { run for 1 us }\n")
        .expect("written");
    let text =
        "use \"used.board\"\nassembly a { A: used }\ntrial t on used { do p }\ntrial u on a { set A.x = high }\n";
    fs::write(folder.path().join("top.board"), text).expect("written");
    for command in ["run", "check", "timing", "power", "picture", "rom"] {
        let (code, out, err) = ask(folder.path(), &format!("{command} top.board"));
        assert_eq!((code, out.as_str()), (2, ""), "{command}");
        assert_eq!(err.matches("error[").count(), 1, "{command}: {err}");
        assert!(err.contains("used.board:2:11"), "{command}: {err}");
    }
}

#[test]
fn a_misused_name_says_what_it_is() {
    let folder = folder();
    let board = "board b {\n rail VCC 5 V\n rail GND\n feed U1 from VCC GND\n connector J1 header-1x4 { 1 VCC  2 GND  3 a  4 y }\n\
                 U1 74HC14 { 1A = a  1Y = y  [2..6]A = GND  [2..6]Y = open }\n SW1 button { 1 = a  2 = GND }\n\
                 SW2 switch { 1 = a  2 = GND }\n SW3 changeover { common = a  up = VCC  down = GND }\n\
                 R1 resistor 1 kohm { 1 = a  2 = VCC }\n}\nassembly two { A: b }\n";
    for (on, step, told) in [
        ("b", "expect SW1 is low", "SW1 is a button: it has no level"),
        ("b", "set SW1 = high", "press it: `press SW1 for 5 ms`"),
        ("b", "show now: SW2", "SW2 is a switch: it has no level"),
        ("b", "set SW3 = 1", "flip it: `flip SW3 down`"),
        ("b", "expect R1 is low", "R1 is a part without a level of its own"),
        ("b", "expect U1 = 3", "U1 is a chip, 74HC14: it has no level"),
        ("b", "expect J1 = 3", "J1 is a connector: it has no level"),
        ("two", "expect A = 3", "A is a board: it has no level"),
    ] {
        fs::write(folder.path().join("m.board"), format!("{board}trial t on {on} {{ {step} }}\n")).expect("written");
        let (code, _, err) = ask(folder.path(), "run m.board t");
        assert!(code == 2 && err.contains(told), "{step}: {err}");
    }
}
