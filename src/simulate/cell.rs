//! Chips in motion.

use super::delays::First;
use crate::circuit::ChipKey;
use crate::logic::Word;
use crate::part::function::{Drive, Held, Seen};

/// A chip in motion. The lines of the cache are laid out by hand: what a moving input touches lies in the first, what a
/// chip without storage needs besides in the second.
#[derive(Clone, Debug)]
#[repr(C, align(64))]
pub(super) struct Cell {
    /// Its inputs at this moment.
    pub(super) now: Word,
    /// Its inputs when it was last evaluated.
    pub(super) inputs: Word,
    /// What moved its inputs since it was last evaluated.
    pub(super) moved_by: Chains,
    /// Until then, data that is only remembered may still break a hold time.
    pub(super) holds_until: i64,
    pub(super) first_stamp: u32,
    pub(super) dirty: bool,
    /// To be evaluated although no input moved.
    pub(super) forced: bool,
    /// True when outputs can let go, so that it must be known what is on its way through the chip to them.
    pub(super) lets_go: bool,

    /// What its outputs are to be once all delays have passed.
    pub(super) wanted: Drive,
    pub(super) model: u32,
    pub(super) first_delay: First,
    pub(super) first_out: u32,
    pub(super) chip: ChipKey,
    /// Its nodes when it was last evaluated; those that nothing but the next edge reads may be older.
    pub(super) nodes: Word,

    pub(super) held: Held,
    /// First stages of synchronisers that are unknown because a requirement was not met.
    pub(super) undecided: u64,
    pub(super) first_check: u32,
    pub(super) first_snapshot: u32,
    /// True when it stores second stages of synchronisers.
    pub(super) decides: bool,
}

impl Cell {
    /// What it saw when it was last evaluated.
    pub(super) fn seen(&self) -> Seen {
        Seen { inputs: self.inputs, nodes: self.nodes }
    }
}

/// What is seldom asked of a chip.
#[derive(Clone, Debug)]
pub(super) struct Aside {
    /// State bits that have moved by themselves since it was last evaluated; it is forced then.
    pub(super) stirred: u64,
    /// The inputs that set off what moves by itself now.
    pub(super) lead: u64,
    /// When a requirement that was not met last made what it stores unknown; [`LONG_AGO`] for never.
    pub(super) lost: i64,
    /// When a clock last let something unknown in where it was unknown already; [`LONG_AGO`] for never.
    pub(super) renewed: i64,
    pub(super) first_timer: u32,
    /// Stored bits that are first stages of synchronisers, and second ones.
    pub(super) first_stage: u64,
    pub(super) second_stage: u64,
}

/// How long the chains of causes to some inputs are; see [`Out::chain`].
#[derive(Clone, Copy, Debug)]
pub(super) struct Chains {
    /// Inputs that moved by a chain too short for a loop.
    pub(super) brief: u64,
    /// The shortest of these chains.
    pub(super) short: u32,
    /// The shortest of the other ones.
    pub(super) long: u32,
}

impl Chains {
    pub(super) const NONE: Chains = Chains { brief: 0, short: u32::MAX, long: u32::MAX };

    #[inline]
    pub(super) fn add(&mut self, bit: u32, chain: u32) {
        if chain < LIVELY {
            self.brief |= 1 << bit;
            self.short = self.short.min(chain);
        } else {
            self.long = self.long.min(chain);
        }
    }

    /// The length of the chain to an output that these inputs move. The shortest chain counts: what a stimulus takes
    /// part in is no loop.
    #[inline]
    pub(super) fn then(&self, causes: u64) -> u32 {
        match (causes & self.brief, self.long) {
            (0, u32::MAX) => 0,
            (0, long) => long.saturating_add(1),
            _ => self.short.saturating_add(1),
        }
    }
}

/// Outputs with a chain of causes that is longer than this go round in a loop, or hang on one.
pub(super) const LIVELY: u32 = 1_000;
