//! A stimulus on a net that nobody announced before the run: the hand of a person who tries something.

use super::kept::Hand;
use super::machine::Machine;
use super::nets::{Tally, flag};
use super::out::{After, NEVER, Owner};
use crate::circuit::NetKey;
use crate::key::Key;
use crate::logic::Level;

impl Machine<'_> {
    /// Makes a net one that [`Machine::set`] can drive. It is not driven yet.
    pub fn attach(&mut self, net: NetKey) {
        if self.stimuli.contains_key(&net) {
            return;
        }
        self.note_hand(Hand::Attach(net));
        let out = self.add_out(Some(net), Level::Z, Owner::Stimulus(net));
        self.filtered.push(0);
        let (due, level) = (NEVER, Level::Z);
        self.afters.push(After { due, level });
        self.stimuli.insert(net, out);
        // The drivers of a net lie together: the longer row goes behind all others.
        let (first, count) = self.nets[net.index()].drivers;
        let row = first as usize..(first + count) as usize;
        let longer = self.net_drivers.len() as u32;
        self.net_drivers.extend_from_within(row);
        self.net_drivers.push(out);
        let state = &mut self.nets[net.index()];
        state.drivers = (longer, count + 1);
        if state.flags & (flag::SHARED | flag::FIXED) == 0 {
            let mut tally = Tally::default();
            for &out in &self.net_drivers[longer as usize..] {
                tally.add(self.outs[out as usize].now);
            }
            // Until now its driver alone knew.
            state.level = tally.level();
            state.tally = self.tallies.len() as u32;
            self.tallies.push(tally);
        } else {
            self.tallies[state.tally as usize].add(Level::Z);
        }
        state.flags |= flag::SHARED;
        self.mark(net.index());
    }
}
