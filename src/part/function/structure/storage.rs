//! What a function stores and drives, and what that depends on.

use super::dependency::Dependency;
use crate::logic::Word;
use crate::part::Edge;
use crate::part::sheet::Signal;

/// A stored bit, and where its new value comes from.
#[derive(Clone, Copy, Debug)]
pub struct Stored {
    pub state: usize,
    /// What its new value depends on.
    pub data: Dependency,
    /// The new value, when it is always the same.
    pub constant: Option<bool>,
}

/// Storage that is set at an edge.
#[derive(Clone, Debug)]
pub struct Clocked {
    pub trigger: Signal,
    pub edge: Edge,
    /// What moves the signal.
    pub by: Dependency,
    pub stores: Vec<Stored>,
    /// True when it writes a memory.
    pub writes: bool,
    /// True when it can start a timer.
    pub(super) starts: bool,
    /// State bits that decide what it writes and starts.
    pub(super) reads: u64,
}

/// Storage that is set while a condition holds.
#[derive(Clone, Debug)]
pub struct Gated {
    /// What moves the condition.
    pub condition: Dependency,
    pub stores: Vec<Stored>,
    /// What the words and addresses of memory writes depend on, when it writes any.
    pub writes: Option<Dependency>,
    /// Output bits that are surely off while the condition holds.
    pub silent: u64,
}

/// The dependencies in a function.
#[derive(Clone, Debug, Default)]
pub struct Structure {
    /// On the level of each output bit.
    pub values: Vec<Dependency>,
    /// On whether each output bit goes high-impedance.
    pub offs: Vec<Dependency>,
    /// The level of each output bit, known where nothing moves it.
    pub value: Word,
    /// Whether each output bit goes high-impedance, known where nothing moves that.
    pub off: Word,
    /// On each node.
    pub nodes: Vec<Dependency>,
    /// Edge-triggered storage whose trigger can move.
    pub clocked: Vec<Clocked>,
    /// Level-sensitive storage whose condition can be true.
    pub gated: Vec<Gated>,
    /// What is stored, known where nothing can ever change it from what it is at power-up.
    pub states: Word,
}
