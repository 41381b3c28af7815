//! A bench supply cannot give what its boards draw.
//!
//! # What it finds
//!
//! Supplies whose boards draw more than the current that the design gives for the supply: chips at rest, as their
//! sheets or those of their families guarantee it, all lamps lit as bright as they may be, and all resistors with the most that may flow
//! through them. What moving signals cost comes on top: `coldboard power` tells it for a trial. Chips of which no sheet
//! tells the current, such as memories, are named and left out.
//!
//! # Why it hurts
//!
//! A bench supply that reaches its limit lowers its voltage. The machine works while it stands still, and fails when many
//! lamps are lit.
//!
//! # Cure
//!
//! A larger supply, larger resistors at the lamps, or CMOS families instead of TTL and LS.
//!
//! # Example
//!
//! ```text
//! supply PS1 5 V 100 mA { ... }          # for 20 LS chips of 8 mA
//! ```
//!
//! # Source
//!
//! The sheets of the parts and of the families.

use super::super::levels::amps;
use crate::check::{Finding, Rule, Subject, page};
use crate::circuit::BoardKey;
use crate::diagnostic::Diagnostic;
use crate::electrical::power::{source_rail, without_figure};
use crate::key::Key;
use crate::quantity::si::Amperes;

pub(crate) const RULE: Rule = Rule {
    name: "supply-current",
    summary: "A bench supply cannot give what its boards draw.",
    documentation: page!("supply_current.rs"),
    find,
};

fn find(subject: &Subject<'_>, findings: &mut Vec<Finding>) {
    let circuit = subject.circuit;
    for (key, supply) in circuit.supplies.iter() {
        let drawn = subject.power.supplies[key];
        if drawn <= supply.current.amperes() {
            continue;
        }
        let mut boards: Vec<(Amperes, &str)> = (subject.power.rails.iter())
            .filter(|((rail, _), _)| supply.plus.contains(&source_rail(circuit, *rail)))
            .map(|((_, board), amps)| (*amps, circuit.boards[*board].path.as_str()))
            .collect();
        boards.sort_by(|a, b| b.0.total_cmp(&a.0));
        let words: Vec<String> = (boards.iter()).map(|(drawn, path)| format!("{path} {}", amps(*drawn))).collect();
        let unknown = without_figure(circuit, &subject.power, Some(key));
        let without = match unknown.as_slice() {
            [] => String::new(),
            chips => format!(", without {}", super::list(chips)),
        };
        let message = format!(
            "{} gives {}, and its boards may draw {}{} at rest{without}",
            supply.name,
            supply.current,
            if unknown.is_empty() { "" } else { "at least " },
            amps(drawn)
        );
        let problem = Diagnostic::error(RULE.name, message)
            .at(supply.span, "this supply")
            .note(super::list(&words))
            .note("at its limit a supply lowers its voltage, and what is stored is lost")
            .help("take a larger supply, or larger resistors at the lamps");
        let board = BoardKey::from_index(0);
        findings.push(Finding::new(circuit, board, supply.name.clone(), problem));
    }
}
