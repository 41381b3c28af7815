//! Lit LEDs, volts and milliamperes in trials. Expected values by hand, from the lines of `electrical::led` and the sheets.

use super::texts::{open, prepared, ran};

/// Four LEDs on a driven bus, one with its resistor to a rail; an open-drain output with a pull-up; a divider.
const BOARD: &str = "board b {
    rail VCC 5 V
    rail GND
    feed U1, U2 from VCC GND
    connector J1 header-1x10 { 1 VCC  2 GND  3..6 a[0..3]  7 en  8 go  9 half  10 /low }
    U1 74HC541 {
        /OE1 = en  /OE2 = GND  A[1..4] = a[0..3]  A[5..8] = GND  Y[1..4] = y[0..3]  Y[5..8] = open
    }
    U2 74LS05 { 1A = go  1Y = /low  [2..6]A = GND  [2..6]Y = open }
    R1 resistor 1 kohm { 1 = VCC  2 = /low }
    R2 resistor 1 kohm { 1 = VCC  2 = half }
    R3 resistor 1 kohm { 1 = half  2 = GND }
    D[0..3] led red 1 kohm { anode = y[0..3]  cathode = GND }
    D4 led red 100 kohm { anode = VCC  cathode = GND }
}";

fn text(trial: &str) -> String {
    format!("{BOARD} trial t on b {{ {trial} }}")
}

const BEGIN: &str = "set a = 5 set en = low set go = low run for 1 us";

#[test]
fn lit_leds_are_a_number_and_go_dark_with_their_bus() {
    let trial = format!(
        "{BEGIN} expect D0 is lit expect D1 is dark expect D[0..3] = 5 expect D[0..3] != 4 expect not D[0..3] is lit
        set a = 15 expect D[0..3] is lit within 1 us
        set en = high expect D[0..3] = 0 within 1 us expect D[0..3] is dark"
    );
    for untimed in [false, true] {
        let report = ran(&text(&trial), untimed);
        assert!(report.passed, "{:?}", report.failures);
        assert_eq!(report.expectations_passed, 8);
    }
}

#[test]
fn a_lamp_between_two_rails_is_neither_lit_nor_dark_by_its_resistor() {
    // (5 V - 2.33 V) / 100 kohm = 27 uA at least, (5 V - 1.5 V) / 100 kohm = 35 uA at most: less than 0.5 mA.
    let report = ran(&text(&format!("{BEGIN} expect D4 is dark show now: D4, D4 as current")), false);
    assert!(report.passed, "{:?}", report.failures);
    assert_eq!(report.tables[0].rows[0].1, ["dark", "0.03 mA"]);
}

#[test]
fn volts_are_a_range_from_the_weakest_part_to_the_strongest() {
    // Two equal resistors from 5 V; the inputs on it are none.
    let report = ran(&text(&format!("{BEGIN} expect half between 2.49 V and 2.51 V show now: half as volts")), false);
    assert!(report.passed, "{:?}", report.failures);
    assert_eq!(report.tables[0].rows[0].1, ["2.5 V"]);
    // A rail has the voltage of its supply.
    let report =
        ran(&text(&format!("{BEGIN} expect U1.VCC between 4.75 V and 5.25 V show now: U1.VCC as volts")), false);
    assert!(report.passed, "{:?}", report.failures);
    assert_eq!(report.tables[0].rows[0].1, ["5 V"]);
    // The open collector: off, 1 kohm brings it to 5 V but for its leakage, 100 uA at most (74LS05: IOH): 4.9 V; on, it takes
    // (5 - 0.5) V / 1 kohm = 4.5 mA, at which the sheet gives 0.4 V at 4 mA to 0.5 V at 8 mA.
    let report = ran(
        &text(&format!(
            "{BEGIN} expect /low between 4.89 V and 5 V set go = high run for 1 us expect /low between 0 V and 0.5 V
            expect not /low between 4 V and 5 V"
        )),
        false,
    );
    assert!(report.passed, "{:?}", report.failures);
}

/// A red LED on 5 V by 1 kohm: 1.5 V and 10 ohm at most light give (5 - 1.5) / 1010 = 3.47 mA from the strongest output; the
/// darkest lamp, 2.33 V and 33 ohm, at an output that gives 3.84 V or more at 4 mA (74HC at 4.5 V: VOH 3.84 V).
#[test]
fn currents_of_leds_are_a_range() {
    let report = ran(&text(&format!("{BEGIN} show now: D0 as current, D1 as current")), false);
    let cells = &report.tables[0].rows[0].1;
    let (least, most) = cells[0].trim_end_matches(" mA").split_once(" to ").expect("a range");
    let (least, most): (f64, f64) = (least.parse().expect("a number"), most.parse().expect("a number"));
    assert_eq!(most, 3.47);
    // Between that of 3.84 V and that of 5 V.
    let (low, high) = ((3.84 - 2.33) / 1.033, (5.0 - 2.33) / 1.033);
    assert!(low <= least && least <= high, "{low} {least} {high}");
    assert_eq!(cells[1], "0 mA");
}

