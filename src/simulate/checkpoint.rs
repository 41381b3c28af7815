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
            cells: self.cells.clone(),
            asides: self.asides.clone(),
            outs: self.outs.clone(),
            afters: self.afters.clone(),
            nets: self.nets.clone(),
            net_drivers: self.net_drivers.len(),
            tallies: self.tallies.clone(),
            stamps: self.stamps.clone(),
            arrivals: self.arrivals.clone(),
            befores: self.befores.clone(),
            awake: self.awake,
            check_states: self.check_states.clone(),
            snapshots: self.snapshots.clone(),
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
            chain: self.chain,
        }
    }

    /// Takes on what another machine, of which this is a clone, has had attached since: then any of its states can be put
    /// back here.
    pub(super) fn adopt(&mut self, other: &Machine<'_>) {
        self.places.clone_from(&other.places);
        self.owners.clone_from(&other.owners);
        self.net_drivers.clone_from(&other.net_drivers);
    }

    /// Puts a state back that this machine had once, or one that it was cloned from.
    pub fn restore(&mut self, from: &Checkpoint) {
        self.time = from.time;
        self.queue.clone_from(&from.queue);
        self.cells.clone_from(&from.cells);
        self.asides.clone_from(&from.asides);
        self.outs.clone_from(&from.outs);
        self.places.truncate(from.outs.len());
        self.owners.truncate(from.outs.len());
        self.afters.clone_from(&from.afters);
        self.nets.clone_from(&from.nets);
        self.net_drivers.truncate(from.net_drivers);
        self.tallies.clone_from(&from.tallies);
        self.stamps.clone_from(&from.stamps);
        self.arrivals.clone_from(&from.arrivals);
        self.befores.clone_from(&from.befores);
        self.awake = from.awake;
        self.check_states.clone_from(&from.check_states);
        self.snapshots.clone_from(&from.snapshots);
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
        self.chain = from.chain;
        self.endless = None;
        self.stop = false;
    }
}
