//! What a chip does, compiled to steps on packed words.
//!
//! A chip sees its input pins as one [`Word`], keeps its storage in another, and drives its output pins with a third.
//! Two operations describe it fully, without time: [`Function::step`] lets storage follow a change of the inputs,
//! [`Function::drive`] says what the outputs then want to be. Delays and checks are laid over this by the engine.
//!
//! A timer is a stored bit like others here: what starts it is told by [`Scratch::started`], and when it ends is the
//! engine's business.
//!
//! Unknown is sound throughout: a known result is the same whichever value the unknown inputs have.

mod build;
mod compile;
mod declare;
mod effect;
mod formula;
pub mod memory;
pub mod program;
pub mod reading;
mod reads;
mod resolve;
mod rules;
mod state;
pub mod structure;
mod triggers;
pub mod two_state;

pub(crate) use compile::compile;
pub use reads::Reads;
pub use state::{ChipState, Drive, SampledInputs, Scratch, Started};
pub use triggers::Reachable;

use super::sheet::Signal;
use super::{Edge, PinIndex};
use crate::logic::Word;
use effect::{Changes, EdgeRule, Effect, Forbid, LevelRule, write_all};
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
    /// The state bit that oscillates.
    pub oscillator: Option<usize>,
    /// The input that oscillates when the board has the parts for it.
    pub rc_oscillator: Option<RcOscillator>,
    /// State bits that fall back to 0 by themselves.
    pub timers: Vec<Timer>,
    /// State bits that the chip sets to 0 when power comes.
    pub zero_at_power_up: u64,
    /// For each output bit, the input bits that can move it: the arcs that a sheet may time.
    pub arcs: Vec<u64>,
    /// For each output bit, those of them that can make it go high-impedance, or drive again.
    pub output_enables: Vec<u64>,
    /// For each output bit, the input bits that its storage takes its value from.
    pub data: Vec<u64>,
    /// Input bits whose change can do more than be remembered for a later edge.
    pub sensitive: u64,
    /// Input bits that an output hangs on as they are now, and not only through what is stored.
    pub direct: u64,
    /// For each node, the input bits that it hangs on.
    pub node_inputs: Vec<u64>,
    /// Nodes that depend on what is stored: they move when storage moves, and may clock or set more storage.
    stored_nodes: u64,
    /// True when one round of the rules leaves nothing that another round could change.
    settles_at_once: bool,
    node_program: Program,
    node_result: Option<Register>,
    edge_rules: Vec<EdgeRule>,
    level_rules: Vec<LevelRule>,
    drive_program: Program,
    drive_value: Option<Register>,
    drive_off: Option<Register>,
    forbids: Vec<Forbid>,
}

/// A state bit that falls back to 0 when its time is over.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Timer {
    pub state: usize,
    /// The pins of the resistor and the capacitor that give the time; `None` where the sheet gives it.
    pub pins: Option<[PinIndex; 2]>,
}

