//! Formulas: what the language says of each operator, worked out bit by bit. Rows of bits stand with the least
//! significant bit first.

use super::levels::Bit;
use super::storage::Memory;

/// A bit that a formula reads.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Source {
    Input(usize),
    State(usize),
    Node(usize),
}

/// A formula with every name looked up and every width settled.
#[derive(Clone, Debug)]
pub(crate) enum Formula {
    Constant(Vec<Bit>),
    Read(Vec<Source>),
    Not(Box<Formula>),
    Gate(Gate, Box<Formula>, Box<Formula>),
    Sum(Box<Formula>, Box<Formula>),
    Difference(Box<Formula>, Box<Formula>),
    Equal(Box<Formula>, Box<Formula>),
    Less(Box<Formula>, Box<Formula>),
    When {
        yes: Box<Formula>,
        condition: Box<Formula>,
        no: Box<Formula>,
    },
    /// One bit, so many times.
    Spread(Box<Formula>, usize),
    /// With zeros above, up to a width.
    Widen(Box<Formula>, usize),
    /// Several, the least significant first.
    Join(Vec<Formula>),
    Decode(Box<Formula>),
    /// All bits in one gate.
    Fold(Gate, Box<Formula>),
    /// The bit of a row that an address names.
    Pick(Box<Formula>, Box<Formula>),
    /// The word of a memory at an address.
    Word(usize, Box<Formula>),
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Gate {
    And,
    Or,
    Xor,
}

impl Gate {
    pub(crate) fn of(self, a: Bit, b: Bit) -> Bit {
        match self {
            Gate::And => a.and(b),
            Gate::Or => a.or(b),
            Gate::Xor => a.xor(b),
        }
    }
}

/// What formulas read.
#[derive(Clone, Copy)]
pub(crate) struct View<'a> {
    pub(crate) inputs: &'a [Bit],
    pub(crate) nodes: &'a [Bit],
    pub(crate) states: &'a [Bit],
    pub(crate) memories: &'a [Memory],
}

/// What a bit is computed from: masks of inputs and states, and whether a memory is read.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Needs {
    pub(crate) inputs: u64,
    pub(crate) states: u64,
    pub(crate) memory: bool,
}

impl Needs {
    pub(crate) fn with(self, other: Needs) -> Needs {
        Needs {
            inputs: self.inputs | other.inputs,
            states: self.states | other.states,
            memory: self.memory || other.memory,
        }
    }

    pub(crate) fn all(many: &[Needs]) -> Needs {
        many.iter().copied().fold(Needs::default(), Needs::with)
    }
}

fn get<T: Copy>(row: &[T], at: usize, otherwise: T) -> T {
    row.get(at).copied().unwrap_or(otherwise)
}

/// At least two of three.
fn majority(a: Bit, b: Bit, c: Bit) -> Bit {
    a.and(b).or(a.and(c)).or(b.and(c))
}

/// The numbers that a row can be, the least and the most.
fn range(row: &[Bit]) -> (u64, u64) {
    let number = |unknown: bool| {
        let high = |bit: &Bit| match bit {
            Bit::High => true,
            Bit::Low => false,
            _ => unknown,
        };
        let bits = row.iter().rev();
        bits.fold(0, |number, bit| number << 1 | u64::from(high(bit)))
    };
    (number(false), number(true))
}

/// All numbers that a row can be.
pub(crate) fn candidates(row: &[Bit]) -> Vec<u64> {
    let mut numbers = vec![0];
    for (at, bit) in row.iter().enumerate() {
        let with = |number: &u64| number | 1 << at;
        match bit {
            Bit::Low => {}
            Bit::High => numbers = numbers.iter().map(with).collect(),
            _ => numbers = [numbers.clone(), numbers.iter().map(with).collect()].concat(),
        }
    }
    numbers
}

impl Formula {
    pub(crate) fn bit(&self, view: View<'_>) -> Bit {
        self.value(view)[0]
    }

    pub(crate) fn value(&self, view: View<'_>) -> Vec<Bit> {
        match self {
            Formula::Constant(bits) => bits.clone(),
            Formula::Read(sources) => sources.iter().map(|source| source.of(view)).collect(),
            Formula::Not(a) => a.value(view).into_iter().map(Bit::not).collect(),
            Formula::Gate(gate, a, b) => {
                let pairs = a.value(view).into_iter().zip(b.value(view));
                pairs.map(|(a, b)| gate.of(a, b)).collect()
            }
            Formula::Sum(a, b) => sum(&a.value(view), &b.value(view), Bit::Low),
            Formula::Difference(a, b) => {
                let inverted: Vec<Bit> = b.value(view).into_iter().map(Bit::not).collect();
                sum(&a.value(view), &inverted, Bit::High)
            }
            Formula::Equal(a, b) => {
                let pairs = a.value(view).into_iter().zip(b.value(view));
                let alike = |all: Bit, (a, b): (Bit, Bit)| all.and(a.xor(b).not());
                vec![pairs.fold(Bit::High, alike)]
            }
            Formula::Less(a, b) => {
                let ((least_a, most_a), (least_b, most_b)) = (range(&a.value(view)), range(&b.value(view)));
                vec![match (most_a < least_b, least_a >= most_b) {
                    (true, _) => Bit::High,
                    (_, true) => Bit::Low,
                    _ => Bit::Unknown,
                }]
            }
            Formula::When { yes, condition, no } => {
                let condition = condition.bit(view);
                let pairs = yes.value(view).into_iter().zip(no.value(view));
                pairs.map(|(yes, no)| condition.choose(yes, no)).collect()
            }
            Formula::Spread(a, width) => vec![a.bit(view); *width],
            Formula::Widen(a, width) => {
                let mut bits = a.value(view);
                bits.resize(*width, Bit::Low);
                bits
            }
            Formula::Join(parts) => parts.iter().flat_map(|part| part.value(view)).collect(),
            Formula::Decode(a) => {
                let row = a.value(view);
                let can_be = candidates(&row);
                let outputs = 0..1u64 << row.len();
                let output = |number| match (can_be.contains(&number), can_be.len()) {
                    (true, 1) => Bit::High,
                    (true, _) => Bit::Unknown,
                    (false, _) => Bit::Low,
                };
                outputs.map(output).collect()
            }
            Formula::Fold(gate, a) => {
                let row = a.value(view);
                let first = if *gate == Gate::And { Bit::High } else { Bit::Low };
                vec![row.into_iter().fold(first, |all, bit| gate.of(all, bit))]
            }
            Formula::Pick(row, address) => {
                let row = row.value(view);
                let can_be = candidates(&address.value(view));
                let picked = can_be.iter().map(|&at| row[at as usize]);
                vec![picked.reduce(Bit::or_else).expect("an address is something")]
            }
            Formula::Word(memory, address) => view.memories[*memory].read(&address.value(view)),
        }
    }

