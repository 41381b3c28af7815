//! The machine: what is where now, and the hands on it.

use super::bus::{Bus, BusDriver, Drive, Given};
use super::fill::Fill;
use super::knot::Knot;
use super::pieces::{Cell, Unit};
use super::place::{Node, Note, Place, PlaceKind, Source};
use super::register::{Register, Sampled, Steady};
use super::ring::{Loop, Ring};
use super::row::{Glance, Row};
use super::signal::{DIRTY, Listener, Segment, Sets, Signal, Tap};
use crate::circuit::{ChipKey, Circuit, DiscreteKey, NetKey};
use crate::evaluate::Lookups;
use crate::image::Image;
use crate::key::KeyVec;
use crate::logic::{Level, Word};
use crate::part::function::two_state::TwoStateProgram;
use crate::part::function::{ChipState, Scratch};
use crate::quantity::Time;
use crate::run::{ContentionLog, Counters, Driver, FloatLog, LoadFault, Occurrences, Refusal, Settings, blank, put};
use std::sync::Arc;

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
    pub(super) held: Vec<ChipState>,
    pub(super) segments: Vec<Segment>,
    pub(super) tables: Lookups,
    /// How the rows of each table are computed.
    pub(super) fills: Vec<Fill>,
    /// Two programs side by side: which outputs are high-impedance, and the levels.
    pub(super) flats: Vec<Arc<TwoStateProgram>>,
    pub(super) drives: Vec<Drive>,
    /// For each of them, what it was before the wave in which it moved last.
    pub(super) given: Vec<Given>,
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
    pub(super) skewed: Vec<Sampled>,
    /// The storage that may overtake each of them.
    pub(super) launchers: std::collections::BTreeMap<u32, Vec<u32>>,
    /// The moment in which each unit stored last.
    pub(super) stored: Vec<u64>,
    /// The last situations in which each unit stored nothing new.
    pub(super) steady: Vec<[Option<Steady>; 4]>,
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

    /// Lets [`Machine::advance`] come back now and then, see [`Pause::Looked`](crate::run::Pause::Looked).
    pub fn pause_to_look(&mut self, on: bool) {
        self.next_look = if on { 0 } else { u64::MAX };
    }

    /// How much work the run was: its events are the moments at which something moved from outside.
    pub fn counters(&self) -> Counters {
        Counters { events: self.moments, evaluations: self.evaluations, filtered: 0 }
    }

    /// The stored bits and the memories of a chip; `None` when it is not fed.
    pub fn held(&self, chip: ChipKey) -> Option<ChipState> {
        let cell = self.cell_of[chip]?;
        Some(ChipState { state: self.state_of(cell), memories: self.held[cell as usize].memories.clone() })
    }

    /// A word of the first memory of a chip; `None` when it has none.
    pub fn cell(&self, chip: ChipKey, address: u64) -> Option<Word> {
        let held = &self.held[self.cell_of[chip]? as usize];
        Some(held.memories.first()?.get(address))
    }

    /// Drives a net from now on. The net must have been among the stimuli of [`Machine::new`].
    pub fn set(&mut self, net: NetKey, level: Level) {
        self.agenda.retain(|(_, source)| !matches!(source, Source::Clock(other, ..) if *other == net));
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
        self.agenda.push((self.time + low, Source::Clock(net, low, high)));
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
