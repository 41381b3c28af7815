//! The synchronisers of a circuit.

use crate::quantity::Time;
use rand_chacha::ChaCha8Rng;
/// The stages of all synchronisers.
#[derive(Clone, Debug)]
pub(super) struct Synchronisers {
    pub(super) rows: Vec<Row>,
    pub(super) rng: ChaCha8Rng,
}

/// One statement of the design.
#[derive(Clone, Debug)]
pub(super) struct Row {
    /// Stored bits by instance.
    pub(super) first: Vec<(u32, u64)>,
    pub(super) second: Vec<(u32, u64)>,
    pub(super) count: u64,
    pub(super) at: Time,
}
