//! The outputs of a small part without storage, for all known inputs.

use super::{Drive, Function, Held, Scratch, Seen};
use crate::logic::Word;
use std::sync::Arc;

/// More inputs than this make the table larger than what it saves: 4096 rows of four bytes.
const MOST_INPUTS: usize = 12;
/// Outputs that fit a row: the levels in its low half, who lets go in its high half.
const MOST_OUTPUTS: usize = 16;

/// A row for each number that the inputs can be.
#[derive(Clone, Debug)]
pub struct TruthTable {
    rows: Arc<[u32]>,
}

impl TruthTable {
    /// The table of a part, if it stores nothing, is small enough, and knows its outputs whenever it knows its inputs.
    pub(super) fn new(function: &Function) -> Option<TruthTable> {
        if !function.is_combinational()
            || function.inputs.len() > MOST_INPUTS
            || function.outputs.len() > MOST_OUTPUTS
        {
            return None;
        }
        let (held, mut scratch) = (Held::default(), Scratch::default());
        let row = |number: u64| {
            let inputs = Word::known(number);
            let nodes = function.nodes(inputs, &held, &mut scratch);
            let drive = function.drive(Seen { inputs, nodes }, &held, &mut scratch);
            let known = drive.value.unknown | drive.off.unknown == 0;
            known.then_some((drive.value.value | drive.off.value << MOST_OUTPUTS) as u32)
        };
        let rows: Option<Arc<[u32]>> = (0..1 << function.inputs.len()).map(row).collect();
        Some(TruthTable { rows: rows? })
    }

    /// What the outputs want to be; the inputs must be known.
    #[inline]
    pub fn drive(&self, inputs: Word) -> Drive {
        let row = u64::from(self.rows[inputs.value as usize]);
        Drive {
            value: Word::known(row & Word::mask(MOST_OUTPUTS as u32)),
            off: Word::known(row >> MOST_OUTPUTS),
        }
    }
}
