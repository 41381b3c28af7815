//! An output is connected to a supply rail.
//!
//! # What it finds
//!
//! Outputs (push-pull, three-state, and pins that are input and output) on a net that is a rail. A pin that never
//! drives, because its enable or direction is tied to the rail that keeps it off, is right there: unused ports of a
//! transceiver are tied like that. So is an open-drain output on ground.
//!
//! # Why it hurts
//!
//! As soon as the output wants the other level, it is shorted to the supply: it carries the most that its transistor
//! can, gets hot, and dies; the rail dips for everything else.
//!
//! # Cure
//!
//! Take the output off the rail. Where a fixed level is wanted, connect the input that listens to the rail instead.
//!
//! # Example
//!
//! ```text
//! U1 74HC00 { 1A = a   1B = b   1Y = GND }      # 1B and 1Y were swapped
//! ```
//!
//! # Source
//!
//! Fairchild DS006494 (7404: output current into a short circuit, one output at a time); Philips 9397 750 14502
//! (74HC245: 35 mA for each output is the absolute maximum).

use crate::check::{Finding, Rule, Subject, page};
use crate::diagnostic::Diagnostic;
use crate::part::PinKind;
use crate::quantity::Voltage;

pub(crate) const RULE: Rule = Rule {
    name: "output-on-rail",
    summary: "An output is connected to a supply rail.",
    documentation: page!("output_on_rail.rs"),
    find,
};

fn find(subject: &Subject<'_>, findings: &mut Vec<Finding>) {
    let circuit = subject.circuit;
    for (key, chip) in circuit.chips.iter() {
        let off = super::disabled_outputs(circuit, chip);
        for (bit, &pin) in chip.part.function.outputs.iter().enumerate() {
            let Some(net) = chip.nets[pin].map(|net| &circuit.nets[net]) else {
                continue;
            };
            // Where a cable brings the rail, `rail-on-signal` speaks.
            let mut signals = net.signals_on_rail();
            let misled = signals.any(|(board, _)| *board == chip.board);
            let Some(rail) = net.rail.filter(|_| !misled) else {
                continue;
            };
            let row = &chip.part.pins[pin];
            let never = (off.value & !off.unknown) >> bit & 1 == 1;
            if never || row.kind == PinKind::OpenDrain && rail.declared == Voltage::ZERO {
                continue;
            }
            let words = super::pin_in_words(circuit, key, pin);
            let problem = Diagnostic::error(RULE.name, format!("the output {words} is tied to the rail {}", net.path))
                .at(chip.span, format!("its {} can drive", row.name))
                .at(rail.span, "this rail")
                .note("as soon as it wants the other level it is shorted to the supply, gets hot and dies")
                .help("take it off the rail; for a fixed level connect the rail to the input that listens");
            findings.push(Finding::new(circuit, chip.board, circuit.pin_path(key, pin), problem));
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::check::rules::bench::{only, places};

    fn board(lines: &str) -> String {
        format!("board b {{ rail VCC 5 V  rail GND  {lines} }}")
    }

    fn found(lines: &str) -> Vec<String> {
        places("output-on-rail", &board(lines))
    }

    #[test]
    fn an_output_on_a_rail_is_found() {
        let finding = only("output-on-rail", &board("U1 74HC00 { 1A = a  1B = b  1Y = GND }"));
        assert_eq!(finding.place, "U1.1Y");
        assert_eq!(finding.diagnostic.message, "the output U1.1Y (pin 3) is tied to the rail GND");
        assert_eq!(found("U1 74HC574 { Q1 = VCC  /OE = e }"), ["U1.Q1: error"]);
    }

    #[test]
    fn inputs_and_pins_that_never_drive_may_be_on_a_rail() {
        assert!(found("U1 74HC00 { 1A = GND  1B = VCC  1Y = y }").is_empty());
        // Direction from A to B: the A side only listens.
        assert!(found("U1 74HC245 { DIR = VCC  /OE = GND  A8 = GND }").is_empty());
        assert_eq!(found("U1 74HC245 { DIR = VCC  /OE = GND  B8 = GND }"), ["U1.B8: error"]);
        assert_eq!(found("U1 74HC245 { DIR = d  /OE = GND  A8 = GND }"), ["U1.A8: error"]);
    }

    #[test]
    fn open_drain_may_be_on_ground_only() {
        assert!(found("U1 74HC05 { 1A = a  1Y = GND }").is_empty());
        assert_eq!(found("U1 74HC05 { 1A = a  1Y = VCC }"), ["U1.1Y: error"]);
    }
}
