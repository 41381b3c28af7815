//! Programs that are looked up instead of run.

use super::TwoStateProgram;
use crate::logic::Word;
use crate::part::function::memory::MemoryArray;
use crate::part::function::program::Operation;

/// Programs of more operations than so many, about no more bits than so many, are looked up.
const EASY: usize = 3;
const FEW_BITS: u32 = 6;

/// What a program about few bits gives for each of their levels.
#[derive(Clone, Debug)]
pub(super) struct Table {
    /// Neighbours among the inputs or the stored bits, the lowest place in the row's number first.
    fields: Vec<Field>,
    rows: Vec<u64>,
}

#[derive(Clone, Copy, Debug)]
struct Field {
    stored: bool,
    low: u32,
    mask: u64,
    /// Its place in the row's number.
    place: u32,
}

impl Table {
    /// `None` for a program that is easy, reads a memory, or is about many bits.
    pub(super) fn of(two_state: &TwoStateProgram) -> Option<Table> {
        let words = [two_state.inputs(), two_state.states()];
        let count = words[0].count_ones() + words[1].count_ones();
        if two_state.len() <= EASY || count > FEW_BITS || two_state.reads_memory() {
            return None;
        }
        let mut fields = Vec::new();
        let mut place = 0;
        for (mut word, stored) in words.into_iter().zip([false, true]) {
            while word != 0 {
                let low = word.trailing_zeros();
                let width = (word >> low).trailing_ones();
                let mask = Word::mask(width);
                fields.push(Field { stored, low, mask, place });
                word &= !(mask << low);
                place += width;
            }
        }
        let rows = (0..1u64 << count).map(|row| {
            let mut words = [0, 0];
            for field in &fields {
                words[usize::from(field.stored)] |= (row >> field.place & field.mask) << field.low;
            }
            two_state.run(words[0], words[1], &[]).0
        });
        let rows = rows.collect();
        Some(Table { fields, rows })
    }

    #[inline]
    pub(super) fn get(&self, inputs: u64, states: u64) -> u64 {
        let row = self.fields.iter().fold(0, |row, field| {
            let word = if field.stored { states } else { inputs };
            row | (word >> field.low & field.mask) << field.place
        });
        self.rows[row as usize]
    }
}

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
