//! A board has no capacitor where its supply comes in.
//!
//! # What it finds
//!
//! Boards with more than three fed chips whose capacitors between the supply and ground make less than 2.2 uF together.
//!
//! # Why it hurts
//!
//! The small capacitors at the chips bring the current of an edge, but they are empty after a few of them. The cable from
//! the supply is a coil of some hundred nanohenries: when a board begins to draw more current, its rail dips before the
//! cable follows, and rings afterwards.
//!
//! # Cure
//!
//! Put an electrolytic or tantalum capacitor of 10 uF to 100 uF between the rails, close to the connector that feeds
//! the board.
//!
//! # Example
//!
//! ```text
//! feed U1..U8 from VCC GND
//! C1..C8 capacitor 100 nF decouples U1..U8       # and nothing else
//! ```
//!
//! # Source
//!
//! Intel, 80386 Hardware Reference Manual, page 11-3 (2.2 uF at the supply entry besides the small ones). That small
//! boards do without: common practice.

use crate::check::{Finding, Rule, Subject, page};
use crate::circuit::{BoardKey, DiscreteKind};
use crate::diagnostic::Diagnostic;
use crate::key::KeyVec;
use crate::quantity::Capacitance;

pub(crate) const RULE: Rule = Rule {
    name: "missing-bulk",
    summary: "A board has no capacitor where its supply comes in.",
    documentation: page!("missing_bulk.rs"),
    find,
};

/// A board of no more chips does without.
const SMALL_BOARD: usize = 3;
/// 2.2 uF.
const LEAST: Capacitance = Capacitance::from_raw(2_200_000_000);

fn find(subject: &Subject<'_>, findings: &mut Vec<Finding>) {
    let circuit = subject.circuit;
    let mut chips: KeyVec<BoardKey, usize> = KeyVec::filled(circuit.boards.len(), 0);
    for chip in circuit.chips.values().filter(|chip| chip.fed) {
        chips[chip.board] += 1;
    }
    let mut stores: KeyVec<BoardKey, Capacitance> = KeyVec::filled(circuit.boards.len(), Capacitance::ZERO);
    for discrete in circuit.discretes.values() {
        if let DiscreteKind::Capacitor(value) = discrete.kind {
            let mut nets = discrete.nets.iter().flatten();
            if nets.all(|&net| circuit.nets[net].rail.is_some()) {
                stores[discrete.board] += value;
            }
        }
    }
    for (key, board) in circuit.boards.iter() {
        if chips[key] <= SMALL_BOARD || stores[key] >= LEAST {
            continue;
        }
        let name = if board.path.is_empty() { &board.design } else { &board.path };
        let message = format!("{name} feeds {} chips, and its capacitors make only {}", chips[key], stores[key]);
        let problem = Diagnostic::warning(RULE.name, message)
            .at(board.span, "this board")
            .note("when its current changes, the rail dips before the cable of the supply follows")
            .help("put 10 uF to 100 uF between supply and ground at the connector that feeds it");
        findings.push(Finding::new(circuit, key, name.clone(), problem));
    }
}
