//! Plain registers, and what they stored.

use super::pieces::Plan;
use crate::logic::Word;

/// A plain register, with all that it needs when it is clocked and nothing else goes on.
#[derive(Clone, Copy, Debug)]
#[repr(align(64))]
pub(super) struct Register {
    pub(super) unit: u32,
    /// The signal of its stored bits.
    pub(super) state: u32,
    /// The line of the clock, and its edge.
    pub(super) clock: (u32, u32),
    pub(super) rises: bool,
    /// The line of the gate, and the level that shuts it.
    pub(super) gate: Option<(u32, u32)>,
    pub(super) shut: bool,
    /// True when it keeps what it has while the gate is shut; the plan is for an open one.
    pub(super) holds: bool,
    pub(super) skewed: bool,
    pub(super) plan: Plan,
}

/// A situation in which a unit stored nothing new.
#[derive(Clone, Copy, Debug)]
pub(super) struct Steady {
    /// Its inputs before the wave, and in it.
    pub(super) was: Word,
    pub(super) now: Word,
    pub(super) state: Word,
    /// True when levels act on what it stores.
    pub(super) acts: bool,
}

/// What a register stored at a clock that may be late.
#[derive(Clone, Debug)]
pub(super) struct Sampled {
    pub(super) unit: u32,
    pub(super) before: Word,
    pub(super) was: Word,
    pub(super) now: Word,
    pub(super) next: Word,
}
