//! Boards with chips and rails that nothing feeds.

use crate::check::rules::bench::{only, places};

fn found(text: &str) -> Vec<String> {
    places("chip-not-fed", text)
}

#[test]
fn a_chip_outside_every_feed_line_is_found_and_one_inside_is_not() {
    let text = "board b { rail VCC 5 V  rail GND  feed U1 from VCC GND
                        U1 74HC04 { 1A = GND }  U2 74HC04 { 1A = GND } }";
    let finding = only("chip-not-fed", text);
    assert_eq!(finding.place, "U2");
    assert_eq!(
        finding.diagnostic.message,
        "the supply pins VCC (pin 14) and GND (pin 7) of U2 are connected to nothing"
    );
    assert_eq!(
        finding.diagnostic.help.as_deref(),
        Some("write `feed U2 from VCC GND`, with the names of the board's rails")
    );
}

#[test]
fn a_supply_pin_on_a_signal_is_found() {
    let text = "board b { rail VCC 5 V  rail GND  U1 74HC04 { VCC = vcc  GND = GND } }";
    let finding = only("chip-not-fed", text);
    assert_eq!(finding.place, "U1");
    assert_eq!(finding.diagnostic.message, "the supply pin VCC (pin 14) of U1 is on vcc, which is no rail");
}

#[test]
fn swapped_and_joined_supply_pins_are_found() {
    let rails = "rail VCC 5 V  rail GND";
    let swapped = only("chip-not-fed", &format!("board b {{ {rails} U1 74HC04 {{ VCC = GND  GND = VCC }} }}"));
    assert_eq!(swapped.diagnostic.message, "U1 is fed backwards: its power is on GND, its ground on VCC");
    let joined = only("chip-not-fed", &format!("board b {{ {rails} U1 74HC04 {{ VCC = VCC  GND = VCC }} }}"));
    assert_eq!(joined.diagnostic.message, "power and ground of U1 are both on VCC");
}

#[test]
fn a_voltage_far_from_the_figures_is_found() {
    let at = |number: &str, volts: &str| {
        found(&format!("board b {{ rail VCC {volts} V  rail GND  feed U1 from VCC GND  U1 {number} {{ }} }}"))
    };
    // The test parts: HC at 4.5 V, so 3.375 V to 5.625 V pass; LS at 5 V, so 3.75 V to 6.25 V.
    for (number, volts) in [("74HC04", "5"), ("74HC04", "5.625"), ("74HC04", "3.375"), ("74LS04", "5.5")] {
        assert!(at(number, volts).is_empty(), "{number} at {volts} V");
    }
    for (number, volts) in [("74HC04", "12"), ("74HC04", "5.63"), ("74LS04", "3.3"), ("74HC04", "3.37")] {
        assert_eq!(at(number, volts), ["U1: error"], "{number} at {volts} V");
    }
}

#[test]
fn a_rail_that_no_supply_reaches_is_one_finding() {
    let board = "board b { rail VCC 5 V  rail GND  feed U1..U3 from VCC GND
                         connector P header-1x2 { 1 VCC 2 GND }  U1..U3 74HC04 { 1A = GND } }";
    let text = format!(
        "{board} assembly two {{ A, B: b  supply PS1 5 V 1 A {{ plus = A.P.1  minus = A.P.2  minus = B.P.2 }} }}"
    );
    let finding = only("chip-not-fed", &text);
    assert_eq!(finding.place, "B.VCC");
    assert_eq!(
        finding.diagnostic.message,
        "no supply reaches the rail B.VCC: the chips B.U1, B.U2 and B.U3 cannot work"
    );
    let cabled = format!(
        "{board} assembly two {{ A, B: b  cable W1 ribbon 100 mm {{ A.P, B.P }}
            supply PS1 5 V 1 A {{ plus = A.P.1  minus = A.P.2 }} }}"
    );
    assert!(found(&cabled).is_empty());
}

