//! Resistors and capacitors that time a chip: what can be read, and what is said where it cannot.

use super::elaborated;
use coldboard::part::sheet::Pair;
use coldboard::quantity::{Capacitance, Resistance};

/// What is said of the parts of a board; it has a circuit all the same.
fn told(body: &str) -> Vec<String> {
    let (circuit, lines, _) = elaborated(None, &format!("board b {{ rail VCC 5 V  rail GND\n{body} }}"));
    assert!(circuit.is_some(), "{lines:?}");
    lines
}

/// A board with a 74LS123 whose second section rests.
fn found(parts: &str) -> Vec<String> {
    let body = format!(
        "feed U1 from VCC GND
         U1 74LS123 {{ 1REXT/CEXT = rc  1CEXT = c  2REXT/CEXT = open  2CEXT = open }} {parts}"
    );
    told(&body).iter().map(|line| line.split(" | ").next().unwrap_or_default().to_owned()).collect()
}

#[test]
fn one_resistor_and_one_capacitor_are_read() {
    let text = "board b { rail VCC 5 V  rail GND  feed U1 from VCC GND
        U1 74LS123 { 1REXT/CEXT = rc  1CEXT = c  2REXT/CEXT = open }
        TP1 testpoint { 1 = rc }
        R1 resistor 47 kohm { 1 = rc  2 = VCC }  C1 capacitor 2 uF { 1 = c  2 = rc } }";
    let (circuit, problems, _) = elaborated(None, text);
    assert_eq!(problems, Vec::<String>::new());
    let circuit = circuit.expect("a circuit");
    let pair =
        Some(Pair { resistance: Resistance::from_raw(47_000_000), capacitance: Capacitance::from_raw(2_000_000_000) });
    let chip = &circuit.chips[circuit.chip("U1").expect("U1")];
    // pulse1, pulse2, deaf1, deaf2.
    assert_eq!(chip.timing, [pair, None, pair, None]);
}

const R: &str = "R1 resistor 10 kohm { 1 = VCC  2 = rc }";
const C: &str = "C1 capacitor 1 uF { 1 = rc  2 = c }";

#[test]
fn what_cannot_be_read_is_told() {
    let unread = "timing: what stands at U1.1REXT/CEXT gives no time that can be read";
    for parts in [
        "".to_owned(),
        R.to_owned(),
        C.to_owned(),
        format!("{R} {C} C2 capacitor 1 uF {{ 1 = rc  2 = c }}"),
        format!("{R} {C} R2 resistor 10 kohm {{ 1 = rc  2 = VCC }}"),
        format!("{R} {C} U2 74LS04 {{ 1A = rc }}"),
        format!("{R} {C} D1 led red {{ anode = rc  cathode = GND }}"),
        // To ground instead of to the supply, and the capacitor elsewhere.
        format!("R1 resistor 10 kohm {{ 1 = GND  2 = rc }} {C}"),
        format!("{R} C1 capacitor 1 uF {{ 1 = rc  2 = GND }}"),
    ] {
        assert!(found(&parts).contains(&unread.to_owned()), "{parts}: {:?}", found(&parts));
    }
    assert_eq!(
        told("feed U1 from VCC GND U1 74LS123 { 2REXT/CEXT = open }")[0],
        "timing: nothing gives U1.1REXT/CEXT its time | `U1 74LS123` U1 is no resistor and no capacitor | help: put a \
         resistor from 1REXT/CEXT to the supply, and a capacitor from 1REXT/CEXT to 1CEXT; or write `1REXT/CEXT = open` \
         where it is not used"
    );
}

/// TI SDLS043: 5 to 260 kohm for the 74LS123, 5 to 50 kohm for the 74123; its formulas hold from 1000 pF up.
#[test]
fn values_that_the_sheet_does_not_speak_of_are_refused() {
    let with = |number: &str, resistor: &str, capacitor: &str| {
        let body = format!(
            "feed U1 from VCC GND
             U1 {number} {{ 1REXT/CEXT = rc  1CEXT = GND  2REXT/CEXT = open }}
             R1 resistor {resistor} {{ 1 = VCC  2 = rc }} C1 capacitor {capacitor} {{ 1 = rc  2 = GND }}"
        );
        told(&body).iter().any(|line| line.starts_with("timing: the sheet of"))
    };
    for (number, resistor, capacitor, refused) in [
        ("74LS123", "5 kohm", "1 uF", false),
        ("74LS123", "260 kohm", "100 nF", false),
        ("74LS123", "4.9 kohm", "1 uF", true),
        ("74LS123", "270 kohm", "1 uF", true),
        ("74LS123", "10 kohm", "470 pF", true),
        ("74123", "50 kohm", "1 nF", false),
        ("74123", "51 kohm", "1 nF", true),
        ("74123", "10 kohm", "100 pF", true),
    ] {
        assert_eq!(with(number, resistor, capacitor), refused, "{number} {resistor} {capacitor}");
    }
}

#[test]
fn an_oscillator_needs_a_junction_that_can_be_read() {
    let with = |parts: &str| {
        let body = format!("feed U1 from VCC GND U1 74HC4060 {{ PHII = in  /PHIO = r  PHIO = c  MR = GND }} {parts}");
        let found = told(&body);
        let found = found.iter().find(|line| line.starts_with("timing"));
        found.map(|line| line.split(" | ").next().unwrap_or_default().to_owned())
    };
    let parts = "R1 resistor 100 kohm { 1 = r  2 = j } C1 capacitor 1 nF { 1 = c  2 = j }";
    assert_eq!(with(&format!("{parts} R2 resistor 1 Mohm {{ 1 = j  2 = in }}")), None);
    assert_eq!(with("connector J1 header-1x2 { 1 in  2 GND }"), None);
    assert_eq!(with("R3 resistor 10 kohm { 1 = in  2 = GND }"), None);
    let unread = Some("timing: what stands at U1.PHII gives no frequency that can be read".to_owned());
    assert_eq!(with("R1 resistor 100 kohm { 1 = r  2 = j } R2 resistor 1 Mohm { 1 = j  2 = in }"), unread);
    assert_eq!(
        with(&format!("{parts} R2 resistor 1 Mohm {{ 1 = j  2 = in }} C2 capacitor 1 nF {{ 1 = j  2 = GND }}")),
        unread
    );
}
