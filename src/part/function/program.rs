//! Straight-line programs on packed words: each operation writes one register, its own.

use super::memory::MemoryArray;
use crate::logic::Word;

/// The result of one operation.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Register(u16);

impl Register {
    pub(super) fn new(index: usize) -> Register {
        Register(u16::try_from(index).expect("programs are bounded when they are built"))
    }

    #[inline]
    pub fn index(self) -> usize {
        self.0 as usize
    }
}

/// The most operations of one program.
pub(crate) const LONGEST_PROGRAM: usize = 4096;

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Operation {
    /// A known number.
    Constant(u64),
    /// All bits of a mask unknown.
    Unknown(u64),
    /// A stretch of the input word.
    Inputs { low: u8, width: u8 },
    /// A stretch of the state word.
    States { low: u8, width: u8 },
    /// A stretch of the node word.
    Nodes { low: u8, width: u8 },
    /// Every bit of the mask inverted.
    Not(Register, u64),
    /// Bitwise and.
    And(Register, Register),
    /// Bitwise or.
    Or(Register, Register),
    /// Bitwise exclusive or.
    Xor(Register, Register),
    /// Sum of so many bits.
    Add(Register, Register, u8),
    /// Difference of so many bits.
    Subtract(Register, Register, u8),
    /// 1 when the masked bits are equal.
    Equal(Register, Register, u64),
    /// 1 when the first is less, over so many bits.
    Less(Register, Register, u8),
    /// The second when the first holds, else the third.
    Select(Register, Register, Register),
    /// Bit 0 in every bit of the mask.
    Splat(Register, u64),
    /// A stretch of a register.
    Slice(Register, u8, u8),
    /// Moved up.
    Place(Register, u8),
    /// One-of-n of so many address bits.
    Decode(Register, u8),
    /// The bit of the first that the second, of so many bits, names.
    Pick(Register, Register, u8),
    /// 1 when every bit of the mask is 1.
    All(Register, u64),
    /// 1 when some bit of the mask is 1.
    Any(Register, u64),
    /// 1 when an odd number of bits of the mask is 1.
    Odd(Register, u64),
    /// A word of a memory.
    Read(u8, Register),
}

/// The words that a program reads.
#[derive(Clone, Copy, Debug)]
pub struct Environment {
    pub inputs: Word,
    pub states: Word,
    pub nodes: Word,
}

/// Operations in order.
#[derive(Clone, Debug, Default)]
pub struct Program {
    pub(super) operations: Vec<Operation>,
}

impl Program {
    /// Computes every register; the rows behind them are left as they are.
    pub fn run(&self, environment: &Environment, memories: &[MemoryArray], registers: &mut Vec<Word>) {
        if registers.len() < self.operations.len() {
            registers.resize(self.operations.len(), Word::default());
        }
        for (row, operation) in self.operations.iter().enumerate() {
            registers[row] = operation.word(environment, memories, |register| registers[register.index()]);
        }
    }
}

impl Operation {
    /// Its result, when earlier results are given.
    #[inline(always)]
    pub(super) fn word(
        &self,
        environment: &Environment,
        memories: &[MemoryArray],
        get: impl Fn(Register) -> Word,
    ) -> Word {
        match *self {
            Operation::Constant(value) => Word::known(value),
            Operation::Unknown(mask) => Word::all_unknown(mask),
            Operation::Inputs { low, width } => environment.inputs.slice(low.into(), width.into()),
            Operation::States { low, width } => environment.states.slice(low.into(), width.into()),
            Operation::Nodes { low, width } => environment.nodes.slice(low.into(), width.into()),
            Operation::Not(a, mask) => get(a).not(mask),
            Operation::And(a, b) => get(a).and(get(b)),
            Operation::Or(a, b) => get(a).or(get(b)),
            Operation::Xor(a, b) => get(a).xor(get(b)),
            Operation::Add(a, b, width) => get(a).add(get(b), Word::known(0), width.into()),
            Operation::Subtract(a, b, width) => get(a).sub(get(b), width.into()),
            Operation::Equal(a, b, mask) => get(a).equal(get(b), mask),
            Operation::Less(a, b, width) => get(a).less(get(b), width.into()),
            Operation::Select(condition, yes, no) => Word::select(get(condition), get(yes), get(no)),
            Operation::Splat(a, mask) => get(a).splat(mask),
            Operation::Slice(a, low, width) => get(a).slice(low.into(), width.into()),
            Operation::Place(a, low) => {
                let word = get(a);
                Word { value: word.value << low, unknown: word.unknown << low }
            }
            Operation::Decode(a, width) => get(a).decode(width.into()),
            Operation::Pick(vector, address, width) => Word::pick(get(vector), get(address), width.into()),
            Operation::All(a, mask) => get(a).all(mask),
            Operation::Any(a, mask) => get(a).any(mask),
            Operation::Odd(a, mask) => get(a).odd(mask),
            Operation::Read(memory, address) => memories[memory as usize].read(get(address)),
        }
    }
}
