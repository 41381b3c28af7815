//! Chips in motion.

use super::delays::DelayOffset;
use crate::circuit::ChipKey;
use crate::logic::Word;
use crate::part::function::{ChipState, Drive, SampledInputs};
use crate::quantity::Time;

/// A chip in motion. The lines of the cache are laid out by hand: what a moving input touches lies in the first, what a
/// chip without storage needs besides in the second.
#[derive(Clone, Debug)]
#[repr(C, align(64))]
pub(super) struct Instance {
    /// Its inputs at this moment.
    pub(super) now: Word,
    /// Its inputs when it was last evaluated.
    pub(super) inputs: Word,
    /// What moved its inputs since it was last evaluated.
    pub(super) moved_by: CausalDepth,
    /// Until then, data that is only remembered may still break a hold time.
    pub(super) hold_ends: Time,
    pub(super) first_timestamp: u32,
    pub(super) dirty: bool,
    /// To be evaluated although no input moved.
    pub(super) requested: bool,
    /// True when outputs can go high-impedance, so that it must be known what is on its way through the chip to them.
    pub(super) three_state: bool,

    /// What its outputs are to be once all delays have passed.
    pub(super) wanted: Drive,
    pub(super) model: u32,
    pub(super) first_delay: DelayOffset,
    pub(super) first_driver: u32,
    pub(super) chip: ChipKey,
    /// Its nodes when it was last evaluated; those that nothing but the next edge reads may be older.
    pub(super) nodes: Word,

    pub(super) stored: ChipState,
    /// First stages of synchronisers that are unknown because a requirement was not met.
    pub(super) metastable: u64,
    pub(super) first_check: u32,
    pub(super) first_reference_edge: u32,
    /// True when it stores second stages of synchronisers.
    pub(super) resolves_metastability: bool,
}

impl Instance {
    /// What it saw when it was last evaluated.
    pub(super) fn sampled(&self) -> SampledInputs {
        SampledInputs { inputs: self.inputs, nodes: self.nodes }
    }
}

/// What is seldom asked of a chip.
#[derive(Clone, Debug)]
pub(super) struct ColdState {
    /// State bits that have moved by themselves since it was last evaluated; it is forced then.
    pub(super) self_changed: u64,
    /// The inputs that set off what moves by itself now.
    pub(super) trigger_inputs: u64,
    /// When a requirement that was not met last made what it stores unknown; [`LONG_AGO`] for never.
    pub(super) lost: Time,
    /// When a clock last let something unknown in where it was unknown already; [`LONG_AGO`] for never.
    pub(super) renewed: Time,
    pub(super) first_timer: u32,
    /// Stored bits that are first stages of synchronisers, and second ones.
    pub(super) first_stage: u64,
    pub(super) second_stage: u64,
}

/// How long the chains of causes to some inputs are; see [`Driver::depth`].
#[derive(Clone, Copy, Debug)]
pub(super) struct CausalDepth {
    /// Inputs that moved by a chain too short for a loop.
    pub(super) shallow: u64,
    /// The shortest of these chains.
    pub(super) shallowest: u32,
    /// The shortest of the other ones.
    pub(super) long: u32,
}

impl CausalDepth {
    pub(super) const NONE: CausalDepth = CausalDepth { shallow: 0, shallowest: u32::MAX, long: u32::MAX };

    #[inline]
    pub(super) fn add(&mut self, bit: u32, depth: u32) {
        if depth < OSCILLATION_THRESHOLD {
            self.shallow |= 1 << bit;
            self.shallowest = self.shallowest.min(depth);
        } else {
            self.long = self.long.min(depth);
        }
    }

    /// The length of the chain to an output that these inputs move. The shortest chain counts: what a stimulus takes
    /// part in is no loop.
    #[inline]
    pub(super) fn then(&self, causes: u64) -> u32 {
        match (causes & self.shallow, self.long) {
            (0, u32::MAX) => 0,
            (0, long) => long.saturating_add(1),
            _ => self.shallowest.saturating_add(1),
        }
    }
}

/// Outputs with a chain of causes that is longer than this go round in a loop, or hang on one.
pub(super) const OSCILLATION_THRESHOLD: u32 = 1_000;
