//! What a chip stores, and how that follows its inputs: edges, levels, memories.

use super::description::{Description, Effect, Rule, Store};
use super::formula::{Needs, Source, View, candidates};
use super::levels::Bit;

/// Stored bits and memories.
#[derive(Clone, Debug)]
pub(crate) struct Storage {
    pub(crate) state: Vec<Bit>,
    pub(crate) memories: Vec<Memory>,
}

/// Words, each with what it is and which bits of it are unknown.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Memory {
    pub(crate) width: usize,
    words: Vec<(u64, u64)>,
}

/// An address with more unknown bits than this reads as unknown and writes over everything: the one rule here that is
/// taken from the engine, since no description says where it gives up.
const MOST_UNKNOWN_ADDRESS_BITS: usize = 4;

impl Memory {
    pub(crate) fn new(words: u64, width: usize, blank: Option<u64>) -> Memory {
        let mask = u64::MAX >> (64 - width);
        let word = blank.map_or((0, mask), |value| (value & mask, 0));
        let words = vec![word; words as usize];
        Memory { width, words }
    }

    pub(crate) fn fill(&mut self, value: u64) {
        let mask = u64::MAX >> (64 - self.width);
        self.words.fill((value & mask, 0));
    }

    pub(crate) fn put(&mut self, address: u64, value: u64) {
        let at = address as usize % self.words.len();
        self.words[at] = (value, 0);
    }

    /// Every word: its known bits, and a mask of the unknown ones.
    pub(crate) fn words(&self) -> &[(u64, u64)] {
        &self.words
    }

    fn at(&self, address: u64) -> Vec<Bit> {
        let (value, unknown) = self.words[address as usize % self.words.len()];
        let bit = |at: usize| match (unknown >> at & 1, value >> at & 1) {
            (1, _) => Bit::Unknown,
            (_, high) => Bit::known(high == 1),
        };
        (0..self.width).map(bit).collect()
    }

    fn addresses(&self, address: &[Bit]) -> Option<Vec<u64>> {
        let unknown = address.iter().filter(|bit| **bit == Bit::Unknown).count();
        (unknown <= MOST_UNKNOWN_ADDRESS_BITS).then(|| candidates(address))
    }

    /// The word at an address, or what all words share that it may be.
    pub(crate) fn read(&self, address: &[Bit]) -> Vec<Bit> {
        let Some(addresses) = self.addresses(address) else {
            return vec![Bit::Unknown; self.width];
        };
        let words = addresses.into_iter().map(|address| self.at(address));
        let shared = |a: Vec<Bit>, b: Vec<Bit>| {
            let pairs = a.into_iter().zip(b);
            pairs.map(|(a, b)| a.or_else(b)).collect()
        };
        words.reduce(shared).expect("an address is something")
    }

    /// Writes a stretch of words. What may have been missed keeps only what is the same either way.
    fn write(&mut self, address: &[Bit], stretch: u64, data: &[Bit], certain: bool) {
        let mut start = address.to_vec();
        start[..stretch.trailing_zeros() as usize].fill(Bit::Low);
        let Some(starts) = self.addresses(&start) else {
            let mask = u64::MAX >> (64 - self.width);
            self.words.fill((0, mask));
            return;
        };
        let certain = certain && starts.len() == 1;
        for address in starts.into_iter().flat_map(|at| at..at + stretch) {
            let old = self.at(address);
            let pairs = old.into_iter().zip(data);
            let new = pairs.map(|(old, &new)| if certain { new } else { old.or_else(new) });
            let mut word = (0, 0);
            for (at, bit) in new.enumerate() {
                word.0 |= u64::from(bit == Bit::High) << at;
                word.1 |= u64::from(bit == Bit::Unknown) << at;
            }
            let at = address as usize % self.words.len();
            self.words[at] = word;
        }
    }
}

/// Inputs and nodes at one moment.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct SampledInputs {
    pub(crate) inputs: Vec<Bit>,
    pub(crate) nodes: Vec<Bit>,
}

