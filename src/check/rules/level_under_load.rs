//! An LED or a resistor pulls a level away from what the next input needs.
//!
//! # What it finds
//!
//! Nets whose level the weakest output guarantees to all inputs, but not any longer with the LEDs and resistors that hang
//! on it as well. Lamps are taken that draw the most current.
//!
//! # Why it hurts
//!
//! The lamp shows the right thing while the chip behind it reads the wrong one, or reads it wrongly on a warm day. An
//! output that lights a lamp still has to give the next input its level.
//!
//! # Cure
//!
//! Take a larger resistor in series with the LED, light it from the supply and let the output pull it low, or give it
//! a gate of its own.
//!
//! # Example
//!
//! ```text
//! U1 74HC04 { 1A = a   1Y = run }
//! D1, D2 led red 330 ohm { anode = run   cathode = GND }      # leaves 3.4 V for inputs that need 3.5 V
//! U2 74HC04 { 1A = run   ... }
//! ```
//!
//! # Source
//!
//! TI SCLS131D (HC245: levels at 20 uA and at the rated current); GB-413 series and Vishay 83030 (LEDs).

use super::super::levels::{Cause, links_on, shortfalls, volts, word};
use crate::check::{Finding, Rule, Subject, page};
use crate::diagnostic::Diagnostic;

pub(crate) const RULE: Rule = Rule {
    name: "level-under-load",
    summary: "An LED or a resistor pulls a level away from what the next input needs.",
    documentation: page!("level_under_load.rs"),
    find,
};

fn find(subject: &Subject<'_>, findings: &mut Vec<Finding>) {
    let circuit = subject.circuit;
    for short in shortfalls(&subject.operating_point) {
        if short.cause != Cause::Links {
            continue;
        }
        let net = &circuit.nets[short.net];
        let links = super::list(&links_on(circuit, short.net));
        let load = short.load;
        let message = format!(
            "with {links} on it, {} is no better than {} at {}, but {} needs {}",
            net.path,
            volts(short.given),
            word(short.high),
            super::pin_in_words(circuit, load.chip, load.pin),
            volts(short.needed),
        );
        let driver = short.state.driver;
        let problem = Diagnostic::error(RULE.name, message)
            .at(net.span, "this net")
            .at(circuit.chips[driver.chip].span, format!("{} drives", circuit.pin_path(driver.chip, driver.pin)))
            .note(format!("without them the weakest output gives {}", volts(short.state.inputs_only)))
            .help("take larger resistors, or drive the lamp from an output of its own");
        let path = net.path.clone();
        findings.push(Finding::new(circuit, super::board_of(net), path, problem));
    }
}