#[test]
fn what_is_not_known_is_neither() {
    // Before anything is set, the inputs are unknown: so are the LEDs.
    let report = ran(&text("set en = low run for 1 us expect not D0 is lit expect not D0 is dark show now: D0"), false);
    let found: Vec<&str> = report.failures.iter().map(|failure| failure.found.as_str()).collect();
    assert_eq!(found.len(), 2, "{found:?}");
    assert_eq!(report.tables[0].rows[0].1, ["lit or dark"]);
}

/// Between two outputs of unknown level an LED may be lit: one of them high, the other one low.
#[test]
fn a_lamp_between_two_unknown_outputs_may_be_lit() {
    let board = "board b {
        rail VCC 5 V
        rail GND
        feed U1 from VCC GND
        connector J1 header-1x04 { 1 VCC  2 GND  3 a  4 b }
        U1 74HC14 { 1A = a  1Y = x  2A = b  2Y = y  [3..6]A = GND  [3..6]Y = open }
        D1 led red 1 kohm { anode = x  cathode = y }
    }";
    let trial = |body: &str| format!("{board} trial t on b {{ {body} }}");
    let report = ran(&trial("run for 1 us show now: D1"), false);
    assert_eq!(report.tables[0].rows[0].1, ["lit or dark"]);
    let levels =
        "set a = low set b = high run for 1 us expect D1 is lit set a = high set b = low run for 1 us expect D1 is dark
        set a = low run for 1 us expect D1 is dark";
    let report = ran(&trial(levels), false);
    assert!(report.passed, "{:?}", report.failures);
}

/// A board whose switch is open has no voltage; a trial drives a net to the supply of the chips on it, not to the highest.
#[test]
fn a_rail_that_is_off_and_two_supplies_are_told_apart() {
    let board = "board b {
        rail IN 12 V
        rail VCC 5 V
        rail GND
        feed U1 from VCC GND
        connector J1 header-1x06 { 1 VCC  2 GND  3 IN  4 a  5 y  6 GND }
        U1 74HC14 { 1A = a  1Y = y  [2..6]A = GND  [2..6]Y = open }
        R1 resistor 10 kohm { 1 = a  2 = GND }
    }
    trial t on b { set a = high run for 1 us expect a between 4.9 V and 5.1 V show now: a as volts, IN as volts }";
    let report = ran(board, false);
    assert!(report.passed, "{:?}", report.failures);
    assert_eq!(report.tables[0].rows[0].1, ["5 V", "12 V"]);
}

#[test]
fn mistakes_are_found_before_anything_runs() {
    let refused = |trial: &str, wanted: &str| {
        let mut project = open(&text(trial));
        assert_eq!(prepared(&mut project).expect_err("mistakes"), [wanted], "{trial}");
    };
    refused("expect R1 is lit", "R1 | `R1` is no LED");
    refused("expect D[0..3] = 16", "D[0..3] = 16 | LEDs are compared with a number of 4 bits");
    refused("show now: D[0..3] as current", "D[0..3] | each LED has a current of its own");
    refused("expect half between 3 V and 2 V", "3 V and 2 V | this range runs down");
    refused("expect half between 3 mA and 2 V", "3 mA | a voltage is wanted here");
}

#[test]
fn readings_are_answered_while_stepping() {
    let folder = tempfile::tempdir().expect("a folder");
    let text = text("set a = 5 set en = low clock go 1 MHz run for 3 clocks");
    std::fs::write(folder.path().join("d.board"), text).expect("written");
    let output = assert_cmd::Command::cargo_bin("coldboard")
        .expect("the program")
        .current_dir(folder.path())
        .args(["run", "d.board", "--step"])
        .write_stdin("half as volts\nD[0..3]\nD1 as current\nuntil D0 is lit\nquit\n")
        .output()
        .expect("it ran");
    let out = String::from_utf8(output.stdout).expect("text");
    assert!(out.contains("half as volts=2.5 V"), "{out}");
    assert!(out.contains("D[0..3]=5"), "{out}");
    assert!(out.contains("D1 as current=0 mA"), "{out}");
}