/// Timers that were started, and those that may have been, as masks of stored bits.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Started {
    pub(crate) certain: u64,
    pub(crate) perhaps: u64,
}

/// The places in which two rows differ.
pub(crate) fn differing(a: &[Bit], b: &[Bit]) -> u64 {
    let pairs = a.iter().zip(b).enumerate();
    let differs = pairs.filter(|(_, (a, b))| a != b);
    differs.fold(0, |mask, (at, _)| mask | 1 << at)
}

/// What is yet to be written.
struct Write {
    memory: usize,
    address: Vec<Bit>,
    stretch: u64,
    data: Vec<Bit>,
    certain: bool,
}

impl Description {
    pub(crate) fn nodes(&self, inputs: &[Bit], storage: &Storage) -> Vec<Bit> {
        let mut nodes = Vec::new();
        for formula in &self.node_formulas {
            let value = formula.value(storage.view(inputs, &nodes));
            nodes.extend(value);
        }
        nodes
    }

    /// Lets storage follow the inputs. `stirred` are stored bits that have moved by themselves since `was`. Where
    /// storage clocks or sets more storage, the change runs through to its end; without an end all becomes unknown.
    pub(crate) fn follow(
        &self,
        storage: &mut Storage,
        was: &SampledInputs,
        inputs: &[Bit],
        stirred: u64,
    ) -> (SampledInputs, Started) {
        let mut started = Started::default();
        let mut before = was.clone();
        let mut seen = SampledInputs { inputs: inputs.to_vec(), nodes: self.nodes(inputs, storage) };
        let (mut moved_inputs, mut moved_states) = (differing(&was.inputs, inputs), stirred);
        for round in 0..2 * storage.state.len() + self.levels.len() + 2 {
            let state = storage.state.clone();
            let moved = Needs { inputs: moved_inputs, states: moved_states, memory: false };
            let mut touched = self.edges(storage, &before, &seen, moved, &mut started);
            touched |= self.acting_levels(storage, &seen.inputs, &mut started);
            let unknown = storage.state.iter().enumerate();
            let unknown = unknown.filter(|(_, bit)| **bit == Bit::Unknown);
            let unknown = unknown.fold(0, |mask, (at, _)| mask | 1 << at);
            let already = moved_states;
            moved_states |= touched & (differing(&state, &storage.state) | unknown);
            moved_inputs = 0;
            before = seen.clone();
            seen.nodes = self.nodes(inputs, storage);
            let settled = seen == before && state == storage.state && moved_states == already;
            // A memory that was written is read again.
            if settled && (round > 0 || storage.memories.is_empty()) {
                return (seen, started);
            }
        }
        storage.state.fill(Bit::Unknown);
        seen.nodes = self.nodes(inputs, storage);
        (seen, started)
    }

    /// The edges of one moment, all on the storage before it; returns what was set, or may have been.
    fn edges(
        &self,
        storage: &mut Storage,
        was: &SampledInputs,
        now: &SampledInputs,
        moved: Needs,
        started: &mut Started,
    ) -> u64 {
        let before = storage.state.clone();
        let (mut touched, mut writes) = (0, Vec::new());
        for rule in &self.edges {
            let happened = rule.happened(was, now, moved, &self.node_needs);
            if happened != Bit::Low {
                let state = std::mem::replace(&mut storage.state, before.clone());
                let result = rule.effect.result(storage.view(&now.inputs, &now.nodes));
                storage.state = state;
                result.apply(happened, storage, started, &mut writes);
                touched |= rule.effect.mask;
            }
        }
        storage.write(writes);
        touched
    }

    /// The levels that act, each on what the one before it left.
    fn acting_levels(&self, storage: &mut Storage, inputs: &[Bit], started: &mut Started) -> u64 {
        let mut touched = 0;
        for (condition, effect) in &self.levels {
            let nodes = self.nodes(inputs, storage);
            let view = storage.view(inputs, &nodes);
            let acts = condition.bit(view);
            if acts != Bit::Low {
                let result = effect.result(view);
                let mut writes = Vec::new();
                result.apply(acts, storage, started, &mut writes);
                storage.write(writes);
                touched |= effect.mask;
            }
        }
        touched
    }
}

