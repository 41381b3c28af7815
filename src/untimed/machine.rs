//! The machine: what is where now, and the hands on it.

use super::knots::Knot;
use super::layout::{DIRTY, Sets};
use super::look::Note;
use super::loops::Loop;
use super::order::Ring;
use super::pieces::{Cell, Unit};
use super::plans::Fill;
use super::store::Register;
use super::turn::{Glance, Row};
use crate::circuit::{ChipKey, Circuit, DiscreteKey, NetKey};
use crate::evaluate::Lookups;
use crate::image::Image;
use crate::key::KeyVec;
use crate::logic::{Level, Word};
use crate::part::function::flat::Flat;
use crate::part::function::{Held, Scratch};
use crate::quantity::Time;
use crate::run::{
    ContentionLog, Counters, Driver, FloatLog, LoadFault, Occurrences, Refusal, Settings, blank,
    put,
};
use std::sync::Arc;

/// No row.
pub(super) const NONE: u32 = u32::MAX;
/// Nothing is due.
pub(super) const NEVER: i64 = i64::MAX;

/// The levels of up to 64 nets, or the stored bits of a unit. What is needed whenever it moves comes first, in a line of
/// cache.
#[derive(Clone, Copy, Debug, Default)]
#[repr(C, align(64))]
pub(super) struct Signal {
    pub(super) now: Word,
    pub(super) wave: u64,
    pub(super) moment: u64,
    /// Bits that moved in that moment.
    pub(super) moved: u64,
    /// Pieces that look their outputs up by its bits.
    pub(super) taps: (u32, u32),
    pub(super) listeners: (u32, u32),
    /// Where those of them begin that hear only of what is unknown.
    pub(super) blurs: u32,
    /// True when somebody outside looks at one of its nets.
    pub(super) noted: bool,
    /// Before the wave in which it moved last.
    pub(super) was: Word,
    /// Before the moment in which it moved last.
    pub(super) origin: Word,
    /// Bits that clock, clear, enable or write something.
    pub(super) controls: u64,
    /// Bits that may have had a pulse in the wave `glitch_wave`.
    pub(super) glitches: u64,
    pub(super) glitch_wave: u64,
}

impl Signal {
    /// Takes new levels; tells which bits that control something move for the second time in a moment.
    #[inline(always)]
    pub(super) fn follow(&mut self, word: Word, moved: u64, (wave, moment): (u64, u64)) -> u64 {
        let old = std::mem::replace(&mut self.now, word);
        let mut twice = 0;
        if self.moment == moment {
            if self.wave != wave {
                twice = moved & self.moved & self.controls;
                (self.wave, self.was) = (wave, old);
            }
            self.moved |= moved;
        } else {
            (self.moment, self.origin, self.moved) = (moment, old, moved);
            (self.wave, self.was) = (wave, old);
        }
        twice
    }
}

/// Which movements a listener waits for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Hears {
    Any = 0,
    Rise = 1,
    Fall = 2,
    /// From or to unknown.
    Blur = 3,
}

/// Bits of a set that are set when some bits of a signal move.
#[derive(Clone, Copy, Debug)]
pub(super) struct Listener {
    pub(super) bits: u64,
    pub(super) mask: u64,
    pub(super) word: u32,
    pub(super) set: u8,
    pub(super) hears: Hears,
}

/// Bits of one signal on their way into what a row knows.
#[derive(Clone, Copy, Debug)]
pub(super) struct Tap {
    /// In their places there.
    pub(super) mask: u64,
    /// The row, which is a place in the sets.
    pub(super) place: u32,
    pub(super) turn: u32,
    /// The word of that place, and its bit there.
    pub(super) word: u32,
    pub(super) bit: u64,
}

/// Bits of one signal on their way into a gathered word.
#[derive(Clone, Copy, Debug)]
pub(super) struct Segment {
    pub(super) signal: u32,
    pub(super) turn: u32,
    pub(super) mask: u64,
}

