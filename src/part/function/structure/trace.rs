//! A compiled program, run for its influences: operation by operation, which bits move the bits of its result.

use super::reader::Reader;
use super::{Dependency, Unateness};
use crate::logic::Word;
use crate::part::function::program::{Environment, Operation, Program, Register};
use std::ops::Range;

/// A program that has run: the value of each register, and the influences on each of its bits.
pub(super) struct Traced {
    values: Vec<Word>,
    bits: Vec<Vec<Dependency>>,
}

impl Traced {
    pub(super) fn of(&self, register: Option<Register>, bit: usize) -> Dependency {
        let bits = register.and_then(|register| self.bits.get(register.index()));
        bits.and_then(|bits| bits.get(bit)).copied().unwrap_or_default()
    }

    pub(super) fn whole(&self, register: Register) -> Dependency {
        let bits = self.bits[register.index()].iter();
        bits.copied().fold(Dependency::default(), Dependency::join)
    }

    fn bit(&self, register: Register, at: usize) -> Dependency {
        let bits = &self.bits[register.index()];
        bits.get(at).copied().unwrap_or_default()
    }

    /// The bits of the longer of two words.
    fn longer(&self, a: Register, b: Register) -> Range<usize> {
        0..self.bits[a.index()].len().max(self.bits[b.index()].len())
    }

    fn high(&self, register: Register, at: usize) -> bool {
        self.values[register.index()].value >> at & 1 == 1
    }

    fn xor(&self, a: Register, b: Register, at: usize) -> Dependency {
        let (one, other) = (self.bit(a, at), self.bit(b, at));
        match (one.is_none(), other.is_none()) {
            (_, true) if self.high(b, at) => one.inverted(),
            (_, true) => one,
            (true, _) if self.high(a, at) => other.inverted(),
            (true, _) => other,
            _ => one.join(other).both(),
        }
    }

    fn sum(&self, a: Register, b: Register, width: usize) -> Vec<Dependency> {
        // A carry only ever helps the carries above it.
        let mut carry = Dependency::default();
        (0..width)
            .map(|at| {
                let own = self.bit(a, at).join(self.bit(b, at));
                let differ = self.high(a, at) != self.high(b, at);
                let sum = match (own.is_none(), differ) {
                    (true, false) => carry,
                    (true, true) => carry.inverted(),
                    _ => own.join(carry).both(),
                };
                carry = match (own.is_none(), differ) {
                    (true, false) => Dependency::default(),
                    _ => own.join(carry),
                };
                sum
            })
            .collect()
    }

    /// One bit of `yes` or `no`, as a condition says.
    fn selected(&self, condition: Register, yes: Register, no: Register, at: usize) -> Dependency {
        let chosen = self.values[condition.index()];
        if chosen == Word::known(1) {
            return self.bit(yes, at);
        }
        if chosen == Word::known(0) {
            return self.bit(no, at);
        }
        let known = |register: Register, level: bool| {
            let unknown = self.values[register.index()].unknown >> at & 1 == 1;
            !unknown && self.high(register, at) == level
        };
        let up = known(yes, true) || known(no, false);
        let down = known(yes, false) || known(no, true);
        let chooser = self.bit(condition, 0);
        let chooser = match (up, down) {
            (true, false) => chooser,
            (false, true) => chooser.inverted(),
            _ => chooser.both(),
        };
        self.bit(yes, at).join(self.bit(no, at)).join(chooser)
    }

    pub(super) fn value(&self, register: Option<Register>) -> Word {
        register.map_or(Word::default(), |register| self.values[register.index()])
    }
}

