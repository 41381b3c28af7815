//! What is kept of the instructions that a run follows.

use super::watched::Strobe;
use crate::circuit::{ChipKey, NetKey, Signal};
use crate::contents::behaviour::{Decoded, Memory};
use crate::quantity::Time;
use crate::run::Engine;
use crate::text::Span;
use crate::trial::look::Look;
use std::collections::{BTreeMap, BTreeSet};

/// The columns of a table: a name, a signal, and how it is shown.
type Columns = Vec<(String, Signal, Look)>;

/// What follows the instructions of a machine.
#[derive(Default)]
pub(super) struct Follower {
    /// The net whose edge begins instructions; `None` while nobody follows them.
    pub(super) strobe: Option<Strobe>,
    /// The instruction that is being done.
    pub(super) begun: Option<Begun>,
    /// Each table of instructions, and its columns.
    pub(super) tables: Vec<(usize, Columns)>,
    pub(super) profile: Option<Profile>,
    pub(super) agreement: Option<Agreement>,
    /// Memories that the trial has put other bytes into, where labels no longer are.
    pub(super) loaded: BTreeSet<ChipKey>,
}

/// An instruction that has begun.
pub(super) struct Begun {
    pub(super) time: Time,
    pub(super) clocks: u64,
    /// Where it stands; `None` for an unknown address.
    pub(super) address: Option<u64>,
    pub(super) decoded: Option<Decoded>,
    pub(super) text: String,
}

/// Instructions and clocks by routine.
#[derive(Default)]
pub(super) struct Profile {
    pub(super) routines: BTreeMap<String, Routine>,
}

pub(super) struct Routine {
    pub(super) first: Time,
    pub(super) instructions: u64,
    pub(super) clocks: u64,
}

/// What the instructions say, side by side with the board.
pub(super) struct Agreement {
    pub(super) span: Span,
    /// What registers hold by them, in the order of the set; `None` until the board has a known value.
    pub(super) registers: Vec<Option<u64>>,
    pub(super) memory: Copied,
    /// The instruction that the board has just done.
    pub(super) done: Option<Begun>,
    /// True when the memory of the board has been loaded since.
    pub(super) is_stale: bool,
    pub(super) compared: u64,
    /// Where instructions stood, and their forms.
    pub(super) addresses: BTreeSet<u64>,
    pub(super) forms: BTreeSet<usize>,
}

/// Bytes as they were, and as instructions have changed them.
pub(super) struct Copied {
    /// The first address of each memory, and its bytes; unknown ones are none.
    pub(super) stretches: Vec<(u64, Vec<Option<u8>>)>,
    pub(super) written: Vec<u64>,
}

impl Copied {
    fn byte(&mut self, address: u64) -> Option<&mut Option<u8>> {
        let mut stretches = self.stretches.iter_mut().rev();
        let (first, bytes) = stretches.find(|(first, _)| *first <= address)?;
        bytes.get_mut((address - *first) as usize)
    }
}

impl Memory for Copied {
    fn read(&mut self, address: u64) -> Option<u8> {
        *self.byte(address)?
    }

    fn write(&mut self, address: u64, byte: Option<u8>) {
        if let Some(place) = self.byte(address) {
            *place = byte;
            self.written.push(address);
        }
    }
}

/// The memory of the board, at the addresses of the program.
pub(super) struct OnBoard<'r> {
    pub(super) engine: &'r dyn Engine,
    pub(super) memories: &'r [(u64, u64, ChipKey)],
}

impl Memory for OnBoard<'_> {
    fn read(&mut self, address: u64) -> Option<u8> {
        let &(first, _, chip) = self.memories.iter().find(|(first, last, _)| (*first..=*last).contains(&address))?;
        let word = self.engine.stored_word(chip, address - first)?;
        (word.unknown == 0).then_some(word.value as u8)
    }

    /// Nobody writes through this.
    fn write(&mut self, _: u64, _: Option<u8>) {}
}

impl Follower {
    /// True for the net whose edges begin instructions.
    pub(super) fn is_needed(&self, net: NetKey) -> bool {
        self.strobe.as_ref().is_some_and(|strobe| strobe.net == Some(net))
    }
}
