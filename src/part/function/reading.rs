//! Which word of its memory a chip gives.

use super::memory::MemoryArray;
use super::program::{Operation, Register};
use super::{ChipState, Function, SampledInputs, Scratch};
use crate::logic::Word;

/// A function whose outputs give words of its first memory, one at a time.
#[derive(Clone, Debug)]
pub struct Reading {
    /// Output bits that hang on a memory.
    pub outputs: u64,
    address: Register,
    stored: ChipState,
    scratch: Scratch,
}

impl Reading {
    /// Of a function; `None` when its outputs read no memory, or several words at once.
    pub fn new(function: &Function) -> Option<Reading> {
        let mut reads = function.drive_program.operations.iter();
        let mut reads = reads.by_ref().filter_map(|operation| match *operation {
            Operation::Read(0, address) => Some(address),
            _ => None,
        });
        let (address, None) = (reads.next()?, reads.next()) else {
            return None;
        };
        let bits = 0..function.outputs.len();
        let outputs = bits.filter(|&bit| function.reads_of_value(bit).memory);
        let outputs = outputs.fold(0, |mask, bit| mask | 1 << bit);
        let stored = ChipState {
            state: Word::all_unknown(function.state_mask() & !function.zero_at_power_up),
            memories: (function.memories.iter()).map(MemoryArray::unknown).collect(),
        };
        (outputs != 0).then(|| Reading { outputs, address, stored, scratch: Scratch::default() })
    }

    /// The address of the word that is given with these inputs; `None` while one of the outputs may be off, and where
    /// the address is not known.
    pub fn address(&mut self, function: &Function, inputs: Word) -> Option<u64> {
        let nodes = function.nodes(inputs, &self.stored, &mut self.scratch);
        let drive = function.drive(SampledInputs { inputs, nodes }, &self.stored, &mut self.scratch);
        let off = (drive.off.value | drive.off.unknown) & self.outputs;
        let address = self.scratch.registers[self.address.index()];
        let words = function.memories.first()?.words;
        (off == 0 && address.unknown & (words - 1) == 0).then_some(address.value & (words - 1))
    }
}
