//! One chip at one moment: what it stores, what its outputs want to be, and when they will be.

use super::driver::{NEVER, driver_flag};
use super::instance::CausalDepth;
use super::machine::Machine;
use super::number::{self, row};
use super::records::Evaluation;
use crate::delay::Transition;
use crate::language::ast::Corner;
use crate::logic::{Level, Word};
use crate::part::function::{Drive, SampledInputs, Started};
use crate::quantity::Time;

impl Machine<'_> {
    pub(super) fn evaluate(&mut self, index: usize) {
        let instance = &mut self.instances[index];
        instance.dirty = false;
        let requested = std::mem::take(&mut instance.requested);
        let moved_by = std::mem::replace(&mut instance.moved_by, CausalDepth::NONE);
        let (was, now) = (instance.inputs, instance.now);
        let changed = difference(was, now);
        if changed == 0 && !requested {
            return;
        }
        self.counters.evaluations += 1;
        let model = &mut self.models[instance.model as usize];
        if !model.simple {
            if !requested && self.clock_edge_path(index, changed, moved_by) {
                return;
            }
            return self.evaluate_storage(index, changed, requested, moved_by);
        }
        instance.inputs = now;
        let drive = model.memo.drive(now, || {
            let function = &model.part.function;
            let nodes = function.nodes(now, &instance.stored, &mut self.scratch);
            let sampled = SampledInputs { inputs: now, nodes };
            function.drive(sampled, &instance.stored, &mut self.scratch)
        });
        let old = std::mem::replace(&mut instance.wanted, drive);
        if instance.three_state {
            let first = instance.first_timestamp as usize;
            for_each_bit(changed, |input| self.arrivals[first + input] = self.time);
        } else if old == drive {
            return;
        }
        let before = Evaluation {
            was: SampledInputs { inputs: was, nodes: Word::default() },
            state: Word::default(),
            changed,
            trigger_inputs: 0,
            at_rest: false,
        };
        self.move_outputs(index, 0, old, moved_by, before);
    }

    /// The same for a chip that stores something, or of which the sheet demands something.
    fn evaluate_storage(&mut self, index: usize, changed: u64, requested: bool, moved_by: CausalDepth) {
        let instance = &mut self.instances[index];
        let model = &self.models[instance.model as usize];
        let function = &model.part.function;
        let (was, now, before) = (instance.sampled(), instance.now, instance.stored.state);
        if changed & !model.data_only == 0 && !requested && self.time >= instance.hold_ends {
            let first = instance.first_timestamp as usize;
            instance.inputs = now;
            for_each_bit(changed, |input| self.timestamps[first + input] = self.time);
            return;
        }
        let (mut self_changed, mut trigger_inputs) = (0, 0);
        if requested {
            let cold = &mut self.cold_states[index];
            self_changed = std::mem::take(&mut cold.self_changed);
            trigger_inputs = std::mem::take(&mut cold.trigger_inputs);
        }
        let idle = self_changed == 0 && !requested && self.settings.fast_paths && function.is_idle(changed, now);
        let mut sampled = if !idle {
            function.step_self_changed(was, now, self_changed, &mut instance.stored, &mut self.scratch)
        } else if changed & model.node_inputs == 0 {
            SampledInputs { inputs: now, nodes: was.nodes }
        } else {
            SampledInputs { inputs: now, nodes: function.nodes(now, &instance.stored, &mut self.scratch) }
        };
        let started = if idle { Started::default() } else { self.scratch.started() };
        let reads = function.direct | model.table.unsettled;
        let has_timers = !function.timers.is_empty();
        let stores_words = !function.memories.is_empty();
        let forbids = function.forbid_count() > 0 && (!idle || changed & model.forbid_inputs != 0);
        let mut became_unknown = false;
        if !model.table.requirements.is_empty() {
            became_unknown = self.check(index, was, sampled, before);
            if became_unknown {
                // A clear or preset that is active overrides what an edge has made unknown.
                let instance = &mut self.instances[index];
                let function = &self.models[instance.model as usize].part.function;
                function.step(sampled, now, &mut instance.stored, &mut self.scratch);
            }
        }
        if forbids {
            became_unknown |= self.forbid(index, sampled);
        }
        if self.instances[index].metastable != 0 {
            self.follow_metastable(index);
        }
        let decided = self.instances[index].resolves_metastability && self.resolve_metastable(index, !before.unknown);
        let instance = &mut self.instances[index];
        let function = &self.models[instance.model as usize].part.function;
        if became_unknown {
            self.cold_states[index].lost = self.time;
        }
        if became_unknown || decided {
            // Nodes may hang on what is stored.
            sampled.nodes = function.nodes(now, &instance.stored, &mut self.scratch);
        }
        (instance.inputs, instance.nodes) = (sampled.inputs, sampled.nodes);
        if has_timers {
            self.follow_timers(index, started, before, changed);
        }
        // A clock that stores what is there already moves nothing; only a history wants to know that it came.
        let instance = &mut self.instances[index];
        let same = idle
            || instance.stored.state == before && !stores_words && self.history.is_none() && self.settings.fast_paths;
        let before = Evaluation { was, state: before, changed, trigger_inputs, at_rest: false };
        if same && changed & reads == 0 && !requested && !became_unknown && !decided {
            if !idle {
                self.remember_clocked(index, before);
            }
            return;
        }
        let model = &self.models[instance.model as usize];
        let drive = model.part.function.drive(sampled, &instance.stored, &mut self.scratch);
        let old = std::mem::replace(&mut instance.wanted, drive);
        // What moves while the outputs are off is on its way as well, and an enable must wait for it.
        if instance.three_state && (old != drive || instance.stored.state != before.state || changed & reads != 0) {
            let first = instance.first_timestamp as usize;
            for_each_bit(changed, |input| self.arrivals[first + input] = self.time);
        }
        let accessed = if changed & model.table.unsettled == 0 { 0 } else { Word::mask(row(model.table.outputs)) };
        self.move_outputs(index, accessed, old, moved_by, before);
        self.remember_clocked(index, before);
    }

    /// Schedules the outputs that one moving input each gives new levels, none of which goes high-impedance: nearly all there is to
    /// do. Returns those that need more thought.
    #[inline]
    fn schedule_fast(&mut self, index: usize, moved: u64, changed: u64, moved_by: CausalDepth) -> u64 {
        let instance = &self.instances[index];
        let (new, first_driver) = (instance.wanted.value, instance.first_driver);
        let model = &self.models[instance.model as usize];
        let packed = instance.first_delay.of(&self.delays);
        let (mut rest, mut left) = (moved, 0);
        while rest != 0 {
            let bit = rest.trailing_zeros() as usize;
            rest &= rest - 1;
            let to = new.bit(number::bit(bit));
            let driver = first_driver + number::bit(bit);
            let causes = changed & model.arcs[bit];
            let state = &mut self.drivers[driver as usize];
            let waits = state.due != NEVER;
            if state.now == Level::Z
                || waits && state.flags & (driver_flag::WIRED | driver_flag::FOLLOWED) != 0
                || !causes.is_power_of_two()
            {
                left |= 1 << bit;
                continue;
            }
            if to == state.now {
                if waits {
                    state.due = NEVER;
                    if state.next.is_known() {
                        if state.filter() {
                            self.filtered[driver as usize] += 1;
                        }
                        self.counters.filtered += 1;
                    }
                }
                continue;
            }
            let how = match to {
                Level::One => Transition::Rise,
                Level::Zero => Transition::Fall,
                _ => Transition::ToUnknown,
            };
            let input = causes.trailing_zeros() as usize;
            let mut due = self.time + Time::from_ps_u32(model.delay(packed, input, bit, how));
            if state.flags & driver_flag::WIRED != 0 {
                due += Time::from_ps_u32(self.connections[driver as usize].wire);
            }
            (state.next, state.due, state.depth) = (to, due, moved_by.then(causes));
            self.queue.push(due, driver);
        }
        left
    }

    /// Schedules the outputs that want a new level, and those that are disturbed although they want the old one.
    pub(super) fn move_outputs(
        &mut self,
        index: usize,
        accessed: u64,
        old: Drive,
        moved_by: CausalDepth,
        before: Evaluation,
    ) {
        let instance = &self.instances[index];
        let new = instance.wanted;
        let (first_driver, three_state) = (instance.first_driver, instance.three_state);
        let (model, first_delay) = (instance.model as usize, instance.first_delay);
        let moved = difference(old.value, new.value) | difference(old.off, new.off);
        let (changed, trigger_inputs) = (before.changed, before.trigger_inputs);
        let longest = self.settings.corner != Corner::Fastest;
        let mut rest = moved | accessed;
        let all_drive = old.off == Word::default() && new.off == Word::default();
        if all_drive && accessed | trigger_inputs == 0 && self.fast() {
            rest = self.schedule_fast(index, moved, changed, moved_by);
        }
        while rest != 0 {
            let bit = rest.trailing_zeros() as usize;
            rest &= rest - 1;
            let (from, to) = (wanted_level(&old, bit), wanted_level(&new, bit));
            // Under an unknown enable data moves nothing that anybody sees.
            if from == to && accessed >> bit & 1 == 0 {
                continue;
            }
            let model = &self.models[model];
            let table = &model.table;
            let packed = first_delay.of(&self.delays);
            let arc = model.arcs[bit];
            let moving = changed | trigger_inputs;
            let mut causes = if moving & arc == 0 { arc } else { moving & arc };
            self.depth = if changed & arc == 0 { 0 } else { moved_by.then(causes) };
            let driver = first_driver + number::bit(bit);
            let state = &self.drivers[driver as usize];
            let wire = Time::from_ps_u32(self.wire(driver));
            let is_off = three_state && state.now == Level::Z;
            let unsettled = causes & changed & table.unsettled;
            if unsettled != 0 && from != Level::Z && to != Level::Z && !is_off {
                let hold = extreme(unsettled, false, |input| table.output_hold[input * table.outputs + bit]);
                let access = extreme(model.dedupe(causes), longest, |input| {
                    model.delay(packed, input, bit, transition(Level::X, to))
                });
                self.remember_cause(index, driver, to, before);
                let base = self.time + wire;
                self.schedule_access(
                    driver,
                    to,
                    base + Time::from_ps_u32(hold),
                    base + Time::from_ps_u32(access.max(hold)),
                );
            } else if moved >> bit & 1 == 1 || is_off && to != Level::Z {
                // Only what can release an output makes it go high-impedance or drive again; data on its way then is waited for.
                let output_enables = causes & model.output_enables[bit];
                if (from == Level::Z || to == Level::Z) && output_enables != 0 {
                    causes = output_enables;
                }
                let ends = changed == 0 && trigger_inputs != 0;
                let how = if ends { opposite_transition(transition(from, to)) } else { transition(from, to) };
                // What oscillates is not moved by an input that the sheet could time.
                let delay = if changed == 0 && model.part.function.oscillator.is_some() {
                    0
                } else {
                    extreme(causes, longest, |input| model.delay(packed, input, bit, how))
                };
                let mut due = self.time + Time::from_ps_u32(delay);
                if is_off && to != Level::Z {
                    due = due.max(self.ready(index, bit, transition(Level::X, to)));
                }
                self.remember_cause(index, driver, to, before);
                self.schedule(driver, to, due + wire);
            }
        }
    }

    /// When an output that is off can be there with its level at the earliest: data that has just moved, or an enable
    /// that has just come, is still on its way through the chip.
    fn ready(&self, index: usize, bit: usize, how: Transition) -> Time {
        let instance = &self.instances[index];
        let model = &self.models[instance.model as usize];
        let packed = instance.first_delay.of(&self.delays);
        let mut ready = self.time;
        for_each_bit(model.table.launches[bit], |input| {
            let came = self.arrivals[instance.first_timestamp as usize + input];
            ready = ready.max(came + Time::from_ps_u32(model.delay(packed, input, bit, how)));
        });
        ready
    }

    /// Notes the forbidden uses that go on; true when storage has become unknown by one.
    fn forbid(&mut self, index: usize, sampled: SampledInputs) -> bool {
        let instance = &mut self.instances[index];
        let function = &self.models[instance.model as usize].part.function;
        let mut became_unknown = false;
        let found = function.forbidden(sampled, &instance.stored, &mut self.scratch);
        for (at, log) in self.forbid_logs[index].iter_mut().enumerate() {
            let same_level = found.contains(&at);
            if same_level {
                let state = instance.stored.state;
                function.make_forbidden_unknown(at, &mut instance.stored);
                became_unknown |= instance.stored.state != state;
            }
            log.follow(self.time, same_level);
        }
        became_unknown
    }
}

