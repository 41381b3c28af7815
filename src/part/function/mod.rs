//! What a chip does, compiled to steps on packed words.
//!
//! A chip sees its input pins as one [`Word`], keeps its storage in another, and drives its output pins with a third.
//! Two operations describe it fully, without time: [`Function::step`] lets storage follow a change of the inputs,
//! [`Function::drive`] says what the outputs then want to be. Delays and checks are laid over this by the engine.
//!
//! Unknown is sound throughout: a known result is the same whichever value the unknown inputs have.

mod build;
mod compile;
pub mod memory;
pub mod program;
mod resolve;

pub use compile::compile;

use super::sheet::Signal;
use super::{Edge, PinIndex};
use crate::logic::Word;
use memory::{MemoryArray, MemoryShape};
use program::{Environment, Program, Register};

/// A compiled function.
#[derive(Clone, Debug, Default)]
pub struct Function {
    /// The pin behind each bit of the input word.
    pub inputs: Vec<PinIndex>,
    /// The pin behind each bit of the output word.
    pub outputs: Vec<PinIndex>,
    /// The name of each bit of the state word.
    pub states: Vec<String>,
    /// The name of each bit of the node word.
    pub nodes: Vec<String>,
    /// Its memory arrays.
    pub memories: Vec<MemoryShape>,
    /// The state bit that swings by itself.
    pub oscillator: Option<usize>,
    /// For each output bit, the input bits that can move it: the arcs that a sheet may time.
    pub arcs: Vec<u64>,
    /// For each output bit, the input bits that its storage takes its value from.
    pub data: Vec<u64>,
    /// Input bits whose change can do more than be remembered for a later edge.
    pub sensitive: u64,
    node_program: Program,
    node_result: Option<Register>,
    on_rules: Vec<OnRule>,
    level_rules: Vec<LevelRule>,
    drive_program: Program,
    drive_value: Option<Register>,
    drive_off: Option<Register>,
    forbids: Vec<Forbid>,
}

/// Edge-triggered storage.
#[derive(Clone, Debug)]
struct OnRule {
    trigger: Signal,
    edge: Edge,
    /// Inputs that can make the edge.
    causes: u64,
    effect: Effect,
}

/// Level-sensitive storage.
#[derive(Clone, Debug)]
struct LevelRule {
    condition: Register,
    /// Inputs that the condition depends on.
    causes: u64,
    /// Nodes that the condition reads.
    nodes: u64,
    effect: Effect,
}

/// What a rule stores.
#[derive(Clone, Debug)]
struct Effect {
    program: Program,
    /// The new state bits, in their places.
    next: Option<Register>,
    /// Which state bits are set.
    mask: u64,
    writes: Vec<MemoryWrite>,
}

#[derive(Clone, Debug)]
struct MemoryWrite {
    memory: usize,
    address: Register,
    data: Register,
}

#[derive(Clone, Debug)]
struct Forbid {
    program: Program,
    condition: Register,
    text: String,
}

/// What a chip remembers.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Held {
    /// Stored bits.
    pub state: Word,
    /// Memory arrays, as many as [`Function::memories`].
    pub memories: Vec<MemoryArray>,
}

/// What the output pins want to be.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Drive {
    /// Level of each output bit.
    pub value: Word,
    /// Output bits that let go.
    pub off: Word,
}

/// The inputs and nodes at one moment.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Seen {
    /// The input word.
    pub inputs: Word,
    /// The node word.
    pub nodes: Word,
}

/// Working memory that is used again for each evaluation.
#[derive(Clone, Debug, Default)]
pub struct Scratch {
    registers: Vec<Word>,
}

impl Function {
    /// The mask of all input bits.
    pub fn input_mask(&self) -> u64 {
        Word::mask(self.inputs.len() as u32)
    }

    /// The mask of all state bits.
    pub fn state_mask(&self) -> u64 {
        Word::mask(self.states.len() as u32)
    }

    /// True when it stores nothing.
    pub fn is_combinational(&self) -> bool {
        self.states.is_empty() && self.memories.is_empty()
    }

