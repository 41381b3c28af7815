//! Building a program: operations, alike ones shared, with what each bit of each register depends on.

use super::program::{LONGEST_PROGRAM, Operation, Program, Register};
use crate::logic::Word;
use rustc_hash::FxHashMap;

/// What a bit depends on.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Support {
    pub(super) inputs: u64,
    pub(super) states: u64,
    /// True when it depends on what a memory holds.
    pub(super) memory: bool,
}

impl Support {
    pub(super) fn join(self, other: Support) -> Support {
        Support {
            inputs: self.inputs | other.inputs,
            states: self.states | other.states,
            memory: self.memory || other.memory,
        }
    }
}

/// A program in the making.
#[derive(Default)]
pub(super) struct Builder {
    program: Program,
    support: Vec<Vec<Support>>,
    known: FxHashMap<Operation, Register>,
    /// What each node depends on, once it is defined.
    pub(super) nodes: Vec<Support>,
    /// The nodes so far, in the program that computes them; other programs read the node word.
    pub(super) node_word: Option<Register>,
}

impl Builder {
    /// A builder that knows what the nodes depend on.
    pub(super) fn with_nodes(nodes: Vec<Support>) -> Builder {
        Builder { nodes, ..Builder::default() }
    }

    /// True when the program has grown too long.
    pub(super) fn is_full(&self) -> bool {
        self.program.operations.len() >= LONGEST_PROGRAM
    }

    pub(super) fn width(&self, register: Register) -> u32 {
        self.support[register.index()].len() as u32
    }

    /// The nodes that the program reads so far.
    pub(super) fn nodes_read(&self) -> u64 {
        self.program
            .operations
            .iter()
            .filter_map(|operation| match operation {
                Operation::Nodes { low, width } => Some(Word::mask((*width).into()) << low),
                _ => None,
            })
            .fold(0, |all, mask| all | mask)
    }

    /// What all bits of a register depend on together.
    pub(super) fn support(&self, register: Register) -> Support {
        self.support[register.index()].iter().copied().fold(Support::default(), Support::join)
    }

    /// What one bit of a register depends on.
    pub(super) fn support_of_bit(&self, register: Register, bit: usize) -> Support {
        self.support[register.index()].get(bit).copied().unwrap_or_default()
    }

    pub(super) fn finish(self) -> Program {
        self.program
    }

    /// Adds an operation, or finds the one that is there already.
    pub(super) fn add(&mut self, operation: Operation) -> Register {
        if let Some(&register) = self.known.get(&operation) {
            return register;
        }
        let support = self.support_of(&operation);
        let register = Register::new(self.program.operations.len().min(LONGEST_PROGRAM));
        self.program.operations.push(operation);
        self.support.push(support);
        self.known.insert(operation, register);
        register
    }

    fn support_of(&self, operation: &Operation) -> Vec<Support> {
        let bits = |register: Register| &self.support[register.index()];
        let whole = |register: Register| self.support(register);
        let alike = |support: Support, width: u32| vec![support; width as usize];
        let width_of = |mask: u64| u64::BITS - mask.leading_zeros();
        let pairwise = |a: Register, b: Register| {
            let (a, b) = (bits(a), bits(b));
            let get = |list: &[Support], at: usize| list.get(at).copied().unwrap_or_default();
            (0..a.len().max(b.len())).map(|at| get(a, at).join(get(b, at))).collect::<Vec<_>>()
        };
        let input = |bit: u32| Support { inputs: 1 << bit, ..Support::default() };
        let state = |bit: u32| Support { states: 1 << bit, ..Support::default() };
        match *operation {
            Operation::Constant(value) => alike(Support::default(), width_of(value).max(1)),
            Operation::Unknown(mask) => alike(Support::default(), width_of(mask).max(1)),
            Operation::Inputs { low, width } => (0..width).map(|bit| input(u32::from(low + bit))).collect(),
            Operation::States { low, width } => (0..width).map(|bit| state(u32::from(low + bit))).collect(),
            Operation::Nodes { low, width } => {
                (0..width).map(|bit| self.nodes.get(usize::from(low + bit)).copied().unwrap_or_default()).collect()
            }
            Operation::Not(a, mask) => {
                let mut support = bits(a).clone();
                support.resize(width_of(mask) as usize, Support::default());
                support
            }
            Operation::And(a, b) | Operation::Or(a, b) | Operation::Xor(a, b) => pairwise(a, b),
            Operation::Add(a, b, width) | Operation::Subtract(a, b, width) => {
                // A carry runs upwards: each bit depends on all below it.
                let pairs = pairwise(a, b);
                let mut below = Support::default();
                (0..usize::from(width))
                    .map(|at| {
                        below = below.join(pairs.get(at).copied().unwrap_or_default());
                        below
                    })
                    .collect()
            }
            Operation::Equal(a, b, _) | Operation::Less(a, b, _) => vec![whole(a).join(whole(b))],
            Operation::Select(condition, yes, no) => {
                let condition = whole(condition);
                pairwise(yes, no).into_iter().map(|support| support.join(condition)).collect()
            }
            Operation::Splat(a, mask) => alike(whole(a), width_of(mask)),
            Operation::Slice(a, low, width) => {
                (low..low + width).map(|at| bits(a).get(usize::from(at)).copied().unwrap_or_default()).collect()
            }
            Operation::Place(a, low) => {
                let mut support = alike(Support::default(), low.into());
                support.extend(bits(a));
                support
            }
            Operation::Decode(a, width) => alike(whole(a), 1 << width),
            Operation::Pick(vector, address, _) => vec![whole(vector).join(whole(address))],
            Operation::All(a, _) | Operation::Any(a, _) | Operation::Odd(a, _) => vec![whole(a)],
            Operation::Read(_, address) => alike(Support { memory: true, ..whole(address) }, 64),
        }
    }

    /// Collects bits of one source word, the least significant first.
    pub(super) fn gather(&mut self, positions: &[usize], source: fn(u8, u8) -> Operation) -> Register {
        let mut result: Option<Register> = None;
        let mut at = 0;
        while at < positions.len() {
            let run = run_length(&positions[at..]);
            let piece = self.add(source(positions[at] as u8, run as u8));
            let placed = if at == 0 { piece } else { self.add(Operation::Place(piece, at as u8)) };
            result = Some(result.map_or(placed, |before| self.add(Operation::Or(before, placed))));
            at += run;
        }
        result.unwrap_or_else(|| self.add(Operation::Constant(0)))
    }

    /// Puts the bits of a register, the least significant first, to places of a word.
    pub(super) fn scatter(&mut self, register: Register, positions: &[usize]) -> Register {
        let mut result: Option<Register> = None;
        let mut at = 0;
        while at < positions.len() {
            let run = run_length(&positions[at..]);
            let whole = at == 0 && run == positions.len();
            let piece = if whole { register } else { self.add(Operation::Slice(register, at as u8, run as u8)) };
            let low = positions[at] as u8;
            let placed = if low == 0 { piece } else { self.add(Operation::Place(piece, low)) };
            result = Some(result.map_or(placed, |before| self.add(Operation::Or(before, placed))));
            at += run;
        }
        result.unwrap_or_else(|| self.add(Operation::Constant(0)))
    }

    /// One bit over a whole width.
    pub(super) fn splat(&mut self, register: Register, width: u32) -> Register {
        if width == 1 { register } else { self.add(Operation::Splat(register, Word::mask(width))) }
    }
}

/// How many positions from the first rise by one.
fn run_length(positions: &[usize]) -> usize {
    1 + positions.windows(2).take_while(|pair| pair[1] == pair[0] + 1).count()
}