/// What a unit drives on nets that it shares.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Drive {
    pub(super) one: u64,
    pub(super) zero: u64,
    pub(super) blur: u64,
}

/// Lines that the same outputs drive.
#[derive(Clone, Debug)]
pub(super) struct Bus {
    pub(super) signal: u32,
    /// Rows of [`Machine::bus_drivers`].
    pub(super) drivers: (u32, u32),
    pub(super) width: u64,
    /// What pull resistors make of it when nobody drives.
    pub(super) weak: Drive,
    pub(super) drive: Drive,
    pub(super) fight: u64,
    /// The fights and floats that are told, and whether they may have changed.
    pub(super) told: (u64, u64),
    pub(super) unsettled: bool,
    /// Lines that some chip listens to.
    pub(super) heard: u64,
    /// Lines that clock, clear or enable something, or lead to what does.
    pub(super) watched: u64,
    pub(super) floats: u64,
    pub(super) nets: Vec<NetKey>,
}

/// Bits of one unit's drive on a bus.
#[derive(Clone, Copy, Debug)]
pub(super) struct BusDriver {
    pub(super) drive: u32,
    pub(super) turn: u32,
    pub(super) mask: u64,
}

/// What has its turn in the order of levels.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Node {
    Unit(u32),
    Bus(u32),
    Knot(u32),
    /// Fills a word of the sets up.
    Nothing,
}

/// Where a net is.
#[derive(Clone, Copy, Debug)]
pub(super) struct Place {
    pub(super) signal: u32,
    pub(super) bit: u32,
    pub(super) kind: PlaceKind,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum PlaceKind {
    /// A rail.
    Fixed(Level),
    /// One output that never lets go drives it.
    Own,
    Bus(u32),
    /// With its row of the knot's nets.
    Knot(u32, u32),
}

/// What moves by itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Source {
    /// A unit whose stored bit swings, with the period in picoseconds.
    Oscillator(u32, i64),
    /// A stimulus, low and high for so long.
    Clock(NetKey, i64, i64),
    /// A pull of a knot's net against a capacitor.
    Charge(u32, u32),
}

