//! Command lines: an argument a line, in a folder with a design, a part, an image and journals.

use super::process::{Ended, ask, folder};

const FILES: &[(&str, &str)] = &[
    (
        "x.board",
        r#"use "p.part"
contents rom { file "r.hex" }
board counter "four bits" {
    rail VCC 5 V
    rail GND
    feed U1, U2 from VCC GND
    connector CONTROL header-1x6 { 1 clk  2 /reset  3 carry  4 GND  5 VCC  6 y }
    U1 74HC163 { CLK = clk  /CLR = /reset  /LOAD = VCC  ENP = VCC  ENT = VCC  [A..D] = GND  Q[A..D] = q[0..3]  RCO = carry }
    U2 own { A = carry  Y = y }
    C[1..2] capacitor 100 nF decouples U1..U2
}
board held {
    rail VCC 5 V
    rail GND
    feed U1 from VCC GND
    U1 28C256-15 holds rom { A[0..14] = a[0..14]  DQ[0..7] = d[0..7]  /CE = GND  /OE = GND  /WE = VCC }
}
trial counts on counter {
    clock clk 1 MHz
    drive /reset low for 2 clocks
    set /reset = high
    expect q = 0
    run until carry is high within 20 clocks
}
trial fails on counter {
    clock clk 1 MHz
    expect q = 3 within 2 clocks
}
"#,
    ),
    (
        "p.part",
        "part own { package DIP8 { 1 A in 2 Y out 8 VCC power 4 GND ground } Y = not A table { A | Y\n L | H\n H | L\n } }\n",
    ),
    ("broken.board", "board b { rail VCC 5\n"),
    ("r.hex", ":0400000001020304F2\n:00000001FF\n"),
    ("j.journal", "{\"coldboard\":\"0.1.0\"}\n"),
];

/// Words of the commands that may run for long because they are asked to.
const SLOW: &[&str] = &["sweep", "refit", "random"];

/// One argument a line. What could lead out of the folder is left out: a mutated path must not meet somebody's files.
fn arguments(input: &[u8]) -> Vec<String> {
    let text = String::from_utf8_lossy(input);
    let lines = text.lines().map(|line| line.replace('\0', ""));
    let leads_out = |line: &String| {
        line.starts_with(['/', '~'])
            || line.trim_end().ends_with("..")
            || ["=/", "../", ",/"].iter().any(|way| line.contains(way))
    };
    lines.filter(|line| !leads_out(line)).take(40).collect()
}

fn run(input: &[u8]) -> Ended {
    let folder = folder(FILES);
    let arguments = arguments(input);
    let slow = arguments.iter().any(|word| SLOW.iter().any(|slow| word.contains(slow)));
    ask(folder.path(), &arguments, b"\n2\nq\nwhy q0\ngo\n", slow)
}

pub(crate) fn one(input: &[u8]) {
    let ended = run(input);
    if ended.code == Some(2) {
        // An answer for a program tells its problems itself.
        let told = ended.out + &ended.err;
        assert!(!told.trim().is_empty(), "nothing is told");
    }
}

/// A seed can be done, whether or not everything holds.
pub(crate) fn accepted(input: &[u8]) {
    let ended = run(input);
    assert!(matches!(ended.code, Some(0 | 1)), "{:?} {}", ended.code, ended.err);
}
