//! The electrical rules: what is wrong with a design before anything moves.
//!
//! A [`Rule`] looks at a [`Circuit`] and says what it finds there. Each rule has a file of its own in [`rules`], and
//! the header of that file is the page that a person reads about the rule. A [`Finding`] says what is wrong at which
//! path (its message), why that matters (its notes), and what to do (its help).

mod alike;
pub mod levels;
pub(crate) mod rule;
pub mod rules;

pub(crate) use rule::page;
pub use rule::{Finding, Rule, Subject};
pub use rules::RULES;

use crate::circuit::Circuit;
use crate::diagnostic::Severity;
use crate::language::expand::natural_order;
use crate::text::Sources;
use serde::Serialize;

/// What stands, and what the design accepts with a reason.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Checked {
    /// The findings that stand.
    pub findings: Vec<Finding>,
    /// Those that are accepted, and why.
    pub waived: Vec<(Finding, String)>,
}

/// Runs every rule, and leaves out what the design accepts; see [`checked`].
pub fn check(circuit: &Circuit) -> Vec<Finding> {
    checked(circuit).findings
}

/// Runs every rule: the findings by board, the worst ones of a board first, then by place. What the design waives is
/// set aside; an unused waiver is a finding itself. What is alike at several pins or nets of one
/// statement is one finding.
pub fn checked(circuit: &Circuit) -> Checked {
    let found = found(circuit);
    let mut used = vec![false; circuit.waivers.len()];
    let mut checked = Checked::default();
    for finding in found {
        let accepted = circuit.waivers.iter().enumerate();
        let mut fitting = accepted.filter(|(_, waiver)| {
            waiver.rule == finding.rule && rules::acceptance::same_place(circuit, waiver, &finding)
        });
        match fitting.next() {
            Some((at, waiver)) => {
                used[at] = true;
                checked.waived.push((finding, waiver.reason.clone()));
            }
            None => checked.findings.push(finding),
        }
    }
    let mut unused = circuit.waivers.iter().zip(used).filter(|(_, used)| !used).peekable();
    if unused.peek().is_some() {
        let unused = unused.map(|(waiver, _)| rules::acceptance::unused_waiver(circuit, waiver));
        checked.findings.extend(unused);
        sort(&mut checked.findings);
    }
    checked.findings = alike::together(checked.findings);
    checked
}

fn found(circuit: &Circuit) -> Vec<Finding> {
    let subject = Subject::new(circuit);
    let mut findings = Vec::new();
    for rule in RULES {
        (rule.find)(&subject, &mut findings);
    }
    sort(&mut findings);
    findings
}

fn sort(findings: &mut [Finding]) {
    findings.sort_by(|a, b| {
        natural_order(&a.board, &b.board)
            .then(a.diagnostic.severity.cmp(&b.diagnostic.severity))
            .then_with(|| natural_order(&a.place, &b.place))
    });
}

/// The rule of a name.
pub fn rule(name: &str) -> Option<&'static Rule> {
    RULES.iter().find(|rule| rule.name == name)
}

/// Findings for a program: a JSON array, one object per finding, every field always there; behind those that stand come
/// the accepted ones, with the reason.
///
/// A place in a text is `file:line:column`.
pub fn json(sources: &Sources, checked: &Checked) -> String {
    let standing = checked.findings.iter().map(|finding| (finding, None));
    let accepted = checked.waived.iter();
    let accepted = accepted.map(|(finding, reason)| (finding, Some(reason.as_str())));
    let entries: Vec<Entry<'_>> = standing
        .chain(accepted)
        .map(|(finding, accepted)| Entry {
            accepted,
            rule: finding.rule,
            severity: finding.diagnostic.severity,
            board: &finding.board,
            place: &finding.place,
            also: &finding.also,
            message: &finding.diagnostic.message,
            why: &finding.diagnostic.notes,
            cure: finding.diagnostic.help.as_deref(),
            written: (finding.diagnostic.labels.iter()).map(|label| sources.place(label.span)).collect(),
        })
        .collect();
    let mut text = serde_json::to_string_pretty(&entries).expect("texts and lists always have a JSON form");
    text.push('\n');
    text
}

