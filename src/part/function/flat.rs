//! A function on known levels alone: straight-line programs of plain integers, with everything folded away that a board
//! has tied to its rails.
//!
//! What is known of inputs and storage beforehand is told by words in which all the rest is unknown: an operation whose
//! result is then known is a constant, for unknown is sound.

use super::Function;
use super::memory::MemoryArray;
use super::program::{Environment, Operation, Program, Register};
use crate::logic::Word;
use crate::part::Edge;
use crate::part::sheet::Signal;

/// Programs of so many operations take room on the stack for what each gives: nearly all, and all but a few.
const SHORT: usize = 16;
const LONG: usize = 128;

/// A program on known levels, with one result.
#[derive(Clone, Debug, Default)]
pub struct Flat {
    operations: Vec<Operation>,
    lookup: Option<Lookup>,
    table: Option<Table>,
}

/// Programs of more operations than so many, about no more bits than so many, are looked up.
const EASY: usize = 3;
const FEW_BITS: u32 = 6;

/// What a program about few bits gives for each of their levels.
#[derive(Clone, Debug)]
struct Table {
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
    fn of(flat: &Flat) -> Option<Table> {
        let reads = |operation: &Operation| matches!(operation, Operation::Read(..));
        let words = [flat.inputs(), flat.states()];
        let count = words[0].count_ones() + words[1].count_ones();
        if flat.len() <= EASY || count > FEW_BITS || flat.operations.iter().any(reads) {
            return None;
        }
        let mut fields = Vec::new();
        let mut place = 0;
        for (mut word, stored) in words.into_iter().zip([false, true]) {
            while word != 0 {
                let low = word.trailing_zeros();
                let width = (word >> low).trailing_ones();
                let mask = Word::mask(width);
                fields.push(Field {
                    stored,
                    low,
                    mask,
                    place,
                });
                word &= !(mask << low);
                place += width;
            }
        }
        let rows = (0..1u64 << count).map(|row| {
            let mut words = [0, 0];
            for field in &fields {
                words[usize::from(field.stored)] |= (row >> field.place & field.mask) << field.low;
            }
            flat.run(words[0], words[1], &[]).0
        });
        let rows = rows.collect();
        Some(Table { fields, rows })
    }

    #[inline]
    fn get(&self, inputs: u64, states: u64) -> u64 {
        let row = self.fields.iter().fold(0, |row, field| {
            let word = if field.stored { states } else { inputs };
            row | (word >> field.low & field.mask) << field.place
        });
        self.rows[row as usize]
    }
}

/// A program that only reads a memory at an address of its inputs, and takes a stretch of the word.
#[derive(Clone, Copy, Debug)]
struct Lookup {
    /// Lowest bit and number of bits of the address among the inputs.
    address: (u8, u8),
    memory: u8,
    /// Of the stretch in the word.
    stretch: (u8, u8),
}

impl Lookup {
    fn of(operations: &[Operation]) -> Option<Lookup> {
        let (address, memory, stretch) = match *operations {
            [
                Operation::Inputs { low, width },
                Operation::Read(memory, _),
                Operation::Slice(word, first, bits),
            ] if word.index() == 1 => ((low, width), memory, (first, bits)),
            [Operation::Inputs { low, width }, Operation::Read(memory, _)] => {
                ((low, width), memory, (0, 64))
            }
            _ => return None,
        };
        Some(Lookup {
            address,
            memory,
            stretch,
        })
    }
}

/// What the inputs and the storage are known to be at all times; the rest of their bits is unknown.
#[derive(Clone, Copy, Debug, Default)]
pub struct Fixed<'a> {
    /// Input bits.
    pub inputs: Word,
    /// Stored bits.
    pub states: Word,
    /// Memories that nothing writes.
    pub memories: &'a [MemoryArray],
}

/// What stands for an operation of the first program.
#[derive(Clone, Copy)]
enum Stand {
    Constant(u64),
    Operation(Register),
}

struct Folder<'a> {
    fixed: Fixed<'a>,
    operations: Vec<Operation>,
    words: Vec<Word>,
    /// True when the program has grown too long for its rows.
    overlong: bool,
}

