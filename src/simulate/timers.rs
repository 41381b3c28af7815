//! Stored bits that fall back by themselves, and inputs that oscillate.
//!
//! A timer ends at one moment when it is known when it was started. Otherwise it ends between two: until the earliest
//! it is 1, or unknown; then it is unknown; and at the latest it is certainly over.

use super::driver::NEVER;
use super::machine::Machine;
use super::number;
use super::self_timed::{Oscillator, OscillatorTarget};
use crate::logic::Word;
use crate::part::function::Started;
use crate::quantity::Time;

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

    /// Lets the timers of an instance follow what it stored. `before` is what it held, `changed` the inputs that moved.
    pub(super) fn follow_timers(&mut self, index: usize, started: Started, before: Word, changed: u64) {
        let (first, state) = (self.cold_states[index].first_timer as usize, self.instances[index].stored.state);
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
                timer.trigger_inputs = changed;
            } else if (started.certain | started.perhaps | newly_unknown) & mask != 0 {
                // It may run until its old end, or from now on.
                timer.latest = end;
                timer.trigger_inputs = changed;
            } else {
                continue;
            }
            self.wait_for(at);
        }
    }

    /// Asks to be woken when a timer ends, or may end.
    fn wait_for(&mut self, at: usize) {
        let timer = &self.timers[at];
        let runs = self.instances[timer.instance as usize].stored.state.unknown >> timer.bit & 1 == 0;
        let time = if runs { timer.earliest } else { timer.latest };
        self.drivers[timer.driver as usize].due = time;
        if time != NEVER {
            self.queue.push(time, timer.driver);
        }
    }

    /// A timer ends, or may end.
    pub(super) fn expire(&mut self, at: usize) {
        let timer = &mut self.timers[at];
        let (instance, mask) = (timer.instance, 1u64 << timer.bit);
        let over = self.time >= timer.latest;
        timer.earliest = NEVER;
        if over {
            timer.latest = NEVER;
        }
        let trigger_inputs = timer.trigger_inputs;
        let state = &mut self.instances[instance as usize].stored.state;
        *state = Word { value: state.value & !mask, unknown: state.unknown & !mask | if over { 0 } else { mask } };
        self.wait_for(at);
        let cold = &mut self.cold_states[instance as usize];
        cold.self_changed |= mask;
        cold.trigger_inputs = trigger_inputs;
        self.request_evaluation(instance);
    }

    /// The next edge of an oscillator.
    pub(super) fn toggle_oscillator(&mut self, at: usize) {
        let Oscillator { driver, instance, period, target } = self.oscillators[at];
        let row = &mut self.instances[instance as usize];
        let (word, bit) = match target {
            OscillatorTarget::State(bit) => {
                self.cold_states[instance as usize].self_changed |= 1 << bit;
                (&mut row.stored.state, bit)
            }
            OscillatorTarget::Input(bit) => {
                row.moved_by.add(number::bit(bit), 0);
                (&mut row.now, bit)
            }
        };
        // An oscillator begins low.
        let high = (word.value | word.unknown) >> bit & 1 == 0;
        *word = Word { value: word.value & !(1 << bit) | u64::from(high) << bit, unknown: word.unknown & !(1 << bit) };
        // The two halves of an odd period differ by a picosecond.
        let half = Time::from_ps(period.ps() / 2);
        let half = if high { half } else { period - half };
        let time = self.time + half.max(Time::PICOSECOND);
        self.drivers[driver as usize].due = time;
        self.queue.push(time, driver);
        self.request_evaluation(instance);
    }
}
