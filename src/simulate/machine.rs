//! The machine: what is where now, and the loop that moves it on.

use super::checks::{CheckIndex, CheckState, Snapshot};
use super::findings::{Contention, Counters, Floating, Forbidden, Runaway, signal_name};
use super::history::{Before, History};
use super::links::Links;
use super::queue::{Event, Queue};
use super::sink::Sink;
use crate::circuit::{ChipKey, Circuit, NetKey};
use crate::delay::{DelayTable, Rule, Transition};
use crate::image::Image;
use crate::key::{Key, KeyVec};
use crate::language::ast::{Corner, PowerUp};
use crate::logic::{Level, Word};
use crate::part::function::{Drive, Held, Scratch, Seen};
use crate::part::{Part, PinIndex};
use crate::quantity::Time;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// How a machine is to run.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Settings {
    /// Which delays the parts take.
    pub corner: Corner,
    /// What storage holds at power-up.
    pub power_up: PowerUp,
    /// True to keep the cause of every event, for [`super::history`].
    pub history: bool,
}

/// Why [`Machine::advance`] came back.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Pause {
    /// The time that was asked for is reached.
    Reached,
    /// A net that was marked to stop at has changed.
    Changed,
    /// A loop never settles.
    Runaway(Runaway),
}

/// Why an image could not be loaded.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum LoadFault {
    /// The chip has no memory.
    NoMemory,
    /// The chip is not fed.
    NotFed,
    /// Its words are wider than a byte.
    Width(u32),
    /// The image reaches beyond the last word.
    TooLong {
        /// The address that does not exist.
        address: i64,
        /// Number of words.
        words: u64,
    },
    /// The image holds nothing.
    Empty,
}

/// A time before every event, with room to subtract from.
pub(super) const LONG_AGO: i64 = i64::MIN / 4;
/// No event is due.
pub(super) const NEVER: i64 = i64::MAX;

/// More rounds than this without time passing are a loop without delay.
const MOST_ROUNDS: u32 = 10_000;
/// A chain of causes that is longer than this, without a stimulus in it, goes round in a loop.
const LONGEST_CHAIN: u32 = 50_000;

pub(super) mod flag {
    /// A rail: its level never moves.
    pub(in crate::simulate) const FIXED: u8 = 1;
    /// No driver, or several.
    pub(in crate::simulate) const SHARED: u8 = 2;
    /// Resistors or switches are on it.
    pub(in crate::simulate) const LINKED: u8 = 4;
    /// A sink listens.
    pub(in crate::simulate) const WATCHED: u8 = 8;
    /// The run pauses when it changes.
    pub(in crate::simulate) const STOP: u8 = 16;
    /// Its level before the last moment is kept.
    pub(in crate::simulate) const KEPT: u8 = 32;
}

/// A chip in motion.
#[derive(Clone, Debug)]
pub(super) struct Cell {
    /// Its inputs at this moment.
    pub(super) now: Word,
    /// What it saw when it was last evaluated.
    pub(super) seen: Seen,
    pub(super) held: Held,
    /// What its outputs are to be once all delays have passed.
    pub(super) wanted: Drive,
    pub(super) chip: ChipKey,
    pub(super) table: u32,
    pub(super) first_out: u32,
    pub(super) first_stamp: u32,
    pub(super) first_check: u32,
    pub(super) first_snapshot: u32,
    /// True when outputs can let go, so that it must be known what is on its way through the chip to them.
    pub(super) lets_go: bool,
    /// When a requirement that was not met last made what it stores unknown.
    pub(super) lost: Option<i64>,
    pub(super) dirty: bool,
    /// To be evaluated although no input moved.
    pub(super) forced: bool,
}

/// Something that drives a net.
#[derive(Clone, Debug)]
pub(super) struct Out {
    /// When its next level comes.
    pub(super) due: i64,
    /// When the level after that comes: a memory's data, behind a stretch of unknown.
    settle_due: i64,
    pub(super) net: u32,
    /// Delay of the cables on its net, in picoseconds.
    pub(super) wire: u32,
    /// How many outputs moved one another, since the last stimulus, until this one did.
    chain: u32,
    pub(super) now: Level,
    pub(super) next: Level,
    settle: Level,
}

impl Out {
    pub(super) fn new(net: u32, now: Level) -> Out {
        Out {
            due: NEVER,
            settle_due: NEVER,
            net,
            wire: 0,
            chain: 0,
            now,
            next: now,
            settle: now,
        }
    }
}

