//! What came of one run, shortened to a row.

use crate::quantity::Time;
use crate::trial::Report;
use crate::trial::report::{Failure, Finding};
use serde::{Deserialize, Serialize};

/// How a run ended, the better ones first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// All passed.
    Passed,
    /// The expectations passed, but a requirement of a sheet did not.
    Requirement,
    /// The expectations passed, but outputs fought, a loop oscillated, a chip was not fed or used in a forbidden way.
    Fault,
    /// An expectation failed.
    Expectation,
    /// Not run: a part is outside the supply range of its family.
    Supply,
}

/// All verdicts, in order.
pub const VERDICTS: [Verdict; 5] =
    [Verdict::Passed, Verdict::Requirement, Verdict::Fault, Verdict::Expectation, Verdict::Supply];

impl Verdict {
    /// The letter that stands for it in a picture.
    pub fn letter(self) -> char {
        match self {
            Verdict::Passed => '+',
            Verdict::Requirement => 'R',
            Verdict::Fault => 'F',
            Verdict::Expectation => 'E',
            Verdict::Supply => 'V',
        }
    }

    /// What it means, in words.
    pub fn words(self) -> &'static str {
        match self {
            Verdict::Passed => "all passed",
            Verdict::Requirement => "a requirement of a sheet was not kept",
            Verdict::Fault => "a fault: a fight, an oscillation, a chip not fed, a forbidden use",
            Verdict::Expectation => "an expectation failed",
            Verdict::Supply => "not run: outside the supply range of a part's family",
        }
    }
}

/// What came of one run.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Outcome {
    /// How it ended.
    pub verdict: Verdict,
    /// Expectations that passed.
    pub passed: u64,
    /// Expectations that did not.
    pub failed: u64,
    /// Requirements that were not kept and other faults, by place.
    pub faults: u64,
    /// What was wrong first.
    pub first: Option<String>,
    /// When the trial ended.
    pub end: String,
    /// Clocks that were counted.
    pub clocks: u64,
    /// Pulses that were too short for an output to follow.
    pub swallowed: u64,
    /// Rules that filled gaps of the sheets.
    pub rules: Vec<Rests>,
}

/// A rule that filled gaps, and the parts that rest on it.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Rests {
    /// The rule, as a sentence.
    pub rule: String,
    /// The numbers of the parts.
    pub parts: Vec<String>,
}

/// The kinds of findings that are requirements of sheets.
const REQUIREMENTS: [&str; 6] = ["setup", "hold", "recovery", "pulse width", "rate", "stability"];

/// True for a finding that is a requirement of a sheet.
pub(crate) fn is_requirement(finding: &Finding) -> bool {
    REQUIREMENTS.contains(&finding.kind)
}

/// The outcome of a report.
pub fn outcome(report: &Report) -> Outcome {
    let verdict = if !report.failures.is_empty() {
        Verdict::Expectation
    } else if report.faults.iter().any(|fault| !is_requirement(fault)) {
        Verdict::Fault
    } else if report.faults.is_empty() {
        Verdict::Passed
    } else {
        Verdict::Requirement
    };
    Outcome {
        verdict,
        passed: report.expectations_passed,
        failed: report.failures.len() as u64,
        faults: report.faults.len() as u64,
        first: first(report),
        end: report.end.to_string(),
        clocks: report.clocks,
        swallowed: report.counters.filtered,
        rules: (report.rules.iter())
            .map(|filled| Rests { rule: filled.rule.to_owned(), parts: filled.parts.clone() })
            .collect(),
    }
}

/// What went wrong first. Of one moment a fault comes before the expectation that it broke.
fn first(report: &Report) -> Option<String> {
    let faults = report.faults.iter().map(|fault| {
        let time = fault.first.unwrap_or(Time::ZERO);
        (time, fault.text.clone())
    });
    let failures = report.failures.iter().map(|failure: &Failure| {
        let Failure { expectation, found, .. } = failure;
        (failure.time, format!("{}: {found}", shortened(expectation)))
    });
    let (time, text) = faults.chain(failures).min_by_key(|(time, _)| *time)?;
    Some(format!("{text}, at {time}"))
}

/// A long list of values is cut.
fn shortened(text: &str) -> String {
    const MOST: usize = 80;
    match text.char_indices().nth(MOST) {
        Some((end, _)) => format!("{} ...", text[..end].trim_end()),
        None => text.to_owned(),
    }
}

impl Outcome {
    /// True when all passed.
    pub fn passed_all(&self) -> bool {
        self.verdict == Verdict::Passed
    }

    /// The outcome of a point that was not run.
    pub fn not_run(verdict: Verdict, why: String) -> Outcome {
        Outcome {
            verdict,
            passed: 0,
            failed: 0,
            faults: 1,
            first: Some(why),
            end: Time::ZERO.to_string(),
            clocks: 0,
            swallowed: 0,
            rules: Vec::new(),
        }
    }
}