/// A circuit in motion, without delays.
#[derive(Clone)]
pub struct Machine<'c> {
    pub(super) circuit: &'c Circuit,
    pub(super) settings: Settings,
    pub(super) time: i64,
    pub(super) wave: u64,
    pub(super) moment: u64,
    pub(super) signals: Vec<Signal>,
    pub(super) taps: Vec<Tap>,
    pub(super) listeners: Vec<Listener>,
    pub(super) sets: Vec<Sets>,
    /// Words of the nodes that somebody listens to; those behind look only when they are asked.
    pub(super) lively: usize,
    pub(super) nodes: Vec<Node>,
    /// What each node needs when it has its turn.
    pub(super) rows: Vec<Row>,
    pub(super) glances: Vec<Glance>,
    /// The plain registers, each at the place of its node.
    pub(super) registers: Vec<Register>,
    /// Outputs that may give a pulse, of small guarded pieces: by what they were looked up by before and behind it.
    pub(super) pulses: Vec<u16>,
    /// The last wave in which some gate may have given a pulse.
    pub(super) glitched: u64,
    pub(super) unit_places: Vec<u32>,
    pub(super) knot_places: Vec<u32>,
    pub(super) units: Vec<Unit>,
    pub(super) cells: Vec<Cell>,
    pub(super) cell_of: KeyVec<ChipKey, Option<u32>>,
    pub(super) held: Vec<Held>,
    pub(super) segments: Vec<Segment>,
    pub(super) tables: Lookups,
    /// How the rows of each table are computed.
    pub(super) fills: Vec<Fill>,
    /// Two programs side by side: which outputs are high-impedance, and the levels.
    pub(super) flats: Vec<Arc<Flat>>,
    pub(super) drives: Vec<Drive>,
    /// For each of them, what it was before the wave in which it moved last.
    pub(super) given: Vec<super::handover::Given>,
    /// Words and bits of the dirty set for the buses and knots behind a drive.
    pub(super) behind: Vec<(u32, u64)>,
    pub(super) buses: Vec<Bus>,
    pub(super) bus_drivers: Vec<BusDriver>,
    pub(super) knots: Vec<Knot>,
    pub(super) places: KeyVec<NetKey, Place>,
    pub(super) loops: Vec<Loop>,
    pub(super) rings: Vec<Ring>,
    /// A buffer of a ring has been switched.
    pub(super) rings_moved: bool,
    /// What is due: at most one row for each source.
    pub(super) agenda: Vec<(i64, Source)>,
    /// Signals of what has been stored in this wave.
    pub(super) pending: Vec<(u32, Word)>,
    /// Registers that stored in this moment although the sheets do not promise that what is before them waits.
    pub(super) skewed: Vec<super::skew::Sampled>,
    /// The storage that may overtake each of them.
    pub(super) launchers: std::collections::BTreeMap<u32, Vec<u32>>,
    /// The moment in which each unit stored last.
    pub(super) stored: Vec<u64>,
    pub(super) notes: Vec<Note>,
    pub(super) changes: Vec<(Time, NetKey, Level)>,
    pub(super) note_moved: bool,
    /// Signals of units that look only when they are asked.
    pub(super) sleeps: Vec<bool>,
    pub(super) notes_sleepers: bool,
    pub(super) contentions: Vec<ContentionLog<Driver>>,
    pub(super) floats: Vec<FloatLog<Driver>>,
    /// What drove each net last, where it is known.
    pub(super) last_drivers: KeyVec<NetKey, Option<Driver>>,
    pub(super) spells_moved: Vec<u32>,
    pub(super) buses_moved: Vec<u32>,
    pub(super) forbids: Vec<Vec<Occurrences>>,
    pub(super) awake: bool,
    /// Power is coming: nothing that moves is an edge.
    pub(super) waking: bool,
    /// A hand has moved something at this time.
    pub(super) hands: bool,
    pub(super) stop: bool,
    pub(super) refusal: Option<Refusal>,
    pub(super) scratch: Scratch,
    pub(super) moments: u64,
    pub(super) evaluations: u64,
    /// The number of moments at which [`Machine::advance`] comes back.
    pub(super) next_look: u64,
}

/// The state of a [`Machine`] between two moments. It can be put back only into that machine.
#[derive(Clone)]
pub struct Checkpoint<'c>(Box<Machine<'c>>);