impl Function {
    /// Which outputs let go; `None` where a level stays open that no input decides.
    pub fn flat_off(&self, fixed: Fixed<'_>) -> Option<Flat> {
        self.flat(fixed, &[(&self.drive_program, self.drive_off)], 0)
    }

    /// The levels of the outputs; as [`Function::flat_off`].
    pub fn flat_value(&self, fixed: Fixed<'_>) -> Option<Flat> {
        self.flat(fixed, &[(&self.drive_program, self.drive_value)], 0)
    }

    /// What some state bits are behind an edge that sets off every edge-triggered rule about them, while no level does
    /// anything.
    pub fn flat_edge(&self, fixed: Fixed<'_>, states: u64) -> Option<Flat> {
        let rules = self.on_rules.iter();
        let rules = rules.filter(|rule| rule.effect.mask & states != 0);
        let set = rules.clone().fold(0, |mask, rule| mask | rule.effect.mask);
        let results: Vec<_> = rules
            .map(|rule| (&rule.effect.program, rule.effect.next))
            .collect();
        self.flat(fixed, &results, states & !set)
    }

    /// The state bits that an edge of an input sets, and what they then are, while no level does anything.
    pub fn flat_trigger(&self, fixed: Fixed<'_>, input: usize, edge: Edge) -> Option<(u64, Flat)> {
        let rules = self.on_rules.iter();
        let rules = rules.filter(|rule| (rule.trigger, rule.edge) == (Signal::Input(input), edge));
        let mut set = 0;
        for rule in rules.clone() {
            if set & rule.effect.mask != 0 {
                return None;
            }
            set |= rule.effect.mask;
        }
        let results: Vec<_> = rules
            .map(|rule| (&rule.effect.program, rule.effect.next))
            .collect();
        Some((set, self.flat(fixed, &results, 0)?))
    }

    /// The sum of some results, and of the stored bits that are kept.
    fn flat(
        &self,
        fixed: Fixed<'_>,
        results: &[(&Program, Option<Register>)],
        kept: u64,
    ) -> Option<Flat> {
        let mut folder = Folder {
            fixed,
            operations: Vec::new(),
            words: Vec::new(),
            overlong: false,
        };
        let nodes = folder.append(&self.node_program, None);
        let node = self.node_result.map(|result| nodes[result.index()]);
        let mut sum = Stand::Constant(0);
        if kept != 0 {
            let width = self.states.len() as u8;
            let all = folder.fold(Operation::States { low: 0, width });
            let mask = folder.place(Stand::Constant(kept))?;
            let all = folder.place(all)?;
            sum = folder.fold(Operation::And(all, mask));
        }
        for (program, result) in results {
            let stands = folder.append(program, node);
            let Some(result) = result else { continue };
            let (a, b) = (folder.place(sum)?, folder.place(stands[result.index()])?);
            sum = folder.fold(Operation::Or(a, b));
        }
        let last = folder.place(sum)?;
        folder.finish(last)
    }
}