/// What an [`Out`] belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Owner {
    Chip(ChipKey, PinIndex),
    Oscillator(ChipKey),
    Stimulus(NetKey),
    /// A resistor or a contact, by its discrete.
    Link(crate::circuit::DiscreteKey),
}

#[derive(Clone, Copy, Debug)]
pub(super) struct NetState {
    pub(super) level: Level,
    pub(super) flags: u8,
    /// First row and number of rows.
    pub(super) drivers: (u32, u32),
    pub(super) listeners: (u32, u32),
}

#[derive(Clone, Copy, Debug, Default)]
pub(super) struct FightLog {
    since: Option<i64>,
    pair: (u32, u32),
    count: u64,
    first: i64,
    longest: i64,
    total: i64,
}

#[derive(Clone, Copy, Debug, Default)]
pub(super) struct FloatLog {
    since: Option<i64>,
    last_driver: Option<u32>,
    count: u64,
    first: i64,
    longest: i64,
}

#[derive(Clone, Copy, Debug, Default)]
pub(super) struct ForbidLog {
    goes_on: bool,
    count: u64,
    first: i64,
}

/// A free-running stimulus.
#[derive(Clone, Copy, Debug)]
pub(super) struct Clock {
    out: u32,
    high: i64,
    low: i64,
}

/// A circuit in motion.
pub struct Machine<'c> {
    pub(super) circuit: &'c Circuit,
    pub(super) settings: Settings,
    pub(super) time: i64,
    pub(super) queue: Queue,
    pub(super) cells: Vec<Cell>,
    pub(super) parts: Vec<Arc<Part>>,
    pub(super) tables: Vec<DelayTable>,
    pub(super) indices: Vec<CheckIndex>,
    pub(super) outs: Vec<Out>,
    pub(super) owners: Vec<Owner>,
    pub(super) nets: Vec<NetState>,
    pub(super) net_drivers: Vec<u32>,
    /// Cell and input bit, packed.
    pub(super) net_listeners: Vec<u32>,
    pub(super) cell_of: KeyVec<ChipKey, Option<u32>>,
    /// When each input and node of each cell moved last.
    pub(super) stamps: Vec<i64>,
    /// When each input of a cell that lets go last moved something, in the places of `stamps`.
    pub(super) arrivals: Vec<i64>,
    /// For nets that are flagged so, the time of the last change, and the level before it.
    pub(super) befores: Vec<(i64, Level)>,
    /// False until the first call of [`Machine::advance`].
    pub(super) awake: bool,
    pub(super) check_states: Vec<CheckState>,
    pub(super) snapshots: Vec<Option<Snapshot>>,
    pub(super) swallowed: Vec<u32>,
    pub(super) fights: Vec<FightLog>,
    pub(super) floats: Vec<FloatLog>,
    /// Each forbidden use of each cell.
    pub(super) forbid_logs: Vec<Vec<ForbidLog>>,
    /// Output of the swing, cell, period.
    pub(super) oscillators: Vec<(u32, u32, i64)>,
    pub(super) clocks: Vec<Clock>,
    pub(super) stimuli: BTreeMap<NetKey, u32>,
    pub(super) links: Links,
    pub(super) dirty: Vec<u32>,
    pub(super) batch: Vec<u32>,
    pub(super) changed_stamps: Vec<(crate::part::sheet::Signal, i64)>,
    /// Inputs of the chip at hand that moved too close to an edge.
    pub(super) blinded: u64,
    pub(super) scratch: Scratch,
    pub(super) counters: Counters,
    /// The length of the chain of causes of what happens at this moment; see [`Out`].
    pub(super) chain: u32,
    /// The length of the chain until each input moved, in the places of `stamps`.
    pub(super) chains: Vec<u32>,
    /// The output at the end of a chain that is too long.
    pub(super) endless: Option<u32>,
    pub(super) rules: BTreeMap<Rule, BTreeSet<String>>,
    pub(super) history: Option<History>,
    pub(super) stop: bool,
}

impl<'c> Machine<'c> {
    // ---- what is where now ------------------------------------------------------------------------------------

