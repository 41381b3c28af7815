//! Inputs listen to a net that nothing drives.
//!
//! # What it finds
//!
//! Nets of two or more pins, inputs among them, on which there is no rail, no output, and no resistor or changeover
//! switch that leads to a net that is driven.
//!
//! - A button or switch drives only while it is closed: without a resistor the net floats while it is open.
//! - On a board that stands alone, whatever comes in by a connector counts as driven from outside.
//! - In an assembly all cables are there. An input behind a connector pin without a cable, or behind a cable at
//!   whose other end nothing drives, floats; a connector pin that is free makes it a warning only, because something
//!   may still be plugged in.
//!
//! An input that is alone on its net belongs to `single-pin-net`.
//!
//! # Why it hurts
//!
//! An undriven net drifts with the leakage of what is on it: 50 uA into 20 pF moves it by 0.8 V in 320 ns. Everything
//! that listens then reads it as high or low by chance, and CMOS inputs near their threshold draw a large supply current.
//!
//! # Cure
//!
//! Connect the output that was meant to drive it, or hold it at its idle level with a resistor of about 10 kohm to a
//! rail. Inputs that come from a connector deserve such a resistor on their own board: it holds when the cable is off.
//!
//! # Example
//!
//! ```text
//! SW1 button { 1 = /reset  2 = GND }              # nothing pulls /reset up while the button is open
//! U1 74HC574 { ... /OE = /reset ... }
//! ```
//!
//! # Source
//!
//! TI SCBA004 (floating buses: the figures of the drift, pull-up and pull-down resistors); TI SCASE25 (10 kohm for an input that is not
//! always driven).

use crate::check::{Finding, Rule, Subject, page};
use crate::circuit::{DiscreteKind, Net, NetKey};
use crate::diagnostic::Diagnostic;

pub(crate) const RULE: Rule = Rule {
    name: "net-without-driver",
    summary: "Inputs listen to a net that nothing drives.",
    documentation: page!("net_without_driver.rs"),
    find,
};

fn find(subject: &Subject<'_>, findings: &mut Vec<Finding>) {
    let circuit = subject.circuit;
    let driven = super::driven_nets(circuit, &subject.operating_point);
    for (key, net) in circuit.nets.iter() {
        if !driven[key] && super::pins_on(net) > 1 {
            findings.extend(report(subject, key, net));
        }
    }
}

fn report(subject: &Subject<'_>, key: NetKey, net: &Net) -> Option<Finding> {
    let circuit = subject.circuit;
    let loads: Vec<_> =
        (net.chip_pins.iter()).filter(|(chip, pin)| circuit.chips[*chip].part.pins[*pin].is_input()).collect();
    let &(first, pin) = *loads.first()?;
    let words: Vec<String> = (loads.iter()).map(|(chip, pin)| super::pin_in_words(circuit, *chip, *pin)).collect();
    let contacts: Vec<&str> = (net.discrete_pins.iter())
        .map(|(discrete, _)| &circuit.discretes[*discrete])
        .filter(|discrete| is_contact(&discrete.kind))
        .map(|discrete| discrete.path.as_str())
        .collect();
    let free: Vec<String> = (net.connector_pins.iter())
        .filter(|(connector, pin)| circuit.connectors[*connector].pins[*pin].cables.is_empty())
        .map(|(connector, pin)| circuit.connector_pin_path(*connector, *pin))
        .collect();
    let listen = if words.len() == 1 { "listens" } else { "listen" };
    let heard = format!("{} {listen}", super::list(&words));
    let (message, help) = if !contacts.is_empty() {
        (
            format!("nothing drives {} while {} is open, and {heard}", net.path, super::list(&contacts)),
            "add a resistor of about 10 kohm from it to the rail of its idle level".to_owned(),
        )
    } else if !free.is_empty() {
        (
            format!("nothing in this assembly drives {}, and {heard}", net.path),
            format!("plug a cable to {}, or hold the net with a resistor of about 10 kohm", super::list(&free)),
        )
    } else {
        (
            format!("nothing drives {}, and {heard}", net.path),
            "connect the output that was meant to drive it, or tie it to a rail".to_owned(),
        )
    };
    let new = if contacts.is_empty() && !free.is_empty() { Diagnostic::warning } else { Diagnostic::error };
    let problem = new(RULE.name, message)
        .at(net.span, "no driver")
        .at(circuit.chips[first].span, format!("{} listens", circuit.pin_path(first, pin)))
        .note(super::why_open(&circuit.chips[first]))
        .help(help);
    let idle: Vec<String> = (subject.operating_point.nets[key].drivers.iter())
        .map(|driver| super::pin_in_words(circuit, driver.chip, driver.pin))
        .collect();
    let problem = if idle.is_empty() {
        problem
    } else {
        let never = if idle.len() == 1 { "never drives" } else { "never drive" };
        problem.note(format!("{} {never}: rails on the enable or direction keep that", super::list(&idle)))
    };
    Some(Finding::new(circuit, super::board_of(net), net.path.clone(), problem))
}

