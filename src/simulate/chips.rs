//! One chip at one moment: what it stores, what its outputs want to be, and when they will be.

use super::history::Before;
use super::machine::{Chains, Machine};
use crate::delay::Transition;
use crate::language::ast::Corner;
use crate::logic::{Level, Word};
use crate::part::function::{Drive, Seen};

impl Machine<'_> {
    pub(super) fn evaluate(&mut self, index: usize) {
        let cell = &mut self.cells[index];
        cell.dirty = false;
        let forced = std::mem::take(&mut cell.forced);
        let moved_by = std::mem::replace(&mut cell.moved_by, Chains::NONE);
        let (was, now) = (cell.seen, cell.now);
        let changed = difference(was.inputs, now);
        if changed == 0 && !forced {
            return;
        }
        self.counters.evaluations += 1;
        let model = &self.models[cell.model as usize];
        let settled = self.time - cell.last_edge >= model.checks.longest_hold();
        if changed & !model.quiet == 0 && !forced && settled {
            let first = cell.first_stamp as usize;
            cell.seen.inputs = now;
            for_each_bit(changed, |input| self.stamps[first + input] = self.time);
            return;
        }
        let checked = !model.table.requirements.is_empty();
        let function = &self.parts[index].function;
        if changed & function.sensitive == 0 && !forced && !checked {
            cell.seen.inputs = now;
            return;
        }
        let before = cell.held.state;
        let (stirred, lead) = (
            std::mem::take(&mut cell.stirred),
            std::mem::take(&mut cell.lead),
        );
        let held = &mut cell.held;
        let mut seen = function.step_stirred(was, now, stirred, held, &mut self.scratch);
        let started = self.scratch.started();
        let mut blurred = false;
        if checked {
            blurred = self.check(index, was, seen, before);
        }
        if self.parts[index].function.forbid_count() > 0 {
            blurred |= self.forbid(index, seen);
        }
        if self.cells[index].undecided != 0 {
            self.follow_undecided(index);
        }
        let decided = self.cells[index].second_stage != 0 && self.decide(index, !before.unknown);
        let cell = &mut self.cells[index];
        let function = &self.parts[index].function;
        if blurred {
            cell.lost = Some(self.time);
        }
        if blurred || decided {
            // Nodes may hang on what is stored.
            seen.nodes = function.nodes(now, &cell.held, &mut self.scratch);
        }
        cell.seen = seen;
        if !function.timers.is_empty() {
            self.follow_timers(index, started, before, changed);
        }
        let cell = &mut self.cells[index];
        let function = &self.parts[index].function;
        if changed & function.sensitive == 0 && !forced && !blurred {
            return;
        }
        let drive = function.drive(seen, &cell.held, &mut self.scratch);
        let old = std::mem::replace(&mut cell.wanted, drive);
        let moved = difference(old.value, drive.value) | difference(old.off, drive.off);
        if cell.lets_go && (moved != 0 || cell.held.state != before || function.states.is_empty()) {
            let first = cell.first_stamp as usize;
            for_each_bit(changed, |input| self.arrivals[first + input] = self.time);
        }
        let table = &self.models[cell.model as usize].table;
        let disturbed = if changed & table.unsettled == 0 {
            0
        } else {
            Word::mask(table.outputs as u32)
        };
        let before = Before {
            was,
            state: before,
            changed,
            lead,
            at_rest: false,
        };
        self.move_outputs(index, moved, disturbed, old, moved_by, before);
        self.remember_clocked(index, before);
    }

    /// Schedules the outputs that want a new level.
    fn move_outputs(
        &mut self,
        index: usize,
        moved: u64,
        disturbed: u64,
        old: Drive,
        moved_by: Chains,
        before: Before,
    ) {
        let changed = before.changed;
        let mut rest = moved | disturbed;
        while rest != 0 {
            let bit = rest.trailing_zeros() as usize;
            rest &= rest - 1;
            let cell = &self.cells[index];
            let (from, to) = (wanted_level(&old, bit), wanted_level(&cell.wanted, bit));
            let model = &self.models[cell.model as usize];
            let table = &model.table;
            let packed = &self.delays[cell.first_delay as usize..];
            let function = &self.parts[index].function;
            let arc = function.arcs[bit];
            let moving = changed | before.lead;
            let causes = if moving & arc == 0 { arc } else { moving & arc };
            self.chain = if changed & arc == 0 {
                0
            } else {
                moved_by.then(causes)
            };
            let out = cell.first_out + bit as u32;
            let wire = i64::from(self.outs[out as usize].wire);
            let is_off = cell.lets_go && self.outs[out as usize].now == Level::Z;
            let unsettled = causes & changed & table.unsettled;
            if unsettled != 0 && from != Level::Z && to != Level::Z && !is_off {
                let hold = extreme(unsettled, false, |input| {
                    table.output_hold[input * table.outputs + bit]
                });
                let longest = self.settings.corner != Corner::Fastest;
                let access = extreme(causes, longest, |input| {
                    model.delay(packed, input, bit, transition(Level::X, to))
                });
                self.remember_cause(index, out, to, before);
                let base = self.time + wire;
                self.disturb(
                    out,
                    to,
                    base + i64::from(hold),
                    base + i64::from(access.max(hold)),
                );
            } else if moved >> bit & 1 == 1 || is_off && to != Level::Z {
                let ends = changed == 0 && before.lead != 0;
                let how = if ends {
                    way_back(transition(from, to))
                } else {
                    transition(from, to)
                };
                let longest = self.settings.corner != Corner::Fastest;
                // What swings by itself is not moved by an input that the sheet could time.
                let delay = if changed == 0 && function.oscillator.is_some() {
                    0
                } else {
                    extreme(causes, longest, |input| {
                        model.delay(packed, input, bit, how)
                    })
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
        let packed = &self.delays[cell.first_delay as usize..];
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
        let function = &self.parts[index].function;
        let mut blurred = false;
        let found = function.forbidden(seen, &cell.held, &mut self.scratch);
        for (at, log) in self.forbid_logs[index].iter_mut().enumerate() {
            let goes_on = found.contains(&at);
            if goes_on {
                let state = cell.held.state;
                function.blur_forbidden(at, &mut cell.held);
                blurred |= cell.held.state != state;
                if !log.goes_on {
                    log.count += 1;
                    if log.count == 1 {
                        log.first = self.time;
                    }
                }
            }
            log.goes_on = goes_on;
        }
        blurred
    }
}

pub(super) fn for_each_bit(mut mask: u64, mut act: impl FnMut(usize)) {
    while mask != 0 {
        act(mask.trailing_zeros() as usize);
        mask &= mask - 1;
    }
}

pub(super) fn difference(a: Word, b: Word) -> u64 {
    (a.value ^ b.value) | (a.unknown ^ b.unknown)
}

/// What one output bit is to be.
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
pub(super) fn extreme(mut mask: u64, longest: bool, delay: impl Fn(usize) -> u32) -> u32 {
    let mut result: Option<u32> = None;
    while mask != 0 {
        let input = mask.trailing_zeros() as usize;
        mask &= mask - 1;
        let this = delay(input);
        result = Some(result.map_or(this, |other| {
            if longest {
                other.max(this)
            } else {
                other.min(this)
            }
        }));
    }
    result.unwrap_or(0)
}
