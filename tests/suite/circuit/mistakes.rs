//! What is wrong with a design, word for word.

use super::{TWO, elaborated, on_board, problems};

#[test]
fn unknown_parts_and_pins_offer_the_near_name() {
    assert_eq!(
        on_board("U1 lach { } R1 resitor 1 kohm { } U2 qqqqqqq { }"),
        [
            "unknown-part: there is no part `lach` in the library or the design | `lach` not known \
             | help: did you mean `latch`?",
            "unknown-part: there is no part `resitor` in the library or the design | `resitor` not known \
             | help: did you mean `resistor`?",
            "unknown-part: there is no part `qqqqqqq` in the library or the design | `qqqqqqq` not known \
             | help: write a number such as 74HC574, or describe the part in the design: `part NAME { ... }`",
        ]
    );
    assert_eq!(
        on_board("U1 latch { OE = GND  D = m[0..7]  21 = m0  zz = x }"),
        [
            "unknown-pin: latch has no pin `OE` | `OE` no such pin | help: did you mean `/OE`?",
            "unknown-pin: latch has no pin `D` | `D` no such pin \
             | help: `D` is a row of 8 pins: write each with its index",
            "unknown-pin: latch has no pin 21 | `21` no such pin | help: its pins are 1 to 20",
            "unknown-pin: latch has no pin `zz` | `zz` no such pin \
             | help: its pins are /OE, D1, D2, D3, D4, D5, D6, D7, D8, GND, CLK, Q8, Q7, Q6, Q5, Q4 and 4 more",
        ]
    );
    assert_eq!(
        on_board("D1 led red { plus = a  3 = b }"),
        [
            "unknown-pin: led has no pin `plus` | `plus` no such pin | help: its pins are anode, cathode",
            "unknown-pin: led has no pin 3 | `3` no such pin | help: its pins are 1 to 2",
        ]
    );
}

#[test]
fn numbers_of_pins_and_nets_must_match() {
    assert_eq!(
        on_board("U1 latch { D[1..8] = m[0..6] }"),
        ["count: 8 pins, 7 nets | `D[1..8] = m[0..6]` these do not match \
          | pins: pin 2 (D1), pin 3 (D2), pin 4 (D3), pin 5 (D4), pin 6 (D5), pin 7 (D6), pin 8 (D7), pin 9 (D8) \
          | nets: m0, m1, m2, m3, m4, m5, m6 | help: name one net for each pin, or one net for all"]
    );
    assert_eq!(
        on_board("D[0..2] led red { anode = (a, b)  cathode = GND }"),
        ["count: 3 parts with 1 pin each, 2 nets | `anode = (a, b)` these do not match | parts: D0, D1, D2 \
          | pins: the anode | nets: a, b | help: name one net for each pin, or one net for all"]
    );
    assert_eq!(
        on_board("connector J1 header-1x4 { 1..3 a[0..1]  4 x }"),
        ["count: 3 pins, 2 labels, 2 nets | `1..3` these pins | `a[0..1]` these labels \
          | pins: 1, 2, 3 | labels: a0, a1 | help: write one label for each pin, or one for all"]
    );
}

#[test]
fn a_pin_has_one_net() {
    assert_eq!(
        on_board("U1 inverter { A = a  1 = b  Y = a  2 = a }"),
        ["wired-twice: pin 1 (A) of U1 is wired twice | `1 = b` to b here | `A = a` to a here \
          | help: keep one of the two, or give both nets the same name"]
    );
    assert_eq!(
        on_board("U1 inverter { A = open  1 = b }"),
        ["wired-twice: pin 1 (A) of U1 is wired twice | `1 = b` to b here | `open` open here \
          | help: keep one of the two, or give both nets the same name"]
    );
    assert_eq!(
        on_board("feed U1 from VCC GND  U1 inverter { 8 = GND }"),
        ["wired-twice: pin 8 (VCC) of U1 is wired twice | `VCC` to VCC here | `8 = GND` to GND here \
          | help: keep one of the two, or give both nets the same name"]
    );
    assert_eq!(
        on_board("connector J1 header-1x2 { 1 a  1 b  3 c }"),
        [
            "wired-twice: pin 1 of J1 is described twice | `1` again here | help: take one of the two lines away",
            "unknown-pin: J1 has no pin 3 | `3` no such pin | help: header-1x2 has pins 1 to 2",
        ]
    );
}

