//! The design accepts a finding that is not there.
//!
//! # What it finds
//!
//! Statements `accept RULE at PLACE "reason"` of a board or assembly for which no finding of that rule at that place is
//! left, and those that name no rule.
//!
//! # Why it hurts
//!
//! What was accepted for a good reason has been mended, or moved to another place. A statement that is left over hides the
//! next fault of that kind at that place.
//!
//! # Cure
//!
//! Take the statement away, or mend its rule or place. The place is the one that the finding names: `coldboard check
//! --json` tells it.
//!
//! # Example
//!
//! ```text
//! accept memory-unreachable at U1 "four tunes are enough"       # but all address pins are connected by now
//! ```
//!
//! # Source
//!
//! Common practice.

use crate::check::{Finding, RULES, Rule, Subject, page};
use crate::circuit::{BoardKey, Circuit, Waiver};
use crate::diagnostic::{Diagnostic, did_you_mean};
use crate::key::Key;

pub(crate) const RULE: Rule = Rule {
    name: "acceptance",
    summary: "The design accepts a finding that is not there.",
    documentation: page!("acceptance.rs"),
    find,
};

/// What is left over is known only when all other rules have run; see [`crate::check::checked`].
fn find(_: &Subject<'_>, _: &mut Vec<Finding>) {}

/// True when a waiver speaks of the place of a finding, by any of its names.
pub(in crate::check) fn same_place(circuit: &Circuit, waiver: &Waiver, finding: &Finding) -> bool {
    let net = |path: &str| circuit.net(path).filter(|_| circuit.chip(path).is_none());
    let same =
        |place: &String| waiver.place == *place || net(&waiver.place).is_some() && net(&waiver.place) == net(place);
    same(&finding.place) || finding.also.iter().any(same)
}

/// The finding for a waiver without one.
pub(in crate::check) fn unused_waiver(circuit: &Circuit, waiver: &Waiver) -> Finding {
    let Waiver { rule, place, .. } = waiver;
    let names = || RULES.iter().map(|rule| rule.name);
    let known = names().any(|name| name == rule);
    let message = if known { format!("{rule} finds nothing at {place}") } else { format!("there is no rule `{rule}`") };
    let help = if known {
        "take the statement away, or mend its place".to_owned()
    } else {
        did_you_mean(rule, names()).unwrap_or_else(|| "`coldboard rule` lists them".to_owned())
    };
    let problem = Diagnostic::warning(RULE.name, message)
        .at(waiver.span, "accepted here")
        .note("a statement that is left over hides the next fault of that kind")
        .help(help);
    let board = waiver.board.unwrap_or_else(|| BoardKey::from_index(0));
    Finding::new(circuit, board, place.clone(), problem)
}
