//! The state of a run between two moments.

use super::check_index::{CheckState, ReferenceEdge};
use super::driver::{Clock, Driver, LaterTransition};
use super::instance::{ColdState, Instance};
use super::links::Links;
use super::nets::{DriverCounts, NetState};
use super::queue::Queue;
use super::self_timed::{Oscillator, Timer};
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
    pub(super) time: Time,
    pub(super) queue: Queue,
    pub(super) instances: Vec<Instance>,
    pub(super) cold_states: Vec<ColdState>,
    pub(super) drivers: Vec<Driver>,
    pub(super) later_transitions: Vec<LaterTransition>,
    pub(super) nets: Vec<NetState>,
    /// How many rows of drivers there were: a stimulus that is attached later adds some.
    pub(super) net_drivers: usize,
    pub(super) driver_counts: Vec<DriverCounts>,
    pub(super) timestamps: Vec<Time>,
    pub(super) arrivals: Vec<Time>,
    pub(super) previous_levels: Vec<(Time, Level)>,
    pub(super) initialised: bool,
    pub(super) check_states: Vec<CheckState>,
    pub(super) reference_edges: Vec<Option<ReferenceEdge>>,
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
    pub(super) depth: u32,
}

impl Checkpoint {
    /// When it was taken.
    pub fn time(&self) -> Time {
        self.time
    }

    /// First row and number of rows of the drivers of a net.
    pub(super) fn drivers(&self, net: NetKey) -> (u32, u32) {
        self.nets[net.index()].drivers
    }

    /// Bytes that it takes beside another one of the same machine, whose memories it may share.
    pub fn bytes(&self, beside: Option<&Checkpoint>) -> usize {
        let memories = self.instances.iter().enumerate().map(|(at, instance)| {
            let other = beside.map(|beside| &beside.instances[at].stored.memories);
            let own = instance.stored.memories.iter().enumerate();
            let own = own.filter(|&(at, memory)| other.is_none_or(|all| !memory.shares(&all[at])));
            own.map(|(_, memory)| memory.bytes()).sum::<usize>()
        });
        let logs: usize = self.forbid_logs.iter().map(|logs| of(logs)).sum();
        memories.sum::<usize>()
            + logs
            + self.queue.memory()
            + of(&self.instances)
            + of(&self.cold_states)
            + of(&self.drivers)
            + of(&self.later_transitions)
            + of(&self.nets)
            + of(&self.driver_counts)
            + of(&self.timestamps)
            + of(&self.arrivals)
            + of(&self.previous_levels)
            + of(&self.check_states)
            + of(&self.reference_edges)
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
