//! A level keeps less than 0.2 V from what an input needs.
//!
//! # What it finds
//!
//! Nets whose worst level, with everything that hangs on it, is good, but by less than 0.2 V.
//!
//! # Why it hurts
//!
//! Ground bounce, neighbours in a ribbon and a dipping supply each take some tenths of a volt. TTL has a margin of 0.3 V
//! to 0.4 V between an output and an input, CMOS much more; below that the board depends on luck.
//!
//! # Cure
//!
//! Take load from the net: a larger resistor at the LED, a weaker pull resistor, fewer bipolar inputs; or a stronger
//! driver.
//!
//! # Example
//!
//! ```text
//! U1 74HC04 { 1A = a   1Y = run }
//! D1 led red 180 ohm { anode = run   cathode = GND }
//! U2 74HC04 { 1A = run   ... }              # 30 mV are left at high
//! ```
//!
//! # Source
//!
//! Common practice; the margins of LS, 0.7 V at high and 0.3 V at low, follow from TI SDLS025B.

use super::super::levels::{Cause, links_on, shortfalls, volts, word};
use crate::check::{Finding, Rule, Subject, page};
use crate::diagnostic::Diagnostic;

pub(crate) const RULE: Rule = Rule {
    name: "noise-margin",
    summary: "A level keeps less than 0.2 V from what an input needs.",
    documentation: page!("noise_margin.rs"),
    find,
};

fn find(subject: &Subject<'_>, findings: &mut Vec<Finding>) {
    let circuit = subject.circuit;
    for short in shortfalls(&subject.operating_point) {
        if short.cause != Cause::Thin {
            continue;
        }
        let net = &circuit.nets[short.net];
        let load = short.load;
        let message = format!(
            "{} may be {} at {}, and {} needs {}: {} are left for noise",
            net.path,
            volts(short.given),
            word(short.high),
            super::pin_in_words(circuit, load.chip, load.pin),
            volts(short.needed),
            volts((short.given - short.needed).abs()),
        );
        let links = links_on(circuit, short.net);
        let load = if links.is_empty() {
            "the inputs on the net load it".to_owned()
        } else {
            format!("{} and the inputs on the net load it", super::list(&links))
        };
        let problem = Diagnostic::warning(RULE.name, message)
            .at(net.span, "this net")
            .note(load)
            .help("take load from the net, or drive it with a stronger output");
        let path = net.path.clone();
        findings.push(Finding::new(circuit, super::board_of(net), path, problem));
    }
}
