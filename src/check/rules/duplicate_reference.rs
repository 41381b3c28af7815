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

use crate::check::{Finding, Rule, Subject, page};
use crate::circuit::BoardKey;
use crate::diagnostic::Diagnostic;
use crate::text::Span;
use std::collections::BTreeMap;

pub(crate) const RULE: Rule = Rule {
    name: "duplicate-reference",
    summary: "Two things on a board have the same reference designator.",
    documentation: page!("duplicate_reference.rs"),
    find,
};

/// A thing that has a reference designator.
struct Thing<'a> {
    path: &'a str,
    what: &'a str,
    span: Span,
}

fn find(subject: &Subject<'_>, findings: &mut Vec<Finding>) {
    let circuit = subject.circuit;
    let mut called: BTreeMap<(BoardKey, &str), Vec<Thing<'_>>> = BTreeMap::new();
    for it in circuit.chips.values() {
        let (path, what, span) = (&it.path, &it.number, it.span);
        let same = called.entry((it.board, &it.reference)).or_default();
        same.push(Thing { path, what, span });
    }
    for it in circuit.discretes.values() {
        let (path, what, span) = (&it.path, it.kind.word(), it.span);
        let same = called.entry((it.board, &it.reference)).or_default();
        same.push(Thing { path, what, span });
    }
    for it in circuit.connectors.values() {
        let (path, what, span) = (&it.path, &it.kind, it.span);
        let same = called.entry((it.board, &it.name)).or_default();
        same.push(Thing { path, what, span });
    }
    for ((board, reference), mut things) in called {
        things.sort_by_key(|thing| thing.span);
        let [first, second, ..] = things.as_slice() else {
            continue;
        };
        let times = match things.len() {
            2 => "twice".to_owned(),
            times => format!("{times} times"),
        };
        let problem = Diagnostic::error(RULE.name, format!("{} is there {times}", first.path))
            .at(second.span, format!("this {} as well", second.what))
            .at(first.span, format!("this {} is {reference}", first.what))
            .note("parts list, wiring list and the print on the board cannot tell them apart")
            .help("give one of them a number of its own");
        findings.push(Finding::new(circuit, board, first.path, problem));
    }
}

#[cfg(test)]
mod tests {
    use crate::check::rules::bench::{only, places};

    #[test]
    fn two_of_one_name_are_found_whatever_they_are() {
        let text = "board b { U3 74HC04 { }  U3 74HC00 { } }";
        let finding = only("duplicate-reference", text);
        assert_eq!((finding.place.as_str(), finding.diagnostic.message.as_str()), ("U3", "U3 is there twice"));
        let labels: Vec<&str> = finding.diagnostic.labels.iter().map(|label| label.text.as_str()).collect();
        assert_eq!(labels, ["this 74HC00 as well", "this 74HC04 is U3"]);
        let text = "board b { X1 74HC04 { }  X1 button { }  connector X1 header-1x1 { 1 a } }";
        assert_eq!(only("duplicate-reference", text).diagnostic.message, "X1 is there 3 times");
    }

    #[test]
    fn two_boards_may_use_the_same_names() {
        let text = "board b { U1 74HC04 { }  U2 74HC04 { } } assembly a { A, B: b }";
        assert!(places("duplicate-reference", text).is_empty());
    }

    #[test]
    fn a_board_that_stands_twice_shows_its_fault_twice() {
        let text = "board b { U1 74HC04 { }  U1 74HC04 { } } assembly a { A, B: b }";
        assert_eq!(places("duplicate-reference", text), ["A.U1: error", "B.U1: error"]);
    }
}
