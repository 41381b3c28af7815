//! The reference of the language: each example is what its text says.

use super::{check_layout, examples, key};
use coldboard::diagnostic::any_error;
use coldboard::language::ast::Item;
use coldboard::language::{DEEPEST, LARGEST_TEXT, LONGEST_CHAIN, LONGEST_NAME, MOST_NAMES, REFERENCE, format};
use coldboard::part::Library;
use coldboard::project::Project;
use coldboard::text::{MemoryFiles, Spanned};
use coldboard::trial::{Options, Unattended, prepare, run};
use std::path::Path;

#[test]
fn every_example_of_the_reference_parses_and_has_the_canonical_layout() {
    let examples = examples();
    for (line, kind, text) in &examples {
        assert!(matches!(*kind, "board" | "part"), "reference.md:{line}: {kind}");
        check_layout(&format!("reference.md:{line}"), text);
        let canonical = format(key(), text).expect("parses");
        assert_eq!(*text, canonical, "reference.md:{line}");
    }
    let count = |wanted| examples.iter().filter(|(_, kind, _)| *kind == wanted).count();
    assert!(count("board") > 6 && count("part") > 5, "examples are missing");
}

/// The examples without `use` are whole designs: what they describe can be built, and their trials pass.
#[test]
fn every_example_of_the_reference_is_as_it_says() {
    let mut trials = 0;
    for (line, _, text) in examples() {
        if text.contains("use \"") {
            continue;
        }
        let name = format!("reference.md:{line}");
        let files = MemoryFiles::default().with("example.board", text);
        let mut project = Project::open(&files, Path::new("example.board"), Library::built_in());
        assert!(!any_error(project.diagnostics()), "{name}: {:#?}", project.diagnostics());
        let things: Vec<String> = project.files()[0]
            .items
            .iter()
            .filter_map(|item| match item {
                Item::Board(board) => Some(board.name.node.clone()),
                Item::Assembly(assembly) => Some(assembly.name.node.clone()),
                _ => None,
            })
            .collect();
        for thing in things {
            let (circuit, problems) = project.circuit(Some(&thing));
            assert!(circuit.is_some() && !any_error(&problems), "{name}: {problems:#?}");
        }
        for trial in project.trials().to_vec() {
            let circuit = project.circuit(Some(&trial.on.node)).0.expect("a circuit");
            let images = |file: &Spanned<String>| project.image(file);
            let prepared = prepare(&trial, &circuit, project.sources(), &images)
                .unwrap_or_else(|problems| panic!("{name}: {problems:#?}"));
            let report = run(&prepared, &circuit, project.sources(), &Options::default(), &mut Unattended);
            assert!(report.passed, "{name}: {:#?} {:#?}", report.failures, report.faults);
            trials += 1;
        }
    }
    assert!(trials > 4, "the trials of the examples are run");
}

#[test]
fn every_keyword_stands_in_the_reference() {
    let grammar = include_str!("../../../src/language/grammar.pest");
    for line in grammar.lines().filter(|line| line.starts_with("kw_")) {
        let word = line.split('"').nth(1).expect("a keyword is quoted");
        let is_edge = |c: Option<char>| !c.is_some_and(|c| c.is_alphanumeric() || c == '-');
        let stands = REFERENCE.match_indices(word).any(|(at, _)| {
            is_edge(REFERENCE[..at].chars().next_back()) && is_edge(REFERENCE[at + word.len()..].chars().next())
        });
        assert!(stands, "`{word}` is not told");
    }
}

#[test]
fn the_limits_are_those_of_the_program() {
    let limits = [
        format!("| one file | {} MiB |", LARGEST_TEXT >> 20),
        format!("| brackets in brackets | {DEEPEST} deep |"),
        format!("| a name, as it is written | {LONGEST_NAME} characters |"),
        format!("{},{:03} |", MOST_NAMES / 1000, MOST_NAMES % 1000),
        format!("| operators of one formula | {},{:03} |", LONGEST_CHAIN / 1000, LONGEST_CHAIN % 1000),
    ];
    for limit in limits {
        assert!(REFERENCE.contains(&limit), "{limit}");
    }
}
