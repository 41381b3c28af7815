//! The loop: from one moment to the next.
//!
//! Outputs fire, nets take the levels that their drivers make of them, and the chips on them are evaluated once.

use super::driver::{LaterTransition, NEVER, Owner, driver_flag};
use super::instance::Instance;
use super::machine::{MOST_ROUNDS, Machine};
use super::nets::{Load, UnpackedLoads, net_flag};
use super::queue::PREFETCH;
use crate::circuit::NetKey;
use crate::key::Key;
use crate::logic::{Level, Word};
use crate::quantity::Time;
use crate::run::{Pause, Sink};

/// A chain of causes that is longer than this, without a stimulus in it, goes round in a loop.
const LONGEST_CHAIN: u32 = 50_000;

/// The tables of a machine with no more outputs than this lie in fast memory as a whole.
const NEAR_BY: usize = 40_000;

/// What a move from one level to another flips in the word of a load.
#[derive(Clone, Copy)]
struct ToggleMask {
    was: Level,
    value: u64,
    unknown: u64,
}

impl ToggleMask {
    #[inline]
    fn between(was: Level, level: Level) -> ToggleMask {
        ToggleMask {
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
        self.past_advanced();
        if !self.initialised {
            self.begin_history();
            if self.past.is_some() {
                self.take_checkpoint_if_due();
            }
            self.initialised = true;
            self.initialise(sink);
        }
        self.settle_dirty();
        let mut rounds = 0;
        while let Some(time) = self.queue.peek() {
            if time > until {
                break;
            }
            if self.drivers.len() > NEAR_BY
                && let Some(upcoming) = self.queue.upcoming()
            {
                self.prefetch(upcoming);
            }
            rounds = if time == self.time { rounds + 1 } else { 0 };
            if rounds == 0 {
                if self.stop {
                    return Pause::Changed;
                }
                if self.counters.events >= self.next_checkpoint {
                    self.take_checkpoint_if_due();
                    if self.pauses {
                        return Pause::Looked;
                    }
                }
            }
            self.time = time;
            let mut last = None;
            while let Some(driver) = self.queue.pop_at(time) {
                if self.drivers[driver as usize].due == time {
                    self.fire(driver, sink);
                    last = Some(driver);
                }
            }
            self.settle_dirty();
            if rounds > MOST_ROUNDS {
                return Pause::Oscillation(self.oscillation(last, true));
            }
            if let Some(driver) = self.too_deep.take() {
                return Pause::Oscillation(self.oscillation(Some(driver), false));
            }
        }
        if self.stop {
            return Pause::Changed;
        }
        self.time = self.time.max(until);
        Pause::Reached
    }

    /// The time of the next event.
    pub fn next_event(&mut self) -> Option<Time> {
        if !self.initialised {
            return Some(self.time);
        }
        self.settle_dirty();
        self.queue.peek()
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
    fn prefetch(&self, (first, last): (usize, usize)) {
        const EACH: usize = 3;
        let mut heard = [None; PREFETCH];
        for (row, event) in heard.iter_mut().zip(self.queue.drivers(first, last)) {
            *row = Some(self.drivers[event as usize].loads);
        }
        let mut inputs = [(0, 0, true); PREFETCH * EACH];
        let mut count = 0;
        let mut add = |load: Load| {
            inputs[count] = (load.instance(), load.bit(), load.is_data_only());
            count += 1;
        };
        for loads in heard.into_iter().flatten() {
            match loads.unpack() {
                UnpackedLoads::One(one) => add(one),
                UnpackedLoads::Two(one, two) => {
                    add(one);
                    add(two);
                }
                UnpackedLoads::Rows(first, rows) => {
                    let rows = first as usize..first as usize + EACH.min(rows as usize);
                    self.net_loads[rows].iter().for_each(|&load| add(load));
                }
            }
        }
        let inputs = &inputs[..count];
        let instance = |index: u32| &self.instances[index as usize];
        let mut read = 0;
        for &(index, _, data_only) in inputs {
            read ^= instance(index).first_timestamp;
            if !data_only {
                read ^= instance(index).first_driver;
            }
        }
        for &(index, input, data_only) in inputs {
            let instance = instance(index);
            if data_only {
                read ^= u32::from(self.timestamps[(instance.first_timestamp + input) as usize] == NEVER);
                continue;
            }
            let model = &self.models[instance.model as usize];
            let reach = model.reach[input as usize];
            let delays = instance.first_delay.of(&self.delays);
            for place in [reach.delays.0, reach.delays.1] {
                read ^= u32::from(delays.prefetch(place.into()));
            }
            if let Some((first, last)) = reach.outputs {
                let driver = |bit: u8| instance.first_driver as usize + usize::from(bit);
                let drivers = self.drivers[driver(first)..=driver(last)].iter().step_by(2);
                read ^= drivers.fold(0, |all, driver| all ^ driver.depth);
            }
        }
        std::hint::black_box(read);
    }

    /// An output takes its next level.
    #[inline]
    pub(super) fn fire<S: Sink + ?Sized>(&mut self, driver: u32, sink: &mut S) {
        self.counters.events += 1;
        let state = &mut self.drivers[driver as usize];
        let was = state.now;
        state.now = state.next;
        state.due = NEVER;
        let changed = state.changed;
        if state.now != was {
            state.changed = self.time;
        }
        self.depth = state.depth;
        if self.depth > LONGEST_CHAIN {
            self.too_deep = Some(driver);
        }
        if state.flags & driver_flag::FOLLOWED != 0 {
            state.flags &= !driver_flag::FOLLOWED;
            let after = self.later_transitions[driver as usize];
            (state.next, state.due) = (after.level, after.due);
            self.queue.push(after.due, driver);
        }
        if state.flags & !driver_flag::WIRED != 0 {
            return self.fire_special(driver, (was, changed), sink);
        }
        let (level, loads) = (state.now, state.loads);
        if level != was {
            if (was == Level::Z) != (level == Level::Z) {
                let net = self.connections[driver as usize].net as usize;
                if self.nets[net].loads.1 > 0 {
                    self.note_float(net, (level == Level::Z).then_some(driver));
                }
            }
            match loads.unpack() {
                UnpackedLoads::One(load) => self.notify(load, ToggleMask::between(was, level)),
                UnpackedLoads::Two(one, two) => {
                    let toggle = ToggleMask::between(was, level);
                    self.notify(one, toggle);
                    self.notify(two, toggle);
                }
                UnpackedLoads::Rows(first, count) => self.notify_loads((first, count), was, level),
            }
        }
    }

    /// An output takes its next level, and more happens than that its loads see it. It had another one before, since
    /// some time.
    fn fire_special<S: Sink + ?Sized>(&mut self, driver: u32, (was, since): (Level, Time), sink: &mut S) {
        let before = (was, since);
        let flags = self.drivers[driver as usize].flags;
        let net = self.connections[driver as usize].net as usize;
        if flags & driver_flag::SELF_TIMED != 0 {
            match self.owners[driver as usize] {
                Owner::Oscillator(_, at) => return self.toggle_oscillator(at as usize),
                Owner::Timer(_, at) => return self.expire(at as usize),
                _ => self.tick(driver),
            }
        }
        if net == u32::MAX as usize {
            return;
        }
        let marked = flags & driver_flag::MARKED != 0;
        let level = self.resolve(net, driver, was);
        // Only where it is marked does the net itself know what it had.
        let was = if marked { self.nets[net].level } else { was };
        if level != was {
            if self.history.is_some() {
                self.record_change(driver, NetKey::from_index(net), level);
            }
            self.change(net, (was, level), driver, sink);
        } else if self.history.is_some() {
            self.record_handover((driver, before), NetKey::from_index(net), level);
        }
        if self.nets[net].flags & net_flag::LINKED != 0 {
            self.follow_links(NetKey::from_index(net), Some(driver));
        }
    }

    /// Lets another level follow the next one of an output.
    pub(super) fn follow(&mut self, driver: u32, level: Level, due: Time) {
        self.later_transitions[driver as usize] = LaterTransition { due, level };
        self.drivers[driver as usize].flags |= driver_flag::FOLLOWED;
    }

    /// A free-running stimulus schedules its next edge.
    fn tick(&mut self, driver: u32) {
        if self.drivers[driver as usize].due != NEVER {
            return;
        }
        if let Some(clock) = self.clocks.iter().find(|clock| clock.driver == driver) {
            let state = &mut self.drivers[driver as usize];
            let (next, stay) =
                if state.now == Level::One { (Level::Zero, clock.high) } else { (Level::One, clock.low) };
            state.next = next;
            state.due = self.time + stay;
            self.queue.push(state.due, driver);
        }
    }

    /// The level of a net, by its drivers. `moved` is the driver that has just moved, from the level `was`.
    fn resolve(&mut self, net: usize, moved: u32, was: Level) -> Level {
        let state = self.nets[net];
        let now = self.drivers[moved as usize].now;
        if state.flags & (net_flag::SHARED | net_flag::FIXED) == 0 {
            return now;
        }
        let counts = &mut self.driver_counts[state.counts as usize];
        counts.change(was, now);
        let level = counts.level();
        let (low, high) = (counts.has(Level::Zero), counts.has(Level::One));
        if state.flags & net_flag::FIXED != 0 {
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
        let (flags, loads) = (state.flags, state.loads);
        if (was == Level::Z) != (level == Level::Z) && loads.1 > 0 {
            self.note_float(net, (level == Level::Z).then_some(moved));
        }
        if flags & net_flag::WATCHED != 0 {
            sink.change(self.time, NetKey::from_index(net), level);
        }
        if flags & net_flag::STOP != 0 {
            self.stop = true;
        }
        if flags & net_flag::KEPT != 0 && self.previous_levels[net].0 != self.time {
            self.previous_levels[net] = (self.time, was);
        }
        self.notify_loads(loads, was, level);
    }

    /// Lets inputs see a level instead of another one: first row and number of rows of the loads.
    #[inline]
    pub(super) fn notify_loads(&mut self, (first, count): (u32, u32), was: Level, level: Level) {
        let toggle = ToggleMask::between(was, level);
        let (loads, mut fan_out) = self.fan_out();
        for &load in &loads[first as usize..(first + count) as usize] {
            fan_out.notify(load, toggle);
        }
    }

    #[inline(always)]
    fn notify(&mut self, load: Load, toggle: ToggleMask) {
        self.fan_out().1.notify(load, toggle);
    }

    /// All loads, and what it takes to tell them.
    #[inline(always)]
    fn fan_out(&mut self) -> (&[Load], FanOut<'_>) {
        let fan_out = FanOut {
            instances: &mut self.instances,
            timestamps: &mut self.timestamps,
            dirty: &mut self.dirty,
            time: self.time,
            depth: self.depth,
        };
        (&self.net_loads, fan_out)
    }

    /// An inertial output: a newer transition replaces the one that is due. Only what has left the output for the
    /// cables on its net is not called back.
    #[inline]
    pub(super) fn schedule(&mut self, driver: u32, level: Level, due: Time) {
        let wire = Time::from_ps_u32(self.wire(driver));
        let state = &mut self.drivers[driver as usize];
        if state.due == NEVER {
            if level == state.now {
                return;
            }
        } else {
            if wire > Time::ZERO && state.due - wire <= self.time {
                state.depth = self.depth;
                state.flags &= !driver_flag::FOLLOWED;
                if level != state.next {
                    let due = due.max(state.due + Time::PICOSECOND);
                    self.follow(driver, level, due);
                }
                return;
            }
            state.flags &= !driver_flag::FOLLOWED;
            if level == state.now {
                state.due = NEVER;
                if state.next.is_known() && self.owners[driver as usize].is_chip() {
                    if state.filter() {
                        self.filtered[driver as usize] += 1;
                    }
                    self.counters.filtered += 1;
                }
                return;
            }
        }
        state.next = level;
        state.due = due;
        state.depth = self.depth;
        self.queue.push(due, driver);
    }

    /// A memory's output: good until `unknown_from`, then unknown, then `level` from `settle` on.
    pub(super) fn schedule_access(&mut self, driver: u32, level: Level, unknown_from: Time, settle: Time) {
        let state = &mut self.drivers[driver as usize];
        state.depth = self.depth;
        state.flags &= !driver_flag::FOLLOWED;
        if state.now == Level::X || state.now == Level::U {
            if level == state.now {
                state.due = NEVER;
                return;
            }
            (state.next, state.due) = (level, settle);
            self.queue.push(settle, driver);
            return;
        }
        if state.due == NEVER || state.next != Level::X || state.due > unknown_from {
            (state.next, state.due) = (Level::X, unknown_from);
            self.queue.push(unknown_from, driver);
        }
        if level != Level::X {
            self.follow(driver, level, settle);
        }
    }
}

/// What a moving net touches of the chips on it.
struct FanOut<'m> {
    instances: &'m mut [Instance],
    timestamps: &'m mut [Time],
    dirty: &'m mut Vec<u32>,
    time: Time,
    depth: u32,
}

impl FanOut<'_> {
    /// Lets one input see it.
    #[inline(always)]
    fn notify(&mut self, load: Load, toggle: ToggleMask) {
        let (index, bit) = (load.instance(), load.bit());
        let instance = &mut self.instances[index as usize];
        debug_assert_eq!(instance.now.slice(bit, 1), Word::from_level(toggle.was));
        instance.now.value ^= toggle.value << bit;
        instance.now.unknown ^= toggle.unknown << bit;
        if load.is_data_only() && !instance.dirty && self.time >= instance.hold_ends {
            // Data for a later edge: when it came is all that will be asked.
            instance.inputs = instance.now;
            self.timestamps[(instance.first_timestamp + bit) as usize] = self.time;
            return;
        }
        instance.moved_by.add(bit, self.depth);
        if !instance.dirty {
            instance.dirty = true;
            self.dirty.push(index);
        }
    }
}
