//! What a refit would do: plain data, of which text and JSON are views.

use crate::quantity::{Frequency, Time};
use crate::sweep::{Highest, Outcome, Rests};
use serde::Serialize;

/// A design as it is and as it would be.
#[derive(Clone, Debug, Serialize)]
pub struct Refit {
    /// The board or assembly.
    pub on: String,
    /// The chips that are replaced.
    pub replaced: Vec<Replaced>,
    /// Chips that were meant, but stay as they are.
    pub kept: Vec<Kept>,
    /// What would have to be changed in the files.
    pub edits: Vec<Edit>,
    /// Findings of the electrical rules.
    pub findings: Turned<String>,
    /// Rules that fill gaps of the sheets, over all trials.
    pub rules: Turned<Rests>,
    /// The supply current at rest.
    pub at_rest: Both<AtRest>,
    /// What static timing says with the slowest parts, one row a clock.
    pub timing: Both<Vec<Limit>>,
    /// The trials, in each corner.
    pub runs: Vec<Pair>,
}

/// How fast a clock may be, by static timing.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Limit {
    /// Its net.
    pub clock: String,
    /// How fast it is.
    pub given: Frequency,
    /// How fast it can be, rounded down; `None` when nothing limits it.
    pub highest: Option<Frequency>,
    /// How many requirements do not hold at the given rates.
    pub failing: usize,
    /// The path that limits it.
    pub path: Option<LimitingPath>,
}

/// A path, in words.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct LimitingPath {
    /// What must hold at its end: `setup of U2.ENT 74HC161`.
    pub end: String,
    /// The chips on it, in order.
    pub steps: Vec<String>,
    /// What the sheet asks for at the end.
    pub least: Time,
}

/// A figure of both sides.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Both<T> {
    pub is: T,
    /// As it would be.
    pub would: T,
}

/// What goes, and what comes.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Turned<T> {
    /// Only as it is.
    pub gone: Vec<T>,
    /// Only as it would be.
    pub come: Vec<T>,
}

/// A chip that is replaced.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Replaced {
    pub path: String,
    /// The number that stands there.
    pub from: String,
    /// The number that would.
    pub to: String,
    /// True when its figures are estimated from those of another family.
    pub estimated: bool,
    /// Pins that fit, but are called otherwise.
    pub renamed: Vec<String>,
}

/// A chip that stays.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Kept {
    pub path: String,
    pub number: String,
    /// Why it stays.
    pub why: String,
}

/// A change in a file.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Edit {
    /// `file:line:column`.
    pub place: String,
    /// What stands there.
    pub from: String,
    /// What would have to.
    pub to: String,
    /// The chips that it is for.
    pub chips: Vec<String>,
    /// Chips of the same line that are not replaced, or not alike.
    pub others: Vec<String>,
}

/// The supply current of all chips at rest.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct AtRest {
    /// The sum of what the sheets of the families guarantee or tell.
    pub current: String,
    /// Chips that it counts.
    pub chips: usize,
    /// Numbers of chips whose family tells nothing.
    pub without: Vec<String>,
}

/// One trial in one corner, on both sides.
#[derive(Clone, Debug, Serialize)]
pub struct Pair {
    pub trial: String,
    pub corner: String,
    pub outcome: Both<Side>,
    /// Requirements of sheets that were not kept, by place, and other faults.
    pub faults: Turned<String>,
    /// The first moment at which a net has another level.
    pub difference: Option<Difference>,
    /// The first net whose levels come in another order, whatever the times.
    pub reordered: Option<Reordered>,
    /// Until when levels were compared, where the runs are too long to keep all of them.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub compared: Option<String>,
}

/// What came of a trial.
#[derive(Clone, Debug, Serialize)]
pub struct Side {
    pub run: Outcome,
    /// The highest clock rate, when it was asked for.
    pub highest: Option<Highest>,
}

/// A net with two levels at one moment.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Difference {
    pub net: String,
    /// When.
    pub time: String,
    pub level: Both<&'static str>,
}

/// A net whose levels come in another order.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Reordered {
    pub net: String,
    /// Which of its changes is the first that differs, from 1.
    pub change: usize,
    /// When, on each side; none where no change comes any more.
    pub time: Both<Option<String>>,
    /// To which level.
    pub level: Both<Option<&'static str>>,
}

impl Refit {
    /// True when every trial passes as it would be.
    pub fn is_good(&self) -> bool {
        self.runs.iter().all(|pair| {
            let side = &pair.outcome.would;
            let rate = side.highest.as_ref();
            side.run.passed_all() && rate.is_none_or(Highest::is_good)
        })
    }
}