#[derive(Serialize)]
struct Entry<'a> {
    rule: &'a str,
    severity: Severity,
    board: &'a str,
    place: &'a str,
    also: &'a [String],
    message: &'a str,
    why: &'a [String],
    cure: Option<&'a str>,
    accepted: Option<&'a str>,
    written: Vec<String>,
}

#[cfg(test)]
mod tests {
    use super::rule::header;
    use super::*;
    use rules::bench::{circuit, findings_on};
    use std::collections::BTreeSet;

    #[test]
    fn every_rule_has_its_page_and_a_name_of_its_own() {
        let names: BTreeSet<&str> = RULES.iter().map(|rule| rule.name).collect();
        assert_eq!(names.len(), RULES.len());
        for rule in RULES {
            let page = rule.documentation;
            let title = format!("{}\n\n", rule.summary);
            assert!(page.starts_with(&title), "{}: {page}", rule.name);
            let headings: Vec<&str> = page.lines().filter(|line| line.starts_with("# ")).collect();
            assert_eq!(
                headings,
                ["# What it finds", "# Why it hurts", "# Cure", "# Example", "# Source"],
                "{}",
                rule.name
            );
            assert!(!page.contains("//!"), "{}", rule.name);
            assert!(page.contains("```text\n"), "{}: an example", rule.name);
        }
    }

    #[test]
    fn the_header_of_a_file_ends_where_its_code_begins() {
        const TEXT: &str = "//! One.\n//!\n//!   three\n\nuse x;\n//! four\n";
        let mut page = [0; 64];
        let length = header(TEXT, &mut page);
        assert_eq!(&page[..length], b"One.\n\n  three\n");
        assert_eq!(header(TEXT, &mut []), length);
        assert_eq!(header("//! no end", &mut page), 6);
        assert_eq!(header("", &mut page), 0);
    }

    #[test]
    fn findings_stand_by_board_then_severity_then_place() {
        let (circuit, _) = circuit(
            "board one { rail VCC 5 V  rail GND
                 connector OUT header-1x2 { 1 x  2 GND }
                 U10 74HC04 { 1A = x  1Y = q }
                 U2 74HC04 { 1A = x  1Y = r } }
             assembly both { B, A: one  supply PS1 5 V 1 A { plus = B.OUT.2  minus = A.OUT.2 } }",
        );
        let found = check(&circuit);
        let rank = |f: &Finding| (f.board.clone(), f.diagnostic.severity);
        assert!(found.iter().map(rank).is_sorted());
        let fed: Vec<&str> = (found.iter())
            .filter(|finding| finding.rule == "chip-not-fed")
            .map(|finding| finding.place.as_str())
            .collect();
        assert_eq!(fed, ["A.U2", "A.U10", "B.U2", "B.U10"]);
    }

    #[test]
    fn rules_are_found_by_name() {
        assert_eq!(rule("input-open").map(|rule| rule.name), Some("input-open"));
        assert!(rule("input_open").is_none());
    }

    #[test]
    fn findings_have_a_form_for_programs() {
        let text = "board one { rail VCC 5 V  rail GND  feed U1 from VCC GND
            C1 capacitor 100 nF decouples U1
            U1 74HC04 { 1A = VCC  1Y = q
                        [2,3,4,5,6]A = GND } R1 resistor 1 kohm { 1 = q  2 = VCC }
            U1 74HC04 { 1A = GND } }";
        let (circuit, sources) = circuit(text);
        let found = findings_on("duplicate-reference", &circuit);
        let checked = Checked { waived: vec![(found[0].clone(), "meant to be".to_owned())], findings: found };
        let value: serde_json::Value = serde_json::from_str(&json(&sources, &checked)).expect("JSON");
        assert_eq!(value[0]["accepted"], serde_json::Value::Null);
        assert_eq!(value[1]["accepted"], "meant to be");
        assert_eq!(value[0]["rule"], "duplicate-reference");
        assert_eq!(value[0]["place"], "U1");
        assert_eq!(value[0]["board"], "");
        assert_eq!(value[0]["severity"], "error");
        assert!(value[0]["cure"].as_str().is_some());
        assert_eq!(value[0]["written"][0], "test.board:5:13");
    }
}
