//! The rules and outputs of a function, read as dependencies under what is known.

use super::trace::Traced;
use super::{Clocked, Dependency, Gated, Stored, Structure};
use crate::logic::Word;
use crate::part::function::memory::MemoryArray;
use crate::part::function::{Effect, Function, LevelRule, Signal};

/// The most inputs that every combination is tried of.
const MOST_DECIDING: u32 = 8;

pub(super) struct Reader<'f> {
    pub(super) function: &'f Function,
    pub(super) inputs: Word,
    pub(super) states: Word,
    pub(super) memories: Vec<MemoryArray>,
    pub(super) node_values: Word,
    pub(super) nodes: Vec<Dependency>,
}

impl<'f> Reader<'f> {
    pub(super) fn new(function: &'f Function, inputs: Word, states: Word) -> Self {
        let mut reader = Reader {
            function,
            inputs,
            states,
            memories: (function.memories.iter()).map(MemoryArray::unknown).collect(),
            node_values: Word::default(),
            nodes: Vec::new(),
        };
        let traced = reader.trace(&function.node_program);
        reader.node_values = traced.value(function.node_result);
        reader.nodes = (0..function.nodes.len()).map(|bit| traced.of(function.node_result, bit)).collect();
        reader
    }

    pub(super) fn structure(self) -> Structure {
        let function = self.function;
        let drive = self.trace(&function.drive_program);
        let outputs = 0..function.outputs.len();
        let of = |register| outputs.clone().map(|bit| drive.of(register, bit)).collect();
        let (values, offs): (Vec<_>, Vec<_>) = (of(function.drive_value), of(function.drive_off));
        let (level, off) = (drive.value(function.drive_value), drive.value(function.drive_off));
        let mut structure = Structure {
            values,
            offs,
            value: level,
            off,
            nodes: self.nodes.clone(),
            states: self.states,
            ..Structure::default()
        };
        for rule in &function.edge_rules {
            let by = structure.moves(rule.trigger);
            if !self.is_constant(rule.trigger) {
                let traced = self.trace(&rule.effect.program);
                let starts = traced.value(rule.effect.starts);
                let writes = rule.effect.writes.iter();
                let written = writes.flat_map(|write| [Some(write.address), Some(write.data), write.condition]);
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
            let writes = writes.map(|write| traced.whole(write.address).join(traced.whole(write.data)));
            let writes = writes.reduce(Dependency::join);
            let condition = traced.of(Some(rule.condition), 0);
            let silent = match writes {
                Some(_) => self.silent(rule, condition, &structure.offs),
                None => 0,
            };
            structure.gated.push(Gated { condition, stores: stores(&traced, &rule.effect), writes, silent });
        }
        structure
    }

    /// True when a signal never moves.
    fn is_constant(&self, signal: Signal) -> bool {
        match signal {
            Signal::Input(bit) => self.inputs.unknown >> bit & 1 == 0,
            Signal::Node(bit) => self.nodes.get(bit).is_none_or(Dependency::is_none),
        }
    }

    /// State bits that a rule which can act sets, or a timer that it can start; and those that oscillate.
    pub(super) fn settable(&self) -> u64 {
        let function = self.function;
        let edges = function.edge_rules.iter();
        let edges = edges.filter(|rule| !self.is_constant(rule.trigger));
        let set = |effect: &Effect| {
            let started = self.trace(&effect.program).value(effect.starts);
            effect.mask | started.value | started.unknown
        };
        let levels = function.level_rules.iter().filter(|rule| {
            let traced = self.trace(&rule.effect.program);
            traced.value(Some(rule.condition)) != Word::known(0)
        });
        let effects = edges.map(|rule| &rule.effect).chain(levels.map(|rule| &rule.effect));
        let oscillating = function.oscillator.map_or(0, |state| 1 << state);
        effects.fold(oscillating, |all, effect| all | set(effect))
    }

    /// Output bits that are off in every case in which a rule may act. Every combination of the inputs that decide is
    /// tried, when they are not too many.
    fn silent(&self, rule: &LevelRule, condition: Dependency, offs: &[Dependency]) -> u64 {
        let offs = offs.iter().fold(Dependency::default(), |all, off| all.join(*off));
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
                Word { value: self.inputs.value | chosen, unknown: self.inputs.unknown & !inputs },
                self.states,
            );
            let acts = here.trace(&rule.effect.program).value(Some(rule.condition));
            if acts != Word::known(0) {
                let off = here.trace(&self.function.drive_program).value(self.function.drive_off);
                silent &= off.value;
            }
            // All subsets of the deciding inputs in turn.
            chosen = chosen.wrapping_sub(inputs) & inputs;
            if chosen == 0 {
                return silent;
            }
        }
    }
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
