//! A pull resistor does not hold its net at a level.
//!
//! # What it finds
//!
//! Nets that nobody drives at times, where resistors lead to rails or to driven nets, but the currents of the inputs and
//! of outputs that are off move the voltage between the levels that an input needs. Nets that only resistors join are one
//! finding. A resistor that leads to nothing but a free pin of a connector pulls nowhere: what is plugged in there drives
//! the net, or `net-without-driver` tells it.
//!
//! Open-drain nets belong to `pull-up-range`. What comes in by a connector of a board that stands alone is not known.
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
use crate::circuit::NetKey;
use crate::diagnostic::Diagnostic;
use crate::electrical::operating_point::{Load, NetOperatingPoint, Range};
use crate::electrical::pull::resistors_on;
use crate::key::KeyVec;
use crate::language::expand::natural_order;
use crate::quantity::si::Volts;

pub(crate) const RULE: Rule = Rule {
    name: "weak-pull",
    summary: "A pull resistor does not hold its net at a level.",
    documentation: page!("weak_pull.rs"),
    find,
};

fn find(subject: &Subject<'_>, findings: &mut Vec<Finding>) {
    let circuit = subject.circuit;
    let held = super::held_nets(circuit, &subject.operating_point);
    let mut weak: KeyVec<NetKey, Option<Weak>> = KeyVec::filled(circuit.nets.len(), None);
    for (key, operating_point) in subject.operating_point.nets.iter() {
        if held[key] && !super::is_open_drain(circuit, operating_point) {
            weak[key] = between(operating_point);
        }
    }
    for key in circuit.nets.keys() {
        let Some((load, range)) = weak[key] else {
            continue;
        };
        let nets = joined(subject, key);
        let also = nets.iter().skip(1).filter(|&&net| weak[net].is_some());
        let also = also.map(|&net| circuit.nets[net].path.clone()).collect();
        let mut links: Vec<&str> = nets.iter().flat_map(|&net| links_on(circuit, net)).collect();
        links.sort_by(|a, b| natural_order(a, b));
        links.dedup();
        let net = &circuit.nets[key];
        let message = format!(
            "while nobody drives {}, it lies between {} and {}; {} needs {} or {}",
            net.path,
            volts(range.least),
            volts(range.most),
            super::pin_in_words(circuit, load.chip, load.pin),
            volts(load.input.high),
            volts(load.input.low),
        );
        let problem = Diagnostic::error(RULE.name, message)
            .at(net.span, "this net")
            .note(format!("the currents of the pins on it flow through {}", super::list(&links)))
            .help("take a smaller resistor, or pull bipolar inputs up instead of down");
        let path = net.path.clone();
        let finding = Finding::new(circuit, super::board_of(net), path, problem);
        findings.push(Finding { also, ..finding });
        for net in nets {
            weak[net] = None;
        }
    }
}

/// An input, and what it gets while nobody drives its net.
type Weak = (Load, Range<Volts>);

/// The first input of a net that gets neither of its levels while nobody drives it.
fn between(operating_point: &NetOperatingPoint) -> Option<Weak> {
    let good = |range: &Range<Volts>, high: Volts, low: Volts| range.least >= high || range.most <= low;
    operating_point.loads.iter().find_map(|load| {
        let mut ranges = operating_point.off.iter().flatten();
        let bad = ranges.find(|range| !good(range, load.input.high, load.input.low));
        Some((*load, *bad?))
    })
}

/// A net, and those that resistors join to it and that are driven by nobody either.
fn joined(subject: &Subject<'_>, net: NetKey) -> Vec<NetKey> {
    let circuit = subject.circuit;
    let mut nets = vec![net];
    let mut at = 0;
    while let Some(&net) = nets.get(at) {
        at += 1;
        for other in resistors_on(circuit, net).map(|resistor| resistor.to) {
            let alone = circuit.nets[other].rail.is_none() && subject.operating_point.nets[other].drivers.is_empty();
            if alone && !nets.contains(&other) {
                nets.push(other);
            }
        }
    }
    nets
}
