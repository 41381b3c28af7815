//! A connector pin or a wire of a cable carries too much current.
//!
//! # What it finds
//!
//! Pins of connectors and wires of cables that carry more than they stand: 1 A for a pin of a header and for a wire of a
//! ribbon, 3 A for a jumper wire, 10 A for a screw terminal. On supply and ground that is what the boards draw, on signals
//! what resistors, lamps, contacts and outputs on one board draw from another one. And boards that get more than 0.25 V
//! less than the supply gives, supply and ground each for itself.
//!
//! Currents share the wires of a net by their lengths: 0.22 ohm for a metre, 20 mohm for a contact. Inputs are left out.
//!
//! # Why it hurts
//!
//! Pins get hot and lose their spring. Long before, the voltage at the far board is too low for its figures, and its
//! ground is not the ground of the others, which takes away noise margin.
//!
//! # Cure
//!
//! Lead supply and ground over several pins, or give each board a cable of its own from the supply.
//!
//! # Example
//!
//! ```text
//! connector BUS idc-2x5 { 1 VCC   2 GND   ... }       # for six boards of 300 mA one behind the other
//! ```
//!
//! # Source
//!
//! 0.22 ohm for a metre of AWG 28: wire tables. The ratings: common practice.

use super::super::levels::{amps, volts};
use crate::check::{Finding, Rule, Subject, page};
use crate::diagnostic::Diagnostic;
use crate::quantity::si::{Amperes, Volts};
use std::collections::BTreeSet;

pub(crate) const RULE: Rule = Rule {
    name: "connector-current",
    summary: "A connector pin or a wire of a cable carries too much current.",
    documentation: page!("connector_current.rs"),
    find,
};

/// A twentieth of 5 V.
const MOST_LOST: Volts = Volts(0.25);

fn find(subject: &Subject<'_>, findings: &mut Vec<Finding>) {
    let circuit = subject.circuit;
    let mut reported = BTreeSet::new();
    for net_currents in &subject.power_distribution.nets {
        // Supply and ground carry the same current: one finding is enough.
        if net_currents.supply.is_some_and(|key| reported.contains(&key)) {
            continue;
        }
        let net = &circuit.nets[net_currents.net];
        let pins = net_currents.pins.iter().map(|(&(connector, pin), &drawn)| {
            let row = &circuit.connectors[connector];
            let most = if row.kind.starts_with("terminal") { Amperes(10.0) } else { Amperes(1.0) };
            (drawn / most, drawn, most, circuit.connector_pin_path(connector, pin), row.span, row.board)
        });
        let wires = net_currents.cables.iter().filter_map(|(&cable, &drawn)| {
            let row = &circuit.cables[cable];
            let most = if row.kind.starts_with("jumper") { Amperes(3.0) } else { Amperes(1.0) };
            let (connector, _) = row.wires.first()?.first()?;
            let board = circuit.connectors[*connector].board;
            Some((drawn / most, drawn, most, format!("a wire of {}", row.name), row.span, board))
        });
        let worst = pins.chain(wires).max_by(|a, b| a.0.total_cmp(&b.0));
        if let Some((share, drawn, most, what, span, board)) = worst
            && share > 1.0
        {
            let message = format!("{what} may carry {} of {}, and stands {}", amps(drawn), net.path, amps(most));
            let problem = Diagnostic::warning(RULE.name, message)
                .at(span, "here")
                .note("it gets hot, and the boards behind it get too little voltage")
                .help(if net_currents.supply.is_some() {
                    "lead the supply over several pins, or give the boards cables of their own"
                } else {
                    "lead the signal over several pins, or put what draws the current on the board that gives it"
                });
            findings.push(Finding::new(circuit, board, net.path.clone(), problem));
            reported.extend(net_currents.supply);
            continue;
        }
        let Some(key) = net_currents.supply else { continue };
        let supply = &circuit.supplies[key].name;
        let lost = net_currents.drop.iter().max_by(|a, b| a.1.total_cmp(b.1));
        if let Some((&board, &lost)) = lost
            && lost > MOST_LOST
        {
            let path = &circuit.boards[board].path;
            let message = format!("between {supply} and {path} {} may be lost on {}", volts(lost), net.path);
            let problem = Diagnostic::warning(RULE.name, message)
                .at(circuit.boards[board].span, "this board")
                .note("its chips get less than their sheets want, and its ground is not that of the others")
                .help("use shorter or more wires for supply and ground");
            findings.push(Finding::new(circuit, board, net.path.clone(), problem));
            reported.insert(key);
        }
    }
}
