//! Which way each input moves what: a function as a web of influences, without time.
//!
//! Known inputs, such as pins that are tied to a rail, are taken into account: what cannot move a result while they
//! stay as they are has no influence on it. An influence that is told may still be one that never shows; one that is
//! not told cannot be there.

use super::memory::MemoryArray;
use super::program::{Environment, Operation, Program, Register};
use super::{Effect, Function, LevelRule, Signal};
use crate::logic::Word;
use crate::part::Edge;

/// The bits that move something, by the way they move it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Ways {
    /// A rise of these can make it rise, and a fall make it fall.
    pub same: u64,
    /// A rise of these can make it fall, and a fall make it rise.
    pub opposite: u64,
}

/// What moves one bit.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Influence {
    /// Input bits.
    pub inputs: Ways,
    /// State bits.
    pub states: Ways,
    /// True when it depends on what a memory holds.
    pub memory: bool,
}

/// A stored bit, and where its new value comes from.
#[derive(Clone, Copy, Debug)]
pub struct Stored {
    /// The state bit.
    pub state: usize,
    /// What its new value depends on.
    pub data: Influence,
    /// The new value, when it is always the same.
    pub constant: Option<bool>,
}

/// Storage that is set at an edge.
#[derive(Clone, Debug)]
pub struct Clocked {
    /// The signal.
    pub trigger: Signal,
    /// Its edge.
    pub edge: Edge,
    /// What moves the signal.
    pub by: Influence,
    /// What is stored.
    pub stores: Vec<Stored>,
    /// True when it writes a memory.
    pub writes: bool,
    /// True when it can start a timer.
    starts: bool,
    /// State bits that decide what it writes and starts.
    reads: u64,
}

/// Storage that is set while a condition holds.
#[derive(Clone, Debug)]
pub struct Gated {
    /// What moves the condition.
    pub condition: Influence,
    /// What is stored.
    pub stores: Vec<Stored>,
    /// What the words and addresses of memory writes depend on, when it writes any.
    pub writes: Option<Influence>,
    /// Output bits that are surely off while the condition holds.
    pub silent: u64,
}

/// The influences in a function.
#[derive(Clone, Debug, Default)]
pub struct Structure {
    /// On the level of each output bit.
    pub values: Vec<Influence>,
    /// On whether each output bit lets go.
    pub offs: Vec<Influence>,
    /// The level of each output bit, known where nothing moves it.
    pub value: Word,
    /// Whether each output bit lets go, known where nothing moves that.
    pub off: Word,
    /// On each node.
    pub nodes: Vec<Influence>,
    /// Edge-triggered storage whose trigger can move.
    pub clocked: Vec<Clocked>,
    /// Level-sensitive storage whose condition can be true.
    pub gated: Vec<Gated>,
    /// What is stored, known where nothing can ever change it from what it is at power-up.
    pub states: Word,
}

impl Ways {
    /// Every bit that has an influence.
    pub fn all(self) -> u64 {
        self.same | self.opposite
    }

    fn join(self, other: Ways) -> Ways {
        Ways {
            same: self.same | other.same,
            opposite: self.opposite | other.opposite,
        }
    }

    fn inverted(self) -> Ways {
        Ways {
            same: self.opposite,
            opposite: self.same,
        }
    }
}

impl Influence {
    /// Both together.
    #[must_use]
    pub fn join(self, other: Influence) -> Influence {
        Influence {
            inputs: self.inputs.join(other.inputs),
            states: self.states.join(other.states),
            memory: self.memory || other.memory,
        }
    }

    /// True when nothing moves it.
    pub fn is_none(&self) -> bool {
        *self == Influence::default()
    }

    /// What an edge of an input bit can do to it: make it rise, and make it fall.
    pub fn moved(&self, input: usize, rise: bool) -> (bool, bool) {
        let same = self.inputs.same >> input & 1 == 1;
        let opposite = self.inputs.opposite >> input & 1 == 1;
        if rise {
            (same, opposite)
        } else {
            (opposite, same)
        }
    }

    fn inverted(self) -> Influence {
        Influence {
            inputs: self.inputs.inverted(),
            states: self.states.inverted(),
            memory: self.memory,
        }
    }

    fn both(self) -> Influence {
        self.join(self.inverted())
    }
}