impl Reader<'_> {
    pub(super) fn trace(&self, program: &Program) -> Traced {
        let environment = Environment { inputs: self.inputs, states: self.states, nodes: self.node_values };
        let mut traced = Traced { values: Vec::new(), bits: Vec::new() };
        program.run(&environment, &self.memories, &mut traced.values);
        for (at, operation) in program.operations.iter().enumerate() {
            let mut bits = self.influences(operation, &traced);
            for (bit, dependency) in bits.iter_mut().enumerate() {
                // Bits beyond a word are those of a memory that is wider than what is read of it.
                if bit >= 64 || traced.values[at].unknown >> bit & 1 == 0 {
                    *dependency = Dependency::default();
                }
            }
            traced.bits.push(bits);
        }
        traced
    }

    fn influences(&self, operation: &Operation, traced: &Traced) -> Vec<Dependency> {
        let bits = |register: Register| traced.bits[register.index()].as_slice();
        let get = |register: Register, at: usize| traced.bit(register, at);
        let whole = |register: Register| traced.whole(register);
        let each = |range: Range<usize>, of: &dyn Fn(usize) -> Dependency| range.map(of).collect();
        match *operation {
            Operation::Constant(mask) | Operation::Unknown(mask) => {
                vec![Dependency::default(); width_of(mask).max(1)]
            }
            Operation::Inputs { low, width } => (low..low + width)
                .map(|bit| Dependency { inputs: Unateness::follows(bit), ..Dependency::default() })
                .collect(),
            Operation::States { low, width } => (low..low + width)
                .map(|bit| Dependency { states: Unateness::follows(bit), ..Dependency::default() })
                .collect(),
            Operation::Nodes { low, width } => {
                (low..low + width).map(|at| self.nodes.get(usize::from(at)).copied().unwrap_or_default()).collect()
            }
            Operation::Not(a, mask) => each(0..width_of(mask), &|at| get(a, at).inverted()),
            Operation::And(a, b) | Operation::Or(a, b) => each(traced.longer(a, b), &|at| get(a, at).join(get(b, at))),
            Operation::Xor(a, b) => each(traced.longer(a, b), &|at| traced.xor(a, b, at)),
            Operation::Add(a, b, width) => traced.sum(a, b, width.into()),
            Operation::Subtract(a, b, width) => {
                let mut below = Dependency::default();
                (0..usize::from(width))
                    .map(|at| {
                        below = below.join(get(a, at)).join(get(b, at));
                        below.both()
                    })
                    .collect()
            }
            Operation::Equal(a, b, _) => vec![whole(a).join(whole(b)).both()],
            Operation::Less(a, b, _) => vec![whole(a).inverted().join(whole(b))],
            Operation::Select(condition, yes, no) => {
                each(traced.longer(yes, no), &|at| traced.selected(condition, yes, no, at))
            }
            Operation::Splat(a, mask) => vec![whole(a); width_of(mask)],
            Operation::Slice(a, low, width) => (low..low + width).map(|at| get(a, usize::from(at))).collect(),
            Operation::Place(a, low) => {
                let mut moved = vec![Dependency::default(); usize::from(low)];
                moved.extend(bits(a));
                moved
            }
            Operation::Decode(a, width) => each(0..1 << width, &|place| {
                let chosen = |at: usize| match place >> at & 1 {
                    1 => get(a, at),
                    _ => get(a, at).inverted(),
                };
                let width = usize::from(width);
                (0..width).map(chosen).fold(Dependency::default(), Dependency::join)
            }),
            Operation::Pick(vector, address, width) => {
                let word = traced.values[address.index()];
                let possible = |at: &usize| (*at as u64 ^ word.value) & !word.unknown & Word::mask(width.into()) == 0;
                let picked = (0..1usize << width).filter(possible).map(|at| get(vector, at));
                vec![picked.fold(whole(address).both(), Dependency::join)]
            }
            Operation::All(a, mask) | Operation::Any(a, mask) => {
                vec![masked(bits(a), mask)]
            }
            Operation::Odd(a, mask) => vec![masked(bits(a), mask).both()],
            Operation::Read(_, address) => {
                let word = Dependency { memory: true, ..whole(address).both() };
                vec![word; 64]
            }
        }
    }
}

fn width_of(mask: u64) -> usize {
    (u64::BITS - mask.leading_zeros()) as usize
}

fn masked(bits: &[Dependency], mask: u64) -> Dependency {
    let rows = bits.iter().enumerate().take(64);
    let chosen = rows.filter(|(at, _)| mask >> at & 1 == 1);
    chosen.fold(Dependency::default(), |all, (_, bit)| all.join(*bit))
}
