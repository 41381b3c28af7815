//! Checkpoints: the state of a machine between two moments, kept and put back.
//!
//! A checkpoint holds what changes while a machine runs. What never changes (models, delays, who drives and who is driven)
//! stays in the machine; memories share their bytes until somebody writes. A machine that goes on from a checkpoint goes
//! on as it did the first time, to the picosecond.

use super::machine::Machine;
use super::state::Checkpoint;

impl Machine<'_> {
    /// The state of the machine now. Taken between two calls of [`Machine::advance`], or by it between two moments.
    pub fn checkpoint(&self) -> Checkpoint {
        Checkpoint {
            time: self.time,
            queue: self.queue.clone(),
            instances: self.instances.clone(),
            cold_states: self.cold_states.clone(),
            drivers: self.drivers.clone(),
            later_transitions: self.later_transitions.clone(),
            nets: self.nets.clone(),
            net_drivers: self.net_drivers.len(),
            driver_counts: self.driver_counts.clone(),
            timestamps: self.timestamps.clone(),
            arrivals: self.arrivals.clone(),
            previous_levels: self.previous_levels.clone(),
            initialised: self.initialised,
            check_states: self.check_states.clone(),
            reference_edges: self.reference_edges.clone(),
            filtered: self.filtered.clone(),
            contentions: self.contentions.clone(),
            floats: self.floats.clone(),
            forbid_logs: self.forbid_logs.clone(),
            oscillators: self.oscillators.clone(),
            timers: self.timers.clone(),
            clocks: self.clocks.clone(),
            stimuli: self.stimuli.clone(),
            links: self.links.clone(),
            synchronisers: self.synchronisers.clone(),
            dirty: self.dirty.clone(),
            counters: self.counters,
            depth: self.depth,
        }
    }

    /// Takes on what another machine, of which this is a clone, has had attached since: then any of its states can be put
    /// back here.
    pub(super) fn adopt(&mut self, other: &Machine<'_>) {
        self.connections.clone_from(&other.connections);
        self.owners.clone_from(&other.owners);
        self.net_drivers.clone_from(&other.net_drivers);
    }

    /// Puts a state back that this machine had once, or one that it was cloned from.
    pub fn restore(&mut self, from: &Checkpoint) {
        self.time = from.time;
        self.queue.clone_from(&from.queue);
        self.instances.clone_from(&from.instances);
        self.cold_states.clone_from(&from.cold_states);
        self.drivers.clone_from(&from.drivers);
        self.connections.truncate(from.drivers.len());
        self.owners.truncate(from.drivers.len());
        self.later_transitions.clone_from(&from.later_transitions);
        self.nets.clone_from(&from.nets);
        self.net_drivers.truncate(from.net_drivers);
        self.driver_counts.clone_from(&from.driver_counts);
        self.timestamps.clone_from(&from.timestamps);
        self.arrivals.clone_from(&from.arrivals);
        self.previous_levels.clone_from(&from.previous_levels);
        self.initialised = from.initialised;
        self.check_states.clone_from(&from.check_states);
        self.reference_edges.clone_from(&from.reference_edges);
        self.filtered.clone_from(&from.filtered);
        self.contentions.clone_from(&from.contentions);
        self.floats.clone_from(&from.floats);
        self.forbid_logs.clone_from(&from.forbid_logs);
        self.oscillators.clone_from(&from.oscillators);
        self.timers.clone_from(&from.timers);
        self.clocks.clone_from(&from.clocks);
        self.stimuli.clone_from(&from.stimuli);
        self.links.clone_from(&from.links);
        self.synchronisers.clone_from(&from.synchronisers);
        self.dirty.clone_from(&from.dirty);
        self.counters = from.counters;
        self.depth = from.depth;
        self.too_deep = None;
        self.stop = false;
    }
}
