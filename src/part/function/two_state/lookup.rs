//! Programs that only look a word up in a memory.

use crate::logic::Word;
use crate::part::function::memory::MemoryArray;
use crate::part::function::program::Operation;

/// A program that only reads a memory at an address of its inputs, and takes a stretch of the word.
#[derive(Clone, Copy, Debug)]
pub(super) struct MemoryLookup {
    /// Lowest bit and number of bits of the address among the inputs.
    address: (u8, u8),
    memory: u8,
    /// Of the stretch in the word.
    stretch: (u8, u8),
}

impl MemoryLookup {
    pub(super) fn of(operations: &[Operation]) -> Option<MemoryLookup> {
        let (address, memory, stretch) = match *operations {
            [Operation::Inputs { low, width }, Operation::Read(memory, _), Operation::Slice(word, first, bits)]
                if word.index() == 1 =>
            {
                ((low, width), memory, (first, bits))
            }
            [Operation::Inputs { low, width }, Operation::Read(memory, _)] => ((low, width), memory, (0, 64)),
            _ => return None,
        };
        Some(MemoryLookup { address, memory, stretch })
    }

    /// The stretch, and the bits of the word that are not known.
    #[inline]
    pub(super) fn get(&self, inputs: u64, memories: &[MemoryArray]) -> (u64, u64) {
        let stretch = |bits: u64, (low, width): (u8, u8)| bits >> low & Word::mask(width.into());
        let address = stretch(inputs, self.address);
        let word = memories[usize::from(self.memory)].get(address);
        (stretch(word.value, self.stretch), word.unknown)
    }
}