    /// Triggers of the edge-triggered storage.
    pub fn triggers(&self) -> impl Iterator<Item = (Signal, Edge)> + '_ {
        self.on_rules.iter().map(|rule| (rule.trigger, rule.edge))
    }

    /// What it remembers before anything has defined it.
    pub fn held_unknown(&self) -> Held {
        Held {
            state: Word::all_unknown(self.state_mask()),
            memories: self.memories.iter().map(MemoryArray::blank).collect(),
        }
    }

    /// The nodes, for given inputs and state.
    pub fn nodes(&self, inputs: Word, held: &Held, scratch: &mut Scratch) -> Word {
        let Some(result) = self.node_result else {
            return Word::default();
        };
        let environment = Environment {
            inputs,
            states: held.state,
            nodes: Word::default(),
        };
        self.node_program
            .run(&environment, &held.memories, &mut scratch.registers);
        scratch.registers[result.index()]
    }

    /// Lets storage follow the inputs from `was` to `now`; returns what is seen afterwards.
    ///
    /// Right sides of edge-triggered storage see the inputs as they are now: data that moves in the very instant of
    /// the clock is taken as there in time, unless the sheet asks for a setup time.
    pub fn step(&self, was: Seen, now: Word, held: &mut Held, scratch: &mut Scratch) -> Seen {
        let nodes = self.nodes(now, held, scratch);
        if self.is_combinational() {
            return Seen { inputs: now, nodes };
        }
        let seen = Seen { inputs: now, nodes };
        for rule in &self.on_rules {
            match edge_between(
                bit_of(&was, rule.trigger),
                bit_of(&seen, rule.trigger),
                rule.edge,
            ) {
                Happens::No => {}
                Happens::Maybe => rule.effect.apply(seen, Word::all_unknown(1), held, scratch),
                Happens::Yes => rule.effect.apply(seen, Word::known(1), held, scratch),
            }
        }
        for rule in &self.level_rules {
            rule.effect.run(seen, held, scratch);
            let condition = scratch.registers[rule.condition.index()];
            rule.effect.store(condition, held, scratch);
        }
        Seen {
            inputs: now,
            nodes: self.nodes(now, held, scratch),
        }
    }

    /// Makes everything unknown that a signal's edges or levels store, as after a pulse too short to trust.
    pub fn blur(&self, signal: Signal, seen: Seen, held: &mut Held, scratch: &mut Scratch) {
        let inputs = match signal {
            Signal::Input(bit) => 1 << bit,
            Signal::Node(_) => 0,
        };
        let edges = self
            .on_rules
            .iter()
            .filter(|rule| rule.trigger == signal || rule.causes & inputs != 0);
        let levels = self.level_rules.iter().filter(|rule| {
            rule.causes & inputs != 0
                || matches!(signal, Signal::Node(node) if rule.nodes >> node & 1 == 1)
        });
        for effect in edges
            .map(|rule| &rule.effect)
            .chain(levels.map(|rule| &rule.effect))
        {
            let mask = effect.mask;
            held.state = Word {
                value: held.state.value & !mask,
                unknown: held.state.unknown | mask,
            };
            if !effect.writes.is_empty() {
                effect.run(seen, held, scratch);
                for write in &effect.writes {
                    held.memories[write.memory].spoil(scratch.registers[write.address.index()]);
                }
            }
        }
    }

    /// What the outputs want to be.
    pub fn drive(&self, seen: Seen, held: &Held, scratch: &mut Scratch) -> Drive {
        let environment = Environment {
            inputs: seen.inputs,
            states: held.state,
            nodes: seen.nodes,
        };
        self.drive_program
            .run(&environment, &held.memories, &mut scratch.registers);
        let get = |register: Option<Register>| {
            register.map_or(Word::default(), |r| scratch.registers[r.index()])
        };
        Drive {
            value: get(self.drive_value),
            off: get(self.drive_off),
        }
    }

    /// The texts of the forbidden uses that are certainly going on.
    pub fn forbidden(&self, seen: Seen, held: &Held, scratch: &mut Scratch) -> Vec<usize> {
        let environment = Environment {
            inputs: seen.inputs,
            states: held.state,
            nodes: seen.nodes,
        };
        let mut found = Vec::new();
        for (index, forbid) in self.forbids.iter().enumerate() {
            forbid
                .program
                .run(&environment, &held.memories, &mut scratch.registers);
            if scratch.registers[forbid.condition.index()] == Word::known(1) {
                found.push(index);
            }
        }
        found
    }

    /// How many uses are forbidden.
    pub fn forbid_count(&self) -> usize {
        self.forbids.len()
    }

    /// Why a use is forbidden.
    pub fn forbid_text(&self, index: usize) -> &str {
        &self.forbids[index].text
    }
}

impl Effect {
    fn run(&self, seen: Seen, held: &Held, scratch: &mut Scratch) {
        let environment = Environment {
            inputs: seen.inputs,
            states: held.state,
            nodes: seen.nodes,
        };
        self.program
            .run(&environment, &held.memories, &mut scratch.registers);
    }

    fn apply(&self, seen: Seen, condition: Word, held: &mut Held, scratch: &mut Scratch) {
        self.run(seen, held, scratch);
        self.store(condition, held, scratch);
    }

    /// Stores what the last run computed, as far as the condition holds.
    fn store(&self, condition: Word, held: &mut Held, scratch: &Scratch) {
        if condition == Word::known(0) {
            return;
        }
        let certain = condition == Word::known(1);
        if let Some(next) = self.next {
            let next = scratch.registers[next.index()];
            let kept = Word {
                value: held.state.value & !self.mask,
                unknown: held.state.unknown & !self.mask,
            };
            let new = Word {
                value: kept.value | next.value,
                unknown: kept.unknown | next.unknown,
            };
            held.state = if certain { new } else { held.state.merge(new) };
        }
        for write in &self.writes {
            let address = scratch.registers[write.address.index()];
            let data = scratch.registers[write.data.index()];
            held.memories[write.memory].write(address, data, certain);
        }
    }
}

/// Whether an edge happened.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Happens {
    No,
    Maybe,
    Yes,
}

fn bit_of(seen: &Seen, signal: Signal) -> Word {
    let (word, bit) = match signal {
        Signal::Input(bit) => (seen.inputs, bit),
        Signal::Node(bit) => (seen.nodes, bit),
    };
    word.slice(bit as u32, 1)
}

/// An unknown level may be either, so a change from or to it may be an edge.
fn edge_between(was: Word, now: Word, edge: Edge) -> Happens {
    let (start, end) = match edge {
        Edge::Rise => (Word::known(0), Word::known(1)),
        Edge::Fall => (Word::known(1), Word::known(0)),
    };
    if was == now || was == end || now == start {
        Happens::No
    } else if was == start && now == end {
        Happens::Yes
    } else {
        Happens::Maybe
    }
}
