//! What came of a trial: plain data, of which text, JSON and pictures are views.

use crate::language::ast::{Corner, PowerUp};
use crate::quantity::{Temperature, Time};
use crate::run::Counters;
use crate::run::Step;
use crate::run::wave::Waves;
use serde::Serialize;

/// The result of one run of a trial.
#[derive(Clone, Debug, Serialize)]
pub struct Report {
    /// The trial.
    pub trial: String,
    /// The board or assembly.
    pub on: String,
    /// True when it ran without delays: no verdict on timing.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub untimed: bool,
    /// Which delays the parts took.
    pub corner: Corner,
    /// The temperature of the parts; none when their delays hold for a bench, 0 to 70 C.
    pub temperature: Option<Temperature>,
    /// What storage held at power-up.
    pub power_up: PowerUp,
    /// True when every expectation passed, nothing was violated, nothing fought and nothing ran away.
    pub passed: bool,
    /// True when it was interrupted before its end: what stands here came until then.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub interrupted: bool,
    /// When the trial ended.
    pub end: Time,
    /// Clocks that were counted.
    pub clocks: u64,
    /// Expectations that passed.
    pub expectations_passed: u64,
    /// Expectations that did not.
    pub failures: Vec<Failure>,
    /// What makes the trial fail beside its expectations, one row a place.
    pub faults: Vec<Finding>,
    /// What is worth knowing, one row a place.
    pub notes: Vec<Finding>,
    /// The tables that `show` asked for.
    pub tables: Vec<Table>,
    /// Vectors that `record` asked for.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub records: Vec<Recorded>,
    /// Remarks of the trial.
    pub remarks: Vec<String>,
    /// Rules that filled gaps of the sheets.
    pub rules: Vec<Filled>,
    /// How much work it was.
    pub counters: Counters,
    /// The answer to the question why, when it was asked.
    pub why: Vec<Step>,
    /// The recorded signals.
    #[serde(skip)]
    pub waves: Waves,
}

/// A rule that filled gaps of sheets.
#[derive(Clone, Debug, Serialize)]
pub struct Filled {
    /// The rule, as a sentence.
    pub rule: &'static str,
    /// The numbers of the parts that it was needed for.
    pub parts: Vec<String>,
}

/// An expectation that failed.
#[derive(Clone, Debug, Serialize)]
pub struct Failure {
    /// Where it is written: `file:line:column`.
    pub place: String,
    /// The expectation as it was written.
    pub expectation: String,
    /// What was found.
    pub found: String,
    /// When.
    pub time: Time,
    /// The chain of causes of what was found.
    pub causes: Vec<Step>,
}

/// Something that the engine found.
#[derive(Clone, Debug, Serialize)]
pub struct Finding {
    /// `setup`, `contention`, `floating`, ...
    pub kind: &'static str,
    /// The path of the place.
    pub place: String,
    /// What happened, in one sentence.
    pub text: String,
    /// How often.
    pub count: u64,
    /// When first, for what has a time.
    pub first: Option<Time>,
}

/// A file of vectors.
#[derive(Clone, Debug, Serialize)]
pub struct Recorded {
    /// Its name, without a folder.
    pub file: String,
    /// Its lines; the first is the heading.
    pub lines: Vec<String>,
    /// True when it was cut.
    pub cut: bool,
}

/// A table of values over time.
#[derive(Clone, Debug, Serialize)]
pub struct Table {
    /// What its lines stand at: `each clock`.
    pub when: String,
    /// Names of the columns behind the time.
    pub columns: Vec<String>,
    /// Time and values.
    pub rows: Vec<(Time, Vec<String>)>,
    /// True when it was cut.
    pub cut: bool,
}
