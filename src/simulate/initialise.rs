//! Power comes: what storage holds, and the levels that everything has before anything happens.

use super::chips::{difference, wanted_level};
use super::driver::LONG_AGO;
use super::machine::{MOST_ROUNDS, Machine};
use super::nets::net_flag;
use super::number::row;
use super::records::Evaluation;
use crate::key::Key;
use crate::logic::{Level, Word};
use crate::quantity::Time;
use crate::run::{Occurrences, Sink, fill};

/// Rounds in which everything comes to rest that ever does: a chain of gates takes as many as it is long.
const ROUNDS_TO_SETTLE: u32 = MOST_ROUNDS / 2;

impl Machine<'_> {
    /// Power comes: storage takes its first state, every chip is evaluated once, oscillators start.
    pub(super) fn power_up(&mut self) {
        let mut checks = 0;
        for index in 0..self.instances.len() {
            let model = &self.models[self.instances[index].model as usize];
            self.instances[index].first_check = checks;
            checks += row(model.table.requirements.len());
            self.instances[index].first_reference_edge = row(self.reference_edges.len());
            let kept = model.checks.reference_edges();
            self.reference_edges.extend(std::iter::repeat_n(None, kept));
            self.forbid_logs.push(vec![Occurrences::default(); self.function(index).forbid_count()]);
        }
        self.check_states = vec![super::check_index::CheckState::default(); checks as usize];
        let instances = self.instances.iter_mut();
        let storage = instances.map(|instance| (instance.chip, &mut instance.stored));
        fill(self.circuit, self.settings.power_up, storage);
        for net in 0..self.nets.len() {
            let state = self.nets[net];
            if state.level.is_known() {
                self.notify_loads(state.loads, Level::U, state.level);
            }
        }
        // What comes from rails and unfed chips is there from the start.
        for net in 0..self.nets.len() {
            self.first_level(net);
        }
        for index in 0..self.instances.len() {
            let instance = &mut self.instances[index];
            instance.inputs = instance.now;
            if !instance.dirty {
                instance.dirty = true;
                self.dirty.push(row(index));
            }
        }
        for oscillator in &self.oscillators {
            let model = self.instances[oscillator.instance as usize].model as usize;
            let time = self.models[model].table.start_up.max(Time::PICOSECOND);
            let driver = oscillator.driver;
            self.drivers[driver as usize].due = time;
            self.queue.push(time, driver);
        }
        self.first_timers();
        for net in self.circuit.nets.keys() {
            if self.nets[net.index()].flags & net_flag::LINKED != 0 {
                self.follow_links(net, None);
            }
        }
        for (driver, level, time) in self.links.first_moves() {
            self.drivers[driver as usize].next = level;
            self.drivers[driver as usize].due = time;
            self.queue.push(time, driver);
        }
    }

    /// The level of a net before anything has moved.
    pub(super) fn first_level(&mut self, net: usize) {
        let state = self.nets[net];
        if state.flags & net_flag::FIXED == 0 && state.drivers.1 > 0 {
            let rows = state.drivers.0 as usize..(state.drivers.0 + state.drivers.1) as usize;
            let level = self.net_drivers[rows]
                .iter()
                .fold(Level::Z, |level, &driver| level.resolve(self.drivers[driver as usize].now));
            self.nets[net].level = level;
            if level.is_known() {
                self.notify_loads(state.loads, Level::U, level);
            }
        }
        let floats = self.nets[net].level == Level::Z && self.nets[net].loads.1 > 0;
        if floats {
            self.floats[net].begin(self.time, None);
        }
    }

    /// Power has come, and everything has come to rest around the storage as it woke up: all outputs have their levels
    /// at once, and no first level of a clock is an edge.
    pub(super) fn initialise<S: Sink + ?Sized>(&mut self, sink: &mut S) {
        for round in 0..MOST_ROUNDS {
            // What comes to no end is unknown: from some round on, whatever still moves.
            let unsettled = round >= ROUNDS_TO_SETTLE;
            while let Some(Time::ZERO) = self.queue.peek() {
                if let Some(driver) = self.queue.pop_at(Time::ZERO)
                    && self.drivers[driver as usize].due == Time::ZERO
                {
                    self.fire(driver, sink);
                }
            }
            if self.dirty.is_empty() && !self.settle_storage(unsettled) {
                break;
            }
            for index in std::mem::take(&mut self.dirty) {
                self.settle_outputs(index as usize, unsettled);
            }
        }
        for index in 0..self.instances.len() {
            self.instances[index].hold_ends = LONG_AGO;
            self.request_evaluation(row(index));
        }
    }

    /// Lets storage that is set by level, by a clear or an open latch, follow; true when any has moved.
    fn settle_storage(&mut self, unsettled: bool) -> bool {
        for index in 0..self.instances.len() {
            let instance = &mut self.instances[index];
            let function = &self.models[instance.model as usize].part.function;
            if function.is_combinational() {
                continue;
            }
            let before = instance.stored.clone();
            function.step(instance.sampled(), instance.now, &mut instance.stored, &mut self.scratch);
            if unsettled {
                let was = before.state;
                let unknown = was.unknown | difference(was, instance.stored.state);
                instance.stored.state = Word::new(instance.stored.state.value & !unknown, unknown);
            }
            if instance.stored != before && !instance.dirty {
                instance.dirty = true;
                self.dirty.push(row(index));
            }
        }
        !self.dirty.is_empty()
    }

    /// The outputs of a chip take the levels that they want, without delay and without an edge.
    fn settle_outputs(&mut self, index: usize, unsettled: bool) {
        let instance = &mut self.instances[index];
        instance.dirty = false;
        let function = &self.models[instance.model as usize].part.function;
        let changed = difference(instance.inputs, instance.now);
        instance.inputs = instance.now;
        instance.nodes = function.nodes(instance.now, &instance.stored, &mut self.scratch);
        let before = Evaluation {
            was: instance.sampled(),
            state: instance.stored.state,
            changed,
            trigger_inputs: 0,
            at_rest: true,
        };
        instance.wanted = function.drive(instance.sampled(), &instance.stored, &mut self.scratch);
        let (wanted, first, outputs) = (instance.wanted, instance.first_driver, function.outputs.len());
        for bit in 0..outputs {
            let driver = first + row(bit);
            let (mut level, state) = (wanted_level(&wanted, bit), &mut self.drivers[driver as usize]);
            if unsettled && state.now != level {
                level = Level::X;
            }
            if state.now != level {
                (state.next, state.due) = (level, Time::ZERO);
                self.queue.push(Time::ZERO, driver);
                self.remember_cause(index, driver, level, before);
            }
        }
    }
}
