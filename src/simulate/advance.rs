//! The loop: from one moment to the next.
//!
//! Outputs fire, nets take the levels that their drivers make of them, and the chips that listen are evaluated once.

use super::cell::Cell;
use super::machine::{MOST_ROUNDS, Machine};
use super::nets::{Each, Listener, flag};
use super::out::{After, NEVER, Owner, own};
use super::queue::STRETCH;
use crate::circuit::NetKey;
use crate::key::Key;
use crate::logic::{Level, Word};
use crate::quantity::Time;
use crate::run::{Pause, Sink};

/// A chain of causes that is longer than this, without a stimulus in it, goes round in a loop.
const LONGEST_CHAIN: u32 = 50_000;

/// The tables of a machine with no more outputs than this lie in fast memory as a whole.
const NEAR_BY: usize = 40_000;

/// What a move from one level to another flips in the word of a listener.
#[derive(Clone, Copy)]
struct Flip {
    was: Level,
    value: u64,
    unknown: u64,
}

impl Flip {
    #[inline]
    fn between(was: Level, level: Level) -> Flip {
        Flip {
            was,
            value: u64::from(was.is_high() ^ level.is_high()),
            unknown: u64::from(was.is_known() ^ level.is_known()),
        }
    }
}

impl Machine<'_> {
    /// Runs until a time, or until a net marked by [`Machine::stop_at`] changes; all that happens in that moment is
    /// done before it comes back.
    pub fn advance<S: Sink + ?Sized>(&mut self, until: Time, sink: &mut S) -> Pause {
        self.stop = false;
        self.past_goes_on();
        if !self.awake {
            self.begin_history();
            if self.past.is_some() {
                self.look();
            }
            self.awake = true;
            self.wake(sink);
        }
        self.settle_dirty();
        let mut rounds = 0;
        while let Some(time) = self.queue.peek() {
            if time > until.ps() {
                break;
            }
            if self.outs.len() > NEAR_BY
                && let Some(soon) = self.queue.soon()
            {
                self.touch(soon);
            }
            rounds = if time == self.time { rounds + 1 } else { 0 };
            if rounds == 0 {
                if self.stop {
                    return Pause::Changed;
                }
                if self.counters.events >= self.next_look {
                    self.look();
                    if self.pauses {
                        return Pause::Looked;
                    }
                }
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
                return Pause::Oscillation(self.oscillation(last, true));
            }
            if let Some(out) = self.endless.take() {
                return Pause::Oscillation(self.oscillation(Some(out), false));
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

    /// Evaluates each chip that saw a change, once. No evaluation sets off another one in the same round: what it moves
    /// goes through the queue.
    pub(super) fn settle_dirty(&mut self) {
        for at in 0..self.dirty.len() {
            self.evaluate(self.dirty[at] as usize);
        }
        self.dirty.clear();
    }

    /// Reads what the coming events will need, all together, so that the memory brings it while others are waited for
    /// as well: in a large machine each event lies somewhere else. Every pass is short, so that many of its reads are
    /// under way at once.
    fn touch(&self, (first, last): (usize, usize)) {
        const EACH: usize = 3;
        let mut heard = [None; STRETCH];
        for (row, event) in heard.iter_mut().zip(self.queue.outs(first, last)) {
            *row = Some(self.outs[event as usize].listeners);
        }
        let mut inputs = [(0, 0, true); STRETCH * EACH];
        let mut count = 0;
        let mut add = |listener: Listener| {
            inputs[count] = (listener.cell(), listener.bit(), listener.is_quiet());
            count += 1;
        };
        for listeners in heard.into_iter().flatten() {
            match listeners.each() {
                Each::One(one) => add(one),
                Each::Two(one, two) => {
                    add(one);
                    add(two);
                }
                Each::Rows(first, rows) => {
                    let rows = first as usize..first as usize + EACH.min(rows as usize);
                    self.net_listeners[rows].iter().for_each(|&listener| add(listener));
                }
            }
        }
        let inputs = &inputs[..count];
        let cell = |index: u32| &self.cells[index as usize];
        let mut read = 0;
        for &(index, _, quiet) in inputs {
            read ^= cell(index).first_stamp;
            if !quiet {
                read ^= cell(index).first_out;
            }
        }
        for &(index, input, quiet) in inputs {
            let cell = cell(index);
            if quiet {
                read ^= self.stamps[(cell.first_stamp + input) as usize] as u32;
                continue;
            }
            let model = &self.models[cell.model as usize];
            let reach = model.reach[input as usize];
            let delays = cell.first_delay.of(&self.delays);
            for place in [reach.delays.0, reach.delays.1] {
                read ^= u32::from(delays.touch(place.into()));
            }
            if let Some((first, last)) = reach.outputs {
                let out = |bit: u8| cell.first_out as usize + usize::from(bit);
                let outs = self.outs[out(first)..=out(last)].iter().step_by(2);
                read ^= outs.fold(0, |all, out| all ^ out.chain);
            }
        }
        std::hint::black_box(read);
    }

    /// An output takes its next level.
    #[inline]
    pub(super) fn fire<S: Sink + ?Sized>(&mut self, out: u32, sink: &mut S) {
        self.counters.events += 1;
        let state = &mut self.outs[out as usize];
        let was = state.now;
        state.now = state.next;
        state.due = NEVER;
        let changed = state.changed;
        if state.now != was {
            state.changed = self.time;
        }
        self.chain = state.chain;
        if self.chain > LONGEST_CHAIN {
            self.endless = Some(out);
        }
        if state.special & own::FOLLOWED != 0 {
            state.special &= !own::FOLLOWED;
            let after = self.afters[out as usize];
            (state.next, state.due) = (after.level, after.due);
            self.queue.push(after.due, out);
        }
        if state.special & !own::WIRED != 0 {
            return self.fire_special(out, (was, changed), sink);
        }
        let (level, listeners) = (state.now, state.listeners);
        if level != was {
            if (was == Level::Z) != (level == Level::Z) {
                let net = self.places[out as usize].net as usize;
                if self.nets[net].listeners.1 > 0 {
                    self.note_float(net, (level == Level::Z).then_some(out));
                }
            }
            match listeners.each() {
                Each::One(listener) => self.tell(listener, Flip::between(was, level)),
                Each::Two(one, two) => {
                    let flip = Flip::between(was, level);
                    self.tell(one, flip);
                    self.tell(two, flip);
                }
                Each::Rows(first, count) => self.tell_listeners((first, count), was, level),
            }
        }
    }

    /// An output takes its next level, and more happens than that its listeners see it. It had another one before, since
    /// some time.
    fn fire_special<S: Sink + ?Sized>(&mut self, out: u32, (was, since): (Level, i64), sink: &mut S) {
        let before = (was, since);
        let special = self.outs[out as usize].special;
        let net = self.places[out as usize].net as usize;
        if special & own::SWINGS != 0 {
            match self.owners[out as usize] {
                Owner::Oscillator(_, at) => return self.swing(at as usize),
                Owner::Timer(_, at) => return self.expire(at as usize),
                _ => self.tick(out),
            }
        }
        if net == u32::MAX as usize {
            return;
        }
        let marked = special & own::MARKED != 0;
        let level = self.resolve(net, out, was);
        // Only where it is marked does the net itself know what it had.
        let was = if marked { self.nets[net].level } else { was };
        if level != was {
            if self.history.is_some() {
                self.record_change(out, NetKey::from_index(net), level);
            }
            self.change(net, (was, level), out, sink);
        } else if self.history.is_some() {
            self.record_handover((out, before), NetKey::from_index(net), level);
        }
        if self.nets[net].flags & flag::LINKED != 0 {
            self.follow_links(NetKey::from_index(net), Some(out));
        }
    }

    /// Lets another level follow the next one of an output.
    pub(super) fn follow(&mut self, out: u32, level: Level, due: i64) {
        self.afters[out as usize] = After { due, level };
        self.outs[out as usize].special |= own::FOLLOWED;
    }

    /// A free-running stimulus schedules its next edge.
    fn tick(&mut self, out: u32) {
        if self.outs[out as usize].due != NEVER {
            return;
        }
        if let Some(clock) = self.clocks.iter().find(|clock| clock.out == out) {
            let state = &mut self.outs[out as usize];
            let (next, stay) =
                if state.now == Level::One { (Level::Zero, clock.high) } else { (Level::One, clock.low) };
            state.next = next;
            state.due = self.time + stay;
            self.queue.push(state.due, out);
        }
    }

    /// The level of a net, by its drivers. `moved` is the driver that has just moved, from the level `was`.
    fn resolve(&mut self, net: usize, moved: u32, was: Level) -> Level {
        let state = self.nets[net];
        let now = self.outs[moved as usize].now;
        if state.flags & (flag::SHARED | flag::FIXED) == 0 {
            return now;
        }
        let tally = &mut self.tallies[state.tally as usize];
        tally.change(was, now);
        let level = tally.level();
        let (low, high) = (tally.has(Level::Zero), tally.has(Level::One));
        if state.flags & flag::FIXED != 0 {
            // A supply gives way to nothing.
            let is_high = state.level == Level::One;
            self.follow_contention(net, (low || !is_high, high || is_high));
            return state.level;
        }
        self.follow_contention(net, (low, high));
        level
    }

    /// A net takes a new level instead of another one, because a driver has moved.
    fn change<S: Sink + ?Sized>(&mut self, net: usize, (was, level): (Level, Level), moved: u32, sink: &mut S) {
        let state = &mut self.nets[net];
        state.level = level;
        let (flags, listeners) = (state.flags, state.listeners);
        if (was == Level::Z) != (level == Level::Z) && listeners.1 > 0 {
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
        self.tell_listeners(listeners, was, level);
    }

    /// Lets inputs see a level instead of another one: first row and number of rows of the listeners.
    #[inline]
    pub(super) fn tell_listeners(&mut self, (first, count): (u32, u32), was: Level, level: Level) {
        let flip = Flip::between(was, level);
        let (listeners, mut ears) = self.ears();
        for &listener in &listeners[first as usize..(first + count) as usize] {
            ears.tell(listener, flip);
        }
    }

    #[inline(always)]
    fn tell(&mut self, listener: Listener, flip: Flip) {
        self.ears().1.tell(listener, flip);
    }

    /// All listeners, and what it takes to tell them.
    #[inline(always)]
    fn ears(&mut self) -> (&[Listener], Ears<'_>) {
        let ears = Ears {
            cells: &mut self.cells,
            stamps: &mut self.stamps,
            dirty: &mut self.dirty,
            time: self.time,
            chain: self.chain,
        };
        (&self.net_listeners, ears)
    }

    /// An inertial output: a newer transition replaces the one that is due. Only what has left the output for the
    /// cables on its net is not called back.
    #[inline]
    pub(super) fn schedule(&mut self, out: u32, level: Level, due: i64) {
        let wire = i64::from(self.wire(out));
        let state = &mut self.outs[out as usize];
        if state.due == NEVER {
            if level == state.now {
                return;
            }
        } else {
            if wire > 0 && state.due - wire <= self.time {
                state.chain = self.chain;
                state.special &= !own::FOLLOWED;
                if level != state.next {
                    let due = due.max(state.due + 1);
                    self.follow(out, level, due);
                }
                return;
            }
            state.special &= !own::FOLLOWED;
            if level == state.now {
                state.due = NEVER;
                if state.next.is_known() && self.owners[out as usize].is_chip() {
                    if state.filter() {
                        self.filtered[out as usize] += 1;
                    }
                    self.counters.filtered += 1;
                }
                return;
            }
        }
        state.next = level;
        state.due = due;
        state.chain = self.chain;
        self.queue.push(due, out);
    }

    /// A memory's output: good until `blur`, then unknown, then `level` from `settle` on.
    pub(super) fn disturb(&mut self, out: u32, level: Level, blur: i64, settle: i64) {
        let state = &mut self.outs[out as usize];
        state.chain = self.chain;
        state.special &= !own::FOLLOWED;
        if state.now == Level::X || state.now == Level::U {
            if level == state.now {
                state.due = NEVER;
                return;
            }
            (state.next, state.due) = (level, settle);
            self.queue.push(settle, out);
            return;
        }
        if state.due == NEVER || state.next != Level::X || state.due > blur {
            (state.next, state.due) = (Level::X, blur);
            self.queue.push(blur, out);
        }
        if level != Level::X {
            self.follow(out, level, settle);
        }
    }
}

/// What a moving net touches of the chips that listen to it.
struct Ears<'m> {
    cells: &'m mut [Cell],
    stamps: &'m mut [i64],
    dirty: &'m mut Vec<u32>,
    time: i64,
    chain: u32,
}

impl Ears<'_> {
    /// Lets one input see it.
    #[inline(always)]
    fn tell(&mut self, listener: Listener, flip: Flip) {
        let (index, bit) = (listener.cell(), listener.bit());
        let cell = &mut self.cells[index as usize];
        debug_assert_eq!(cell.now.slice(bit, 1), Word::from_level(flip.was));
        cell.now.value ^= flip.value << bit;
        cell.now.unknown ^= flip.unknown << bit;
        if listener.is_quiet() && !cell.dirty && self.time >= cell.holds_until {
            // Data for a later edge: when it came is all that will be asked.
            cell.inputs = cell.now;
            self.stamps[(cell.first_stamp + bit) as usize] = self.time;
            return;
        }
        cell.moved_by.add(bit, self.chain);
        if !cell.dirty {
            cell.dirty = true;
            self.dirty.push(index);
        }
    }
}
