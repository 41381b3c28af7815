//! Two things on a board have the same reference designator.
//!
//! # What it finds
//!
//! Chips, discretes and connectors of one board that share a reference designator, such as two chips called U3.
//!
//! # Why it hurts
//!
//! The designator is how the parts list, the wiring list and the print on the board speak of a part. With two of one
//! name a wrong chip gets soldered in, and a path such as U3.5 means only one of them.
//!
//! # Cure
//!
//! Give the second one a number of its own.
//!
//! # Example
//!
//! ```text
//! U3 74HC574 { ... }
//! U3 74HC04  { ... }      # copied, and not numbered anew
//! ```
//!
//! # Source
//!
//! Common practice.

use crate::check::{Finding, Rule, page};
use crate::circuit::{BoardKey, Circuit};
use crate::diagnostic::Diagnostic;
use crate::text::Span;
use std::collections::BTreeMap;

/// The rule.
pub const RULE: Rule = Rule {
    name: "duplicate-reference",
    summary: "Two things on a board have the same reference designator.",
    documentation: page!("duplicate_reference.rs"),
    find,
};

fn find(circuit: &Circuit, findings: &mut Vec<Finding>) {
    let chips = (circuit.chips.values()).map(|it| {
        (
            it.board,
            &it.reference,
            &it.path,
            it.span,
            it.number.as_str(),
        )
    });
    let discretes = (circuit.discretes.values())
        .map(|it| (it.board, &it.reference, &it.path, it.span, it.kind.word()));
    let connectors = (circuit.connectors.values())
        .map(|it| (it.board, &it.name, &it.path, it.span, it.kind.as_str()));
    let mut called: BTreeMap<(BoardKey, &str), Vec<(&str, Span, &str)>> = BTreeMap::new();
    for (board, reference, path, span, what) in chips.chain(discretes).chain(connectors) {
        called
            .entry((board, reference))
            .or_default()
            .push((path, span, what));
    }
    for ((board, reference), mut things) in called {
        things.sort_by_key(|(_, span, _)| *span);
        let [(path, first, what), others @ ..] = things.as_slice() else {
            continue;
        };
        let Some((_, second, other)) = others.first() else {
            continue;
        };
        let times = match things.len() {
            2 => "twice".to_owned(),
            times => format!("{times} times"),
        };
        let problem = Diagnostic::error(RULE.name, format!("{path} is there {times}"))
            .at(*second, format!("this {other} as well"))
            .at(*first, format!("this {what} is {reference}"))
            .note("parts list, wiring list and the print on the board cannot tell them apart")
            .help("give one of them a number of its own");
        findings.push(Finding::new(circuit, board, *path, problem));
    }
}

#[cfg(test)]
mod tests {
    use crate::check::rules::bench::{only, places};

    #[test]
    fn two_of_one_name_are_found_whatever_they_are() {
        let text = "board b { U3 74HC04 { }  U3 74HC00 { } }";
        let finding = only("duplicate-reference", text);
        assert_eq!(
            (finding.place.as_str(), finding.diagnostic.message.as_str()),
            ("U3", "U3 is there twice")
        );
        let labels: Vec<&str> = finding
            .diagnostic
            .labels
            .iter()
            .map(|label| label.text.as_str())
            .collect();
        assert_eq!(labels, ["this 74HC00 as well", "this 74HC04 is U3"]);
        let text = "board b { X1 74HC04 { }  X1 button { }  connector X1 header-1x1 { 1 a } }";
        assert_eq!(
            only("duplicate-reference", text).diagnostic.message,
            "X1 is there 3 times"
        );
    }

    #[test]
    fn two_boards_may_use_the_same_names() {
        let text = "board b { U1 74HC04 { }  U2 74HC04 { } } assembly a { A, B: b }";
        assert!(places("duplicate-reference", text).is_empty());
    }

    #[test]
    fn a_board_that_stands_twice_shows_its_fault_twice() {
        let text = "board b { U1 74HC04 { }  U1 74HC04 { } } assembly a { A, B: b }";
        assert_eq!(
            places("duplicate-reference", text),
            ["A.U1: error", "B.U1: error"]
        );
    }
}
