//! The causes of events, as they are kept.

use super::number::row;
use crate::circuit::NetKey;
use crate::key::Key;
use crate::logic::Level;
use crate::logic::Word;
use crate::part::function::SampledInputs;
use crate::quantity::Time;
use rustc_hash::FxHashMap;
/// All changes of nets since it was begun, in order of time.
#[derive(Clone, Debug, Default)]
pub(super) struct History {
    pub(super) records: Vec<Record>,
    pub(super) last: FxHashMap<NetKey, u32>,
    /// By output, why it moves next, or has moved last.
    pub(super) intended: FxHashMap<u32, Intent>,
    /// The levels of all nets when it was begun.
    pub(super) first: Vec<Level>,
}

/// Why an output is going to move.
#[derive(Clone, Copy, Debug)]
pub(super) struct Intent {
    pub(super) cause: Cause,
    /// The record of the net that it followed.
    pub(super) parent: Option<u32>,
    /// How many records there were.
    pub(super) bound: u32,
}

/// One change.
#[derive(Clone, Copy, Debug)]
pub(super) struct Record {
    pub(super) time: Time,
    /// The number of events until then.
    pub(super) events: u64,
    /// The driver that the net has its level from.
    pub(super) source: u32,
    /// The driver that moved, when it is another.
    pub(super) moved: Option<u32>,
    /// The driver that the source drives against.
    pub(super) against: Option<u32>,
    pub(super) net: NetKey,
    pub(super) level: Level,
    /// True when the net has had this level from another driver until now.
    pub(super) same_level: bool,
    /// Why its driver moved; `None` when that was decided before the history was begun.
    pub(super) intent: Option<Intent>,
}

/// What made an output move.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Cause {
    pub(super) moved: Option<u8>,
    /// The input to look behind: the one that moved, or the data that it let in.
    pub(super) follow: Option<u8>,
    pub(super) reason: Reason,
}

/// Where a level comes from.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) enum Reason {
    /// From the inputs.
    #[default]
    Inputs,
    /// From storage that nothing has defined.
    NeverDefined,
    /// From storage that was defined once, and was lost.
    Lost(Time),
    /// From a memory word that is known.
    Word,
    /// From one that is not.
    NoWord,
    /// From one that is not, of a memory in which words were lost, last at this time.
    NoWordLost(Time),
    /// From a timer that is over.
    Over,
}

/// What a chip was when it was evaluated.
#[derive(Clone, Copy, Debug)]
pub(super) struct Evaluation {
    pub(super) was: SampledInputs,
    pub(super) state: Word,
    /// Inputs that moved.
    pub(super) changed: u64,
    /// Inputs that have set off what moves by itself.
    pub(super) trigger_inputs: u64,
    /// True at power-up, when a circuit comes to rest before anything happens.
    pub(super) at_rest: bool,
}

impl Record {
    /// Why its driver moved, as far as that is known.
    pub(super) fn cause(&self) -> Cause {
        self.intent.map(|intent| intent.cause).unwrap_or_default()
    }
}

impl History {
    pub(super) fn intend(&mut self, driver: u32, cause: Cause, net: Option<NetKey>) {
        let parent = net.and_then(|net| self.last.get(&net).copied());
        let bound = row(self.records.len());
        let intent = Intent { cause, parent, bound };
        self.intended.insert(driver, intent);
    }

    pub(super) fn record(&mut self, record: Record) {
        self.last.insert(record.net, row(self.records.len()));
        self.records.push(record);
    }

    /// Why an output moves next, or has moved last.
    pub(super) fn intent(&self, driver: u32) -> Option<Intent> {
        self.intended.get(&driver).copied()
    }

    /// The level of a net when the history was begun.
    pub(super) fn first_level(&self, net: NetKey) -> Level {
        self.first.get(net.index()).copied().unwrap_or(Level::U)
    }
}
