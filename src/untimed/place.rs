//! Where nets are, what has its turn in the order of levels, what moves by itself, and who looks on.

use crate::circuit::NetKey;
use crate::logic::Level;

/// What has its turn in the order of levels.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Node {
    Unit(u32),
    Bus(u32),
    Knot(u32),
    /// Fills a word of the sets up.
    Nothing,
}

/// Where a net is.
#[derive(Clone, Copy, Debug)]
pub(super) struct Place {
    pub(super) signal: u32,
    pub(super) bit: u32,
    pub(super) kind: PlaceKind,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum PlaceKind {
    /// A rail.
    Fixed(Level),
    /// One output that never lets go drives it.
    Own,
    Bus(u32),
    /// With its row of the knot's nets.
    Knot(u32, u32),
}

/// What moves by itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Source {
    /// A unit whose stored bit swings, with the period in picoseconds.
    Oscillator(u32, i64),
    /// A stimulus, low and high for so long.
    Clock(NetKey, i64, i64),
    /// A pull of a knot's net against a capacitor.
    Charge(u32, u32),
}

/// A net that somebody outside looks at.
#[derive(Clone, Debug)]
pub(super) struct Note {
    pub(super) net: NetKey,
    pub(super) stop: bool,
    pub(super) watch: bool,
    pub(super) keep: bool,
    pub(super) level: Level,
    /// The time of the last change, and the level before it.
    pub(super) before: (i64, Level),
}
