//! The loop: from one moment to the next.
//!
//! Outputs fire, nets take the levels that their drivers make of them, and the chips that listen are evaluated once.

use super::machine::{MOST_ROUNDS, Machine, NEVER, Owner, Pause, SUPPLY, flag};
use super::queue::Event;
use super::sink::Sink;
use crate::circuit::NetKey;
use crate::key::Key;
use crate::logic::Level;
use crate::quantity::Time;

/// A chain of causes that is longer than this, without a stimulus in it, goes round in a loop.
const LONGEST_CHAIN: u32 = 50_000;

impl Machine<'_> {
    /// Runs until a time, or until a net marked by [`Machine::stop_at`] changes; all that happens in that moment is
    /// done before it comes back.
    pub fn advance<S: Sink>(&mut self, until: Time, sink: &mut S) -> Pause {
        self.stop = false;
        if !std::mem::replace(&mut self.awake, true) {
            self.wake(sink);
        }
        self.settle_dirty();
        let mut rounds = 0;
        while let Some(time) = self.queue.peek() {
            if time > until.ps() {
                break;
            }
            rounds = if time == self.time { rounds + 1 } else { 0 };
            if self.stop && rounds == 0 {
                return Pause::Changed;
            }
            self.time = time;
            let mut last = None;
            while let Some(out) = self.queue.pop_at(time) {
                if self.outs[out as usize].due == time {
                    self.fire(out, sink);
                    last = Some(out);
                }
            }
            self.settle_dirty();
            if rounds > MOST_ROUNDS {
                return Pause::Runaway(self.runaway(last, true));
            }
            if let Some(out) = self.endless.take() {
                return Pause::Runaway(self.runaway(Some(out), false));
            }
        }
        if self.stop {
            return Pause::Changed;
        }
        self.time = self.time.max(until.ps());
        Pause::Reached
    }

    /// The time of the next event.
    pub fn next_event(&mut self) -> Option<Time> {
        if !self.awake {
            return Some(Time::from_ps(self.time));
        }
        self.settle_dirty();
        self.queue.peek().map(Time::from_ps)
    }

    pub(super) fn settle_dirty(&mut self) {
        if self.dirty.is_empty() {
            return;
        }
        std::mem::swap(&mut self.dirty, &mut self.batch);
        for at in 0..self.batch.len() {
            let index = self.batch[at];
            self.evaluate(index as usize);
        }
        self.batch.clear();
    }

    /// An output takes its next level.
    pub(super) fn fire<S: Sink>(&mut self, out: u32, sink: &mut S) {
        self.counters.events += 1;
        let state = &mut self.outs[out as usize];
        state.now = state.next;
        state.due = NEVER;
        if state.settle_due != NEVER {
            state.next = state.settle;
            state.due = state.settle_due;
            state.settle_due = NEVER;
            self.queue.push(Event {
                time: state.due,
                out,
            });
        }
        self.chain = state.chain;
        if self.chain > LONGEST_CHAIN {
            self.endless = Some(out);
        }
        let net = state.net as usize;
        if state.swings {
            match self.owners[out as usize] {
                Owner::Oscillator(_, at) => return self.swing(at as usize),
                Owner::Timer(_, at) => return self.expire(at as usize),
                _ => self.tick(out),
            }
        }
        if net == u32::MAX as usize {
            return;
        }
        let level = self.resolve(net, out);
        if level != self.nets[net].level {
            if self.history.is_some() {
                self.record_change(out, NetKey::from_index(net), level);
            }
            self.change(net, level, out, sink);
        }
        if self.nets[net].flags & flag::LINKED != 0 {
            self.follow_links(NetKey::from_index(net));
        }
    }

    /// A free-running stimulus schedules its next edge.
    fn tick(&mut self, out: u32) {
        if self.outs[out as usize].due != NEVER {
            return;
        }
        if let Some(clock) = self.clocks.iter().find(|clock| clock.out == out) {
            let state = &mut self.outs[out as usize];
            let (next, stay) = if state.now == Level::One {
                (Level::Zero, clock.high)
            } else {
                (Level::One, clock.low)
            };
            state.next = next;
            state.due = self.time + stay;
            self.queue.push(Event {
                time: state.due,
                out,
            });
        }
    }

    /// The level of a net, by its drivers. `moved` is the driver that has just moved.
    fn resolve(&mut self, net: usize, moved: u32) -> Level {
        let state = self.nets[net];
        if state.flags & flag::SHARED == 0 && state.flags & flag::FIXED == 0 {
            return self.outs[moved as usize].now;
        }
        let mut level = Level::Z;
        let (mut low, mut high) = (None, None);
        for at in state.drivers.0..state.drivers.0 + state.drivers.1 {
            let out = self.net_drivers[at as usize];
            let now = self.outs[out as usize].now;
            match now {
                Level::Zero => low = Some(out),
                Level::One => high = Some(out),
                _ => {}
            }
            level = level.resolve(now);
        }
        if state.flags & flag::FIXED != 0 {
            // A supply gives way to nothing.
            if state.level == Level::One {
                high = Some(SUPPLY);
            } else {
                low = Some(SUPPLY);
            }
            self.note_fight(net, low, high);
            return state.level;
        }
        self.note_fight(net, low, high);
        level
    }

    /// A net takes a new level, because a driver has moved.
    fn change<S: Sink>(&mut self, net: usize, level: Level, moved: u32, sink: &mut S) {
        let state = &mut self.nets[net];
        let was = state.level;
        state.level = level;
        let flags = state.flags;
        if (was == Level::Z) != (level == Level::Z) && state.listeners.1 > 0 {
            self.note_float(net, (level == Level::Z).then_some(moved));
        }
        if flags & flag::WATCHED != 0 {
            sink.change(Time::from_ps(self.time), NetKey::from_index(net), level);
        }
        if flags & flag::STOP != 0 {
            self.stop = true;
        }
        if flags & flag::KEPT != 0 && self.befores[net].0 != self.time {
            self.befores[net] = (self.time, was);
        }
        self.tell_listeners(net, level);
    }

    pub(super) fn tell_listeners(&mut self, net: usize, level: Level) {
        let (first, count) = self.nets[net].listeners;
        let value = u64::from(level.is_high());
        let unknown = u64::from(!level.is_known());
        for at in first as usize..(first + count) as usize {
            let packed = self.net_listeners[at];
            let (index, bit) = (packed >> 6, packed & 63);
            let cell = &mut self.cells[index as usize];
            let mask = !(1u64 << bit);
            cell.now.value = cell.now.value & mask | value << bit;
            cell.now.unknown = cell.now.unknown & mask | unknown << bit;
            cell.moved_by.add(bit, self.chain);
            if !cell.dirty {
                cell.dirty = true;
                self.dirty.push(index);
            }
        }
    }

    /// An inertial output: a newer transition replaces the one that is due. Only what has left the output for the
    /// cables on its net is not called back.
    #[inline]
    pub(super) fn schedule(&mut self, out: u32, level: Level, due: i64) {
        let state = &mut self.outs[out as usize];
        if state.due != NEVER && state.wire > 0 && state.due - i64::from(state.wire) <= self.time {
            state.chain = self.chain;
            state.settle = level;
            state.settle_due = if level == state.next {
                NEVER
            } else {
                due.max(state.due + 1)
            };
            return;
        }
        if state.due != NEVER {
            state.settle_due = NEVER;
            if level == state.now {
                state.due = NEVER;
                if state.next.is_known() && self.owners[out as usize].is_chip() {
                    self.swallowed[out as usize] += 1;
                    self.counters.swallowed += 1;
                }
                return;
            }
        } else if level == state.now {
            return;
        }
        state.next = level;
        state.due = due;
        state.chain = self.chain;
        self.queue.push(Event { time: due, out });
    }

    /// A memory's output: good until `blur`, then unknown, then `level` from `settle` on.
    pub(super) fn disturb(&mut self, out: u32, level: Level, blur: i64, settle: i64) {
        let state = &mut self.outs[out as usize];
        state.chain = self.chain;
        if state.now == Level::X || state.now == Level::U {
            state.settle_due = NEVER;
            if level == state.now {
                state.due = NEVER;
                return;
            }
            (state.next, state.due) = (level, settle);
            self.queue.push(Event { time: settle, out });
            return;
        }
        if state.due == NEVER || state.next != Level::X || state.due > blur {
            (state.next, state.due) = (Level::X, blur);
            self.queue.push(Event { time: blur, out });
        }
        state.settle = level;
        state.settle_due = if level == Level::X { NEVER } else { settle };
    }
}
