//! A stimulus on a net that was not announced before the run: what is tried interactively.

use super::driver::{LaterTransition, NEVER, Owner};
use super::machine::Machine;
use super::nets::{DriverCounts, net_flag};
use super::number::row;
use super::past_log::Action;
use crate::circuit::NetKey;
use crate::key::Key;
use crate::logic::Level;

impl Machine<'_> {
    /// Makes a net one that [`Machine::set`] can drive. It is not driven yet.
    pub fn force(&mut self, net: NetKey) {
        if self.stimuli.contains_key(&net) {
            return;
        }
        self.note_action(Action::Force(net));
        let driver = self.add_driver(Some(net), Level::Z, Owner::Stimulus(net));
        self.filtered.push(0);
        let (due, level) = (NEVER, Level::Z);
        self.later_transitions.push(LaterTransition { due, level });
        self.stimuli.insert(net, driver);
        // The drivers of a net lie together: the longer row goes behind all others.
        let (first, count) = self.nets[net.index()].drivers;
        let rows = first as usize..(first + count) as usize;
        let longer = row(self.net_drivers.len());
        self.net_drivers.extend_from_within(rows);
        self.net_drivers.push(driver);
        let state = &mut self.nets[net.index()];
        state.drivers = (longer, count + 1);
        if state.flags & (net_flag::SHARED | net_flag::FIXED) == 0 {
            let mut counts = DriverCounts::default();
            for &driver in &self.net_drivers[longer as usize..] {
                counts.add(self.drivers[driver as usize].now);
            }
            // Until now its driver alone knew.
            state.level = counts.level();
            state.counts = row(self.driver_counts.len());
            self.driver_counts.push(counts);
        } else {
            self.driver_counts[state.counts as usize].add(Level::Z);
        }
        state.flags |= net_flag::SHARED;
        self.mark(net.index());
    }
}
