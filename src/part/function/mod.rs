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
    /// Input bits whose change can do more than be remembered for a later edge.
    pub sensitive: u64,
    /// Nodes that depend on what is stored: they move when storage moves, and may clock or set more storage.
    stored_nodes: u64,
    /// True when one round of the rules leaves nothing that another round could change.
    settles_at_once: bool,
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
    effect: Effect,
}

/// Level-sensitive storage.
#[derive(Clone, Debug)]
struct LevelRule {
    condition: Register,
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
    writes: Vec<PendingWrite>,
}

/// A write that waits until every rule of the same instant has read the memories.
#[derive(Clone, Copy, Debug)]
struct PendingWrite {
    memory: usize,
    address: Word,
    data: Word,
    certain: bool,
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
    /// the clock is taken as there in time, unless the sheet asks for a setup time. They see the storage as it was
    /// before the edge, in every rule that the edge sets off. A clock that stays unknown may tick at any time.
    ///
    /// Where storage clocks or sets more storage, as in a ripple counter, the change runs through to its end. Storage
    /// that comes to no end becomes unknown.
    pub fn step(&self, was: Seen, now: Word, held: &mut Held, scratch: &mut Scratch) -> Seen {
        let mut seen = Seen {
            inputs: now,
            nodes: self.nodes(now, held, scratch),
        };
        if self.is_combinational() {
            return seen;
        }
        if self.settles_at_once {
            self.clock(was, seen, true, held, scratch);
            self.follow(seen, held, scratch);
            return seen;
        }
        let mut before = was;
        // Each round carries the change on by one stored bit at least, or ends.
        for round in 0..self.states.len() + self.level_rules.len() + 2 {
            let state = held.state;
            self.clock(before, seen, round == 0, held, scratch);
            self.follow(seen, held, scratch);
            before = seen;
            seen.nodes = self.nodes(now, held, scratch);
            let read_again = round == 0 && !self.memories.is_empty();
            if held.state == state && seen == before && !read_again {
                return seen;
            }
        }
        held.state = Word::all_unknown(self.state_mask());
        seen.nodes = self.nodes(now, held, scratch);
        seen
    }

    /// Runs the edge-triggered rules once. Behind the first round the inputs stand still, so that only nodes which
    /// depend on storage can have edges.
    fn clock(&self, was: Seen, now: Seen, first: bool, held: &mut Held, scratch: &mut Scratch) {
        let state = held.state;
        for rule in &self.on_rules {
            let moves = match rule.trigger {
                Signal::Input(_) => first,
                Signal::Node(bit) => first || self.stored_nodes >> bit & 1 == 1,
            };
            if !moves {
                continue;
            }
            let was = bit_of(&was, rule.trigger);
            let now_bit = bit_of(&now, rule.trigger);
            let happens = edge_between(was, now_bit, rule.edge);
            if happens != Word::known(0) {
                rule.effect.run(now, state, &held.memories, scratch);
                rule.effect.store(happens, held, scratch);
            }
        }
        write_all(held, scratch);
    }

    /// Runs the level-sensitive rules once, each on what the one before it left.
    fn follow(&self, now: Seen, held: &mut Held, scratch: &mut Scratch) {
        let mut seen = now;
        let mut state = None;
        for rule in &self.level_rules {
            if self.stored_nodes != 0 && state != Some(held.state) {
                seen.nodes = self.nodes(now.inputs, held, scratch);
                state = Some(held.state);
            }
            rule.effect.run(seen, held.state, &held.memories, scratch);
            let condition = scratch.registers[rule.condition.index()];
            rule.effect.store(condition, held, scratch);
            write_all(held, scratch);
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
    fn run(&self, seen: Seen, states: Word, memories: &[MemoryArray], scratch: &mut Scratch) {
        let environment = Environment {
            inputs: seen.inputs,
            states,
            nodes: seen.nodes,
        };
        self.program
            .run(&environment, memories, &mut scratch.registers);
    }

    /// Stores what the last run computed, as far as the condition holds. Writes to memories wait for [`write_all`].
    fn store(&self, condition: Word, held: &mut Held, scratch: &mut Scratch) {
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
            scratch.writes.push(PendingWrite {
                memory: write.memory,
                address: scratch.registers[write.address.index()],
                data: scratch.registers[write.data.index()],
                certain,
            });
        }
    }
}

fn write_all(held: &mut Held, scratch: &mut Scratch) {
    for write in scratch.writes.drain(..) {
        held.memories[write.memory].write(write.address, write.data, write.certain);
    }
}

fn bit_of(seen: &Seen, signal: Signal) -> Word {
    let (word, bit) = match signal {
        Signal::Input(bit) => (seen.inputs, bit),
        Signal::Node(bit) => (seen.nodes, bit),
    };
    word.slice(bit as u32, 1)
}

/// One bit: whether an edge happened. An unknown level may be either, and may have been both, so that a change from or
/// to it may be an edge, and so may its staying unknown.
fn edge_between(was: Word, now: Word, edge: Edge) -> Word {
    match edge {
        Edge::Rise => was.not(1).and(now),
        Edge::Fall => was.and(now.not(1)),
    }
}

#[cfg(test)]
mod tests;
