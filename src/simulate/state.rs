//! The state of a run between two moments.

use super::cell::{Aside, Cell};
use super::check_index::{CheckState, Snapshot};
use super::links::Links;
use super::nets::{NetState, Tally};
use super::out::{After, Clock, Out};
use super::queue::Queue;
use super::swings::{Oscillator, Timer};
use super::synchronisers::Synchronisers;
use crate::circuit::NetKey;
use crate::key::Key;
use crate::logic::Level;
use crate::quantity::Time;
use crate::run::ContentionLog;
use crate::run::Counters;
use crate::run::FloatLog;
use crate::run::Occurrences;
use std::collections::BTreeMap;
/// The state of a [`Machine`](super::Machine) at one moment. It can be put back only into that machine, or a clone of it.
#[derive(Clone, Debug)]
pub struct Checkpoint {
    pub(super) time: i64,
    pub(super) queue: Queue,
    pub(super) cells: Vec<Cell>,
    pub(super) asides: Vec<Aside>,
    pub(super) outs: Vec<Out>,
    pub(super) afters: Vec<After>,
    pub(super) nets: Vec<NetState>,
    /// How many rows of drivers there were: a stimulus that is attached later adds some.
    pub(super) net_drivers: usize,
    pub(super) tallies: Vec<Tally>,
    pub(super) stamps: Vec<i64>,
    pub(super) arrivals: Vec<i64>,
    pub(super) befores: Vec<(i64, Level)>,
    pub(super) awake: bool,
    pub(super) check_states: Vec<CheckState>,
    pub(super) snapshots: Vec<Option<Snapshot>>,
    pub(super) filtered: Vec<u32>,
    pub(super) contentions: Vec<ContentionLog<u32>>,
    pub(super) floats: Vec<FloatLog<u32>>,
    pub(super) forbid_logs: Vec<Vec<Occurrences>>,
    pub(super) oscillators: Vec<Oscillator>,
    pub(super) timers: Vec<Timer>,
    pub(super) clocks: Vec<Clock>,
    pub(super) stimuli: BTreeMap<NetKey, u32>,
    pub(super) links: Links,
    pub(super) synchronisers: Option<Synchronisers>,
    pub(super) dirty: Vec<u32>,
    pub(super) counters: Counters,
    pub(super) chain: u32,
}

impl Checkpoint {
    /// When it was taken.
    pub fn time(&self) -> Time {
        Time::from_ps(self.time)
    }

    /// First row and number of rows of the drivers of a net.
    pub(super) fn drivers(&self, net: NetKey) -> (u32, u32) {
        self.nets[net.index()].drivers
    }

    /// Bytes that it takes beside another one of the same machine, whose memories it may share.
    pub fn bytes(&self, beside: Option<&Checkpoint>) -> usize {
        let memories = self.cells.iter().enumerate().map(|(at, cell)| {
            let other = beside.map(|beside| &beside.cells[at].held.memories);
            let own = cell.held.memories.iter().enumerate();
            let own = own.filter(|&(at, memory)| other.is_none_or(|all| !memory.shares(&all[at])));
            own.map(|(_, memory)| memory.bytes()).sum::<usize>()
        });
        let logs: usize = self.forbid_logs.iter().map(|logs| of(logs)).sum();
        memories.sum::<usize>()
            + logs
            + self.queue.memory()
            + of(&self.cells)
            + of(&self.asides)
            + of(&self.outs)
            + of(&self.afters)
            + of(&self.nets)
            + of(&self.tallies)
            + of(&self.stamps)
            + of(&self.arrivals)
            + of(&self.befores)
            + of(&self.check_states)
            + of(&self.snapshots)
            + of(&self.filtered)
            + of(&self.contentions)
            + of(&self.floats)
            + of(&self.forbid_logs)
            + self.links.memory()
    }
}

pub(super) fn of<T>(table: &[T]) -> usize {
    size_of_val(table)
}