impl Structure {
    /// The influences in the same chip for as long as more of its inputs stay as they are.
    pub fn with(&self, function: &Function, inputs: Word) -> Structure {
        Reader::new(function, inputs, self.states).structure()
    }

    /// The influences in a chip whose known input bits are tied for good. What the chip zeroes at power-up and no rule
    /// that can act ever sets stays zero; and edges that store only what never shows are no edges: a memory whose write
    /// input is tied off has no clock.
    pub fn tied(function: &Function, inputs: Word) -> Structure {
        let mut states = Word::all_unknown(function.state_mask());
        loop {
            let reader = Reader::new(function, inputs, states);
            let still = function.zero_at_power_up & states.unknown & !reader.settable();
            if still == 0 {
                let mut structure = reader.structure();
                structure.forget_unseen();
                return structure;
            }
            states.unknown &= !still;
        }
    }

    /// The input bits that can make a rule store something.
    pub fn storing(&self) -> u64 {
        let clocked = self.clocked.iter().map(|rule| rule.by.inputs.all());
        let gated = self.gated.iter().map(|rule| rule.condition.inputs.all());
        clocked.chain(gated).fold(0, |all, inputs| all | inputs)
    }

    /// Leaves out edges that store only bits which neither an output nor another rule looks at.
    fn forget_unseen(&mut self) {
        let shown = self.values.iter().chain(&self.offs);
        let mut seen = shown.fold(0, |all, influence| all | influence.states.all());
        for rule in &self.gated {
            let stored = rule.stores.iter().map(|stored| stored.data.states.all());
            seen |= stored.fold(rule.condition.states.all(), |all, states| all | states);
            seen |= rule.writes.map_or(0, |writes| writes.states.all());
        }
        let matters = |rule: &Clocked, seen: u64| {
            rule.writes
                || rule.starts
                || rule
                    .stores
                    .iter()
                    .any(|stored| seen >> stored.state & 1 == 1)
        };
        loop {
            let mut more = seen;
            for rule in self.clocked.iter().filter(|rule| matters(rule, seen)) {
                let stored = rule.stores.iter().map(|stored| stored.data.states.all());
                more |= stored.fold(rule.by.states.all() | rule.reads, |all, states| {
                    all | states
                });
            }
            if more == seen {
                break;
            }
            seen = more;
        }
        self.clocked.retain(|rule| matters(rule, seen));
    }

    /// What moves a signal.
    pub fn moves(&self, signal: Signal) -> Influence {
        match signal {
            Signal::Input(bit) => Influence {
                inputs: Ways {
                    same: 1 << bit,
                    opposite: 0,
                },
                ..Influence::default()
            },
            Signal::Node(bit) => self.nodes.get(bit).copied().unwrap_or_default(),
        }
    }
}

/// The most inputs that every combination is tried of.
const MOST_DECIDING: u32 = 8;

struct Reader<'f> {
    function: &'f Function,
    inputs: Word,
    states: Word,
    memories: Vec<MemoryArray>,
    node_values: Word,
    nodes: Vec<Influence>,
}

/// A program that has run: the value of each register, and the influences on each of its bits.
struct Traced {
    values: Vec<Word>,
    bits: Vec<Vec<Influence>>,
}

impl Traced {
    fn of(&self, register: Option<Register>, bit: usize) -> Influence {
        let bits = register.and_then(|register| self.bits.get(register.index()));
        bits.and_then(|bits| bits.get(bit))
            .copied()
            .unwrap_or_default()
    }

    fn whole(&self, register: Register) -> Influence {
        let bits = self.bits[register.index()].iter();
        bits.copied().fold(Influence::default(), Influence::join)
    }

    fn value(&self, register: Option<Register>) -> Word {
        register.map_or(Word::default(), |register| self.values[register.index()])
    }
}

impl<'f> Reader<'f> {
    fn new(function: &'f Function, inputs: Word, states: Word) -> Self {
        let mut reader = Reader {
            function,
            inputs,
            states,
            memories: (function.memories.iter())
                .map(MemoryArray::unknown)
                .collect(),
            node_values: Word::default(),
            nodes: Vec::new(),
        };
        let traced = reader.trace(&function.node_program);
        reader.node_values = traced.value(function.node_result);
        reader.nodes = (0..function.nodes.len())
            .map(|bit| traced.of(function.node_result, bit))
            .collect();
        reader
    }