impl Rule {
    /// An unknown level may be either, so that a change from or to it may be an edge. A node that stays unknown may have
    /// had one when something that it is computed from moved.
    fn happened(&self, was: &SampledInputs, now: &SampledInputs, moved: Needs, nodes: &[Needs]) -> Bit {
        let (was, now, behind) = match self.trigger {
            Source::Input(bit) => (was.inputs[bit], now.inputs[bit], false),
            Source::Node(node) => {
                let needs = nodes[node];
                let states = if needs.memory { u64::MAX } else { needs.states };
                let behind = needs.inputs & moved.inputs | states & moved.states != 0;
                (was.nodes[node], now.nodes[node], behind)
            }
            Source::State(_) => unreachable!("stored bits clock through nodes"),
        };
        if was == now && !behind {
            return Bit::Low;
        }
        if self.rises { was.not().and(now) } else { was.and(now.not()) }
    }
}

/// What a rule would store.
struct Outcome {
    bits: Vec<(usize, Bit)>,
    /// Timers, with whether they are started.
    starts: Vec<(usize, Bit)>,
    writes: Vec<(Write, Bit)>,
}

impl Effect {
    fn result(&self, view: View<'_>) -> Outcome {
        let mut outcome = Outcome { bits: Vec::new(), starts: Vec::new(), writes: Vec::new() };
        for (conditions, store) in &self.stores {
            let all = conditions.iter().map(|condition| condition.bit(view));
            let holds = all.fold(Bit::High, Bit::and);
            match store {
                Store::Bits(places, value) => outcome.set(places, &value.value(view), holds, view),
                Store::Start(places) => {
                    let ones = vec![Bit::High; places.len()];
                    outcome.set(places, &ones, holds, view);
                    outcome.starts.extend(places.iter().map(|&at| (at, holds)));
                }
                Store::Word(memory, address, stretch, data) => {
                    let write = Write {
                        memory: *memory,
                        address: address.value(view),
                        stretch: *stretch,
                        data: data.value(view),
                        certain: holds == Bit::High,
                    };
                    outcome.writes.push((write, holds));
                }
            }
        }
        outcome
    }
}

impl Outcome {
    /// Under a condition it has the upper hand of what stands before it.
    fn set(&mut self, places: &[usize], values: &[Bit], holds: Bit, view: View<'_>) {
        for (&place, &value) in places.iter().zip(values) {
            let at = self.bits.iter().position(|(other, _)| *other == place);
            let before = at.map_or(view.states[place], |at| self.bits[at].1);
            self.bits.retain(|(other, _)| *other != place);
            self.bits.push((place, holds.choose(value, before)));
        }
    }

    fn apply(self, acts: Bit, storage: &mut Storage, started: &mut Started, into: &mut Vec<Write>) {
        for (place, value) in self.bits {
            storage.state[place] = acts.choose(value, storage.state[place]);
        }
        for (place, starts) in self.starts {
            match acts.and(starts) {
                Bit::High => started.certain |= 1 << place,
                Bit::Unknown => started.perhaps |= 1 << place,
                _ => {}
            }
        }
        for (mut write, holds) in self.writes {
            write.certain &= acts == Bit::High;
            if holds != Bit::Low {
                into.push(write);
            }
        }
    }
}

impl Storage {
    pub(crate) fn view<'a>(&'a self, inputs: &'a [Bit], nodes: &'a [Bit]) -> View<'a> {
        View { inputs, nodes, states: &self.state, memories: &self.memories }
    }

    fn write(&mut self, writes: Vec<Write>) {
        for write in writes {
            let memory = &mut self.memories[write.memory];
            memory.write(&write.address, write.stretch, &write.data, write.certain);
        }
    }
}
