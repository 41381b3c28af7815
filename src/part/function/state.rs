//! What a chip remembers, sees and drives, and the working memory of an evaluation.

use super::memory::MemoryArray;
use crate::logic::Word;

/// What a chip remembers.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct ChipState {
    pub state: Word,
    /// Memory arrays, as many as [`super::Function::memories`].
    pub memories: Vec<MemoryArray>,
}

/// What the output pins want to be.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Drive {
    /// Level of each output bit.
    pub value: Word,
    /// Output bits that go high-impedance.
    pub off: Word,
}

/// The inputs and nodes at one moment.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct SampledInputs {
    pub inputs: Word,
    pub nodes: Word,
}

/// Working memory that is used again for each evaluation.
#[derive(Clone, Debug, Default)]
pub struct Scratch {
    pub(super) registers: Vec<Word>,
    pub(super) writes: Vec<PendingWrite>,
    pub(super) started: Started,
}

/// Timers that a step has started, as state bits.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Started {
    /// Those that certainly have started.
    pub certain: u64,
    /// Those that may have.
    pub perhaps: u64,
}

impl Scratch {
    /// The timers that the last step has started.
    pub fn started(&self) -> Started {
        self.started
    }
}

/// A write that waits until every rule of the same instant has read the memories.
#[derive(Clone, Copy, Debug)]
pub(super) struct PendingWrite {
    pub(super) memory: usize,
    pub(super) address: Word,
    pub(super) words: u64,
    pub(super) data: Word,
    pub(super) certain: bool,
}
