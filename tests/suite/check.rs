//! The designs in `designs/faulty/`: each rule finds the one mistake of its design, and nothing in the right one.

use coldboard::check::{Finding, RULES, check};
use coldboard::circuit::elaborate;
use coldboard::diagnostic::terminal::Terminal;
use coldboard::diagnostic::{Diagnostic, Look};
use coldboard::language::parse;
use coldboard::part::Library;
use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("designs/faulty")
}

/// What is found on a board or assembly of a faulty design, with the text that a person reads.
fn checked(rule: &str, name: &str) -> (Vec<Finding>, String) {
    let path = folder().join(format!("{rule}.board"));
    let text = fs::read_to_string(&path).expect("every rule has its design");
    let mut library = Library::built_in();
    let file = library.add_source(format!("{rule}.board"), text.clone());
    let (tree, problems) = parse(file, &text);
    assert_eq!(problems, [], "{rule}");
    let (circuit, problems) = elaborate(Some(name), &[tree], &library);
    assert_eq!(problems, [], "{rule}, {name}");
    let findings = check(&circuit.expect("a circuit without errors"));
    let diagnostics: Vec<Diagnostic> = (findings.iter())
        .map(|finding| finding.diagnostic.clone())
        .collect();
    let shown = Terminal {
        colour: false,
        width: 100,
    }
    .render(library.sources(), &diagnostics);
    (findings, shown)
}

#[test]
fn each_rule_finds_the_one_mistake_of_its_design() {
    let expected = [
        ("chip-not-fed", "U2"),
        ("missing-decoupling", "U2"),
        ("input-open", "U1./OE"),
        ("unused-gate-input", "U1.4A"),
        ("single-pin-net", "strboe"),
        ("net-without-driver", "/press"),
        ("outputs-fight", "A./ask"),
        ("output-on-rail", "U1.6Y"),
        ("connector-label", "A.OUT.1"),
        ("duplicate-reference", "U1"),
    ];
    let rules: Vec<&str> = RULES.iter().map(|rule| rule.name).collect();
    assert_eq!(expected.map(|(rule, _)| rule).to_vec(), rules);
    for (rule, place) in expected {
        let (findings, shown) = checked(rule, "wrong");
        let found: Vec<_> = (findings.iter())
            .map(|finding| (finding.rule, finding.place.as_str()))
            .collect();
        assert_eq!(found, [(rule, place)], "{shown}");
        let (_, shown) = checked(rule, "right");
        assert_eq!(shown, "", "{rule}");
    }
}

#[test]
fn every_faulty_design_belongs_to_a_rule() {
    let stems: BTreeSet<String> = (fs::read_dir(folder()).expect("the folder"))
        .map(|entry| entry.expect("an entry").file_name())
        .map(|name| name.to_string_lossy().trim_end_matches(".board").to_owned())
        .collect();
    let rules: BTreeSet<String> = RULES.iter().map(|rule| rule.name.to_owned()).collect();
    assert_eq!(stems, rules);
}

#[test]
fn every_rule_lives_in_the_file_of_its_name() {
    for rule in RULES {
        let path = format!("src/check/rules/{}.rs", rule.name.replace('-', "_"));
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(path);
        let text = fs::read_to_string(&path).expect(rule.name);
        let header: String = (text.lines())
            .map_while(|line| line.strip_prefix("//!"))
            .map(|line| format!("{}\n", line.strip_prefix(' ').unwrap_or(line)))
            .collect();
        assert_eq!(rule.documentation, header, "{}", rule.name);
    }
}

#[test]
fn a_finding_says_what_why_and_what_to_do() {
    for rule in RULES {
        let (findings, _) = checked(rule.name, "wrong");
        for finding in findings {
            let diagnostic = &finding.diagnostic;
            assert_eq!(diagnostic.code, rule.name);
            assert!(!diagnostic.labels.is_empty(), "{}: a place", rule.name);
            assert!(!diagnostic.notes.is_empty(), "{}: why", rule.name);
            assert!(diagnostic.help.is_some(), "{}: what to do", rule.name);
        }
    }
}
