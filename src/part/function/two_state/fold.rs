//! Folding: a program of a function becomes one on plain numbers, with as little in it as its result needs.

use super::lookup::MemoryLookup;
use super::{TiedInputs, TwoStateProgram};
use crate::logic::Word;
use crate::part::function::program::{Environment, Operation, Program, Register};

/// What stands for an operation of the first program.
#[derive(Clone, Copy)]
pub(super) enum Folded {
    Constant(u64),
    Operation(Register),
}

pub(super) struct Folder<'a> {
    tied: TiedInputs<'a>,
    operations: Vec<Operation>,
    words: Vec<Word>,
    /// True when the program has grown too long for its rows.
    overlong: bool,
}

impl<'a> Folder<'a> {
    pub(super) fn new(tied: TiedInputs<'a>) -> Folder<'a> {
        Folder { tied, operations: Vec::new(), words: Vec::new(), overlong: false }
    }

    /// What is known of an operation's result at all times.
    fn word(&self, operation: &Operation) -> Word {
        if let Operation::Read(memory, address) = *operation {
            let address = self.words[address.index()];
            let memory = usize::from(memory);
            // The first memory may be loaded at any time.
            return match self.tied.memories.get(memory) {
                Some(array) if memory > 0 && address.unknown == 0 => array.get(address.value),
                _ => Word::all_unknown(u64::MAX),
            };
        }
        let environment = Environment { inputs: self.tied.inputs, states: self.tied.states, nodes: Word::default() };
        operation.word(&environment, &[], |register| self.words[register.index()])
    }

    /// The row of an operation; `None` when the program grows too long.
    pub(super) fn place(&mut self, one: Folded) -> Option<Register> {
        match one {
            Folded::Operation(register) => Some(register),
            Folded::Constant(value) => {
                let positive = |operation: &Operation| *operation == Operation::Constant(value);
                if let Some(at) = self.operations.iter().position(positive) {
                    return Some(Register::new(at));
                }
                self.push(Operation::Constant(value))
            }
        }
    }

    fn push(&mut self, operation: Operation) -> Option<Register> {
        let Ok(at) = u16::try_from(self.operations.len()) else {
            self.overlong = true;
            return None;
        };
        let word = self.word(&operation);
        self.words.push(word);
        self.operations.push(operation);
        Some(Register::new(at.into()))
    }

    /// The same result with less to do, by the rules of Boolean algebra.
    fn simplify(&mut self, operation: Operation) -> Operation {
        let of = |register: Register| self.operations[register.index()];
        match operation {
            Operation::Slice(mut from, mut low, width) => {
                // Down to where these bits come from.
                loop {
                    let bits = Word::mask(width.into()) << low;
                    let without = |register: Register| self.most(register) & bits == 0;
                    (from, low) = match of(from) {
                        Operation::Or(a, b) | Operation::Xor(a, b) if without(a) => (b, low),
                        Operation::Or(a, b) | Operation::Xor(a, b) if without(b) => (a, low),
                        Operation::Place(a, place) if low >= place => (a, low - place),
                        Operation::Slice(a, first, inner) if low + width <= inner => (a, first + low),
                        Operation::Inputs { low: first, width: all } if low + width <= all => {
                            let low = first + low;
                            return Operation::Inputs { low, width };
                        }
                        Operation::States { low: first, width: all } if low + width <= all => {
                            let low = first + low;
                            return Operation::States { low, width };
                        }
                        _ => return Operation::Slice(from, low, width),
                    };
                }
            }
            Operation::And(a, b) => match (of(a), of(b)) {
                (Operation::Not(a, mask), Operation::Not(b, positive)) if mask == positive => {
                    match self.fold(Operation::Or(a, b)) {
                        Folded::Operation(either) => Operation::Not(either, mask),
                        Folded::Constant(_) => operation,
                    }
                }
                _ => operation,
            },
            Operation::Select(condition, yes, no) => match of(condition) {
                Operation::Not(condition, _) => Operation::Select(condition, no, yes),
                _ => operation,
            },
            _ => operation,
        }
    }

    /// The bits that a row can have.
    fn most(&self, register: Register) -> u64 {
        let word = self.words[register.index()];
        word.value | word.unknown
    }

    /// An operation whose operands are rows of the new program.
    pub(super) fn fold(&mut self, operation: Operation) -> Folded {
        let operation = self.simplify(operation);
        let word = self.word(&operation);
        let open = matches!(operation, Operation::Unknown(_));
        if word.unknown == 0 && !open {
            return Folded::Constant(word.value);
        }
        let most = |register: Register| self.most(register);
        let zero = |register: Register| most(register) == 0;
        let ones = |mask: Register, other: Register| {
            let word = self.words[mask.index()];
            word.unknown == 0 && most(other) & !word.value == 0
        };
        let narrow = |register: Register, mask: u64| most(register) & !mask == 0;
        let positive = match operation {
            Operation::Or(a, b) | Operation::Xor(a, b) if zero(a) => Some(b),
            Operation::Or(a, b) | Operation::Xor(a, b) if zero(b) => Some(a),
            Operation::And(a, b) if ones(a, b) => Some(b),
            Operation::And(a, b) if ones(b, a) => Some(a),
            Operation::Slice(a, 0, width) if narrow(a, Word::mask(width.into())) => Some(a),
            Operation::Place(a, 0) => Some(a),
            Operation::Not(a, mask) => match self.operations[a.index()] {
                Operation::Not(b, positive) if positive == mask && narrow(b, mask) => Some(b),
                _ => None,
            },
            Operation::Splat(a, 1) if narrow(a, 1) => Some(a),
            Operation::Select(condition, yes, no) => match self.words[condition.index()] {
                word if word.unknown & 1 != 0 => None,
                word if word.value & 1 != 0 => Some(yes),
                _ => Some(no),
            },
            _ => None,
        };
        match positive.or_else(|| self.push(operation)) {
            Some(register) => Folded::Operation(register),
            None => Folded::Operation(Register::new(0)),
        }
    }

    /// Appends a program; `nodes` is the word that it reads nodes from.
    pub(super) fn append(&mut self, program: &Program, nodes: Option<Folded>) -> Vec<Folded> {
        let mut folded: Vec<Folded> = Vec::new();
        for operation in &program.operations {
            let row = |folder: &mut Self, register: Register| {
                let placed = folder.place(folded[register.index()]);
                placed.unwrap_or(Register::new(0))
            };
            let moved = match *operation {
                Operation::Nodes { low, width } => match nodes {
                    Some(nodes) => {
                        let nodes = self.place(nodes).unwrap_or(Register::new(0));
                        Operation::Slice(nodes, low, width)
                    }
                    None => Operation::Unknown(Word::mask(width.into())),
                },
                other => other.with_operands(|register| row(self, register)),
            };
            folded.push(self.fold(moved));
        }
        folded
    }

    /// Keeps what the last result needs; `None` when that hangs on a level that nothing decides.
    pub(super) fn finish(self, last: Register) -> Option<TwoStateProgram> {
        if self.overlong {
            return None;
        }
        let mut needed = vec![false; self.operations.len()];
        needed[last.index()] = true;
        for at in (0..needed.len()).rev() {
            if needed[at] {
                self.operations[at].with_operands(|register| {
                    needed[register.index()] = true;
                    register
                });
            }
        }
        let mut rows = vec![Register::new(0); needed.len()];
        let mut two_state = TwoStateProgram::default();
        for (at, operation) in self.operations.iter().enumerate() {
            if !needed[at] {
                continue;
            }
            if matches!(operation, Operation::Unknown(_)) {
                return None;
            }
            rows[at] = Register::new(two_state.operations.len());
            let moved = operation.with_operands(|register| rows[register.index()]);
            two_state.operations.push(moved);
        }
        two_state.lookup = MemoryLookup::of(&two_state.operations);
        // The result is the last operation, for nothing behind it is needed.
        Some(two_state)
    }
}

impl Operation {
    /// The same operation with other operands.
    fn with_operands(&self, mut to: impl FnMut(Register) -> Register) -> Operation {
        let mut moved = *self;
        match &mut moved {
            Operation::Constant(_)
            | Operation::Unknown(_)
            | Operation::Inputs { .. }
            | Operation::States { .. }
            | Operation::Nodes { .. } => {}
            Operation::Not(a, _)
            | Operation::Splat(a, _)
            | Operation::Slice(a, ..)
            | Operation::Place(a, _)
            | Operation::Decode(a, _)
            | Operation::All(a, _)
            | Operation::Any(a, _)
            | Operation::Odd(a, _)
            | Operation::Read(_, a) => *a = to(*a),
            Operation::And(a, b)
            | Operation::Or(a, b)
            | Operation::Xor(a, b)
            | Operation::Add(a, b, _)
            | Operation::Subtract(a, b, _)
            | Operation::Equal(a, b, _)
            | Operation::Less(a, b, _)
            | Operation::Pick(a, b, _) => (*a, *b) = (to(*a), to(*b)),
            Operation::Select(a, b, c) => (*a, *b, *c) = (to(*a), to(*b), to(*c)),
        }
        moved
    }
}
