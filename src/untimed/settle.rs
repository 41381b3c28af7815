//! The loop: from one moment to the next, and within a moment from wave to wave.

use super::bus::Drive;
use super::machine::Machine;
use super::place::{Node, PlaceKind, Source};
use super::signal::{DIRTY, NEVER};
use crate::logic::{Level, Word};
use crate::quantity::Time;
use crate::run::Pause;

/// Moments from one look at the time to the next.
const LOOK: u64 = 1 << 12;
/// More waves than this in one moment come to no end.
const MOST_WAVES: u32 = 10_000;
/// More evaluations than so many for each node come to no end.
const MOST_ROUNDS: u64 = 64;

/// Which levels of its inputs are gathered.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum At {
    Now,
    /// Before this wave.
    Before,
    /// Before this moment.
    Origin,
}

impl Machine<'_> {
    /// Runs until a time, or until a net marked by [`Machine::stop_at`] changes; all that happens in that moment is done
    /// before it comes back.
    pub fn advance(&mut self, until: Time) -> Pause {
        self.stop = false;
        if !self.awake {
            self.wake();
        }
        if std::mem::take(&mut self.hands) {
            self.begin_moment();
            self.run_moment();
        }
        loop {
            if let Some(refusal) = &self.refusal {
                return Pause::Refused(refusal.clone());
            }
            if self.stop {
                self.settle_sleepers();
                return Pause::Changed;
            }
            let due = self.agenda.iter().map(|row| row.0).min().unwrap_or(NEVER);
            if due > until.ps() {
                break;
            }
            if self.moments >= self.next_look {
                self.next_look = self.moments + LOOK;
                return Pause::Looked;
            }
            self.time = due;
            self.begin_moment();
            self.fire(due);
            self.run_moment();
        }
        self.time = self.time.max(until.ps());
        self.settle_sleepers();
        Pause::Reached
    }

    fn begin_moment(&mut self) {
        self.moment += 1;
        self.wave += 1;
        self.moments += 1;
    }

    /// Everything that is due moves.
    fn fire(&mut self, due: i64) {
        for at in (0..self.agenda.len()).rev() {
            if self.agenda[at].0 != due {
                continue;
            }
            match self.agenda[at].1 {
                Source::Oscillator(unit, period) => {
                    let signal = self.units[unit as usize].state;
                    let cell = self.units[unit as usize].cell;
                    let function = &self.cells[cell as usize].part.function;
                    let mask = function.oscillator.map_or(0, |bit| 1 << bit);
                    let state = self.signals[signal as usize].now;
                    // The first swing begins low; the halves of an odd period differ by a picosecond.
                    let high = (state.value | state.unknown) & mask == 0;
                    let half = if high { period / 2 } else { period - period / 2 };
                    self.agenda[at].0 = due + half.max(1);
                    let value = state.value & !mask | if high { mask } else { 0 };
                    self.put_signal(signal, Word::new(value, state.unknown & !mask));
                }
                Source::Clock(net, low, high) => {
                    let rises = !self.stimulus_is_high(net);
                    self.agenda[at].0 = due + if rises { high } else { low };
                    self.stimulate(net, if rises { Level::One } else { Level::Zero });
                    self.hands = false;
                }
                Source::Charge(knot, row) => {
                    self.agenda.swap_remove(at);
                    self.filled(knot, row);
                }
            }
        }
    }

    fn stimulus_is_high(&self, net: crate::circuit::NetKey) -> bool {
        match self.places[net].kind {
            PlaceKind::Knot(knot, row) => self.knots[knot as usize].nets[row as usize].stimulus == Some(Level::One),
            _ => false,
        }
    }

    /// Lets everything follow what has moved.
    fn run_moment(&mut self) {
        let mut waves = 0;
        loop {
            self.settle_logic();
            if self.refusal.is_some() {
                return;
            }
            self.store();
            if self.pending.is_empty() && !self.is_dirty() {
                break;
            }
            self.wave += 1;
            for at in 0..self.pending.len() {
                let (signal, state) = self.pending[at];
                self.put_signal(signal, state);
            }
            self.pending.clear();
            waves += 1;
            if waves > MOST_WAVES {
                return self.refuse_endless();
            }
        }
        if !self.skewed.is_empty() {
            self.look_at_skewed();
        }
        if !self.spells_moved.is_empty() || !self.buses_moved.is_empty() {
            self.follow_spells();
        }
        if self.note_moved || self.notes_sleepers {
            self.follow_notes();
        }
    }

    pub(super) fn is_dirty(&self) -> bool {
        self.sets[..self.lively].iter().any(|sets| sets.0[DIRTY] != 0)
    }

    /// Evaluates everything that has to look, in the order of levels.
    pub(super) fn settle_logic(&mut self) {
        let before = self.evaluations;
        let most = MOST_ROUNDS * self.nodes.len() as u64 + 10_000;
        loop {
            for word in 0..self.lively {
                self.settle_word(word);
                if self.evaluations - before > most {
                    return self.refuse_endless();
                }
            }
            if !self.is_dirty() {
                break;
            }
        }
        if std::mem::take(&mut self.rings_moved) && !self.waking {
            self.look_at_rings();
        }
    }

    /// Evaluates what nobody but a person looks at.
    pub(super) fn settle_sleepers(&mut self) {
        for word in self.lively..self.sets.len() {
            self.settle_word(word);
        }
    }

    fn settle_word(&mut self, word: usize) {
        loop {
            let set = &mut self.sets[word].0[DIRTY];
            let dirty = *set;
            if dirty == 0 {
                return;
            }
            *set = dirty & (dirty - 1);
            self.evaluations += 1;
            self.evaluate(word * 64 + dirty.trailing_zeros() as usize);
        }
    }

    /// The bits of some segments, and which of them are unknown.
    #[inline]
    pub(super) fn gather(&self, (first, last): (u32, u32)) -> (u64, u64) {
        let (mut value, mut unknown) = (0, 0);
        for segment in &self.segments[first as usize..last as usize] {
            let word = self.signals[segment.signal as usize].now;
            value |= word.value.rotate_left(segment.turn) & segment.mask;
            unknown |= word.unknown.rotate_left(segment.turn) & segment.mask;
        }
        (value, unknown)
    }

    /// All inputs of a chip, in their places.
    pub(super) fn inputs(&self, cell: u32, at: At) -> Word {
        let cell = &self.cells[cell as usize];
        let mut inputs = cell.fixed;
        inputs.unknown &= !cell.variable;
        let (first, last) = cell.gather;
        for segment in &self.segments[first as usize..last as usize] {
            let signal = &self.signals[segment.signal as usize];
            let word = match at {
                At::Before if signal.wave == self.wave => signal.was,
                At::Origin if signal.moment == self.moment => signal.origin,
                _ => signal.now,
            };
            inputs.value |= word.value.rotate_left(segment.turn) & segment.mask;
            inputs.unknown |= word.unknown.rotate_left(segment.turn) & segment.mask;
        }
        inputs
    }

    /// The lines of a bus take the levels that their drivers make of them.
    pub(super) fn settle_bus(&mut self, number: u32) {
        let bus = &self.buses[number as usize];
        let mut all = Drive::default();
        for driver in &self.bus_drivers[bus.drivers.0 as usize..bus.drivers.1 as usize] {
            let drive = self.drives[driver.drive as usize];
            all.one |= drive.one.rotate_left(driver.turn) & driver.mask;
            all.zero |= drive.zero.rotate_left(driver.turn) & driver.mask;
            all.blur |= drive.blur.rotate_left(driver.turn) & driver.mask;
        }
        let fight = all.one & all.zero;
        let blur = all.blur | fight;
        let (one, zero) = (all.one & !blur, all.zero & !blur);
        let free = bus.width & !(one | zero | blur);
        let pulled = bus.weak.one ^ bus.weak.zero;
        let floats = free & !(bus.weak.one | bus.weak.zero) & bus.heard;
        let word = Word { value: one | free & pulled & bus.weak.one, unknown: blur | free & !pulled };
        let signal = bus.signal;
        let moved = (one, zero, blur) != (bus.drive.one, bus.drive.zero, bus.drive.blur);
        let spells = (fight ^ bus.fight) | (floats ^ bus.floats);
        let released = floats & !bus.floats;
        let bus = &mut self.buses[number as usize];
        bus.drive = Drive { one, zero, blur };
        (bus.fight, bus.floats) = (fight, floats);
        if spells != 0 && !std::mem::replace(&mut bus.unsettled, true) {
            self.buses_moved.push(number);
        }
        let watched = bus.watched;
        if released != 0 {
            self.note_released(number, released);
        }
        self.note_moved |= moved && self.signals[signal as usize].noted;
        if watched != 0 && !self.waking {
            self.watch_for_handover(number);
        }
        self.put_signal(signal, word);
    }

    /// A signal takes new levels; who listens is told.
    #[inline(always)]
    pub(super) fn put_signal(&mut self, number: u32, word: Word) {
        let now = self.signals[number as usize].now;
        if now.unknown | word.unknown != 0 {
            self.blur_signal(number, word);
        } else if now.value != word.value {
            self.move_signal(number, word.value);
        }
    }

    /// From known levels to known levels.
    fn move_signal(&mut self, number: u32, value: u64) {
        let signal = &mut self.signals[number as usize];
        let moved = signal.now.value ^ value;
        let twice = signal.follow(Word::known(value), moved, (self.wave, self.moment));
        self.note_moved |= signal.noted;
        let (first, last) = signal.taps;
        let listeners = (signal.listeners.0, signal.blurs);
        // The taps of one word of the set come together: it is written once.
        let (mut at, mut dirty) = (0, 0);
        for tap in &self.taps[first as usize..last as usize] {
            if tap.word != at {
                self.sets[at as usize].0[DIRTY] |= dirty;
                (at, dirty) = (tap.word, 0);
            }
            let bits = moved.rotate_left(tap.turn) & tap.mask;
            self.rows[tap.place as usize].known ^= bits;
            dirty |= if bits == 0 { 0 } else { tap.bit };
        }
        self.sets[at as usize].0[DIRTY] |= dirty;
        if listeners.0 != listeners.1 {
            let masks = [moved, moved & value, moved & !value, 0];
            self.tell(listeners, masks);
        }
        if twice != 0 && !self.waking {
            self.refuse_twice(number, twice);
        }
    }

    #[inline(always)]
    fn tell(&mut self, (first, last): (u32, u32), masks: [u64; 4]) {
        for listener in &self.listeners[first as usize..last as usize] {
            if masks[listener.hears as usize] & listener.bits != 0 {
                self.sets[listener.word as usize].0[usize::from(listener.set)] |= listener.mask;
            }
        }
    }

    /// From or to levels that are not all known.
    #[cold]
    fn blur_signal(&mut self, number: u32, word: Word) {
        let signal = &mut self.signals[number as usize];
        let old = signal.now;
        let (turned, blurred) = (old.value ^ word.value, old.unknown ^ word.unknown);
        let moved = turned | blurred;
        if moved == 0 {
            return;
        }
        let twice = signal.follow(word, moved, (self.wave, self.moment));
        self.note_moved |= signal.noted;
        let listeners = signal.listeners;
        for tap in &self.taps[signal.taps.0 as usize..signal.taps.1 as usize] {
            let place = |bits: u64| bits.rotate_left(tap.turn) & tap.mask;
            let row = &mut self.rows[tap.place as usize];
            row.known ^= place(turned);
            row.unknown ^= place(blurred);
            self.sets[tap.word as usize].0[DIRTY] |= if place(moved) == 0 { 0 } else { tap.bit };
        }
        let clean = moved & !old.unknown & !word.unknown;
        let masks = [moved, clean & word.value, clean & !word.value, moved & !clean];
        self.tell(listeners, masks);
        if twice != 0 && !self.waking {
            self.refuse_twice(number, twice);
        }
    }

    /// Everything has to look.
    pub(super) fn mark_all(&mut self) {
        for place in 0..self.nodes.len() {
            if self.nodes[place] != Node::Nothing {
                self.sets[place / 64].0[DIRTY] |= 1 << (place % 64);
            }
        }
    }
}
