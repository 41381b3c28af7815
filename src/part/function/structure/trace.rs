//! A compiled program, run for its influences: operation by operation, which bits move the bits of its result.

use super::reader::Reader;
use super::{Influence, Ways};
use crate::logic::Word;
use crate::part::function::program::{Environment, Operation, Program, Register};

/// A program that has run: the value of each register, and the influences on each of its bits.
pub(super) struct Traced {
    values: Vec<Word>,
    bits: Vec<Vec<Influence>>,
}

impl Traced {
    pub(super) fn of(&self, register: Option<Register>, bit: usize) -> Influence {
        let bits = register.and_then(|register| self.bits.get(register.index()));
        bits.and_then(|bits| bits.get(bit))
            .copied()
            .unwrap_or_default()
    }

    pub(super) fn whole(&self, register: Register) -> Influence {
        let bits = self.bits[register.index()].iter();
        bits.copied().fold(Influence::default(), Influence::join)
    }

    pub(super) fn value(&self, register: Option<Register>) -> Word {
        register.map_or(Word::default(), |register| self.values[register.index()])
    }
}

impl Reader<'_> {
    pub(super) fn trace(&self, program: &Program) -> Traced {
        let environment = Environment {
            inputs: self.inputs,
            states: self.states,
            nodes: self.node_values,
        };
        let mut traced = Traced {
            values: Vec::new(),
            bits: Vec::new(),
        };
        program.run(&environment, &self.memories, &mut traced.values);
        for (at, operation) in program.operations.iter().enumerate() {
            let mut bits = self.influences(operation, &traced);
            for (bit, influence) in bits.iter_mut().enumerate() {
                // Bits beyond a word are those of a memory that is wider than what is read of it.
                if bit >= 64 || traced.values[at].unknown >> bit & 1 == 0 {
                    *influence = Influence::default();
                }
            }
            traced.bits.push(bits);
        }
        traced
    }

    fn influences(&self, operation: &Operation, traced: &Traced) -> Vec<Influence> {
        let bits = |register: Register| traced.bits[register.index()].as_slice();
        let get =
            |register: Register, at: usize| bits(register).get(at).copied().unwrap_or_default();
        let value = |register: Register| traced.values[register.index()];
        let whole = |register: Register| traced.whole(register);
        let width_of = |mask: u64| (u64::BITS - mask.leading_zeros()) as usize;
        let longer = |a: Register, b: Register| 0..bits(a).len().max(bits(b).len());
        let source = |ways: Ways, state: bool| Influence {
            inputs: if state { Ways::default() } else { ways },
            states: if state { ways } else { Ways::default() },
            memory: false,
        };
        let stretch = |low: u8, width: u8, state: bool| {
            let bit = move |bit: u8| Ways {
                same: 1 << bit,
                opposite: 0,
            };
            (low..low + width)
                .map(|at| source(bit(at), state))
                .collect()
        };
        match *operation {
            Operation::Constant(mask) | Operation::Unknown(mask) => {
                vec![Influence::default(); width_of(mask).max(1)]
            }
            Operation::Inputs { low, width } => stretch(low, width, false),
            Operation::States { low, width } => stretch(low, width, true),
            Operation::Nodes { low, width } => (low..low + width)
                .map(|at| self.nodes.get(usize::from(at)).copied().unwrap_or_default())
                .collect(),
            Operation::Not(a, mask) => (0..width_of(mask))
                .map(|at| get(a, at).inverted())
                .collect(),
            Operation::And(a, b) | Operation::Or(a, b) => {
                longer(a, b).map(|at| get(a, at).join(get(b, at))).collect()
            }
            Operation::Xor(a, b) => longer(a, b)
                .map(|at| {
                    let (one, other) = (get(a, at), get(b, at));
                    let high = |register: Register| value(register).value >> at & 1 == 1;
                    match (one.is_none(), other.is_none()) {
                        (_, true) if high(b) => one.inverted(),
                        (_, true) => one,
                        (true, _) if high(a) => other.inverted(),
                        (true, _) => other,
                        _ => one.join(other).both(),
                    }
                })
                .collect(),
            Operation::Add(a, b, width) => {
                // A carry only ever helps the carries above it.
                let mut carry = Influence::default();
                (0..usize::from(width))
                    .map(|at| {
                        let own = get(a, at).join(get(b, at));
                        let high = |register: Register| value(register).value >> at & 1;
                        let sum = match (own.is_none(), high(a) ^ high(b)) {
                            (true, 0) => carry,
                            (true, _) => carry.inverted(),
                            _ => own.join(carry).both(),
                        };
                        carry = match (own.is_none(), high(a) == high(b)) {
                            (true, true) => Influence::default(),
                            _ => own.join(carry),
                        };
                        sum
                    })
                    .collect()
            }
            Operation::Subtract(a, b, width) => {
                let mut below = Influence::default();
                (0..usize::from(width))
                    .map(|at| {
                        below = below.join(get(a, at)).join(get(b, at));
                        below.both()
                    })
                    .collect()
            }
            Operation::Equal(a, b, _) => vec![whole(a).join(whole(b)).both()],
            Operation::Less(a, b, _) => vec![whole(a).inverted().join(whole(b))],
            Operation::Select(condition, yes, no) => longer(yes, no)
                .map(|at| {
                    let known = |register: Register, level: u64| {
                        let word = value(register);
                        word.unknown >> at & 1 == 0 && word.value >> at & 1 == level
                    };
                    let chooser = get(condition, 0);
                    if value(condition) == Word::known(1) {
                        return get(yes, at);
                    }
                    if value(condition) == Word::known(0) {
                        return get(no, at);
                    }
                    let up = known(yes, 1) || known(no, 0);
                    let down = known(yes, 0) || known(no, 1);
                    let chooser = match (up, down) {
                        (true, false) => chooser,
                        (false, true) => chooser.inverted(),
                        _ => chooser.both(),
                    };
                    get(yes, at).join(get(no, at)).join(chooser)
                })
                .collect(),
            Operation::Splat(a, mask) => vec![whole(a); width_of(mask)],
            Operation::Slice(a, low, width) => (low..low + width)
                .map(|at| get(a, usize::from(at)))
                .collect(),
            Operation::Place(a, low) => {
                let mut moved = vec![Influence::default(); usize::from(low)];
                moved.extend(bits(a));
                moved
            }
            Operation::Decode(a, width) => (0..1usize << width)
                .map(|place| {
                    let chosen = |at: usize| match place >> at & 1 {
                        1 => get(a, at),
                        _ => get(a, at).inverted(),
                    };
                    (0..usize::from(width))
                        .map(chosen)
                        .fold(Influence::default(), Influence::join)
                })
                .collect(),
            Operation::Pick(vector, address, width) => {
                let word = value(address);
                let possible = |at: &usize| {
                    (*at as u64 ^ word.value) & !word.unknown & Word::mask(width.into()) == 0
                };
                let picked = (0..1usize << width)
                    .filter(possible)
                    .map(|at| get(vector, at));
                vec![picked.fold(whole(address).both(), Influence::join)]
            }
            Operation::All(a, mask) | Operation::Any(a, mask) => {
                vec![masked(bits(a), mask)]
            }
            Operation::Odd(a, mask) => vec![masked(bits(a), mask).both()],
            Operation::Read(_, address) => {
                let address = whole(address).both();
                vec![
                    Influence {
                        memory: true,
                        ..address
                    };
                    64
                ]
            }
        }
    }
}

fn masked(bits: &[Influence], mask: u64) -> Influence {
    let rows = bits.iter().enumerate().take(64);
    let chosen = rows.filter(|(at, _)| mask >> at & 1 == 1);
    chosen.fold(Influence::default(), |all, (_, bit)| all.join(*bit))
}
