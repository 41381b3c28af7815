//! What is kept to tell causes: why a net has its level.
//!
//! While a machine keeps its history, each change of a net is recorded with the input that brought it about. A chain of
//! causes is then read backwards ([`super::chain`]), to a stimulus, a stored value, a memory word, or a net that is not
//! driven.

use super::check_index::sharp_edge;
use super::driver::{LONG_AGO, Owner};
use super::machine::Machine;
use super::number::{self, row};
use super::records::{Cause, Evaluation, History, Intent, Reason, Record};
use crate::circuit::{DiscreteKey, NetKey};
use crate::key::Key;
use crate::logic::{Level, Word};
use crate::part::function::{ChipState, SampledInputs, Scratch};
use crate::quantity::Time;

impl Machine<'_> {
    /// Keeps causes from here on, from nothing.
    pub(super) fn keep_history(&mut self) {
        self.history = Some(History::default());
        self.unwatch();
        self.begin_history();
    }

    /// Notes the levels that all nets have at first.
    pub(super) fn begin_history(&mut self) {
        if self.history.is_none() {
            return;
        }
        let first = self.circuit.nets.keys().map(|net| self.level(net));
        let first = first.collect();
        if let Some(history) = &mut self.history {
            history.first = first;
        }
    }

    /// Keeps why an output is going to move.
    #[inline]
    pub(super) fn remember_cause(&mut self, index: usize, driver: u32, to: Level, before: Evaluation) {
        if self.history.is_some() {
            self.keep_cause(index, driver, to, before);
        }
    }

    fn keep_cause(&mut self, index: usize, driver: u32, to: Level, before: Evaluation) {
        let bit = (driver - self.instances[index].first_driver) as usize;
        let cause = self.cause(index, bit, to, before);
        let function = self.function(index);
        let chip = &self.circuit.chips[self.instances[index].chip];
        let net = cause.follow.and_then(|input| chip.nets[function.inputs[usize::from(input)]]);
        if let Some(history) = &mut self.history {
            history.intend(driver, cause, net);
        }
    }

    /// Keeps that outputs stay unknown although a clock has come: because of what it let in. A machine that keeps no causes
    /// notes when that was, so that they can be found later.
    #[inline]
    pub(super) fn remember_clocked(&mut self, index: usize, before: Evaluation) {
        let instance = &self.instances[index];
        let unknown = instance.now.unknown | before.was.inputs.unknown;
        if instance.wanted.value.unknown != 0 && unknown != 0 && (self.past.is_some() || self.history.is_some()) {
            self.keep_clocked(index, before);
        }
    }

    fn keep_clocked(&mut self, index: usize, before: Evaluation) {
        let sampled = self.instances[index].sampled();
        let ticks = |(signal, edge)| sharp_edge(&before.was, &sampled, signal) == Some(edge);
        if !self.function(index).triggers().any(ticks) {
            return;
        }
        for bit in 0..self.function(index).outputs.len() {
            let instance = &self.instances[index];
            let driver = instance.first_driver + number::bit(bit);
            let state = &self.drivers[driver as usize];
            let unknown = instance.wanted.value.unknown >> bit & 1 == 1;
            let net = self.connections[driver as usize].net;
            if !unknown || state.now != Level::X || net == u32::MAX {
                continue;
            }
            let cause = self.cause(index, bit, Level::X, before);
            if cause.reason != Reason::Inputs || cause.follow.is_none() {
                continue;
            }
            if self.history.is_none() {
                self.cold_states[index].renewed = self.time;
                return;
            }
            self.remember_cause(index, driver, Level::X, before);
            self.record_change(driver, NetKey::from_index(net as usize), Level::X);
        }
    }

    /// Why an output bit of a chip goes to a level.
    fn cause(&self, index: usize, bit: usize, to: Level, before: Evaluation) -> Cause {
        let instance = &self.instances[index];
        let function = self.function(index);
        let (arc, data) = (function.arcs[bit], function.data[bit]);
        let lowest = |mask: u64| (mask != 0).then(|| number::pin(mask.trailing_zeros() as usize));
        let causes = before.changed & arc;
        let moved = lowest(causes);
        let mut cause = Cause { moved, follow: moved, reason: Reason::Inputs };
        if before.changed == 0 && before.trigger_inputs != 0 {
            cause.moved = lowest(before.trigger_inputs & arc);
            cause.follow = None;
            cause.reason = Reason::Over;
            return cause;
        }
        if to.is_known() || to == Level::Z {
            let let_in = data & !arc;
            if let_in.count_ones() == 1 && causes & !data != 0 {
                cause.follow = lowest(let_in);
            }
            if to != Level::Z && !function.memories.is_empty() {
                cause.reason = Reason::Word;
            }
            return cause;
        }
        let unknown = (instance.now.unknown | before.was.inputs.unknown) & (arc | data);
        let stores = !function.is_combinational();
        if stores && (self.cold_states[index].lost == self.time || self.is_unknown_with(index, bit, before, unknown)) {
            cause.follow = None;
            cause.moved = moved.filter(|_| !before.at_rest);
            cause.reason = match self.cold_states[index].lost {
                LONG_AGO if !function.memories.is_empty() => Reason::NoWord,
                time if !function.memories.is_empty() => Reason::NoWordLost(time),
                LONG_AGO => Reason::NeverDefined,
                time => Reason::Lost(time),
            };
            return cause;
        }
        // The first unknown input without which the level would be known; those that moved before those that stand.
        let in_order = [unknown & causes, unknown & arc, unknown];
        let mut candidates = Vec::new();
        for mask in in_order {
            super::chips::for_each_bit(mask, |input| {
                if !candidates.contains(&input) {
                    candidates.push(input);
                }
            });
        }
        let alone = candidates.iter().find(|&&input| !self.is_unknown_with(index, bit, before, 1 << input));
        cause.follow = alone.or(candidates.first()).map(|&input| number::pin(input)).or(moved);
        cause
    }

    /// True when an output bit would be unknown even if these inputs were known, low.
    fn is_unknown_with(&self, index: usize, bit: usize, before: Evaluation, inputs: u64) -> bool {
        let scratch = &mut Scratch::default();
        let instance = &self.instances[index];
        let function = self.function(index);
        let low = |word: Word| Word { value: word.value & !inputs, unknown: word.unknown & !inputs };
        let drive = if function.memories.is_empty() {
            let mut stored = ChipState { state: before.state, memories: Vec::new() };
            let was = SampledInputs {
                inputs: low(before.was.inputs),
                nodes: function.nodes(low(before.was.inputs), &stored, scratch),
            };
            let sampled = function.step(was, low(instance.now), &mut stored, scratch);
            function.drive(sampled, &stored, scratch)
        } else {
            let sampled = SampledInputs {
                inputs: low(instance.now),
                nodes: function.nodes(low(instance.now), &instance.stored, scratch),
            };
            function.drive(sampled, &instance.stored, scratch)
        };
        (drive.value.unknown | drive.off.unknown) >> bit & 1 == 1
    }

    /// Records the new level of a net after a driver has moved.
    pub(super) fn record_change(&mut self, moved: u32, net: NetKey, level: Level) {
        self.record_level(moved, net, level, false);
    }

    fn record_level(&mut self, moved: u32, net: NetKey, level: Level, same_level: bool) {
        let Some(history) = &self.history else {
            return;
        };
        let now = |driver: u32| self.drivers[driver as usize].now;
        let state = self.nets[net.index()];
        let rows = state.drivers.0 as usize..(state.drivers.0 + state.drivers.1) as usize;
        let drivers = &self.net_drivers[rows];
        // The net has its level from the driver that has it too, if there is one.
        let same = drivers.iter().copied().find(|&driver| now(driver) == level);
        let source = if now(moved) == level { moved } else { same.unwrap_or(moved) };
        let opposite = |driver: &&u32| {
            let (a, b) = (now(source), now(**driver));
            a.is_known() && b.is_known() && a.is_high() != b.is_high() && a.resolve(b) == level
        };
        let against = drivers.iter().find(opposite).copied().filter(|_| now(source) != level);
        let look_at = self.driver_behind(source, moved);
        let bound = row(history.records.len());
        let intent = match self.owners[look_at as usize] {
            Owner::Chip(..) => history.intent(look_at),
            Owner::Link(discrete) => {
                let behind = self.behind_link(discrete, net);
                Some(Intent {
                    cause: Cause::default(),
                    parent: behind.and_then(|net| history.last.get(&net).copied()),
                    bound,
                })
            }
            _ => Some(Intent { cause: Cause::default(), parent: None, bound }),
        };
        let record = Record {
            time: self.time,
            events: self.counters.events,
            source,
            moved: (source != moved).then_some(moved),
            against,
            net,
            level,
            same_level,
            intent,
        };
        if let Some(history) = &mut self.history {
            history.record(record);
        }
    }

    /// Records that a net keeps its level, but has it from another driver than before. A net has its level from the driver
    /// that has given it longest. `moved` had another level before, since some time.
    pub(super) fn record_handover(&mut self, (moved, before): (u32, (Level, Time)), net: NetKey, level: Level) {
        if self.history.is_none() {
            return;
        }
        let state = self.nets[net.index()];
        let rows = state.drivers.0 as usize..(state.drivers.0 + state.drivers.1) as usize;
        let holder = |of_moved: (Level, Time)| {
            let drivers = self.net_drivers[rows.clone()].iter().map(|&driver| {
                let state = &self.drivers[driver as usize];
                let now = (state.now, state.changed);
                (driver, if driver == moved { of_moved } else { now })
            });
            let giving = drivers.filter(|&(_, (now, _))| now == level);
            giving.min_by_key(|&(_, (_, since))| since).map(|(driver, _)| driver)
        };
        let state = &self.drivers[moved as usize];
        let after = holder((state.now, state.changed));
        // Where outputs drive against each other, none gives the level that comes of it.
        if after.is_none() || after != holder(before) {
            self.record_level(moved, net, level, true);
        }
    }

    /// The driver whose cause is that of a change: the source, unless that is a pull that shows since another one moved.
    pub(super) fn driver_behind(&self, source: u32, moved: u32) -> u32 {
        match self.owners[source as usize] {
            Owner::Link(_) => moved,
            _ => source,
        }
    }

    pub(super) fn driver_to_explain(&self, record: &Record) -> u32 {
        self.driver_behind(record.source, record.moved.unwrap_or(record.source))
    }

    /// The net at the other end of a link.
    pub(super) fn behind_link(&self, discrete: DiscreteKey, net: NetKey) -> Option<NetKey> {
        let nets = &self.circuit.discretes[discrete].nets;
        nets.iter().flatten().copied().find(|&other| other != net)
    }
}
