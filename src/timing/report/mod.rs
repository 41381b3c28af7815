//! The report: plain data, with names and places, for every look of it.

mod make;
mod steps;

pub use make::analyse;

use super::checks::Kind;
use super::parts::Parts;
use super::sources::Source;
use crate::quantity::{Capacitance, Frequency, Time};
use crate::text::Span;
use serde::Serialize;
use std::collections::BTreeMap;

#[derive(Clone, Debug)]
pub struct Options {
    /// How fast the parts are; one run each.
    pub parts: Vec<Parts>,
    /// Clocks that somebody names. Of several on one net the first counts.
    pub sources: Vec<Source>,
    /// How many of the worst paths are followed step by step.
    pub paths: usize,
}

#[derive(Clone, Debug, Serialize)]
pub struct Report {
    /// The board or assembly.
    pub on: String,
    pub clocks: Vec<ClockRow>,
    /// One for each speed of the parts.
    pub runs: Vec<Run>,
    /// Loops that are cut, each as the outputs that it goes through.
    pub loops: Vec<Vec<String>>,
    /// Paths that the designer says are not used.
    pub unused: Vec<FalsePathRow>,
    /// What is not judged, in sentences.
    pub remarks: Vec<String>,
    /// Clock inputs that no clock reaches.
    pub unclocked: Vec<String>,
    /// Rules that filled gaps of the sheets, with the numbers of the parts.
    pub rules: Vec<(String, Vec<String>)>,
}

#[derive(Clone, Debug, Serialize)]
pub struct ClockRow {
    pub net: String,
    /// Who says so.
    pub origin: String,
    /// From rise to rise, at the least.
    pub period: Time,
    /// How long it is high, at the least.
    pub high: Time,
    /// How long it is low, at the least.
    pub low: Time,
    /// The clock that it is made from.
    pub made_from: Option<String>,
    /// True when it goes to clock inputs.
    pub clocks_something: bool,
}

/// The analysis with parts of one speed.
#[derive(Clone, Debug, Serialize)]
pub struct Run {
    /// How fast the parts are.
    pub parts: Parts,
    /// The highest rate of each clock that all begins with.
    pub rates: Vec<Rate>,
    /// How many things must hold.
    pub checks: usize,
    /// How many of them do not, by kind.
    pub failing: BTreeMap<Kind, usize>,
    /// How many hold times do not hold whatever the rate is: data and clock begin with the same edge.
    pub at_any_rate: usize,
    /// The slack of everything that must hold.
    pub histogram: Vec<Bin>,
    /// The worst of them, each with its path.
    pub paths: Vec<PathRow>,
    /// Nets that change hands.
    pub turn_rounds: Vec<TurnaroundRow>,
    /// What the inputs must keep to.
    pub inputs: Vec<InputRow>,
    /// When the outputs move.
    pub outputs: Vec<OutputRow>,
    /// The longest ways straight through.
    pub straight: Vec<FeedthroughRow>,
    /// How many ends have paths to them through two outputs that are never on together, which are left out.
    pub contradictory: u64,
}

impl Run {
    /// True when everything holds.
    pub fn holds(&self) -> bool {
        self.failing.is_empty()
    }
}

/// How fast a clock can be.
#[derive(Clone, Debug, Serialize)]
pub struct Rate {
    /// Its net.
    pub clock: String,
    /// How fast it is.
    pub given: Frequency,
    /// How fast it can be, rounded down; `None` when nothing limits it.
    pub highest: Option<Frequency>,
    /// The same as a period.
    pub period: Option<Time>,
    pub limit: Option<PathRow>,
}

/// Things that must hold, by what is left.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Bin {
    /// From here,
    pub from: Time,
    /// up to here, exclusive.
    pub to: Time,
    pub count: usize,
}

/// One thing that must hold, with its path.
#[derive(Clone, Debug, Serialize)]
pub struct PathRow {
    pub kind: Kind,
    /// The pin where it must hold.
    pub at: String,
    /// The number of its chip.
    pub number: String,
    /// The edge that it begins with: `rise of phi`.
    pub from: String,
    /// The edge that it is compared with.
    pub to: String,
    /// What is left.
    pub slack: Time,
    /// What is there between the two edges.
    pub given: Time,
    pub needed: Time,
    /// When the data arrives, after the edge that it begins with; the latest, or for data that must stay the earliest.
    pub arrives: Time,
    /// True when the data must be there before an edge; false when it must stay behind one.
    pub before: bool,
    /// When the edge that it begins with is at the first chip.
    pub begins_at: Time,
    /// The steps, in order.
    pub steps: Vec<Step>,
    /// What the sheet asks for at the end.
    pub least: Time,
    /// When the clock that it is compared with is there.
    pub clock_at: Time,
    /// Taken off, because both clocks have it in common.
    pub common: Time,
    /// Where the sheet's row is written.
    pub place: Option<String>,
    /// What takes the greatest share, in words.
    pub advice: Option<String>,
}

/// One step of a path.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Step {
    /// The board; empty for a board that stands alone.
    pub board: String,
    /// The chip, as a path.
    pub chip: String,
    pub number: String,
    /// The pin that it goes in by.
    pub input: String,
    /// The pin that it comes out by.
    pub output: String,
    /// What the output does: `rise`, `fall`, `enable`, ...
    pub does: &'static str,
    /// The net behind it.
    pub net: String,
    /// How many inputs are on that net.
    pub inputs: usize,
    /// What the output drives: pins, copper and cables.
    pub load: Capacitance,
    /// How long it takes, cables included.
    pub delay: Time,
    /// What cables have in it.
    pub cable: Time,
    /// When the net has moved, after the edge that all began with.
    pub at: Time,
    /// The data sheet.
    pub source: String,
}

/// A net that changes hands.
#[derive(Clone, Debug, Serialize)]
pub struct TurnaroundRow {
    pub net: String,
    /// The edge behind which it does.
    pub edge: String,
    /// The longest time for which two drive; negative when that cannot be.
    pub overlap: Time,
    /// Who lets go, who takes over.
    pub overlapping: (String, String),
    /// The longest time for which nobody drives.
    pub gap: Time,
    /// Who lets go, who takes over.
    pub parted: (String, String),
}

/// What an input must keep to.
#[derive(Clone, Debug, Serialize)]
pub struct InputRow {
    pub net: String,
    pub edge: String,
    /// When its clock is made from others: the clock that begins, from whose edge the times count.
    pub root: Option<String>,
    /// So long before.
    pub before: Option<Time>,
    /// So long behind.
    pub after: Option<Time>,
}

/// When an output moves.
#[derive(Clone, Debug, Serialize)]
pub struct OutputRow {
    pub net: String,
    pub edge: String,
    /// When its clock is made from others: the clock that begins, from whose edge the times count.
    pub root: Option<String>,
    pub earliest: Time,
    pub latest: Time,
}

/// A way straight through.
#[derive(Clone, Debug, Serialize)]
pub struct FeedthroughRow {
    pub input: String,
    pub output: String,
    /// The shortest time.
    pub earliest: Time,
    /// The longest.
    pub latest: Time,
    /// The longest path, when it was followed.
    pub steps: Vec<Step>,
}

/// A path that the designer says is not used.
#[derive(Clone, Debug, Serialize)]
pub struct FalsePathRow {
    /// Where that is written.
    pub place: String,
    /// Why it is not used.
    pub reason: String,
    /// False when there is no such path.
    pub exists: bool,
    /// How many paths were left out because of it, that would have been the worst at their ends.
    pub left_out: u64,
    /// Where that is written, in the text.
    #[serde(skip)]
    pub span: Span,
}