#[inline]
pub(super) fn for_each_bit(mut mask: u64, mut act: impl FnMut(usize)) {
    while mask != 0 {
        act(mask.trailing_zeros() as usize);
        mask &= mask - 1;
    }
}

#[inline]
pub(super) fn difference(a: Word, b: Word) -> u64 {
    (a.value ^ b.value) | (a.unknown ^ b.unknown)
}

/// What one output bit is to be.
#[inline]
pub(super) fn wanted_level(drive: &Drive, bit: usize) -> Level {
    if drive.off.value >> bit & 1 == 1 {
        Level::Z
    } else if (drive.off.unknown | drive.value.unknown) >> bit & 1 == 1 {
        Level::X
    } else if drive.value.value >> bit & 1 == 1 {
        Level::One
    } else {
        Level::Zero
    }
}

/// The kind of move from one level to another.
#[inline]
pub(super) fn transition(from: Level, to: Level) -> Transition {
    match (from, to) {
        (Level::Z, Level::One) => Transition::EnableHigh,
        (Level::Z, Level::Zero) => Transition::EnableLow,
        (Level::Z, _) => Transition::EnableToUnknown,
        (Level::Zero, Level::Z) => Transition::DisableLow,
        (_, Level::Z) => Transition::DisableHigh,
        (_, Level::One) => Transition::Rise,
        (_, Level::Zero) => Transition::Fall,
        _ => Transition::ToUnknown,
    }
}

/// What ends by itself takes as long to the output as it took to begin, so that a pulse is as wide as its time.
fn opposite_transition(transition: Transition) -> Transition {
    match transition {
        Transition::Rise => Transition::Fall,
        Transition::Fall => Transition::Rise,
        other => other,
    }
}

/// The longest or shortest of the delays from the inputs of a mask.
#[inline]
pub(super) fn extreme(mut mask: u64, longest: bool, delay: impl Fn(usize) -> u32) -> u32 {
    let mut result: Option<u32> = None;
    while mask != 0 {
        let input = mask.trailing_zeros() as usize;
        mask &= mask - 1;
        let this = delay(input);
        result = Some(result.map_or(this, |other| if longest { other.max(this) } else { other.min(this) }));
    }
    result.unwrap_or(0)
}
