//! What a run leaves behind of the signals that were watched: plain data for waveform files and pictures.

use crate::logic::Level;
use crate::quantity::Time;

/// The recorded signals of one run.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Waves {
    /// When recording began.
    pub start: Time,
    /// When it ended.
    pub end: Time,
    /// The signals, in the order that they were asked for.
    pub signals: Vec<Wave>,
    /// Things to point at.
    pub marks: Vec<Mark>,
}

/// A recorded signal: one net, or several as a bus.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Wave {
    /// Its path: `A.r`.
    pub name: String,
    /// Its bits, the most significant first.
    pub bits: Vec<Bit>,
}

/// One recorded net.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Bit {
    /// Its path: `A.r7`.
    pub name: String,
    /// Its levels from each time on, by rising time; the first stands at the start.
    pub changes: Vec<(Time, Level)>,
}

/// A thing to point at: a violation, a fight, a failed expectation.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mark {
    /// When.
    pub time: Time,
    /// The signal that it is about, as an index of [`Waves::signals`].
    pub signal: usize,
    /// What it is, in a few words.
    pub text: String,
}

impl Bit {
    /// The level at a time.
    pub fn at(&self, time: Time) -> Level {
        let after = self.changes.partition_point(|&(start, _)| start <= time);
        after.checked_sub(1).map_or(Level::U, |index| self.changes[index].1)
    }
}