impl Folder<'_> {
    /// What is known of an operation's result at all times.
    fn word(&self, operation: &Operation) -> Word {
        if let Operation::Read(memory, address) = *operation {
            let address = self.words[address.index()];
            let memory = usize::from(memory);
            // The first memory may be loaded at any time.
            return match self.fixed.memories.get(memory) {
                Some(array) if memory > 0 && address.unknown == 0 => array.get(address.value),
                _ => Word::all_unknown(u64::MAX),
            };
        }
        let environment = Environment {
            inputs: self.fixed.inputs,
            states: self.fixed.states,
            nodes: Word::default(),
        };
        operation.word(&environment, &[], |register| self.words[register.index()])
    }

    /// The row of an operation; `None` when the program grows too long.
    fn place(&mut self, stand: Stand) -> Option<Register> {
        match stand {
            Stand::Operation(register) => Some(register),
            Stand::Constant(value) => {
                let same = |operation: &Operation| *operation == Operation::Constant(value);
                if let Some(at) = self.operations.iter().position(same) {
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
                        Operation::Slice(a, first, inner) if low + width <= inner => {
                            (a, first + low)
                        }
                        Operation::Inputs {
                            low: first,
                            width: all,
                        } if low + width <= all => {
                            let low = first + low;
                            return Operation::Inputs { low, width };
                        }
                        Operation::States {
                            low: first,
                            width: all,
                        } if low + width <= all => {
                            let low = first + low;
                            return Operation::States { low, width };
                        }
                        _ => return Operation::Slice(from, low, width),
                    };
                }
            }
            Operation::And(a, b) => match (of(a), of(b)) {
                (Operation::Not(a, mask), Operation::Not(b, same)) if mask == same => {
                    match self.fold(Operation::Or(a, b)) {
                        Stand::Operation(either) => Operation::Not(either, mask),
                        Stand::Constant(_) => operation,
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
    fn fold(&mut self, operation: Operation) -> Stand {
        let operation = self.simplify(operation);
        let word = self.word(&operation);
        let open = matches!(operation, Operation::Unknown(_));
        if word.unknown == 0 && !open {
            return Stand::Constant(word.value);
        }
        let most = |register: Register| self.most(register);
        let zero = |register: Register| most(register) == 0;
        let ones = |mask: Register, other: Register| {
            let word = self.words[mask.index()];
            word.unknown == 0 && most(other) & !word.value == 0
        };
        let narrow = |register: Register, mask: u64| most(register) & !mask == 0;
        let same = match operation {
            Operation::Or(a, b) | Operation::Xor(a, b) if zero(a) => Some(b),
            Operation::Or(a, b) | Operation::Xor(a, b) if zero(b) => Some(a),
            Operation::And(a, b) if ones(a, b) => Some(b),
            Operation::And(a, b) if ones(b, a) => Some(a),
            Operation::Slice(a, 0, width) if narrow(a, Word::mask(width.into())) => Some(a),
            Operation::Place(a, 0) => Some(a),
            Operation::Not(a, mask) => match self.operations[a.index()] {
                Operation::Not(b, same) if same == mask && narrow(b, mask) => Some(b),
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
        match same.or_else(|| self.push(operation)) {
            Some(register) => Stand::Operation(register),
            None => Stand::Operation(Register::new(0)),
        }
    }

    /// Appends a program; `nodes` is the word that it reads nodes from.
    fn append(&mut self, program: &Program, nodes: Option<Stand>) -> Vec<Stand> {
        let mut stands: Vec<Stand> = Vec::new();
        for operation in &program.operations {
            let row = |folder: &mut Self, register: Register| {
                let placed = folder.place(stands[register.index()]);
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
                Operation::Constant(_)
                | Operation::Unknown(_)
                | Operation::Inputs { .. }
                | Operation::States { .. } => *operation,
                Operation::Not(a, mask) => Operation::Not(row(self, a), mask),
                Operation::And(a, b) => Operation::And(row(self, a), row(self, b)),
                Operation::Or(a, b) => Operation::Or(row(self, a), row(self, b)),
                Operation::Xor(a, b) => Operation::Xor(row(self, a), row(self, b)),
                Operation::Add(a, b, width) => Operation::Add(row(self, a), row(self, b), width),
                Operation::Subtract(a, b, width) => {
                    Operation::Subtract(row(self, a), row(self, b), width)
                }
                Operation::Equal(a, b, mask) => Operation::Equal(row(self, a), row(self, b), mask),
                Operation::Less(a, b, width) => Operation::Less(row(self, a), row(self, b), width),
                Operation::Select(condition, yes, no) => {
                    Operation::Select(row(self, condition), row(self, yes), row(self, no))
                }
                Operation::Splat(a, mask) => Operation::Splat(row(self, a), mask),
                Operation::Slice(a, low, width) => Operation::Slice(row(self, a), low, width),
                Operation::Place(a, low) => Operation::Place(row(self, a), low),
                Operation::Decode(a, width) => Operation::Decode(row(self, a), width),
                Operation::Pick(vector, address, width) => {
                    Operation::Pick(row(self, vector), row(self, address), width)
                }
                Operation::All(a, mask) => Operation::All(row(self, a), mask),
                Operation::Any(a, mask) => Operation::Any(row(self, a), mask),
                Operation::Odd(a, mask) => Operation::Odd(row(self, a), mask),
                Operation::Read(memory, address) => Operation::Read(memory, row(self, address)),
            };
            stands.push(self.fold(moved));
        }
        stands
    }

    /// Keeps what the last result needs; `None` when that hangs on a level that nothing decides.
    fn finish(self, last: Register) -> Option<Flat> {
        if self.overlong {
            return None;
        }
        let mut needed = vec![false; self.operations.len()];
        needed[last.index()] = true;
        for at in (0..needed.len()).rev() {
            if needed[at] {
                self.operations[at]
                    .operands()
                    .into_iter()
                    .flatten()
                    .for_each(|register| needed[register.index()] = true);
            }
        }
        let mut rows = vec![Register::new(0); needed.len()];
        let mut flat = Flat::default();
        for (at, operation) in self.operations.iter().enumerate() {
            if !needed[at] {
                continue;
            }
            if matches!(operation, Operation::Unknown(_)) {
                return None;
            }
            rows[at] = Register::new(flat.operations.len());
            let moved = operation.with_operands(|register| rows[register.index()]);
            flat.operations.push(moved);
        }
        flat.lookup = Lookup::of(&flat.operations);
        flat.table = Table::of(&flat);
        // The result is the last operation, for nothing behind it is needed.
        Some(flat)
    }
}

impl Flat {
    /// Number of operations.
    pub fn len(&self) -> usize {
        self.operations.len()
    }

    /// True for a program without operations, which none is.
    pub fn is_empty(&self) -> bool {
        self.operations.is_empty()
    }

    /// True when its result is some stored bits as they are.
    pub fn keeps(&self, states: u64) -> bool {
        match self.operations.as_slice() {
            [Operation::States { low, width }] => {
                *low == 0 && Word::mask(u32::from(*width)) == states
            }
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
        if let Some(table) = &self.table {
            return (table.get(inputs, states), 0);
        }
        if let Some(lookup) = self.lookup {
            let stretch =
                |bits: u64, (low, width): (u8, u8)| bits >> low & Word::mask(width.into());
            let address = stretch(inputs, lookup.address);
            let word = memories[usize::from(lookup.memory)].get(address);
            return (stretch(word.value, lookup.stretch), word.unknown);
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
    fn run_in(
        &self,
        rows: &mut [u64],
        inputs: u64,
        states: u64,
        memories: &[MemoryArray],
    ) -> (u64, u64) {
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
                Operation::Less(a, b, width) => {
                    u64::from(get(a) & ones(width) < get(b) & ones(width))
                }
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
                Operation::Pick(vector, address, width) => {
                    get(vector) >> (get(address) & ones(width.min(6))) & 1
                }
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

impl Operation {
    /// The results that it takes.
    fn operands(&self) -> [Option<Register>; 3] {
        match *self {
            Operation::Constant(_)
            | Operation::Unknown(_)
            | Operation::Inputs { .. }
            | Operation::States { .. }
            | Operation::Nodes { .. } => [None; 3],
            Operation::Not(a, _)
            | Operation::Splat(a, _)
            | Operation::Slice(a, ..)
            | Operation::Place(a, _)
            | Operation::Decode(a, _)
            | Operation::All(a, _)
            | Operation::Any(a, _)
            | Operation::Odd(a, _)
            | Operation::Read(_, a) => [Some(a), None, None],
            Operation::And(a, b)
            | Operation::Or(a, b)
            | Operation::Xor(a, b)
            | Operation::Add(a, b, _)
            | Operation::Subtract(a, b, _)
            | Operation::Equal(a, b, _)
            | Operation::Less(a, b, _)
            | Operation::Pick(a, b, _) => [Some(a), Some(b), None],
            Operation::Select(a, b, c) => [Some(a), Some(b), Some(c)],
        }
    }

    /// The same operation with other operands.
    fn with_operands(&self, to: impl Fn(Register) -> Register) -> Operation {
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