fn is_contact(kind: &DiscreteKind) -> bool {
    matches!(kind, DiscreteKind::Button | DiscreteKind::Switch | DiscreteKind::Changeover)
}

#[cfg(test)]
mod tests {
    use crate::check::rules::bench::{only, places};

    fn found(text: &str) -> Vec<String> {
        places("net-without-driver", text)
    }

    fn board(lines: &str) -> String {
        format!("board b {{ rail VCC 5 V  rail GND  {lines} }}")
    }

    const LISTENERS: &str = "U1..U2 74HC04 { 1A = x }";

    #[test]
    fn inputs_among_themselves_are_found() {
        let finding = only("net-without-driver", &board(LISTENERS));
        assert_eq!(finding.place, "x");
        assert_eq!(finding.diagnostic.message, "nothing drives x, and U1.1A (pin 1) and U2.1A (pin 1) listen");
    }

    #[test]
    fn an_output_a_rail_or_a_resistor_to_one_drives() {
        for driver in [
            "U3 74HC04 { 1Y = x }",
            "U3 74HC574 { Q1 = x }",
            "U3 74HC05 { 1Y = x }",
            "R1 resistor 10 kohm { 1 = x  2 = VCC }",
            "R1 resistor 10 kohm { 1 = y  2 = x }  R2 resistor 1 kohm { 1 = GND  2 = y }",
            "RN1 network 10 kohm bussed 5 pins { 1 = VCC  2 = a  3 = x }",
            "RN1 network 10 kohm bussed 5 pins { 1 = c  2 = VCC  3 = x }",
            "RN1 network 10 kohm isolated 4 pins { 3 = VCC  4 = x }",
            "SW1 changeover { common = x  up = VCC  down = GND }",
            "SW1 button { 1 = x  2 = GND }  R1 resistor 10 kohm { 1 = x  2 = VCC }",
            "connector J header-1x1 { 1 x }",
        ] {
            assert!(found(&board(&format!("{LISTENERS} {driver}"))).is_empty(), "{driver}");
        }
    }

    #[test]
    fn what_only_sometimes_leads_to_a_level_does_not_drive() {
        for nearly in [
            "SW1 button { 1 = x  2 = GND }",
            "SW1 switch { 1 = x  2 = GND }",
            "SW1 changeover { common = x  up = VCC }",
            "SW1 changeover { common = GND  up = x  down = y }",
            "D1 led red { anode = VCC  cathode = x }",
            "C1 capacitor 100 nF { 1 = VCC  2 = x }",
            "TP1 testpoint { 1 = x }",
            "R1 resistor 10 kohm { 1 = y  2 = x }",
            "RN1 network 10 kohm isolated 4 pins { 2 = VCC  3 = x }",
        ] {
            assert_eq!(found(&board(&format!("{LISTENERS} {nearly}"))), ["x: error"], "{nearly}");
        }
        let finding = only("net-without-driver", &board("U1 74HC04 { 1A = x }  SW1 button { 1 = x  2 = GND }"));
        assert_eq!(finding.diagnostic.message, "nothing drives x while SW1 is open, and U1.1A (pin 1) listens");
    }

    #[test]
    fn an_assembly_knows_what_its_cables_bring() {
        let boards = "board in { connector J header-1x1 { 1 x }  U1 74HC04 { 1A = x } }
                      board out { connector J header-1x1 { 1 x }  U1 74HC04 { 1A = y  1Y = x }  R1 resistor 1 kohm { 1 = y  2 = x } }
                      board bare { connector J header-1x1 { 1 x } }";
        let with = |lines: &str| format!("{boards} assembly a {{ {lines} }}");
        assert!(found(&with("A: in  B: out  cable W1 ribbon 100 mm { A.J, B.J }")).is_empty());
        assert_eq!(found(&with("A: in  B: bare  cable W1 ribbon 100 mm { A.J, B.J }")), ["A.x: error"]);
        let unplugged = with("A: in  B: out");
        assert_eq!(found(&unplugged), ["A.x: warning"]);
        assert_eq!(
            only("net-without-driver", &unplugged).diagnostic.help.as_deref(),
            Some("plug a cable to A.J.1, or hold the net with a resistor of about 10 kohm")
        );
    }

    #[test]
    fn a_net_without_listeners_or_of_one_pin_is_none_of_this_rule() {
        assert!(found(&board("U1 74HC04 { 1A = x }")).is_empty());
        assert!(found(&board("R1 resistor 1 kohm { 1 = x  2 = y }  R2 resistor 1 kohm { 1 = x  2 = y }")).is_empty());
    }
}