#[test]
fn values_fit_their_kind() {
    assert_eq!(
        on_board("R1 resistor { } D1 led red 100 nF { } D2 led { } C1 capacitor 0 nF { } SW1 button 5 V { }"),
        [
            "value: this resistor lacks a resistance | `R1 resistor` this one \
             | help: write it as in `R1 resistor 10 kohm { 1 = VCC  2 = /reset }`",
            "value: a capacitance does not belong to `led` | `100 nF` this value \
             | help: write it as in `D1 led red 680 ohm { anode = run  cathode = GND }`",
            "value: this led lacks a colour | `D2 led` this one \
             | help: write it as in `D1 led red 680 ohm { anode = run  cathode = GND }`",
            "value: a capacitance must be more than zero | `0 nF` this value \
             | help: write it as in `C1 capacitor 100 nF decouples U1`",
            "value: a voltage does not belong to `button` | `5 V` this value \
             | help: write it as in `SW1 button { 1 = /reset  2 = GND }`",
        ]
    );
    assert_eq!(
        on_board("RN1 network isolated 9 pins 1 kohm { } X1 can { } U1 inverter 1 MHz { } R1 resistor 1 ohm 2 ohm { }"),
        [
            "value: an isolated network has two pins for each resistor, so their number is even \
             | `RN1 network` this one \
             | help: write it as in `RN1 network bussed 9 pins 10 kohm { 1 = VCC  2..9 = m[0..7] }`",
            "value: this can swings by itself: at which frequency? | `X1 can` no frequency \
             | help: write it as in `X1 can 1 MHz { ... }`",
            "value: a frequency does not belong to inverter | `1 MHz` this value | help: take it away",
            "value: this resistor has a resistance twice | `2 ohm` this value \
             | help: write it as in `R1 resistor 10 kohm { 1 = VCC  2 = /reset }`",
        ]
    );
}

#[test]
fn feeds_name_chips_and_rails() {
    assert_eq!(
        on_board(
            "feed U9 from VCC GND  feed U1 from VC GND  feed U1 from GND VCC  feed R1 from VCC GND \
             U1 inverter { } R1 resistor 1 kohm { } C1 capacitor 1 nF decouples U2  rail VCC 3.3 V"
        ),
        [
            "unknown-reference: there is no chip U9 on this board | `U9` no such chip | help: did you mean `U1`?",
            "unknown-rail: VC is not a rail of this board | `VC` used as a rail | help: did you mean `VCC`?",
            "unknown-rail: this feeds chips with 0 V over 5 V | `GND` the rail for the power pins \
             | `VCC` the rail for the ground pins | help: name the positive rail first, then ground",
            "unknown-reference: R1 (resistor) is not a chip | `R1` no such chip | help: did you mean `U1`?",
            "unknown-reference: there is no chip U2 on this board | `U2` no such chip | help: did you mean `U1`?",
            "rail-twice: the rail VCC has two voltages | `VCC` 3.3 V here | `VCC` 5 V here \
             | help: keep one of the two lines, or give the second rail another name",
        ]
    );
}

