//! A button or switch clocks something without being debounced.
//!
//! # What it finds
//!
//! Clock inputs that a contact reaches directly or through gates, with neither a capacitor at the contact nor a
//! flip-flop between. A changeover switch that sets and resets two gates is debounced.
//!
//! # Why it hurts
//!
//! A contact closes several times within a few milliseconds. One press counts two, or seven.
//!
//! # Cure
//!
//! A resistor and a capacitor that outlast the bounce (47 kohm and 100 nF) and a Schmitt input behind them, or a changeover
//! switch with two cross-coupled gates.
//!
//! # Example
//!
//! ```text
//! SW1 button { 1 = step   2 = GND }
//! R1 resistor 10 kohm { 1 = step   2 = VCC }
//! U1 74HC161 { CLK = step   ... }
//! ```
//!
//! # Source
//!
//! Common practice.

use crate::check::{Finding, Rule, Subject, page};
use crate::circuit::{Circuit, DiscreteKind, NetKey};
use crate::diagnostic::Diagnostic;
use crate::hazard::cone::{Cone, Goal, Variable};
use crate::quantity::Capacitance;
use std::collections::BTreeSet;

pub(crate) const RULE: Rule = Rule {
    name: "bouncing-clock",
    summary: "A button or switch clocks something without being debounced.",
    documentation: page!("bouncing_clock.rs"),
    find,
};

/// 1 nF: less outlasts no bounce.
const LEAST: Capacitance = Capacitance::from_raw(1_000_000);

fn find(subject: &Subject<'_>, findings: &mut Vec<Finding>) {
    let circuit = subject.circuit;
    let mut reported: BTreeSet<NetKey> = BTreeSet::new();
    for (key, chip) in circuit.chips.iter().filter(|(_, chip)| chip.fed) {
        for &pin in chip.part.function.inputs.iter() {
            let Some(net) = chip.nets[pin].filter(|_| super::is_clock(chip, pin)) else {
                continue;
            };
            let cone = Cone::new(circuit, &subject.operating_point, &[Goal::High(net)]);
            for &variable in &cone.variables {
                let Variable::Net(from) = variable else {
                    continue;
                };
                let Some(contact) = bouncing(circuit, from).filter(|_| !reported.contains(&from)) else {
                    continue;
                };
                reported.insert(from);
                let contact = &circuit.discretes[contact];
                let path = circuit.pin_path(key, pin);
                let message = format!("{} clocks {path}, and nothing keeps its bounces away", contact.path);
                let problem = Diagnostic::warning(RULE.name, message)
                    .at(contact.span, "this contact")
                    .at(chip.span, format!("{path} takes each bounce for an edge"))
                    .note("one press counts several times")
                    .help("put 47 kohm, 100 nF and a Schmitt input behind it, or two cross-coupled gates at a changeover switch");
                findings.push(Finding::new(circuit, contact.board, contact.path.clone(), problem));
            }
        }
    }
}

/// A contact on a net whose bounces nothing takes away.
fn bouncing(circuit: &Circuit, net: NetKey) -> Option<crate::circuit::DiscreteKey> {
    let pins = || circuit.nets[net].discrete_pins.iter();
    let smooth = pins().any(
        |(discrete, _)| matches!(circuit.discretes[*discrete].kind, DiscreteKind::Capacitor(value) if value >= LEAST),
    );
    let contact = pins().find(|(discrete, pin)| match circuit.discretes[*discrete].kind {
        DiscreteKind::Button | DiscreteKind::Switch => true,
        // Its two throws on two nets set and reset a latch.
        DiscreteKind::Changeover => *pin == 0,
        _ => false,
    });
    contact.filter(|_| !smooth).map(|(discrete, _)| *discrete)
}
