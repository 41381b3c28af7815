//! How the rows of a look-up table are computed.

use crate::part::function::two_state::TwoStateProgram;
use std::sync::Arc;

/// How the rows of a table are computed.
#[derive(Clone, Debug)]
pub(super) struct Fill {
    /// Inputs and stored bits that are tied.
    pub(super) base: u64,
    pub(super) rest: u64,
    /// For each input and stored bit its place in the row's number, its bit, and whether it is stored.
    pub(super) order: Vec<u32>,
    /// The first of two programs.
    pub(super) flats: u32,
    /// The outputs or stored bits that count.
    pub(super) mask: u64,
    pub(super) edge: bool,
}

impl Fill {
    /// One row: levels in bits 0 to 15, outputs that are high-impedance above; of an edge, what is stored.
    pub(super) fn row(&self, flats: &[Arc<TwoStateProgram>], index: u64) -> u32 {
        let mut words = [self.base, self.rest];
        for &bit in &self.order {
            let word = &mut words[(bit & 1) as usize];
            let to = bit >> 1 & 127;
            *word = *word & !(1 << to) | (index >> (bit >> 8) & 1) << to;
        }
        let run = |row: u32| flats[row as usize].run(words[0], words[1], &[]).0;
        let value = run(self.flats + 1);
        let row = if self.edge {
            value & self.mask
        } else {
            let off = run(self.flats);
            value & !off & self.mask | (off & self.mask) << 16
        };
        row as u32
    }
}
