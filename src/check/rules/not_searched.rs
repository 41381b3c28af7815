//! Places that are too large to be looked at.
//!
//! # What it finds
//!
//! One note that lists what the other rules had to leave out: nets of clocks, clears and latches with more than 8 signals
//! and stored bits in the logic before them, on which no short pulses were looked for; groups of more than 64 nets that
//! resistors and lamps join, whose voltages and currents were not computed; and nets of more than 300 boards and ends of
//! wires, on which no currents were followed.
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
use crate::check::{Finding, Rule, Subject, page};
use crate::circuit::{BoardKey, NetKey};
use crate::diagnostic::Diagnostic;
use crate::hazard::pulse::is_too_large;
use crate::key::Key;
use std::collections::BTreeSet;

pub(crate) const RULE: Rule = Rule {
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
        .filter(|net| is_too_large(circuit, &subject.operating_point, *net))
        .collect();
    let paths = |nets: &mut dyn Iterator<Item = NetKey>| -> Vec<&str> {
        nets.map(|net| circuit.nets[net].path.as_str()).collect()
    };
    let pulses = paths(&mut nets.iter().copied());
    let groups = paths(&mut subject.operating_point.unsolved.iter().copied());
    let mut parts = Vec::new();
    if !pulses.is_empty() {
        parts.push(format!("no short pulses were looked for on {}", pulses.join(", ")));
    }
    if !groups.is_empty() {
        parts.push(format!("no voltages were computed around {}", groups.join(", ")));
    }
    let wires = paths(&mut subject.power_distribution.unsolved.iter().copied());
    if !wires.is_empty() {
        parts.push(format!("no currents were followed through the cables of {}", wires.join(", ")));
    }
    let places = nets.iter().chain(&subject.operating_point.unsolved);
    let Some(first) = places.chain(&subject.power_distribution.unsolved).next() else {
        return;
    };
    let problem = Diagnostic::note_only(RULE.name, parts.join("; "))
        .at(circuit.nets[*first].span, "the first of them")
        .note("too much logic, or too many nets, stand behind: a clean check says nothing about these places")
        .help("look at them by hand, or in a run; a clock from a flip-flop needs no look");
    let board = BoardKey::from_index(0);
    findings.push(Finding::new(circuit, board, circuit.name.clone(), problem));
}

#[cfg(test)]
mod tests {
    use crate::check::rules::bench::only;

    #[test]
    fn a_group_of_too_many_nets_is_told() {
        // A ladder of 65 nets; one of 64 is solved.
        let ladder = |last: u32| {
            let first = "R0 resistor 1 kohm { 1 = VCC  2 = n1 }";
            let end = format!("R{last} resistor 1 kohm {{ 1 = n{last}  2 = GND }}");
            let before = last - 1;
            format!(
                "board b {{ rail VCC 5 V  rail GND  {first}  {end}
                 each i in 1..{before} {{ R[i] resistor 1 kohm {{ 1 = n[i]  2 = n[i + 1] }} }} }}"
            )
        };
        let finding = only("not-searched", &ladder(65));
        assert_eq!(finding.place, "b");
        assert_eq!(finding.diagnostic.message, "no voltages were computed around n1");
        assert!(super::super::bench::places("not-searched", &ladder(64)).is_empty());
    }
}
