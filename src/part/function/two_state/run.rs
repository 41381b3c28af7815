//! A program on known levels, as it runs.

use super::lookup::MemoryLookup;
use crate::logic::Word;
use crate::part::function::memory::MemoryArray;
use crate::part::function::program::{Operation, Register};

/// Programs of so many operations take room on the stack for what each gives: nearly all, and all but a few.
const SHORT: usize = 16;
const LONG: usize = 128;

/// A program on known levels, with one result.
#[derive(Clone, Debug, Default)]
pub struct TwoStateProgram {
    pub(super) operations: Vec<Operation>,
    pub(super) lookup: Option<MemoryLookup>,
}

impl TwoStateProgram {
    /// True when its result is some stored bits as they are.
    pub fn keeps(&self, states: u64) -> bool {
        match self.operations.as_slice() {
            [Operation::States { low, width }] => *low == 0 && Word::mask(u32::from(*width)) == states,
            _ => false,
        }
    }

    /// The input bits that it reads.
    pub fn inputs(&self) -> u64 {
        let operations = self.operations.iter();
        operations.fold(0, |inputs, operation| match *operation {
            Operation::Inputs { low, width } => inputs | Word::mask(width.into()) << low,
            _ => inputs,
        })
    }

    /// The stored bits that it reads.
    pub fn states(&self) -> u64 {
        let operations = self.operations.iter();
        operations.fold(0, |states, operation| match *operation {
            Operation::States { low, width } => states | Word::mask(width.into()) << low,
            _ => states,
        })
    }

    /// True when it reads a memory.
    pub fn reads_memory(&self) -> bool {
        let reads = |operation: &Operation| matches!(operation, Operation::Read(..));
        self.operations.iter().any(reads)
    }

    /// The result, when it is the same at all times.
    pub fn constant(&self) -> Option<u64> {
        match self.operations.as_slice() {
            [Operation::Constant(value)] => Some(*value),
            _ => None,
        }
    }

    /// The result, and the bits of words read from memories that are not known: with any of these it means nothing.
    #[inline]
    pub fn run(&self, inputs: u64, states: u64, memories: &[MemoryArray]) -> (u64, u64) {
        if let Some(lookup) = self.lookup {
            return lookup.get(inputs, memories);
        }
        let length = self.operations.len();
        if length <= SHORT {
            self.run_in(&mut [0; SHORT], inputs, states, memories)
        } else if length <= LONG {
            self.run_in(&mut [0; LONG], inputs, states, memories)
        } else {
            self.run_in(&mut vec![0; length], inputs, states, memories)
        }
    }

    /// The same; `rows` takes what each operation gives.
    fn run_in(&self, rows: &mut [u64], inputs: u64, states: u64, memories: &[MemoryArray]) -> (u64, u64) {
        let mut doubt = 0;
        let mut result = 0;
        for (at, operation) in self.operations.iter().enumerate() {
            let get = |register: Register| rows[register.index()];
            let ones = |width: u8| Word::mask(width.into());
            result = match *operation {
                Operation::Constant(value) => value,
                Operation::Unknown(_) | Operation::Nodes { .. } => {
                    doubt = u64::MAX;
                    0
                }
                Operation::Inputs { low, width } => inputs >> low & ones(width),
                Operation::States { low, width } => states >> low & ones(width),
                Operation::Not(a, mask) => !get(a) & mask,
                Operation::And(a, b) => get(a) & get(b),
                Operation::Or(a, b) => get(a) | get(b),
                Operation::Xor(a, b) => get(a) ^ get(b),
                Operation::Add(a, b, width) => get(a).wrapping_add(get(b)) & ones(width),
                Operation::Subtract(a, b, width) => get(a).wrapping_sub(get(b)) & ones(width),
                Operation::Equal(a, b, mask) => u64::from((get(a) ^ get(b)) & mask == 0),
                Operation::Less(a, b, width) => u64::from(get(a) & ones(width) < get(b) & ones(width)),
                Operation::Select(condition, yes, no) => {
                    if get(condition) & 1 != 0 {
                        get(yes)
                    } else {
                        get(no)
                    }
                }
                Operation::Splat(a, mask) => (get(a) & 1).wrapping_neg() & mask,
                Operation::Slice(a, low, width) => get(a) >> low & ones(width),
                Operation::Place(a, low) => get(a) << low,
                Operation::Decode(a, width) => 1 << (get(a) & ones(width.min(6))),
                Operation::Pick(vector, address, width) => get(vector) >> (get(address) & ones(width.min(6))) & 1,
                Operation::All(a, mask) => u64::from(get(a) & mask == mask),
                Operation::Any(a, mask) => u64::from(get(a) & mask != 0),
                Operation::Odd(a, mask) => u64::from((get(a) & mask).count_ones() & 1),
                Operation::Read(memory, address) => {
                    let word = memories[usize::from(memory)].get(get(address));
                    doubt |= word.unknown;
                    word.value
                }
            };
            rows[at] = result;
        }
        (result, doubt)
    }
}
