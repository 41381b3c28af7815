//! The lines of `coldboard run --step`, against a small machine with a bus, a memory, names and switches.

use super::process::{ask, folder};
use std::sync::LazyLock;
use tempfile::TempDir;

const DESIGN: &str = r#"
names steps { FETCH = 0  EXECUTE = 1..3  STOP = 7 }

board machine {
    rail VCC 5 V
    rail GND
    feed U1..U3 from VCC GND
    connector J1 header-1x4 { 1 clk  2 /reset  3 go  4 c }
    U1 74HC163 { CLK = clk  /CLR = /reset  /LOAD = VCC  ENP = go  ENT = VCC  [A..D] = GND  Q[A..D] = q[0..3]  RCO = carry }
    U2 6264-85 { A[0..3] = q[0..3]  A[4..12] = GND  DQ[0..7] = d[0..7]  /CS1 = GND  CS2 = VCC  /OE = /read  /WE = /write }
    U3 74HC14 { 1A = go  1Y = /read  2A = /read  2Y = /write  [3..6]A = GND }
    R1 resistor 10 kohm { 1 = go  2 = GND }
    RN1 network bussed 9 pins 10 kohm { 1 = GND  2..9 = d[0..7] }
    SW1 switch { 1 = go  2 = VCC }
    SW2 button { 1 = c  2 = VCC }
    SW3 changeover { common = c  up = VCC  down = GND }
    C[1..3] capacitor 100 nF decouples U1..U3
}

trial by_hand on machine {
    clock clk 1 MHz
    set d = 0x5A
    drive /reset low for 2 clocks
    set /reset = high
    show each clock: q as steps
    run for 30 clocks
}
"#;

static FOLDER: LazyLock<TempDir> = LazyLock::new(|| folder(&[("m.board", DESIGN)]));

fn run(input: &[u8]) -> super::process::Ended {
    // Each input has a folder of its own, so that cores do not meet.
    let place = tempfile::tempdir_in(FOLDER.path()).expect("a folder");
    let arguments = ["run", "../m.board", "--step"].map(str::to_owned);
    ask(place.path(), &arguments, input, false)
}

pub(crate) fn one(input: &[u8]) {
    let ended = run(input);
    // Whatever is typed, the trial is reported, at the end.
    assert!(ended.out.contains("by_hand"), "{}{}", ended.out, ended.err);
}

/// A seed asks for nothing that cannot be done: behind the greeting nothing is remarked but help.
pub(crate) fn accepted(input: &[u8]) {
    let ended = run(input);
    let remarks: Vec<&str> = (ended.err.lines())
        .filter(|line| !line.is_empty() && !line.starts_with("stepping: "))
        // Help is a table.
        .filter(|line| !line.starts_with("Enter ") && !line.starts_with("  "))
        .collect();
    assert!(remarks.is_empty(), "{remarks:?}");
}
