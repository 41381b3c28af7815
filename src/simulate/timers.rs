//! Stored bits that fall back by themselves, and inputs that swing by themselves.
//!
//! A timer ends at one moment when it is known when it was started. Otherwise it ends between two: until the earliest
//! it is 1, or unknown; then it is unknown; and at the latest it is certainly over.

use super::machine::Machine;
use super::out::NEVER;
use super::swings::{Oscillator, Swings};
use crate::logic::Word;
use crate::part::function::Started;

impl Machine<'_> {
    /// Power comes: what a timer holds may have been started just now.
    pub(super) fn first_timers(&mut self) {
        for at in 0..self.timers.len() {
            let timer = &mut self.timers[at];
            timer.latest = timer.duration.map_or(NEVER, |time| self.time + time);
            timer.earliest = timer.duration.map_or(self.time, |time| self.time + time);
            self.wait_for(at);
        }
    }

    /// Lets the timers of a cell follow what it stored. `before` is what it held, `changed` the inputs that moved.
    pub(super) fn follow_timers(&mut self, index: usize, started: Started, before: Word, changed: u64) {
        let (first, state) = (self.asides[index].first_timer as usize, self.cells[index].held.state);
        let newly_unknown = state.unknown & !before.unknown;
        for at in first..first + self.function(index).timers.len() {
            let timer = &mut self.timers[at];
            let mask = 1u64 << timer.bit;
            let end = timer.duration.map_or(NEVER, |time| self.time.saturating_add(time));
            if (state.value | state.unknown) & mask == 0 {
                if timer.latest == NEVER && timer.earliest == NEVER {
                    continue;
                }
                (timer.earliest, timer.latest) = (NEVER, NEVER);
            } else if started.certain & mask != 0 && state.unknown & mask == 0 {
                timer.earliest = timer.duration.map_or(self.time, |_| end);
                timer.latest = end;
                timer.lead = changed;
            } else if (started.certain | started.perhaps | newly_unknown) & mask != 0 {
                // It may run until its old end, or from now on.
                timer.latest = end;
                timer.lead = changed;
            } else {
                continue;
            }
            self.wait_for(at);
        }
    }

    /// Asks to be woken when a timer ends, or may end.
    fn wait_for(&mut self, at: usize) {
        let timer = &self.timers[at];
        let runs = self.cells[timer.cell as usize].held.state.unknown >> timer.bit & 1 == 0;
        let time = if runs { timer.earliest } else { timer.latest };
        self.outs[timer.out as usize].due = time;
        if time != NEVER {
            self.queue.push(time, timer.out);
        }
    }

    /// A timer ends, or may end.
    pub(super) fn expire(&mut self, at: usize) {
        let timer = &mut self.timers[at];
        let (cell, mask) = (timer.cell, 1u64 << timer.bit);
        let over = self.time >= timer.latest;
        timer.earliest = NEVER;
        if over {
            timer.latest = NEVER;
        }
        let lead = timer.lead;
        let state = &mut self.cells[cell as usize].held.state;
        *state = Word { value: state.value & !mask, unknown: state.unknown & !mask | if over { 0 } else { mask } };
        self.wait_for(at);
        let aside = &mut self.asides[cell as usize];
        aside.stirred |= mask;
        aside.lead = lead;
        self.force(cell);
    }

    /// An oscillator swings.
    pub(super) fn swing(&mut self, at: usize) {
        let Oscillator { out, cell, period, swings } = self.oscillators[at];
        let row = &mut self.cells[cell as usize];
        let (word, bit) = match swings {
            Swings::State(bit) => {
                self.asides[cell as usize].stirred |= 1 << bit;
                (&mut row.held.state, bit)
            }
            Swings::Input(bit) => {
                row.moved_by.add(bit as u32, 0);
                (&mut row.now, bit)
            }
        };
        // The first swing begins low.
        let high = (word.value | word.unknown) >> bit & 1 == 0;
        *word = Word { value: word.value & !(1 << bit) | u64::from(high) << bit, unknown: word.unknown & !(1 << bit) };
        // The two halves of an odd period differ by a picosecond.
        let half = if high { period / 2 } else { period - period / 2 };
        let time = self.time + half.max(1);
        self.outs[out as usize].due = time;
        self.queue.push(time, out);
        self.force(cell);
    }
}