#[test]
fn a_rail_that_nothing_brings_to_the_board_is_found() {
    let board = |way: &str| {
        format!(
            "board b {{ rail VCC 5 V  rail VCC2 5 V  rail GND
                     feed U1, U2 from VCC GND  feed U3 from VCC2 GND
                     connector P header-1x3 {{ 1 VCC  2 GND  3 more }}  {way}
                     U1..U3 74HC04 {{ 1A = GND }} }}"
        )
    };
    let finding = only("chip-not-fed", &board(""));
    assert_eq!(finding.place, "VCC2");
    assert_eq!(finding.diagnostic.message, "the rail VCC2 feeds U3, but nothing brings it to the board");
    for way in [
        "connector Q header-1x1 { 1 VCC2 }",
        "SW1 switch { 1 = VCC  2 = VCC2 }",
        "SW1 changeover { common = VCC2  up = VCC  down = GND }",
        "R1 resistor 1 ohm { 1 = VCC  2 = raw }  SW1 switch { 1 = raw  2 = VCC2 }",
    ] {
        assert!(found(&board(way)).is_empty(), "{way}");
    }
    for way in [
        "R1 resistor 1 kohm { 1 = VCC  2 = VCC2 }",
        "SW1 switch { 1 = GND  2 = VCC2 }",
        "C1 capacitor 100 nF { 1 = VCC  2 = VCC2 }",
    ] {
        assert_eq!(found(&board(way)), ["VCC2: error"], "{way}");
    }
    // A board without a connector is a sketch on the bench.
    let sketch = "board b { rail VCC 5 V  rail GND  feed U1 from VCC GND  U1 74HC04 { 1A = GND } }";
    assert!(found(sketch).is_empty());
}

#[test]
fn a_rail_with_lamps_only_is_told_as_well() {
    let text = |wires: &str| {
        format!(
            "board b {{ rail VCC 5 V  rail GND  feed U1 from VCC GND
                     connector P header-1x3 {{ 1 VCC 2 GND 3 y }}  U1 74HC04 {{ 1A = GND  1Y = y }} }}
                 board l {{ rail VCC 5 V  rail GND  connector P header-1x3 {{ 1 VCC 2 GND 3 y }}
                     D1 led red 1 kohm {{ anode = VCC  cathode = y }} }}
                 assembly a {{ A: b  B: l  cable W1 jumper 100 mm {{ {wires} A.P.3 to B.P.3 }}
                     supply PS1 5 V 1 A {{ plus = A.P.1  minus = A.P.2 }} }}"
        )
    };
    assert_eq!(found(&text("")), ["B.VCC: warning"]);
    assert!(found(&text("A.P.1 to B.P.1")).is_empty());
}

#[test]
fn a_rail_behind_a_switch_is_fed_in_an_assembly() {
    let text = |way: &str| {
        format!(
            "board b {{ rail VIN 5 V  rail VCC 5 V  rail GND  feed U1 from VCC GND
                     connector P header-1x2 {{ 1 VIN 2 GND }}  {way}  U1 74HC04 {{ 1A = GND }} }}
                 assembly a {{ A: b  supply PS1 5 V 1 A {{ plus = A.P.1  minus = A.P.2 }} }}"
        )
    };
    assert!(found(&text("SW1 switch { 1 = VIN  2 = VCC }")).is_empty());
    assert!(found(&text("F1 resistor 100 mohm { 1 = VIN  2 = VCC }")).is_empty());
    assert_eq!(found(&text("")), ["A.VCC: error"]);
    assert_eq!(found(&text("R1 resistor 100 ohm { 1 = VIN  2 = VCC }")), ["A.VCC: error"]);
}

#[test]
fn a_board_alone_counts_as_fed_and_a_part_of_formulas_needs_nothing() {
    let text = "part F { package DIP8 { 1 A in 2 Y out } Y = A }
                    board b { rail VCC 5 V  rail GND  feed U1 from VCC GND
                              U1 74HC04 { }  U2 F { A = a  Y = b } }";
    assert!(found(text).is_empty());
}
