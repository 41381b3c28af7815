//! One chip at one moment: what it stores, what its outputs want to be, and when they will be.

use super::cell::Chains;
use super::machine::Machine;
use super::out::{NEVER, own};
use super::records::Before;
use crate::delay::Transition;
use crate::language::ast::Corner;
use crate::logic::{Level, Word};
use crate::part::function::{Drive, Seen, Started};

impl Machine<'_> {
    pub(super) fn evaluate(&mut self, index: usize) {
        let cell = &mut self.cells[index];
        cell.dirty = false;
        let forced = std::mem::take(&mut cell.forced);
        let moved_by = std::mem::replace(&mut cell.moved_by, Chains::NONE);
        let (was, now) = (cell.inputs, cell.now);
        let changed = difference(was, now);
        if changed == 0 && !forced {
            return;
        }
        self.counters.evaluations += 1;
        let model = &mut self.models[cell.model as usize];
        if !model.simple {
            if !forced && self.strike(index, changed, moved_by) {
                return;
            }
            return self.evaluate_storage(index, changed, forced, moved_by);
        }
        cell.inputs = now;
        let drive = model.memo.drive(now, || {
            let function = &model.part.function;
            let nodes = function.nodes(now, &cell.held, &mut self.scratch);
            let seen = Seen { inputs: now, nodes };
            function.drive(seen, &cell.held, &mut self.scratch)
        });
        let old = std::mem::replace(&mut cell.wanted, drive);
        if cell.lets_go {
            let first = cell.first_stamp as usize;
            for_each_bit(changed, |input| self.arrivals[first + input] = self.time);
        } else if old == drive {
            return;
        }
        let before = Before {
            was: Seen { inputs: was, nodes: Word::default() },
            state: Word::default(),
            changed,
            lead: 0,
            at_rest: false,
        };
        self.move_outputs(index, 0, old, moved_by, before);
    }

    /// The same for a chip that stores something, or of which the sheet demands something.
    fn evaluate_storage(&mut self, index: usize, changed: u64, forced: bool, moved_by: Chains) {
        let cell = &mut self.cells[index];
        let model = &self.models[cell.model as usize];
        let function = &model.part.function;
        let (was, now, before) = (cell.seen(), cell.now, cell.held.state);
        if changed & !model.quiet == 0 && !forced && self.time >= cell.holds_until {
            let first = cell.first_stamp as usize;
            cell.inputs = now;
            for_each_bit(changed, |input| self.stamps[first + input] = self.time);
            return;
        }
        let (mut stirred, mut lead) = (0, 0);
        if forced {
            let aside = &mut self.asides[index];
            stirred = std::mem::take(&mut aside.stirred);
            lead = std::mem::take(&mut aside.lead);
        }
        let idle = stirred == 0 && !forced && self.settings.fast_paths && function.is_idle(changed, now);
        let mut seen = if !idle {
            function.step_stirred(was, now, stirred, &mut cell.held, &mut self.scratch)
        } else if changed & model.noded == 0 {
            Seen { inputs: now, nodes: was.nodes }
        } else {
            Seen { inputs: now, nodes: function.nodes(now, &cell.held, &mut self.scratch) }
        };
        let started = if idle { Started::default() } else { self.scratch.started() };
        let reads = function.direct | model.table.unsettled;
        let has_timers = !function.timers.is_empty();
        let stores_words = !function.memories.is_empty();
        let forbids = function.forbid_count() > 0 && (!idle || changed & model.forbidding != 0);
        let mut blurred = false;
        if !model.table.requirements.is_empty() {
            blurred = self.check(index, was, seen, before);
            if blurred {
                // A clear or preset that is active overrides what an edge has made unknown.
                let cell = &mut self.cells[index];
                let function = &self.models[cell.model as usize].part.function;
                function.step(seen, now, &mut cell.held, &mut self.scratch);
            }
        }
        if forbids {
            blurred |= self.forbid(index, seen);
        }
        if self.cells[index].undecided != 0 {
            self.follow_undecided(index);
        }
        let decided = self.cells[index].decides && self.decide(index, !before.unknown);
        let cell = &mut self.cells[index];
        let function = &self.models[cell.model as usize].part.function;
        if blurred {
            self.asides[index].lost = self.time;
        }
        if blurred || decided {
            // Nodes may hang on what is stored.
            seen.nodes = function.nodes(now, &cell.held, &mut self.scratch);
        }
        (cell.inputs, cell.nodes) = (seen.inputs, seen.nodes);
        if has_timers {
            self.follow_timers(index, started, before, changed);
        }
        // A clock that stores what is there already moves nothing; only a history wants to know that it came.
        let cell = &mut self.cells[index];
        let same =
            idle || cell.held.state == before && !stores_words && self.history.is_none() && self.settings.fast_paths;
        let before = Before { was, state: before, changed, lead, at_rest: false };
        if same && changed & reads == 0 && !forced && !blurred && !decided {
            if !idle {
                self.remember_clocked(index, before);
            }
            return;
        }
        let model = &self.models[cell.model as usize];
        let drive = model.drive(seen, &cell.held, &mut self.scratch);
        let old = std::mem::replace(&mut cell.wanted, drive);
        // What moves while the outputs are off is on its way as well, and an enable must wait for it.
        if cell.lets_go && (old != drive || cell.held.state != before.state || changed & reads != 0) {
            let first = cell.first_stamp as usize;
            for_each_bit(changed, |input| self.arrivals[first + input] = self.time);
        }
        let disturbed = if changed & model.table.unsettled == 0 { 0 } else { Word::mask(model.table.outputs as u32) };
        self.move_outputs(index, disturbed, old, moved_by, before);
        self.remember_clocked(index, before);
    }

    /// Schedules the outputs that one moving input each gives new levels, none of which lets go: nearly all there is to
    /// do. Returns those that need more thought.
    #[inline]
    fn move_simply(&mut self, index: usize, moved: u64, changed: u64, moved_by: Chains) -> u64 {
        let cell = &self.cells[index];
        let (new, first_out) = (cell.wanted.value, cell.first_out);
        let model = &self.models[cell.model as usize];
        let packed = cell.first_delay.of(&self.delays);
        let (mut rest, mut left) = (moved, 0);
        while rest != 0 {
            let bit = rest.trailing_zeros() as usize;
            rest &= rest - 1;
            let to = new.bit(bit as u32);
            let out = first_out + bit as u32;
            let causes = changed & model.arcs[bit];
            let state = &mut self.outs[out as usize];
            let waits = state.due != NEVER;
            if state.now == Level::Z
                || waits && state.special & (own::WIRED | own::FOLLOWED) != 0
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
                            self.filtered[out as usize] += 1;
                        }
                        self.counters.filtered += 1;
                    }
                }
                continue;
            }
            let how = match to {
                Level::One => Transition::Rise,
                Level::Zero => Transition::Fall,
                _ => Transition::Blur,
            };
            let input = causes.trailing_zeros() as usize;
            let mut due = self.time + i64::from(model.delay(packed, input, bit, how));
            if state.special & own::WIRED != 0 {
                due += i64::from(self.places[out as usize].wire);
            }
            (state.next, state.due, state.chain) = (to, due, moved_by.then(causes));
            self.queue.push(due, out);
        }
        left
    }

    /// Schedules the outputs that want a new level, and those that are disturbed although they want the old one.
    pub(super) fn move_outputs(&mut self, index: usize, disturbed: u64, old: Drive, moved_by: Chains, before: Before) {
        let cell = &self.cells[index];
        let new = cell.wanted;
        let (first_out, lets_go) = (cell.first_out, cell.lets_go);
        let (model, first_delay) = (cell.model as usize, cell.first_delay);
        let moved = difference(old.value, new.value) | difference(old.off, new.off);
        let (changed, lead) = (before.changed, before.lead);
        let longest = self.settings.corner != Corner::Fastest;
        let mut rest = moved | disturbed;
        let all_drive = old.off == Word::default() && new.off == Word::default();
        if all_drive && disturbed | lead == 0 && self.fast() {
            rest = self.move_simply(index, moved, changed, moved_by);
        }
        while rest != 0 {
            let bit = rest.trailing_zeros() as usize;
            rest &= rest - 1;
            let (from, to) = (wanted_level(&old, bit), wanted_level(&new, bit));
            // Under an unknown enable data moves nothing that anybody sees.
            if from == to && disturbed >> bit & 1 == 0 {
                continue;
            }
            let model = &self.models[model];
            let table = &model.table;
            let packed = first_delay.of(&self.delays);
            let arc = model.arcs[bit];
            let moving = changed | lead;
            let mut causes = if moving & arc == 0 { arc } else { moving & arc };
            self.chain = if changed & arc == 0 { 0 } else { moved_by.then(causes) };
            let out = first_out + bit as u32;
            let state = &self.outs[out as usize];
            let wire = i64::from(self.wire(out));
            let is_off = lets_go && state.now == Level::Z;
            let unsettled = causes & changed & table.unsettled;
            if unsettled != 0 && from != Level::Z && to != Level::Z && !is_off {
                let hold = extreme(unsettled, false, |input| table.output_hold[input * table.outputs + bit]);
                let access = extreme(model.lean(causes), longest, |input| {
                    model.delay(packed, input, bit, transition(Level::X, to))
                });
                self.remember_cause(index, out, to, before);
                let base = self.time + wire;
                self.disturb(out, to, base + i64::from(hold), base + i64::from(access.max(hold)));
            } else if moved >> bit & 1 == 1 || is_off && to != Level::Z {
                // Only what can release an output makes it let go or drive again; data on its way then is waited for.
                let releases = causes & model.releases[bit];
                if (from == Level::Z || to == Level::Z) && releases != 0 {
                    causes = releases;
                }
                let ends = changed == 0 && lead != 0;
                let how = if ends { way_back(transition(from, to)) } else { transition(from, to) };
                // What swings by itself is not moved by an input that the sheet could time.
                let delay = if changed == 0 && model.part.function.oscillator.is_some() {
                    0
                } else {
                    extreme(causes, longest, |input| model.delay(packed, input, bit, how))
                };
                let mut due = self.time + i64::from(delay);
                if is_off && to != Level::Z {
                    due = due.max(self.ready(index, bit, transition(Level::X, to)));
                }
                self.remember_cause(index, out, to, before);
                self.schedule(out, to, due + wire);
            }
        }
    }

    /// When an output that is off can be there with its level at the earliest: data that has just moved, or an enable
    /// that has just come, is still on its way through the chip.
    fn ready(&self, index: usize, bit: usize, how: Transition) -> i64 {
        let cell = &self.cells[index];
        let model = &self.models[cell.model as usize];
        let packed = cell.first_delay.of(&self.delays);
        let mut ready = self.time;
        for_each_bit(model.table.launches[bit], |input| {
            let came = self.arrivals[cell.first_stamp as usize + input];
            ready = ready.max(came + i64::from(model.delay(packed, input, bit, how)));
        });
        ready
    }

    /// Notes the forbidden uses that go on; true when storage has become unknown by one.
    fn forbid(&mut self, index: usize, seen: Seen) -> bool {
        let cell = &mut self.cells[index];
        let function = &self.models[cell.model as usize].part.function;
        let mut blurred = false;
        let found = function.forbidden(seen, &cell.held, &mut self.scratch);
        for (at, log) in self.forbid_logs[index].iter_mut().enumerate() {
            let goes_on = found.contains(&at);
            if goes_on {
                let state = cell.held.state;
                function.blur_forbidden(at, &mut cell.held);
                blurred |= cell.held.state != state;
            }
            log.follow(self.time, goes_on);
        }
        blurred
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
        (Level::Z, _) => Transition::EnableBlur,
        (Level::Zero, Level::Z) => Transition::DisableLow,
        (_, Level::Z) => Transition::DisableHigh,
        (_, Level::One) => Transition::Rise,
        (_, Level::Zero) => Transition::Fall,
        _ => Transition::Blur,
    }
}

/// What ends by itself takes as long to the output as it took to begin, so that a pulse is as wide as its time.
fn way_back(transition: Transition) -> Transition {
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