impl<'c> Machine<'c> {
    /// The circuit that runs.
    pub fn circuit(&self) -> &'c Circuit {
        self.circuit
    }

    /// The present time.
    pub fn now(&self) -> Time {
        Time::from_ps(self.time)
    }

    /// True once time has begun to pass.
    pub fn has_begun(&self) -> bool {
        self.awake
    }

    /// The state of the machine now.
    pub fn checkpoint(&self) -> Checkpoint<'c> {
        Checkpoint(Box::new(self.clone()))
    }

    /// Puts a state back that this machine had once.
    pub fn restore(&mut self, from: &Checkpoint<'c>) {
        self.clone_from(&from.0);
    }

    /// Lets [`Machine::advance`] come back now and then, see [`Pause::Looked`].
    pub fn pause_to_look(&mut self, on: bool) {
        self.next_look = if on { 0 } else { u64::MAX };
    }

    /// How much work the run was: its events are the moments at which something moved from outside.
    pub fn counters(&self) -> Counters {
        Counters {
            events: self.moments,
            evaluations: self.evaluations,
            filtered: 0,
        }
    }

    /// The stored bits and the memories of a chip; `None` when it is not fed.
    pub fn held(&self, chip: ChipKey) -> Option<Held> {
        let cell = self.cell_of[chip]?;
        Some(Held {
            state: self.state_of(cell),
            memories: self.held[cell as usize].memories.clone(),
        })
    }

    /// A word of the first memory of a chip; `None` when it has none.
    pub fn cell(&self, chip: ChipKey, address: u64) -> Option<Word> {
        let held = &self.held[self.cell_of[chip]? as usize];
        Some(held.memories.first()?.get(address))
    }

    /// Drives a net from now on. The net must have been among the stimuli of [`Machine::new`].
    pub fn set(&mut self, net: NetKey, level: Level) {
        self.agenda
            .retain(|(_, source)| !matches!(source, Source::Clock(other, ..) if *other == net));
        self.stimulate(net, level);
    }

    pub(super) fn stimulate(&mut self, net: NetKey, level: Level) {
        if let PlaceKind::Knot(knot, row) = self.places[net].kind {
            let stimulus = &mut self.knots[knot as usize].nets[row as usize].stimulus;
            if stimulus.is_some() {
                *stimulus = Some(level);
                self.hands = true;
                self.touch_knot(knot);
            }
        }
    }

    /// True for a net that can be driven.
    pub(super) fn is_stimulus(&self, net: NetKey) -> bool {
        match self.places[net].kind {
            PlaceKind::Knot(knot, row) => {
                let rows = &self.knots[knot as usize].nets;
                rows[row as usize].stimulus.is_some()
            }
            _ => false,
        }
    }

    /// Lets go of a net.
    pub fn release(&mut self, net: NetKey) {
        self.set(net, Level::Z);
    }

    /// Lets a net swing from now on: low first, then high and low for these times.
    pub fn clock(&mut self, net: NetKey, low: Time, high: Time) {
        self.set(net, Level::Zero);
        let (low, high) = (low.ps().max(1), high.ps().max(1));
        self.agenda
            .push((self.time + low, Source::Clock(net, low, high)));
    }

    /// Opens or closes a contact: `position` 0 is open, 1 closed (or up), 2 down.
    pub fn contact(&mut self, discrete: DiscreteKey, position: u8) {
        for at in 0..self.knots.len() {
            if self.knots[at].set_contact(discrete, position) {
                self.hands = true;
                self.touch_knot(at as u32);
            }
        }
    }

    /// Puts an image into the memory of a chip; `offset` is added to its addresses.
    ///
    /// # Errors
    /// When it does not fit.
    pub fn load(&mut self, chip: ChipKey, image: &Image, offset: i64) -> Result<(), LoadFault> {
        let cell = self.cell_of[chip].ok_or(LoadFault::NotFed)?;
        LoadFault::check(&self.circuit.chips[chip].part, image, offset)?;
        put(&mut self.held[cell as usize].memories[0], image, offset);
        self.look_again(cell);
        Ok(())
    }

    /// Takes away what the memory of a chip held from the beginning, so that another image can be loaded in its place.
    pub fn unload(&mut self, chip: ChipKey) {
        if let Some(cell) = self.cell_of[chip]
            && blank(self.circuit, chip, &mut self.held[cell as usize])
        {
            self.look_again(cell);
        }
    }

    /// Evaluates all pieces of a chip, although no input moved.
    fn look_again(&mut self, cell: u32) {
        for unit in 0..self.units.len() {
            if self.units[unit].cell == cell {
                self.mark_unit(unit as u32);
            }
        }
        self.hands = true;
    }

    pub(super) fn mark_unit(&mut self, unit: u32) {
        let place = self.unit_places[unit as usize];
        self.sets[place as usize / 64].0[DIRTY] |= 1 << (place % 64);
    }

    pub(super) fn touch_knot(&mut self, knot: u32) {
        let place = self.knot_places[knot as usize];
        self.sets[place as usize / 64].0[DIRTY] |= 1 << (place % 64);
    }

    /// What all pieces of a chip have stored.
    pub(super) fn state_of(&self, cell: u32) -> Word {
        let cell = &self.cells[cell as usize];
        let mut state = cell.rest;
        for &(signal, mask) in &cell.states {
            let word = self.signals[signal as usize].now;
            state.value |= word.value & mask;
            state.unknown |= word.unknown & mask;
        }
        state
    }
}
