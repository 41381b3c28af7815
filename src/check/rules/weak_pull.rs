//! A pull resistor does not hold its net at a level.
//!
//! # What it finds
//!
//! Nets that nobody drives at times, where resistors lead to rails or to driven nets, but the currents of the inputs and
//! of outputs that are off move the voltage between the levels that an input needs.
//!
//! Open-drain nets belong to `pull-up-range`. What comes in by a connector of a board that stands alone is not known, nor a
//! net that a resistor leads there.
//!
//! # Why it hurts
//!
//! A bipolar input lets its current flow out at low: 0.4 mA for LS, 1.6 mA for plain TTL. Through 10 kohm to ground that
//! makes 4 V, so that the pull-down pulls nothing down. The input reads high, or by chance.
//!
//! # Cure
//!
//! Pull bipolar inputs up, not down, and let the switch lead to ground; or take a resistor small enough for the current
//! (1 kohm for one LS input, 330 ohm for one TTL input).
//!
//! # Example
//!
//! ```text
//! SW1 button { 1 = VCC   2 = go }
//! R1 resistor 10 kohm { 1 = go   2 = GND }
//! U1 74LS04 { 1A = go   ... }
//! ```
//!
//! # Source
//!
//! TI SDLS025B (LS00: 0.4 mA out of an input at low); Fairchild DS006494 (7404: 1.6 mA).

use super::super::levels::{links_on, volts};
use crate::check::{Finding, Rule, Subject, page};
use crate::circuit::{Circuit, DiscreteKind, Net, NetKey};
use crate::diagnostic::Diagnostic;
use crate::electrical::view::Range;

/// The rule.
pub const RULE: Rule = Rule {
    name: "weak-pull",
    summary: "A pull resistor does not hold its net at a level.",
    documentation: page!("weak_pull.rs"),
    find,
};

fn find(subject: &Subject<'_>, findings: &mut Vec<Finding>) {
    let circuit = subject.circuit;
    let driven = super::driven_nets(circuit, &subject.view);
    for (key, view) in subject.view.nets.iter() {
        if !driven[key] || super::is_open_drain(circuit, view) || from_outside(circuit, key) {
            continue;
        }
        let good = |range: &Range, high: f64, low: f64| range.least >= high || range.most <= low;
        let bad = view.listeners.iter().find_map(|listener| {
            let ranges = view.off.iter().flatten();
            let mut bad =
                ranges.filter(|range| !good(range, listener.input.high, listener.input.low));
            Some((listener, bad.next()?))
        });
        let Some((listener, range)) = bad else {
            continue;
        };
        let net = &circuit.nets[key];
        let message = format!(
            "while nobody drives {}, it lies between {} and {}; {} needs {} or {}",
            net.path,
            volts(range.least),
            volts(range.most),
            super::pin_in_words(circuit, listener.chip, listener.pin),
            volts(listener.input.high),
            volts(listener.input.low),
        );
        let problem = Diagnostic::error(RULE.name, message)
            .at(net.span, "this net")
            .note(format!(
                "the currents of the pins on it flow through {}",
                super::list(&links_on(circuit, key))
            ))
            .help("take a smaller resistor, or pull bipolar inputs up instead of down");
        let path = net.path.clone();
        findings.push(Finding::new(circuit, super::board_of(net), path, problem));
    }
}

/// True for a net of a board that stands alone when a resistor leads to a connector: what comes in there holds it.
fn from_outside(circuit: &Circuit, key: NetKey) -> bool {
    let comes_in = |net: &Net| net.rail.is_none() && !net.connector_pins.is_empty();
    let mut resistors = circuit.nets[key]
        .discrete_pins
        .iter()
        .filter(|(discrete, _)| {
            matches!(
                circuit.discretes[*discrete].kind,
                DiscreteKind::Resistor(_) | DiscreteKind::Network(_, false)
            )
        });
    !circuit.assembly
        && resistors.any(|&(discrete, pin)| {
            let other = circuit.discretes[discrete]
                .nets
                .get(pin ^ 1)
                .copied()
                .flatten();
            other.is_some_and(|net| comes_in(&circuit.nets[net]))
        })
}