    /// What each bit is computed from, whatever the levels are; `nodes` tells it of the nodes.
    pub(crate) fn needs(&self, nodes: &[Needs]) -> Vec<Needs> {
        let none = Needs::default();
        match self {
            Formula::Constant(bits) => vec![none; bits.len()],
            Formula::Read(sources) => {
                let of = |source: &Source| match *source {
                    Source::Input(bit) => Needs { inputs: 1 << bit, ..none },
                    Source::State(bit) => Needs { states: 1 << bit, ..none },
                    Source::Node(node) => nodes[node],
                };
                sources.iter().map(of).collect()
            }
            Formula::Not(a) => a.needs(nodes),
            Formula::Gate(_, a, b) => pairwise(&a.needs(nodes), &b.needs(nodes)),
            Formula::Sum(a, b) | Formula::Difference(a, b) => {
                // A carry runs upwards: each bit depends on all below it.
                let mut below = none;
                let pairs = pairwise(&a.needs(nodes), &b.needs(nodes));
                let mut running = |needs: Needs| {
                    below = below.with(needs);
                    below
                };
                pairs.into_iter().map(&mut running).collect()
            }
            Formula::Equal(a, b) | Formula::Less(a, b) | Formula::Pick(a, b) => {
                vec![Needs::all(&a.needs(nodes)).with(Needs::all(&b.needs(nodes)))]
            }
            Formula::When { yes, condition, no } => {
                let condition = Needs::all(&condition.needs(nodes));
                let pairs = pairwise(&yes.needs(nodes), &no.needs(nodes));
                pairs.into_iter().map(|needs| needs.with(condition)).collect()
            }
            Formula::Spread(a, width) => vec![Needs::all(&a.needs(nodes)); *width],
            Formula::Widen(a, width) => {
                let mut needs = a.needs(nodes);
                needs.resize(*width, none);
                needs
            }
            Formula::Join(parts) => parts.iter().flat_map(|part| part.needs(nodes)).collect(),
            Formula::Decode(a) => {
                let needs = a.needs(nodes);
                vec![Needs::all(&needs); 1 << needs.len()]
            }
            Formula::Fold(_, a) => vec![Needs::all(&a.needs(nodes))],
            Formula::Word(_, address) => {
                let address = Needs::all(&address.needs(nodes));
                vec![Needs { memory: true, ..address }; 64]
            }
        }
    }

    /// What it depends on whether each of so many bits is off.
    pub(crate) fn needs_of_off(&self, nodes: &[Needs], width: usize) -> Vec<Needs> {
        match self {
            Formula::When { yes, condition, no } if self.can_be_off() => {
                let condition = Needs::all(&condition.needs(nodes));
                let (yes, no) = (yes.needs_of_off(nodes, width), no.needs_of_off(nodes, width));
                let pairs = pairwise(&yes, &no).into_iter();
                pairs.map(|needs| needs.with(condition)).collect()
            }
            _ => vec![Needs::default(); width],
        }
    }

    fn can_be_off(&self) -> bool {
        match self {
            Formula::When { yes, no, .. } => yes.can_be_off() || no.can_be_off(),
            Formula::Constant(bits) => bits.contains(&Bit::Off),
            _ => false,
        }
    }
}

impl Source {
    fn of(self, view: View<'_>) -> Bit {
        match self {
            Source::Input(bit) => view.inputs[bit],
            Source::State(bit) => view.states[bit],
            Source::Node(bit) => view.nodes[bit],
        }
    }
}

/// A sum as wide as its first operand, by full adders.
fn sum(a: &[Bit], b: &[Bit], mut carry: Bit) -> Vec<Bit> {
    let mut bits = Vec::new();
    for (at, &a) in a.iter().enumerate() {
        let b = get(b, at, Bit::Low);
        bits.push(a.xor(b).xor(carry));
        carry = majority(a, b, carry);
    }
    bits
}

fn pairwise(a: &[Needs], b: &[Needs]) -> Vec<Needs> {
    let none = Needs::default();
    let widest = a.len().max(b.len());
    (0..widest).map(|at| get(a, at, none).with(get(b, at, none))).collect()
}