    /// The circuit that runs.
    pub fn circuit(&self) -> &'c Circuit {
        self.circuit
    }

    /// How it runs.
    pub fn settings(&self) -> Settings {
        self.settings
    }

    /// The present time.
    pub fn now(&self) -> Time {
        Time::from_ps(self.time)
    }

    /// The level of a net.
    pub fn level(&self, net: NetKey) -> Level {
        self.nets[net.index()].level
    }

    /// The levels of several nets as a word, the most significant first.
    pub fn word(&self, nets: &[NetKey]) -> Word {
        nets.iter().fold(Word::default(), |word, &net| {
            let bit = Word::from_level(self.level(net));
            Word {
                value: word.value << 1 | bit.value,
                unknown: word.unknown << 1 | bit.unknown,
            }
        })
    }

    /// What a chip remembers; `None` when it is not fed.
    pub fn held(&self, chip: ChipKey) -> Option<&Held> {
        self.cell_of[chip].map(|cell| &self.cells[cell as usize].held)
    }

    /// How much work the run was.
    pub fn counters(&self) -> Counters {
        self.counters
    }

    /// The rules that filled gaps of the sheets, and the numbers of the parts that they were needed for.
    pub fn rules(&self) -> &BTreeMap<Rule, BTreeSet<String>> {
        &self.rules
    }

    /// The kept causes, when [`Settings::history`] asked for them.
    pub fn history(&self) -> Option<&History> {
        self.history.as_ref()
    }

    // ---- stimulus ---------------------------------------------------------------------------------------------

    /// Drives a net from now on. The net must have been among the stimuli of [`Machine::new`].
    pub fn set(&mut self, net: NetKey, level: Level) {
        if let Some(&out) = self.stimuli.get(&net) {
            self.clocks.retain(|clock| clock.out != out);
            self.chain = 0;
            self.schedule(out, level, self.time);
        }
    }

    /// Lets go of a net.
    pub fn release(&mut self, net: NetKey) {
        self.set(net, Level::Z);
    }

    /// Lets a net swing from now on: low first, then high and low for these times.
    pub fn clock(&mut self, net: NetKey, low: Time, high: Time) {
        self.set(net, Level::Zero);
        if let Some(&out) = self.stimuli.get(&net) {
            self.clocks.push(Clock {
                out,
                high: high.ps().max(1),
                low: low.ps().max(1),
            });
            let due = self.time + low.ps().max(1);
            let state = &mut self.outs[out as usize];
            // The first low is on its way in this moment; the first rise follows it.
            state.settle = Level::One;
            state.settle_due = due;
            if state.due == NEVER {
                (state.next, state.due) = (Level::One, due);
                state.settle_due = NEVER;
                self.queue.push(Event { time: due, out });
            }
        }
    }

    /// Pauses [`Machine::advance`] when a net changes.
    pub fn stop_at(&mut self, net: NetKey, on: bool) {
        self.set_flag(net, flag::STOP, on);
    }

    /// Keeps what a net was before the moment of its last change, for [`Machine::level_before`].
    pub fn keep_before(&mut self, net: NetKey) {
        if self.befores.is_empty() {
            self.befores = vec![(LONG_AGO, Level::U); self.nets.len()];
        }
        self.set_flag(net, flag::KEPT, true);
    }

    /// The level that a net had just before the present moment, when [`Machine::keep_before`] asked for it; else its
    /// level.
    pub fn level_before(&self, net: NetKey) -> Level {
        match self.befores.get(net.index()) {
            Some(&(time, level)) if time == self.time => level,
            _ => self.level(net),
        }
    }

    /// True once time has begun to pass, be it only the first moment.
    pub fn has_begun(&self) -> bool {
        self.awake
    }

    /// Tells a sink of each change of a net.
    pub fn watch(&mut self, net: NetKey, on: bool) {
        self.set_flag(net, flag::WATCHED, on);
    }

    fn set_flag(&mut self, net: NetKey, flag: u8, on: bool) {
        let flags = &mut self.nets[net.index()].flags;
        *flags = if on { *flags | flag } else { *flags & !flag };
    }

    /// Opens or closes a contact: `position` 0 is open, 1 closed (or up), 2 down.
    pub fn contact(&mut self, discrete: crate::circuit::DiscreteKey, position: u8) {
        self.chain = 0;
        for net in self.links.set_contact(discrete, position) {
            self.follow_links(net);
        }
    }

    /// Puts an image into the memory of a chip; `offset` is added to its addresses.
    ///
    /// # Errors
    /// When it does not fit.
    pub fn load(&mut self, chip: ChipKey, image: &Image, offset: i64) -> Result<(), LoadFault> {
        let cell = self.cell_of[chip].ok_or(LoadFault::NotFed)? as usize;
        let shape = self.parts[cell]
            .function
            .memories
            .first()
            .ok_or(LoadFault::NoMemory)?;
        if shape.width > 8 {
            return Err(LoadFault::Width(shape.width));
        }
        // Nothing is put in place before all of it fits.
        let mut any = false;
        for (start, bytes) in image.segments() {
            let first = (start as i64).saturating_add(offset);
            let last = first.saturating_add(bytes.len() as i64 - 1);
            let fits = |address: i64| u64::try_from(address).is_ok_and(|at| at < shape.words);
            if let Some(address) = [first, last].into_iter().find(|&address| !fits(address)) {
                // The first one that does not exist.
                let address = if address < 0 {
                    address
                } else {
                    address.min(first.max(shape.words as i64))
                };
                return Err(LoadFault::TooLong {
                    address,
                    words: shape.words,
                });
            }
            any |= !bytes.is_empty();
        }
        if !any {
            return Err(LoadFault::Empty);
        }
        let memory = &mut self.cells[cell].held.memories[0];
        for (start, bytes) in image.segments() {
            for (address, &byte) in (start as i64 + offset..).zip(bytes) {
                memory.set(address as u64, Word::known(byte.into()));
            }
        }
        self.force(cell as u32);
        Ok(())
    }

    fn force(&mut self, index: u32) {
        let cell = &mut self.cells[index as usize];
        cell.forced = true;
        if !cell.dirty {
            cell.dirty = true;
            self.dirty.push(index);
        }
    }

    // ---- the loop ---------------------------------------------------------------------------------------------

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

    /// Power has come, and everything has come to rest around the storage as it woke up: all outputs have their levels
    /// at once, and no first level of a clock is an edge.
    fn wake<S: Sink>(&mut self, sink: &mut S) {
        for _ in 0..MOST_ROUNDS {
            while let Some(0) = self.queue.peek() {
                if let Some(out) = self.queue.pop_at(0)
                    && self.outs[out as usize].due == 0
                {
                    self.fire(out, sink);
                }
            }
            if self.dirty.is_empty() && !self.settle_storage() {
                break;
            }
            for index in std::mem::take(&mut self.dirty) {
                self.rest(index as usize);
            }
        }
        for index in 0..self.cells.len() {
            self.force(index as u32);
        }
    }

    /// Lets storage that is set by level, by a clear or an open latch, follow; true when any has moved.
    fn settle_storage(&mut self) -> bool {
        for index in 0..self.cells.len() {
            let cell = &mut self.cells[index];
            let function = &self.parts[index].function;
            let state = cell.held.state;
            if !function.is_combinational() {
                function.step(cell.seen, cell.now, &mut cell.held, &mut self.scratch);
            }
            if cell.held.state != state && !cell.dirty {
                cell.dirty = true;
                self.dirty.push(index as u32);
            }
        }
        !self.dirty.is_empty()
    }

    /// The outputs of a chip take the levels that they want, without delay and without an edge.
    fn rest(&mut self, index: usize) {
        let cell = &mut self.cells[index];
        cell.dirty = false;
        let function = &self.parts[index].function;
        let changed = difference(cell.seen.inputs, cell.now);
        cell.seen = Seen {
            inputs: cell.now,
            nodes: function.nodes(cell.now, &cell.held, &mut self.scratch),
        };
        let before = Before {
            was: cell.seen,
            state: cell.held.state,
            changed,
            at_rest: true,
        };
        cell.wanted = function.drive(cell.seen, &cell.held, &mut self.scratch);
        let (wanted, first) = (cell.wanted, cell.first_out);
        for bit in 0..self.parts[index].function.outputs.len() {
            let out = first + bit as u32;
            let (level, state) = (wanted_level(&wanted, bit), &mut self.outs[out as usize]);
            if state.now != level {
                (state.next, state.due) = (level, 0);
                self.queue.push(Event { time: 0, out });
                self.remember_cause(index, out, level, before);
            }
        }
    }

    /// The time of the next event.
    pub fn next_event(&mut self) -> Option<Time> {
        if !self.awake {
            return Some(Time::from_ps(self.time));
        }
        self.settle_dirty();
        self.queue.peek().map(Time::from_ps)
    }

    fn settle_dirty(&mut self) {
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
    fn fire<S: Sink>(&mut self, out: u32, sink: &mut S) {
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
        if matches!(self.owners[out as usize], Owner::Oscillator(_)) {
            return self.swing(out);
        }
        self.tick(out);
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
        if self.clocks.is_empty() || self.outs[out as usize].due != NEVER {
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

    /// An oscillator swings.
    fn swing(&mut self, out: u32) {
        let Some(&(_, cell, period)) = self
            .oscillators
            .iter()
            .find(|oscillator| oscillator.0 == out)
        else {
            return;
        };
        let bit = self.parts[cell as usize].function.oscillator.unwrap_or(0);
        let state = &mut self.cells[cell as usize].held.state;
        let (now, unknown) = (state.value >> bit & 1 == 1, state.unknown >> bit & 1 == 1);
        // The first swing begins low.
        let high = !now && !unknown;
        *state = Word {
            value: state.value & !(1 << bit) | u64::from(high) << bit,
            unknown: state.unknown & !(1 << bit),
        };
        // The two halves of an odd period differ by a picosecond.
        let half = if high {
            period / 2
        } else {
            period - period / 2
        };
        self.outs[out as usize].due = self.time + half.max(1);
        self.queue.push(Event {
            time: self.time + half.max(1),
            out,
        });
        self.force(cell);
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
            return state.level;
        }
        self.note_fight(net, low, high);
        level
    }

    fn note_fight(&mut self, net: usize, low: Option<u32>, high: Option<u32>) {
        let log = &mut self.fights[net];
        match (low, high, log.since) {
            (Some(low), Some(high), None) => {
                log.since = Some(self.time);
                if log.count == 0 {
                    log.first = self.time;
                    log.pair = (low, high);
                }
            }
            (Some(_), Some(_), Some(_)) | (_, _, None) => {}
            (_, _, Some(since)) => {
                log.since = None;
                // Drivers that change hands in the same picosecond do not meet.
                let stretch = self.time - since;
                if stretch > 0 {
                    log.count += 1;
                    log.longest = log.longest.max(stretch);
                    log.total += stretch;
                }
            }
        }
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
            self.chains[(cell.first_stamp + bit) as usize] = self.chain;
            if !cell.dirty {
                cell.dirty = true;
                self.dirty.push(index);
            }
        }
    }

    /// A net begins to float, because a driver has let go, or no longer floats.
    fn note_float(&mut self, net: usize, let_go: Option<u32>) {
        let log = &mut self.floats[net];
        if let_go.is_some() {
            log.since = Some(self.time);
            if log.count == 0 {
                log.first = self.time;
            }
            log.last_driver = let_go;
        } else if let Some(since) = log.since.take() {
            let stretch = self.time - since;
            if stretch > 0 {
                log.count += 1;
                log.longest = log.longest.max(stretch);
            }
        }
    }

    /// The level of a net before anything has moved.
    pub(super) fn first_level(&mut self, net: usize) {
        let state = self.nets[net];
        if state.flags & flag::FIXED == 0 && state.drivers.1 > 0 {
            let rows = state.drivers.0 as usize..(state.drivers.0 + state.drivers.1) as usize;
            let level = self.net_drivers[rows].iter().fold(Level::Z, |level, &out| {
                level.resolve(self.outs[out as usize].now)
            });
            self.nets[net].level = level;
            if level.is_known() {
                self.tell_listeners(net, level);
            }
        }
        let floats = self.nets[net].level == Level::Z && self.nets[net].listeners.1 > 0;
        if floats {
            self.floats[net].since = Some(self.time);
        }
    }

    // ---- one chip ---------------------------------------------------------------------------------------------

    fn evaluate(&mut self, index: usize) {
        let cell = &mut self.cells[index];
        cell.dirty = false;
        let forced = std::mem::take(&mut cell.forced);
        let function = &self.parts[index].function;
        let (was, now) = (cell.seen, cell.now);
        let changed = difference(was.inputs, now);
        if changed == 0 && !forced {
            return;
        }
        self.counters.evaluations += 1;
        let checked = !self.tables[cell.table as usize].requirements.is_empty();
        if changed & function.sensitive == 0 && !forced && !checked {
            cell.seen.inputs = now;
            return;
        }
        let before = cell.held.state;
        let mut seen = function.step(was, now, &mut cell.held, &mut self.scratch);
        let mut blurred = false;
        if checked {
            blurred = self.check(index, was, seen, before);
        }
        if self.parts[index].function.forbid_count() > 0 {
            blurred |= self.forbid(index, seen);
        }
        let cell = &mut self.cells[index];
        let function = &self.parts[index].function;
        if blurred {
            cell.lost = Some(self.time);
            // Nodes may hang on what is stored.
            seen.nodes = function.nodes(now, &cell.held, &mut self.scratch);
        }
        cell.seen = seen;
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
        let table = &self.tables[cell.table as usize];
        let disturbed = if changed & table.unsettled == 0 {
            0
        } else {
            Word::mask(table.outputs as u32)
        };
        let before = Before {
            was,
            state: before,
            changed,
            at_rest: false,
        };
        self.move_outputs(index, moved, disturbed, old, before);
        self.remember_clocked(index, before);
    }

    /// Schedules the outputs that want a new level.
    fn move_outputs(
        &mut self,
        index: usize,
        moved: u64,
        disturbed: u64,
        old: Drive,
        before: Before,
    ) {
        let changed = before.changed;
        let mut rest = moved | disturbed;
        while rest != 0 {
            let bit = rest.trailing_zeros() as usize;
            rest &= rest - 1;
            let cell = &self.cells[index];
            let (from, to) = (wanted_level(&old, bit), wanted_level(&cell.wanted, bit));
            let table = &self.tables[cell.table as usize];
            let function = &self.parts[index].function;
            let arc = function.arcs[bit];
            let causes = if changed & arc == 0 {
                arc
            } else {
                changed & arc
            };
            // The shortest chain counts: what a stimulus takes part in is no loop.
            self.chain = 0;
            if changed & arc != 0 {
                let chain = |input| self.chains[cell.first_stamp as usize + input];
                self.chain = 1 + extreme(causes, false, chain);
            }
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
                    table.delay(input, bit, transition(Level::X, to))
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
                let how = transition(from, to);
                let longest = self.settings.corner != Corner::Fastest;
                // What swings by itself is not moved by an input that the sheet could time.
                let delay = if changed == 0 && function.oscillator.is_some() {
                    0
                } else {
                    extreme(causes, longest, |input| table.delay(input, bit, how))
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
        let table = &self.tables[cell.table as usize];
        let mut ready = self.time;
        for_each_bit(table.launches[bit], |input| {
            let came = self.arrivals[cell.first_stamp as usize + input];
            ready = ready.max(came + i64::from(table.delay(input, bit, how)));
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
    fn disturb(&mut self, out: u32, level: Level, blur: i64, settle: i64) {
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

    // ---- what was found ---------------------------------------------------------------------------------------

    /// Nets on which outputs drove against each other, by net.
    pub fn contentions(&self) -> Vec<Contention> {
        let rows = self.fights.iter().enumerate();
        rows.filter_map(|(net, log)| {
            let running = log.since.map_or(0, |since| self.time - since);
            if log.count == 0 && running == 0 {
                return None;
            }
            Some(Contention {
                net: NetKey::from_index(net),
                low: self.owner_path(log.pair.0),
                high: self.owner_path(log.pair.1),
                count: log.count + u64::from(running > 0),
                first: Time::from_ps(log.first),
                longest: Time::from_ps(log.longest.max(running)),
                total: Time::from_ps(log.total + running),
                lasting: running > 0,
            })
        })
        .collect()
    }

    /// Nets that floated while chips listened, by net.
    pub fn floating(&self) -> Vec<Floating> {
        let rows = self.floats.iter().enumerate();
        rows.filter_map(|(net, log)| {
            let running = log.since.map_or(0, |since| self.time - since);
            if log.count == 0 && running == 0 {
                return None;
            }
            let listener = self.net_listeners[self.nets[net].listeners.0 as usize];
            let (cell, bit) = ((listener >> 6) as usize, (listener & 63) as usize);
            let pin = self.parts[cell].function.inputs[bit];
            Some(Floating {
                net: NetKey::from_index(net),
                listener: self.circuit.pin_path(self.cells[cell].chip, pin),
                last_driver: log.last_driver.map(|out| self.owner_path(out)),
                count: log.count + u64::from(running > 0),
                first: Time::from_ps(log.first),
                longest: Time::from_ps(log.longest.max(running)),
                lasting: running > 0,
            })
        })
        .collect()
    }

    /// Forbidden uses, by chip.
    pub fn forbidden(&self) -> Vec<Forbidden> {
        let mut found = Vec::new();
        for (index, logs) in self.forbid_logs.iter().enumerate() {
            for (at, log) in logs.iter().enumerate().filter(|(_, log)| log.count > 0) {
                let text = self.parts[index].function.forbid_text(at).to_owned();
                found.push(Forbidden {
                    chip: self.cells[index].chip,
                    text,
                    count: log.count,
                    first: Time::from_ps(log.first),
                });
            }
        }
        found
    }

    /// Outputs that swallowed pulses, with how many.
    pub fn swallowed(&self) -> Vec<(String, u64)> {
        let counts = self
            .swallowed
            .iter()
            .enumerate()
            .filter(|(out, count)| **count > 0 && self.owners[*out].is_chip());
        counts
            .map(|(out, &count)| (self.owner_path(out as u32), count.into()))
            .collect()
    }

    /// The path of what drives.
    pub(super) fn owner_path(&self, out: u32) -> String {
        match self.owners[out as usize] {
            Owner::Chip(chip, pin) => self.circuit.pin_path(chip, pin),
            Owner::Oscillator(chip) => self.circuit.chips[chip].path.clone(),
            Owner::Stimulus(net) => format!("the stimulus on {}", self.circuit.nets[net].path),
            Owner::Link(discrete) => self.circuit.discretes[discrete].path.clone(),
        }
    }

    /// The name of an input or node of a cell.
    pub(super) fn signal_name(&self, index: usize, signal: crate::part::sheet::Signal) -> String {
        signal_name(&self.parts[index], signal)
    }

    /// Follows the loop from the output that fired last: each step to a listener's output that is about to move.
    fn runaway(&self, last: Option<u32>, without_delay: bool) -> Runaway {
        let mut around: Vec<u32> = Vec::new();
        let mut next = last;
        while let Some(out) = next {
            if let Some(at) = around.iter().position(|&other| other == out) {
                around.drain(..at);
                break;
            }
            around.push(out);
            next = self.next_in_loop(out, &around);
        }
        let around = around.into_iter().map(|out| self.owner_path(out)).collect();
        Runaway {
            time: Time::from_ps(self.time),
            without_delay,
            around,
        }
    }

    /// An output that this one moves; preferably one that is on its way, or one that closes the loop.
    fn next_in_loop(&self, out: u32, around: &[u32]) -> Option<u32> {
        let net = self.outs[out as usize].net as usize;
        let state = self.nets.get(net)?;
        let rows = state.listeners.0 as usize..(state.listeners.0 + state.listeners.1) as usize;
        let mut followers = Vec::new();
        for &packed in &self.net_listeners[rows] {
            let (cell, input) = ((packed >> 6) as usize, packed & 63);
            for (bit, arc) in self.parts[cell].function.arcs.iter().enumerate() {
                if arc >> input & 1 == 1 {
                    followers.push(self.cells[cell].first_out + bit as u32);
                }
            }
        }
        let moving = |out: &&u32| self.outs[**out as usize].due != NEVER;
        let closing = |out: &&u32| around.contains(out);
        followers
            .iter()
            .find(moving)
            .or_else(|| followers.iter().find(closing))
            .or_else(|| {
                followers
                    .iter()
                    .max_by_key(|out| self.swallowed[**out as usize])
            })
            .copied()
    }
}

impl Owner {
    fn is_chip(self) -> bool {
        matches!(self, Owner::Chip(..))
    }
}

pub(super) fn for_each_bit(mut mask: u64, mut act: impl FnMut(usize)) {
    while mask != 0 {
        act(mask.trailing_zeros() as usize);
        mask &= mask - 1;
    }
}

fn difference(a: Word, b: Word) -> u64 {
    (a.value ^ b.value) | (a.unknown ^ b.unknown)
}

/// What one output bit is to be.
fn wanted_level(drive: &Drive, bit: usize) -> Level {
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
fn transition(from: Level, to: Level) -> Transition {
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

/// The longest or shortest of the delays from the inputs of a mask.
fn extreme(mut mask: u64, longest: bool, delay: impl Fn(usize) -> u32) -> u32 {
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