    fn structure(self) -> Structure {
        let function = self.function;
        let drive = self.trace(&function.drive_program);
        let outputs = 0..function.outputs.len();
        let of = |register| outputs.clone().map(|bit| drive.of(register, bit)).collect();
        let (values, offs): (Vec<_>, Vec<_>) = (of(function.drive_value), of(function.drive_off));
        let (level, off) = (
            drive.value(function.drive_value),
            drive.value(function.drive_off),
        );
        let mut structure = Structure {
            values,
            offs,
            value: level,
            off,
            nodes: self.nodes.clone(),
            states: self.states,
            ..Structure::default()
        };
        for rule in &function.on_rules {
            let by = structure.moves(rule.trigger);
            if !self.is_still(rule.trigger) {
                let traced = self.trace(&rule.effect.program);
                let starts = traced.value(rule.effect.starts);
                let writes = rule.effect.writes.iter();
                let written = writes
                    .flat_map(|write| [Some(write.address), Some(write.data), write.condition]);
                let read = written.chain([rule.effect.starts]).flatten();
                let reads = read.fold(0, |all, register| all | traced.whole(register).states.all());
                structure.clocked.push(Clocked {
                    trigger: rule.trigger,
                    edge: rule.edge,
                    by,
                    stores: stores(&traced, &rule.effect),
                    writes: !rule.effect.writes.is_empty(),
                    starts: starts != Word::known(0),
                    reads,
                });
            }
        }
        for rule in &function.level_rules {
            let traced = self.trace(&rule.effect.program);
            if traced.value(Some(rule.condition)) == Word::known(0) {
                continue;
            }
            let writes = rule.effect.writes.iter();
            let writes =
                writes.map(|write| traced.whole(write.address).join(traced.whole(write.data)));
            let writes = writes.reduce(Influence::join);
            let condition = traced.of(Some(rule.condition), 0);
            let silent = match writes {
                Some(_) => self.silent(rule, condition, &structure.offs),
                None => 0,
            };
            structure.gated.push(Gated {
                condition,
                stores: stores(&traced, &rule.effect),
                writes,
                silent,
            });
        }
        structure
    }

    /// True when a signal never moves.
    fn is_still(&self, signal: Signal) -> bool {
        match signal {
            Signal::Input(bit) => self.inputs.unknown >> bit & 1 == 0,
            Signal::Node(bit) => self.nodes.get(bit).is_none_or(Influence::is_none),
        }
    }

    /// State bits that a rule which can act sets, or a timer that it can start; and those that swing by themselves.
    fn settable(&self) -> u64 {
        let function = self.function;
        let edges = function.on_rules.iter();
        let edges = edges.filter(|rule| !self.is_still(rule.trigger));
        let set = |effect: &Effect| {
            let started = self.trace(&effect.program).value(effect.starts);
            effect.mask | started.value | started.unknown
        };
        let levels = function.level_rules.iter().filter(|rule| {
            let traced = self.trace(&rule.effect.program);
            traced.value(Some(rule.condition)) != Word::known(0)
        });
        let effects = edges
            .map(|rule| &rule.effect)
            .chain(levels.map(|rule| &rule.effect));
        let swings = function.oscillator.map_or(0, |state| 1 << state);
        effects.fold(swings, |all, effect| all | set(effect))
    }

    /// Output bits that are off in every case in which a rule may act. Every combination of the inputs that decide is
    /// tried, when they are not too many.
    fn silent(&self, rule: &LevelRule, condition: Influence, offs: &[Influence]) -> u64 {
        let offs = offs
            .iter()
            .fold(Influence::default(), |all, off| all.join(*off));
        let deciding = condition.join(offs);
        let inputs = deciding.inputs.all();
        if inputs.count_ones() > MOST_DECIDING || deciding.states.all() != 0 || deciding.memory {
            return 0;
        }
        let mut silent = u64::MAX;
        let mut chosen = 0u64;
        loop {
            let here = Reader::new(
                self.function,
                Word {
                    value: self.inputs.value | chosen,
                    unknown: self.inputs.unknown & !inputs,
                },
                self.states,
            );
            let acts = here.trace(&rule.effect.program).value(Some(rule.condition));
            if acts != Word::known(0) {
                let off = here
                    .trace(&self.function.drive_program)
                    .value(self.function.drive_off);
                silent &= off.value;
            }
            // All subsets of the deciding inputs in turn.
            chosen = chosen.wrapping_sub(inputs) & inputs;
            if chosen == 0 {
                return silent;
            }
        }
    }

