//! What drives nets: outputs of chips, stimuli, links.

use super::nets::Loads;
use crate::circuit::{ChipKey, NetKey};
use crate::logic::Level;
use crate::part::PinIndex;
use crate::quantity::Time;

/// A time before every event, with room to subtract from.
pub(super) const LONG_AGO: Time = Time::from_ps(i64::MIN / 4);

/// No event is due.
pub(super) const NEVER: Time = Time::MAX;

/// In place of an output: the supply of a rail.
pub(super) const SUPPLY: u32 = u32::MAX;

/// Something that drives a net: what each of its events touches.
#[derive(Clone, Debug)]
pub(super) struct Driver {
    /// When its next level comes.
    pub(super) due: Time,
    /// When it took another level last; [`LONG_AGO`] for never.
    pub(super) changed: Time,
    /// How many outputs moved one another, since the last stimulus, until this one did.
    pub(super) depth: u32,
    pub(super) loads: Loads,
    pub(super) now: Level,
    pub(super) next: Level,
    /// What is special about it, of [`driver_flag`].
    pub(super) flags: u8,
    /// How many transitions it has called back, beside the rounds of 256 in [`Machine::filtered`].
    pub(super) filtered: u8,
}

/// Where an output leads to.
#[derive(Clone, Copy, Debug)]
pub(super) struct NetConnection {
    /// Its net; `u32::MAX` for none.
    pub(super) net: u32,
    /// Delay of the cables on the net, in picoseconds.
    pub(super) wire: u32,
}

/// What makes an output's move more than a new level of its net.
pub(super) mod driver_flag {
    /// It moves by itself: oscillators, timers and the clocks of a trial.
    pub(in crate::simulate) const SELF_TIMED: u8 = 1;
    /// Another level follows its next one.
    pub(in crate::simulate) const FOLLOWED: u8 = 2;
    /// Its net is flagged, or it has none, or a history is kept.
    pub(in crate::simulate) const MARKED: u8 = 4;
    /// Cables on its net take their time. Its move is no different for that.
    pub(in crate::simulate) const WIRED: u8 = 8;
}

/// What follows the next level of an output: a memory's data behind a stretch of unknown, or what comes behind a level
/// that is on its way through a cable.
#[derive(Clone, Copy, Debug)]
pub(super) struct LaterTransition {
    pub(super) due: Time,
    pub(super) level: Level,
}

impl Driver {
    pub(super) fn new(now: Level) -> Driver {
        Driver {
            due: NEVER,
            changed: LONG_AGO,
            depth: 0,
            loads: Loads::new(&[], 0),
            now,
            next: now,
            flags: driver_flag::MARKED,
            filtered: 0,
        }
    }

    /// Notes that a transition was called back; true when a round of 256 is full.
    #[inline]
    pub(super) fn filter(&mut self) -> bool {
        self.filtered = self.filtered.wrapping_add(1);
        self.filtered == 0
    }

    /// How many were called back, when so many rounds were full.
    pub(super) fn filtered(&self, rounds: u32) -> u64 {
        u64::from(rounds) << u8::BITS | u64::from(self.filtered)
    }
}

/// What an [`Driver`] belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Owner {
    Chip(ChipKey, PinIndex),
    /// With its row of [`Machine::oscillators`].
    Oscillator(ChipKey, u32),
    /// With its row of [`Machine::timers`].
    Timer(ChipKey, u32),
    Stimulus(NetKey),
    /// A resistor or a contact, by its discrete.
    Link(crate::circuit::DiscreteKey),
}

impl Owner {
    pub(super) fn is_chip(self) -> bool {
        matches!(self, Owner::Chip(..))
    }
}

/// A free-running stimulus.
#[derive(Clone, Copy, Debug)]
pub(super) struct Clock {
    pub(super) driver: u32,
    pub(super) high: Time,
    pub(super) low: Time,
}
