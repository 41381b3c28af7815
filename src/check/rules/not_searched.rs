//! Places that are too large to be looked at.
//!
//! # What it finds
//!
//! One note that lists what the other rules had to leave out: nets of clocks, clears and latches with more than 8 signals
//! and stored bits in the logic before them, on which no short pulses were looked for; and groups of more than 64 nets
//! that resistors and lamps join, whose voltages and currents were not computed.
//!
//! # Why it hurts
//!
//! Where nothing was looked for nothing is found. A clean check says nothing about these places.
//!
//! # Cure
//!
//! Look at them by hand, or in a run. A clock that comes from a flip-flop has nothing to look for.
//!
//! # Example
//!
//! ```text
//! U1 74HC138 { A = q[0]  B = q[1]  C = q[2]  G1 = go  /G2A = x  /G2B = y   /Y3 = strobe }    # each of them from gates
//! ```
//!
//! # Source
//!
//! Common practice.

use super::{clear_hazard, gated_clock};
use crate::check::glitch::is_too_large;
use crate::check::{Finding, Rule, Subject, page};
use crate::circuit::{BoardKey, NetKey};
use crate::diagnostic::Diagnostic;
use crate::key::Key;
use std::collections::BTreeSet;

/// The rule.
pub const RULE: Rule = Rule {
    name: "not-searched",
    summary: "Places that are too large to be looked at.",
    documentation: page!("not_searched.rs"),
    find,
};

fn find(subject: &Subject<'_>, findings: &mut Vec<Finding>) {
    let circuit = subject.circuit;
    let clocks = gated_clock::nets_of(circuit, gated_clock::inputs);
    let clears = gated_clock::nets_of(circuit, clear_hazard::inputs);
    let nets: BTreeSet<NetKey> = (clocks.iter().chain(&clears))
        .map(|(net, ..)| *net)
        .filter(|net| is_too_large(circuit, &subject.view, *net))
        .collect();
    let paths = |nets: &mut dyn Iterator<Item = NetKey>| -> Vec<&str> {
        nets.map(|net| circuit.nets[net].path.as_str()).collect()
    };
    let pulses = paths(&mut nets.iter().copied());
    let groups = paths(&mut subject.view.unsolved.iter().copied());
    let mut parts = Vec::new();
    if !pulses.is_empty() {
        parts.push(format!(
            "no short pulses were looked for on {}",
            pulses.join(", ")
        ));
    }
    if !groups.is_empty() {
        parts.push(format!(
            "no voltages were computed around {}",
            groups.join(", ")
        ));
    }
    let Some(first) = nets.iter().chain(&subject.view.unsolved).next() else {
        return;
    };
    let problem = Diagnostic::note_only(RULE.name, parts.join("; "))
        .at(circuit.nets[*first].span, "the first of them")
        .note("too much logic, or too many nets, stand behind: a clean check says nothing about these places")
        .help("look at them by hand, or in a run; a clock from a flip-flop needs no look");
    let board = BoardKey::from_index(0);
    findings.push(Finding::new(circuit, board, circuit.name.clone(), problem));
}