    fn trace(&self, program: &Program) -> Traced {
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

fn stores(traced: &Traced, effect: &Effect) -> Vec<Stored> {
    let next = traced.value(effect.next);
    let bits = (0..64).filter(|state| effect.mask >> state & 1 == 1);
    bits.map(|state| Stored {
        state,
        data: traced.of(effect.next, state),
        constant: (next.unknown >> state & 1 == 0).then_some(next.value >> state & 1 == 1),
    })
    .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::part::Library;

    fn bit(function: &Function, part: &crate::part::Part, name: &str) -> usize {
        let pin = part.pin_named(name).expect("a pin");
        function
            .inputs
            .iter()
            .position(|&input| input == pin)
            .expect("an input")
    }

    /// TI SCLS181H, function table of the 00: L only where both inputs are H, so that a rising input makes it fall. TI
    /// SDLS095A, logic diagram of the 283: the lowest sum hangs on no addend bit above it.
    #[test]
    fn gates_have_a_direction_and_sums_hang_on_what_is_below() {
        let library = Library::built_in();
        let under = |name: &str| {
            let part = library.part(name).expect("a part");
            let free = Word::all_unknown(part.function.input_mask());
            (Structure::tied(&part.function, free), part)
        };
        let output = |part: &crate::part::Part, name: &str| {
            let pin = part.pin_named(name).expect("a pin");
            let mut outputs = part.function.outputs.iter();
            outputs
                .position(|&output| output == pin)
                .expect("an output")
        };
        let (nand, part) = under("00");
        let (a, y) = (bit(&part.function, &part, "1A"), output(&part, "1Y"));
        assert_eq!(nand.values[y].moved(a, true), (false, true));
        assert_eq!(nand.values[y].moved(a, false), (true, false));
        let (adder, part) = under("283");
        let (a2, s1, s2) = (
            bit(&part.function, &part, "A2"),
            output(&part, "S1"),
            output(&part, "S2"),
        );
        assert_eq!(adder.values[s1].moved(a2, true), (false, false));
        assert_eq!(adder.values[s2].moved(a2, true), (true, true));
    }

    #[test]
    fn a_tied_enable_leaves_no_way_to_let_go() {
        let library = Library::built_in();
        let part = library.part("574").expect("a part");
        let enable = bit(&part.function, &part, "/OE");
        let free = Word::all_unknown(part.function.input_mask());
        let tied = Word {
            value: 0,
            unknown: free.unknown & !(1 << enable),
        };
        let open = Structure::tied(&part.function, free);
        // /OE rises: the output lets go.
        assert_eq!(open.offs[0].moved(enable, true), (true, false));
        assert!(Structure::tied(&part.function, tied).offs[0].is_none());
    }

    /// Atmel 0006F, AT28C256: a write begins when /CE and /WE are low; with /WE high the outputs follow the address while
    /// /CE and /OE are low. Nothing is stored then, and nothing clocks it.
    #[test]
    fn a_memory_whose_write_input_is_tied_off_has_no_clock() {
        let library = Library::built_in();
        let part = library.part("28C256").expect("a part");
        let (write, enable) = (
            bit(&part.function, &part, "/WE"),
            bit(&part.function, &part, "/CE"),
        );
        let free = Word::all_unknown(part.function.input_mask());
        let tied = Word {
            value: 1 << write,
            unknown: free.unknown & !(1 << write),
        };
        assert_eq!(Structure::tied(&part.function, tied).storing(), 0);
        let open = Structure::tied(&part.function, free).storing();
        assert_eq!(open >> write & open >> enable & 1, 1);
        // A monostable stores nothing but that it was started.
        let part = library.part("123").expect("a part");
        let free = Word::all_unknown(part.function.input_mask());
        assert_ne!(Structure::tied(&part.function, free).storing(), 0);
    }
}