#[test]
fn what_an_assembly_names_must_be_there() {
    let on_bench = |body: &str| {
        problems(&format!("{TWO} board wide {{ connector J1 header-1x3 {{ 1..3 GND }} }}\nassembly a {{ {body} }}"))
    };
    assert_eq!(
        on_bench("A: en  B: a  C: end  C: end"),
        [
            "unknown-board: there is no board en in the design | `en` no such board | help: did you mean `end`?",
            "unknown-board: a is an assembly; only boards can be put in place | `a` no such board \
             | help: describe it: `board a { ... }`",
            "name-twice: two boards are called C | `C` the second one | `C` the first one \
             | help: give each board in place a name of its own",
        ]
    );
    assert_eq!(
        on_bench("A: gone  B: end  cable W1 ribbon 1 mm { A.J1, B.J1 }"),
        ["unknown-board: there is no board gone in the design | `gone` no such board \
             | help: describe it: `board gone { ... }`"]
    );
    let cables = |wires: &str| on_bench(&format!("A, B: end  W: wide  cable W1 ribbon {wires}"));
    assert_eq!(
        cables("1 mm { A.J1, W.J1 }"),
        ["cable: W1 joins connectors of different size: A.J1 and W.J1 | `W.J1` 3 pins | `A.J1` 2 pins \
          | help: list its wires one by one: `A.J1.1 to B.J1.3`"]
    );
    assert_eq!(
        cables("3 way 1 mm { A.J1, B.J1 }"),
        ["cable: W1 has 3 ways, its connectors have 2 pins | `cable W1 ribbon 3 way 1 mm` 3 ways | `A.J1` 2 pins \
          | help: take a cable of as many ways, or list its wires one by one"]
    );
    assert_eq!(
        cables("1 mm reversed { A.J1, B.J1, B.J2 }"),
        ["cable: a reversed cable joins two connectors, W1 joins 3 | `cable W1 ribbon 1 mm` reversed \
          | help: list its wires one by one, or make it two cables"]
    );
    assert_eq!(
        cables("1 mm { A.J3, D.J1 }"),
        ["unknown-connector: A (end) has no connector J3 | `A.J3` no such connector | help: did you mean `J1`?"]
    );
    assert_eq!(
        cables("1 mm { A.J1.5 to B.J1.1  A.J1.VC to B.J1.1  A.J1 to B.J1.2  W.J1.GND to B.J1.2  Q.J1.1 to B.J1.2 }"),
        [
            "unknown-pin: A.J1 has no pin 5 | `A.J1.5` no such pin | help: its pins are 1 to 2",
            "unknown-pin: no pin of A.J1 has the label VC | `A.J1.VC` no such pin | help: did you mean `VCC`?",
            "unknown-pin: `A.J1` is a connector: which of its pins? | `A.J1` no pin is named \
             | help: write `A.J1.1`, or another of its 2 pins or labels",
            "unknown-pin: 3 pins have the label W.J1.GND | `W.J1.GND` a wire ends at one pin \
             | help: write its number, one of 1, 2, 3",
            "unknown-board: there is no board Q in this assembly | `Q.J1.1` no such board | help: put it in place: `Q: BOARD`",
        ]
    );
    assert_eq!(
        on_bench("A: end  supply PS1 5 V 1 A { plus = A.J1.1  minus = A.J1.3 }  supply PS2 0 V 1 A { plus = A.J1.1 }"),
        [
            "unknown-pin: A.J1 has no pin 3 | `A.J1.3` no such pin | help: its pins are 1 to 2",
            "supply: PS2 needs a voltage and a current above zero | `PS2 0 V 1 A` these values \
             | help: write them as in `5 V 1 A`",
        ]
    );
    assert_eq!(
        on_bench("A: end  supply PS1 5 V 1 A { plus = A.J1.1 }"),
        ["supply: the minus pole of PS1 is not connected | `PS1 5 V 1 A` this supply \
          | help: write `minus = A.POWER.1` in its block"]
    );
}

#[test]
fn the_design_to_make_is_the_one_named_or_the_only_one() {
    let message = |name: Option<&str>, text: &str| elaborated(name, text).1.concat();
    assert_eq!(message(None, ""), "unknown-design: the design has no board | help: write one: `board NAME { ... }`");
    assert_eq!(
        message(None, "board a { } board b { }"),
        "unknown-design: which one? the design has a, b | help: name the board or assembly"
    );
    assert_eq!(
        message(Some("bord"), "board board1 { }"),
        "unknown-design: there is no board or assembly `bord` in the design | help: did you mean `board1`?"
    );
    let (circuit, lines, _) = elaborated(Some("b"), "board a { U1 nonsense { } } board b { }");
    assert_eq!((circuit.expect("b is fine").name, lines.len()), ("b".to_owned(), 0));
}