/// An input that oscillates when a resistor leads from a junction to one pin, a capacitor to another, and the
/// input hangs on the junction.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RcOscillator {
    /// The bit of the input word.
    pub input: usize,
    /// The pins that the resistor and the capacitor lead to.
    pub pins: [PinIndex; 2],
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

    /// How many times a sheet and a board may have to give: of timers, and of an input that oscillates.
    pub fn timed(&self) -> usize {
        self.timers.len() + usize::from(self.rc_oscillator.is_some())
    }

    /// The pins that time each of them, and that nothing else may drive.
    pub fn timing_pins(&self) -> Vec<Vec<PinIndex>> {
        let timers = self.timers.iter().map(|timer| timer.pins.map_or(Vec::new(), Vec::from));
        let rc_oscillator = self.rc_oscillator.iter().map(|rc_oscillator| vec![self.inputs[rc_oscillator.input]]);
        timers.chain(rc_oscillator).collect()
    }

    /// True when it stores nothing.
    pub fn is_combinational(&self) -> bool {
        self.states.is_empty() && self.memories.is_empty()
    }

    /// Triggers of the edge-triggered storage.
    pub fn triggers(&self) -> impl Iterator<Item = (Signal, Edge)> + '_ {
        self.edge_rules.iter().map(|rule| (rule.trigger, rule.edge))
    }

    /// Input bits that can make an edge that stores something.
    pub fn clock_inputs(&self) -> u64 {
        self.edge_rules.iter().fold(0, |mask, rule| mask | rule.causes)
    }

    /// Input bits that can set stored bits at once, without an edge: asynchronous clear and preset, gates of latches.
    pub fn level_inputs(&self) -> u64 {
        self.level_rules.iter().fold(0, |mask, rule| mask | rule.causes)
    }

    /// Input bits that a write to a memory depends on.
    pub fn write_inputs(&self) -> u64 {
        let writing = self.level_rules.iter().filter(|rule| !rule.effect.writes.is_empty());
        writing.fold(0, |mask, rule| mask | rule.causes)
    }

    /// What it remembers before anything has defined it.
    pub fn unknown_state(&self) -> ChipState {
        ChipState {
            state: Word::all_unknown(self.state_mask() & !self.zero_at_power_up),
            memories: self.memories.iter().map(MemoryArray::blank).collect(),
        }
    }

    /// The nodes, for given inputs and state.
    pub fn nodes(&self, inputs: Word, stored: &ChipState, scratch: &mut Scratch) -> Word {
        let Some(result) = self.node_result else {
            return Word::default();
        };
        let environment = Environment { inputs, states: stored.state, nodes: Word::default() };
        self.node_program.run(&environment, &stored.memories, &mut scratch.registers);
        scratch.registers[result.index()]
    }

    /// True when a change of these inputs stores nothing: it makes no edge, and the inputs as they are now keep all
    /// level-sensitive storage shut. Nothing may have moved by itself.
    #[inline]
    pub fn is_idle(&self, changed: u64, now: Word) -> bool {
        self.edge_rules.iter().all(|rule| changed & rule.causes == 0)
            && self.level_rules.iter().all(|rule| rule.is_idle(now))
    }

    /// Finds the inputs that alone keep each level-sensitive rule shut, whatever all else is.
    fn find_shutting_inputs(&mut self) {
        let mut shapes = self.memories.clone();
        shapes.iter_mut().for_each(|shape| shape.words = 1);
        let stored = ChipState {
            state: Word::all_unknown(self.state_mask()),
            memories: shapes.iter().map(MemoryArray::blank).collect(),
        };
        let mut scratch = Scratch::default();
        let unknown = self.input_mask();
        for at in 0..self.level_rules.len() {
            let mut idle = [0; 2];
            for bit in (0..self.inputs.len()).map(|input| 1 << input) {
                for (level, value) in [(0, 0), (1, bit)] {
                    let inputs = Word::new(value, unknown & !bit);
                    let nodes = self.nodes(inputs, &stored, &mut scratch);
                    let rule = &self.level_rules[at];
                    rule.effect.run(SampledInputs { inputs, nodes }, stored.state, &stored.memories, &mut scratch);
                    if scratch.registers[rule.condition.index()] == Word::known(0) {
                        idle[level] |= bit;
                    }
                }
            }
            self.level_rules[at].idle = idle;
        }
    }

    /// Lets storage follow the inputs from `was` to `now`; returns what is seen afterwards.
    ///
    /// Right sides of edge-triggered storage see the inputs as they are now: data that moves in the very instant of
    /// the clock is taken as there in time, unless the sheet asks for a setup time. They see the storage as it was
    /// before the edge, in every rule that the edge sets off.
    ///
    /// Where storage clocks or sets more storage, as in a ripple counter, the change runs through to its end. Storage
    /// that comes to no end becomes unknown.
    pub fn step(&self, was: SampledInputs, now: Word, stored: &mut ChipState, scratch: &mut Scratch) -> SampledInputs {
        self.step_self_changed(was, now, 0, stored, scratch)
    }

    /// As [`Function::step`], when some state bits have moved by themselves since `was`.
    pub fn step_self_changed(
        &self,
        was: SampledInputs,
        now: Word,
        self_changed: u64,
        stored: &mut ChipState,
        scratch: &mut Scratch,
    ) -> SampledInputs {
        scratch.started = Started::default();
        let mut sampled = SampledInputs { inputs: now, nodes: self.nodes(now, stored, scratch) };
        if self.edge_rules.is_empty() && self.level_rules.is_empty() {
            return sampled;
        }
        let mut moved = Changes {
            inputs: (was.inputs.value ^ now.value) | (was.inputs.unknown ^ now.unknown),
            states: self_changed,
        };
        if self.settles_at_once {
            self.clock(was, sampled, moved, stored, scratch);
            self.follow(sampled, stored, scratch);
            return sampled;
        }
        let mut before = was;
        let mut read_again = !self.memories.is_empty();
        // Each round carries the change on by one stored bit at least, or is the last.
        for _ in 0..2 * self.states.len() + self.level_rules.len() + 2 {
            let (state, already) = (stored.state, moved.states);
            let touched = self.clock(before, sampled, moved, stored, scratch) | self.follow(sampled, stored, scratch);
            let differs = state.value ^ stored.state.value;
            moved.inputs = 0;
            moved.states |= touched & (differs | stored.state.unknown);
            before = sampled;
            sampled.nodes = self.nodes(now, stored, scratch);
            let settled = stored.state == state && sampled == before && moved.states == already;
            if settled && !read_again {
                return sampled;
            }
            read_again = false;
        }
        stored.state = Word::all_unknown(self.state_mask());
        sampled.nodes = self.nodes(now, stored, scratch);
        sampled
    }

    /// Runs the edge-triggered rules once; returns the state bits that were set, or may have been.
    fn clock(
        &self,
        was: SampledInputs,
        now: SampledInputs,
        moved: Changes,
        stored: &mut ChipState,
        scratch: &mut Scratch,
    ) -> u64 {
        let state = stored.state;
        let mut touched = 0;
        for rule in &self.edge_rules {
            let edge_happened = rule.edge_happened(&was, &now, moved);
            if edge_happened != Word::known(0) {
                rule.effect.run(now, state, &stored.memories, scratch);
                rule.effect.store(edge_happened, stored, scratch);
                touched |= rule.effect.mask;
            }
        }
        write_all(stored, scratch);
        touched
    }

    /// Runs the level-sensitive rules once, each on what the one before it left; returns the state bits that were
    /// set, or may have been.
    fn follow(&self, now: SampledInputs, stored: &mut ChipState, scratch: &mut Scratch) -> u64 {
        let mut sampled = now;
        let mut touched = 0;
        for rule in &self.level_rules {
            if rule.is_idle(now.inputs) {
                continue;
            }
            if self.stored_nodes != 0 {
                sampled.nodes = self.nodes(now.inputs, stored, scratch);
            }
            rule.effect.run(sampled, stored.state, &stored.memories, scratch);
            let condition = scratch.registers[rule.condition.index()];
            if condition != Word::known(0) {
                rule.effect.store(condition, stored, scratch);
                write_all(stored, scratch);
                touched |= rule.effect.mask;
            }
        }
        touched
    }

    /// Makes everything unknown that a signal's edges or levels store, as after a pulse too short to trust.
    pub fn make_unknown(&self, signal: Signal, sampled: SampledInputs, stored: &mut ChipState, scratch: &mut Scratch) {
        for effect in self.effects_of(signal) {
            let mask = effect.mask;
            stored.state = Word { value: stored.state.value & !mask, unknown: stored.state.unknown | mask };
            if !effect.writes.is_empty() {
                effect.run(sampled, stored.state, &stored.memories, scratch);
                for write in &effect.writes {
                    let condition = write.condition.map(|it| scratch.registers[it.index()]);
                    if condition != Some(Word::known(0)) {
                        let address = scratch.registers[write.address.index()];
                        stored.memories[write.memory].make_unknown(address, write.words);
                    }
                }
            }
        }
    }

    /// Makes the words unknown that a signal's edges or levels wrote, where their address is unknown once some inputs
    /// are: the word may have been missed.
    pub fn make_missed_unknown(
        &self,
        signal: Signal,
        sharp: SampledInputs,
        blind: Word,
        stored: &mut ChipState,
        scratch: &mut Scratch,
    ) {
        let unknown = SampledInputs { inputs: blind, nodes: self.nodes(blind, stored, scratch) };
        for effect in self.effects_of(signal) {
            for write in &effect.writes {
                effect.run(unknown, stored.state, &stored.memories, scratch);
                if scratch.registers[write.address.index()].unknown != 0 {
                    effect.run(sharp, stored.state, &stored.memories, scratch);
                    let condition = write.condition.map(|it| scratch.registers[it.index()]);
                    if condition != Some(Word::known(0)) {
                        let address = scratch.registers[write.address.index()];
                        stored.memories[write.memory].make_unknown(address, write.words);
                    }
                }
            }
        }
    }

    /// What a signal's edges or levels store.
    fn effects_of(&self, signal: Signal) -> impl Iterator<Item = &Effect> {
        let inputs: u64 = match signal {
            Signal::Input(bit) => 1 << bit,
            Signal::Node(_) => 0,
        };
        let edges = self.edge_rules.iter().filter(move |rule| rule.trigger == signal || rule.causes & inputs != 0);
        let levels = self.level_rules.iter().filter(move |rule| {
            rule.causes & inputs != 0 || matches!(signal, Signal::Node(node) if rule.nodes >> node & 1 == 1)
        });
        let edges = edges.map(|rule| &rule.effect);
        edges.chain(levels.map(|rule| &rule.effect))
    }

    /// What the outputs want to be.
    pub fn drive(&self, sampled: SampledInputs, stored: &ChipState, scratch: &mut Scratch) -> Drive {
        let environment = Environment { inputs: sampled.inputs, states: stored.state, nodes: sampled.nodes };
        self.drive_program.run(&environment, &stored.memories, &mut scratch.registers);
        let get = |register: Option<Register>| register.map_or(Word::default(), |r| scratch.registers[r.index()]);
        Drive { value: get(self.drive_value), off: get(self.drive_off) }
    }

    /// The texts of the forbidden uses that are certainly going on.
    pub fn forbidden(&self, sampled: SampledInputs, stored: &ChipState, scratch: &mut Scratch) -> Vec<usize> {
        let environment = Environment { inputs: sampled.inputs, states: stored.state, nodes: sampled.nodes };
        let mut found = Vec::new();
        for (index, forbid) in self.forbids.iter().enumerate() {
            forbid.program.run(&environment, &stored.memories, &mut scratch.registers);
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

    /// Makes everything unknown that the inputs of a forbidden use set.
    pub fn make_forbidden_unknown(&self, index: usize, stored: &mut ChipState) {
        let inputs = self.forbids[index].inputs;
        let edges = self.edge_rules.iter().map(|rule| (rule.causes, &rule.effect));
        let levels = self.level_rules.iter().map(|rule| (rule.causes, &rule.effect));
        for (causes, effect) in edges.chain(levels) {
            if causes & inputs != 0 {
                stored.state.value &= !effect.mask;
                stored.state.unknown |= effect.mask;
            }
        }
    }

    /// Why a use is forbidden.
    pub fn forbid_text(&self, index: usize) -> &str {
        &self.forbids[index].text
    }
}

#[cfg(test)]
mod tests;
