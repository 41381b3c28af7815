//! Power comes: what storage holds, and the levels that everything has before anything happens.

use super::chips::{difference, wanted_level};
use super::machine::{MOST_ROUNDS, Machine};
use super::nets::flag;
use super::out::LONG_AGO;
use super::records::Before;
use crate::key::Key;
use crate::logic::{Level, Word};
use crate::run::{Occurrences, Sink, fill};

/// Rounds in which everything comes to rest that ever does: a chain of gates takes as many as it is long.
const ENDLESS_ROUNDS: u32 = MOST_ROUNDS / 2;

impl Machine<'_> {
    /// Power comes: storage takes its first state, every chip is evaluated once, oscillators start.
    pub(super) fn power_up(&mut self) {
        let mut checks = 0;
        for index in 0..self.cells.len() {
            let model = &self.models[self.cells[index].model as usize];
            self.cells[index].first_check = checks;
            checks += model.table.requirements.len() as u32;
            self.cells[index].first_snapshot = self.snapshots.len() as u32;
            let kept = model.checks.snapshots();
            self.snapshots.extend(std::iter::repeat_n(None, kept));
            self.forbid_logs.push(vec![Occurrences::default(); self.function(index).forbid_count()]);
        }
        self.check_states = vec![super::check_index::CheckState::default(); checks as usize];
        let cells = self.cells.iter_mut();
        let storage = cells.map(|cell| (cell.chip, &mut cell.held));
        fill(self.circuit, self.settings.power_up, storage);
        for net in 0..self.nets.len() {
            let state = self.nets[net];
            if state.level.is_known() {
                self.tell_listeners(state.listeners, Level::U, state.level);
            }
        }
        // What comes from rails and unfed chips is there from the start.
        for net in 0..self.nets.len() {
            self.first_level(net);
        }
        for index in 0..self.cells.len() {
            let cell = &mut self.cells[index];
            cell.inputs = cell.now;
            if !cell.dirty {
                cell.dirty = true;
                self.dirty.push(index as u32);
            }
        }
        for oscillator in &self.oscillators {
            let model = self.cells[oscillator.cell as usize].model as usize;
            let time = self.models[model].table.start_up.ps().max(1);
            let out = oscillator.out;
            self.outs[out as usize].due = time;
            self.queue.push(time, out);
        }
        self.first_timers();
        for net in self.circuit.nets.keys() {
            if self.nets[net.index()].flags & flag::LINKED != 0 {
                self.follow_links(net, None);
            }
        }
        for (out, level, time) in self.links.first_moves() {
            self.outs[out as usize].next = level;
            self.outs[out as usize].due = time;
            self.queue.push(time, out);
        }
    }

    /// The level of a net before anything has moved.
    pub(super) fn first_level(&mut self, net: usize) {
        let state = self.nets[net];
        if state.flags & flag::FIXED == 0 && state.drivers.1 > 0 {
            let rows = state.drivers.0 as usize..(state.drivers.0 + state.drivers.1) as usize;
            let level =
                self.net_drivers[rows].iter().fold(Level::Z, |level, &out| level.resolve(self.outs[out as usize].now));
            self.nets[net].level = level;
            if level.is_known() {
                self.tell_listeners(state.listeners, Level::U, level);
            }
        }
        let floats = self.nets[net].level == Level::Z && self.nets[net].listeners.1 > 0;
        if floats {
            self.floats[net].begin(self.time, None);
        }
    }

    /// Power has come, and everything has come to rest around the storage as it woke up: all outputs have their levels
    /// at once, and no first level of a clock is an edge.
    pub(super) fn wake<S: Sink + ?Sized>(&mut self, sink: &mut S) {
        for round in 0..MOST_ROUNDS {
            // What comes to no end is unknown: from some round on, whatever still moves.
            let endless = round >= ENDLESS_ROUNDS;
            while let Some(0) = self.queue.peek() {
                if let Some(out) = self.queue.pop_at(0)
                    && self.outs[out as usize].due == 0
                {
                    self.fire(out, sink);
                }
            }
            if self.dirty.is_empty() && !self.settle_storage(endless) {
                break;
            }
            for index in std::mem::take(&mut self.dirty) {
                self.rest(index as usize, endless);
            }
        }
        for index in 0..self.cells.len() {
            self.cells[index].holds_until = LONG_AGO;
            self.force(index as u32);
        }
    }

    /// Lets storage that is set by level, by a clear or an open latch, follow; true when any has moved.
    fn settle_storage(&mut self, endless: bool) -> bool {
        for index in 0..self.cells.len() {
            let cell = &mut self.cells[index];
            let function = &self.models[cell.model as usize].part.function;
            if function.is_combinational() {
                continue;
            }
            let before = cell.held.clone();
            function.step(cell.seen(), cell.now, &mut cell.held, &mut self.scratch);
            if endless {
                let was = before.state;
                let unknown = was.unknown | difference(was, cell.held.state);
                cell.held.state = Word::new(cell.held.state.value & !unknown, unknown);
            }
            if cell.held != before && !cell.dirty {
                cell.dirty = true;
                self.dirty.push(index as u32);
            }
        }
        !self.dirty.is_empty()
    }

    /// The outputs of a chip take the levels that they want, without delay and without an edge.
    fn rest(&mut self, index: usize, endless: bool) {
        let cell = &mut self.cells[index];
        cell.dirty = false;
        let function = &self.models[cell.model as usize].part.function;
        let changed = difference(cell.inputs, cell.now);
        cell.inputs = cell.now;
        cell.nodes = function.nodes(cell.now, &cell.held, &mut self.scratch);
        let before = Before { was: cell.seen(), state: cell.held.state, changed, lead: 0, at_rest: true };
        cell.wanted = function.drive(cell.seen(), &cell.held, &mut self.scratch);
        let (wanted, first, outputs) = (cell.wanted, cell.first_out, function.outputs.len());
        for bit in 0..outputs {
            let out = first + bit as u32;
            let (mut level, state) = (wanted_level(&wanted, bit), &mut self.outs[out as usize]);
            if endless && state.now != level {
                level = Level::X;
            }
            if state.now != level {
                (state.next, state.due) = (level, 0);
                self.queue.push(0, out);
                self.remember_cause(index, out, level, before);
            }
        }
    }
}
