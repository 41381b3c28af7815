//! What makes a chip store, and what it stores then.

use super::memory::MemoryArray;
use super::program::{Environment, Program, Register};
use super::state::{ChipState, PendingWrite, SampledInputs, Scratch};
use crate::logic::Word;
use crate::part::Edge;
use crate::part::sheet::Signal;

/// Edge-triggered storage.
#[derive(Clone, Debug)]
pub(super) struct EdgeRule {
    pub(super) trigger: Signal,
    pub(super) edge: Edge,
    /// Inputs that can make the edge.
    pub(super) causes: u64,
    /// State bits that can make the edge.
    pub(super) states: u64,
    pub(super) effect: Effect,
}

/// Level-sensitive storage.
#[derive(Clone, Debug)]
pub(super) struct LevelRule {
    pub(super) condition: Register,
    /// Inputs that the condition depends on.
    pub(super) causes: u64,
    /// Nodes that the condition reads.
    pub(super) nodes: u64,
    /// Inputs that alone make the condition false when they are low, and when they are high.
    pub(super) idle: [u64; 2],
    pub(super) effect: Effect,
}

/// What a rule stores.
#[derive(Clone, Debug)]
pub(super) struct Effect {
    pub(super) program: Program,
    /// The new state bits, in their places.
    pub(super) next: Option<Register>,
    /// Which state bits are set.
    pub(super) mask: u64,
    /// The timers that are started, as state bits.
    pub(super) starts: Option<Register>,
    pub(super) writes: Vec<MemoryWrite>,
}

#[derive(Clone, Debug)]
pub(super) struct MemoryWrite {
    pub(super) memory: usize,
    pub(super) address: Register,
    /// The words that are written, from a multiple of their number on.
    pub(super) words: u64,
    pub(super) data: Register,
    /// One bit: whether it is written at all.
    pub(super) condition: Option<Register>,
}

#[derive(Clone, Debug)]
pub(super) struct Forbid {
    pub(super) program: Program,
    pub(super) condition: Register,
    /// Inputs that the condition depends on.
    pub(super) inputs: u64,
    pub(super) text: String,
}

impl Effect {
    pub(super) fn run(&self, sampled: SampledInputs, states: Word, memories: &[MemoryArray], scratch: &mut Scratch) {
        let environment = Environment { inputs: sampled.inputs, states, nodes: sampled.nodes };
        self.program.run(&environment, memories, &mut scratch.registers);
    }

    /// Stores what the last run computed, as far as the condition holds. Writes to memories wait for [`write_all`].
    pub(super) fn store(&self, condition: Word, stored: &mut ChipState, scratch: &mut Scratch) {
        let certain = condition == Word::known(1);
        if let Some(next) = self.next {
            let next = scratch.registers[next.index()];
            let kept = Word { value: stored.state.value & !self.mask, unknown: stored.state.unknown & !self.mask };
            let new = Word { value: kept.value | next.value, unknown: kept.unknown | next.unknown };
            stored.state = if certain { new } else { stored.state.merge(new) };
        }
        if let Some(starts) = self.starts {
            let starts = scratch.registers[starts.index()];
            if certain {
                scratch.started.certain |= starts.value;
                scratch.started.perhaps |= starts.unknown;
            } else {
                scratch.started.perhaps |= starts.value | starts.unknown;
            }
        }
        for write in &self.writes {
            let condition = write.condition.map(|it| scratch.registers[it.index()]);
            if condition == Some(Word::known(0)) {
                continue;
            }
            scratch.writes.push(PendingWrite {
                memory: write.memory,
                address: scratch.registers[write.address.index()],
                words: write.words,
                data: scratch.registers[write.data.index()],
                certain: certain && condition.is_none_or(|it| it == Word::known(1)),
            });
        }
    }
}

pub(super) fn write_all(stored: &mut ChipState, scratch: &mut Scratch) {
    for write in scratch.writes.drain(..) {
        let memory = &mut stored.memories[write.memory];
        memory.write_stretch(write.address, write.words, write.data, write.certain);
    }
}

pub(super) fn bit_of(sampled: &SampledInputs, signal: Signal) -> Word {
    let (word, bit) = match signal {
        Signal::Input(bit) => (sampled.inputs, bit),
        Signal::Node(bit) => (sampled.nodes, bit),
    };
    word.slice(bit as u32, 1)
}

/// What has moved since the levels that an edge is told from.
#[derive(Clone, Copy, Debug)]
pub(super) struct Changes {
    pub(super) inputs: u64,
    /// State bits, as far as they may have.
    pub(super) states: u64,
}

impl LevelRule {
    #[inline]
    pub(super) fn is_idle(&self, inputs: Word) -> bool {
        let low = !(inputs.value | inputs.unknown);
        low & self.idle[0] | inputs.value & self.idle[1] != 0
    }
}

impl EdgeRule {
    /// One bit: whether the edge happened. An unknown level may be either, so that a change from or to it may be an
    /// edge. A node that stays unknown may have had an edge when something behind it moved.
    pub(super) fn edge_happened(&self, was: &SampledInputs, now: &SampledInputs, moved: Changes) -> Word {
        let (was, now) = (bit_of(was, self.trigger), bit_of(now, self.trigger));
        let moves = match self.trigger {
            Signal::Input(_) => false,
            Signal::Node(_) => moved.inputs & self.causes | moved.states & self.states != 0,
        };
        if was == now && !moves {
            return Word::known(0);
        }
        match self.edge {
            Edge::Rise => was.not(1).and(now),
            Edge::Fall => was.and(now.not(1)),
        }
    }
}
