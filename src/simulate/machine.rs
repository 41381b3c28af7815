//! The machine: what is where now, and the hands on it.

use super::checks::{CheckState, Snapshot};
use super::delays::First;
use super::history::History;
use super::links::Links;
use super::model::Model;
use super::nets::{Listener, Listeners, Tally};
use super::past::{Hand, Past};
use super::queue::Queue;
use super::synchronise::Synchronisers;
use super::timers::{Oscillator, Timer};
use crate::circuit::{ChipKey, Circuit, NetKey};
use crate::delay::Rule;
use crate::image::Image;
use crate::key::{Key, KeyVec};
use crate::logic::{Level, Word};
use crate::part::PinIndex;
use crate::part::function::{Drive, Function, Held, Scratch, Seen};
use crate::quantity::Time;
use crate::run::{ContentionLog, Counters, FloatLog, LoadFault, Occurrences, Settings, blank, put};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// A time before every event, with room to subtract from.
pub(super) const LONG_AGO: i64 = i64::MIN / 4;
/// In place of an output: the supply of a rail.
pub(super) const SUPPLY: u32 = u32::MAX;
/// No event is due.
pub(super) const NEVER: i64 = i64::MAX;

/// More rounds than this without time passing are a loop without delay.
pub(super) const MOST_ROUNDS: u32 = 10_000;

pub(super) mod flag {
    /// A rail: its level never moves.
    pub(in crate::simulate) const FIXED: u8 = 1;
    /// No driver, or several.
    pub(in crate::simulate) const SHARED: u8 = 2;
    /// Resistors or switches on it follow what it is.
    pub(in crate::simulate) const LINKED: u8 = 4;
    /// A sink listens.
    pub(in crate::simulate) const WATCHED: u8 = 8;
    /// The run pauses when it changes.
    pub(in crate::simulate) const STOP: u8 = 16;
    /// Its level before the last moment is kept.
    pub(in crate::simulate) const KEPT: u8 = 32;
}

/// A chip in motion. The lines of the cache are laid out by hand: what a moving input touches lies in the first, what a
/// chip without storage needs besides in the second.
#[derive(Clone, Debug)]
#[repr(C, align(64))]
pub(super) struct Cell {
    /// Its inputs at this moment.
    pub(super) now: Word,
    /// Its inputs when it was last evaluated.
    pub(super) inputs: Word,
    /// What moved its inputs since it was last evaluated.
    pub(super) moved_by: Chains,
    /// Until then, data that is only remembered may still break a hold time.
    pub(super) holds_until: i64,
    pub(super) first_stamp: u32,
    pub(super) dirty: bool,
    /// To be evaluated although no input moved.
    pub(super) forced: bool,
    /// True when outputs can let go, so that it must be known what is on its way through the chip to them.
    pub(super) lets_go: bool,

    /// What its outputs are to be once all delays have passed.
    pub(super) wanted: Drive,
    pub(super) model: u32,
    pub(super) first_delay: First,
    pub(super) first_out: u32,
    pub(super) chip: ChipKey,
    /// Its nodes when it was last evaluated; those that nothing but the next edge reads may be older.
    pub(super) nodes: Word,

    pub(super) held: Held,
    /// First stages of synchronisers that are unknown because a requirement was not met.
    pub(super) undecided: u64,
    pub(super) first_check: u32,
    pub(super) first_snapshot: u32,
    /// True when it stores second stages of synchronisers.
    pub(super) decides: bool,
}

/// What is seldom asked of a chip.
#[derive(Clone, Debug)]
pub(super) struct Aside {
    /// State bits that have moved by themselves since it was last evaluated; it is forced then.
    pub(super) stirred: u64,
    /// The inputs that set off what moves by itself now.
    pub(super) lead: u64,
    /// When a requirement that was not met last made what it stores unknown; [`LONG_AGO`] for never.
    pub(super) lost: i64,
    /// When a clock last let something unknown in where it was unknown already; [`LONG_AGO`] for never.
    pub(super) renewed: i64,
    pub(super) first_timer: u32,
    /// Stored bits that are first stages of synchronisers, and second ones.
    pub(super) first_stage: u64,
    pub(super) second_stage: u64,
}

impl Cell {
    /// What it saw when it was last evaluated.
    pub(super) fn seen(&self) -> Seen {
        Seen {
            inputs: self.inputs,
            nodes: self.nodes,
        }
    }
}

/// How long the chains of causes to some inputs are; see [`Out::chain`].
#[derive(Clone, Copy, Debug)]
pub(super) struct Chains {
    /// Inputs that moved by a chain too short for a loop.
    pub(super) brief: u64,
    /// The shortest of these chains.
    pub(super) short: u32,
    /// The shortest of the other ones.
    pub(super) long: u32,
}

impl Chains {
    pub(super) const NONE: Chains = Chains {
        brief: 0,
        short: u32::MAX,
        long: u32::MAX,
    };

    #[inline]
    pub(super) fn add(&mut self, bit: u32, chain: u32) {
        if chain < LIVELY {
            self.brief |= 1 << bit;
            self.short = self.short.min(chain);
        } else {
            self.long = self.long.min(chain);
        }
    }

    /// The length of the chain to an output that these inputs move. The shortest chain counts: what a stimulus takes
    /// part in is no loop.
    #[inline]
    pub(super) fn then(&self, causes: u64) -> u32 {
        match (causes & self.brief, self.long) {
            (0, u32::MAX) => 0,
            (0, long) => long.saturating_add(1),
            _ => self.short.saturating_add(1),
        }
    }
}

/// Outputs with a chain of causes that is longer than this go round in a loop, or hang on one.
pub(super) const LIVELY: u32 = 1_000;

/// Something that drives a net: what each of its events touches.
#[derive(Clone, Debug)]
pub(super) struct Out {
    /// When its next level comes.
    pub(super) due: i64,
    /// When it took another level last; [`LONG_AGO`] for never.
    pub(super) changed: i64,
    /// How many outputs moved one another, since the last stimulus, until this one did.
    pub(super) chain: u32,
    pub(super) listeners: Listeners,
    pub(super) now: Level,
    pub(super) next: Level,
    /// What is special about it, of [`own`].
    pub(super) special: u8,
    /// How many transitions it has called back, beside the rounds of 256 in [`Machine::filtered`].
    filtered: u8,
}

/// Where an output leads to.
#[derive(Clone, Copy, Debug)]
pub(super) struct Place {
    /// Its net; `u32::MAX` for none.
    pub(super) net: u32,
    /// Delay of the cables on the net, in picoseconds.
    pub(super) wire: u32,
}

/// What makes an output's move more than a new level of its net.
pub(super) mod own {
    /// It moves by itself: oscillators, timers and the clocks of a trial.
    pub(in crate::simulate) const SWINGS: u8 = 1;
    /// Another level follows its next one.
    pub(in crate::simulate) const FOLLOWED: u8 = 2;
    /// Its net is flagged, or it has none, or a history is kept.
    pub(in crate::simulate) const MARKED: u8 = 4;
    /// Cables on its net take their time. Its move is no different for that.
    pub(in crate::simulate) const WIRED: u8 = 8;
}

/// What follows the next level of an output: a memory's data behind a stretch of unknown, or what comes behind a level
/// that is on its way through a cable.
#[derive(Clone, Copy, Debug)]
pub(super) struct After {
    pub(super) due: i64,
    pub(super) level: Level,
}

impl Out {
    pub(super) fn new(now: Level) -> Out {
        Out {
            due: NEVER,
            changed: LONG_AGO,
            chain: 0,
            listeners: Listeners::new(&[], 0),
            now,
            next: now,
            special: own::MARKED,
            filtered: 0,
        }
    }

    /// Notes that a transition was called back; true when a round of 256 is full.
    #[inline]
    pub(super) fn filter(&mut self) -> bool {
        self.filtered = self.filtered.wrapping_add(1);
        self.filtered == 0
    }

    /// How many were called back, when so many rounds were full.
    pub(super) fn filtered(&self, rounds: u32) -> u64 {
        u64::from(rounds) << u8::BITS | u64::from(self.filtered)
    }
}

/// What an [`Out`] belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Owner {
    Chip(ChipKey, PinIndex),
    /// With its row of [`Machine::oscillators`].
    Oscillator(ChipKey, u32),
    /// With its row of [`Machine::timers`].
    Timer(ChipKey, u32),
    Stimulus(NetKey),
    /// A resistor or a contact, by its discrete.
    Link(crate::circuit::DiscreteKey),
}

#[derive(Clone, Copy, Debug)]
pub(super) struct NetState {
    /// Kept while a flag is set or a history kept; else its driver has it.
    pub(super) level: Level,
    pub(super) flags: u8,
    /// First row and number of rows.
    pub(super) drivers: (u32, u32),
    pub(super) listeners: (u32, u32),
    /// For shared nets, the row of [`Machine::tallies`].
    pub(super) tally: u32,
}

/// A free-running stimulus.
#[derive(Clone, Copy, Debug)]
pub(super) struct Clock {
    pub(super) out: u32,
    pub(super) high: i64,
    pub(super) low: i64,
}

/// A circuit in motion.
#[derive(Clone)]
pub struct Machine<'c> {
    pub(super) circuit: &'c Circuit,
    pub(super) settings: Settings,
    pub(super) time: i64,
    pub(super) queue: Queue,
    pub(super) cells: Vec<Cell>,
    /// One for each cell.
    pub(super) asides: Vec<Aside>,
    pub(super) models: Vec<Model>,
    /// The delays of each cell, or of each model where all its chips are alike, packed by [`Model::pack`].
    pub(super) delays: Vec<u16>,
    pub(super) outs: Vec<Out>,
    pub(super) places: Vec<Place>,
    /// For outputs that are [`own::FOLLOWED`].
    pub(super) afters: Vec<After>,
    pub(super) owners: Vec<Owner>,
    pub(super) nets: Vec<NetState>,
    pub(super) net_drivers: Vec<u32>,
    pub(super) net_listeners: Vec<Listener>,
    /// For shared nets, how many drivers give each level.
    pub(super) tallies: Vec<Tally>,
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
    /// For each output, how often it has called back 256 transitions.
    pub(super) filtered: Vec<u32>,
    pub(super) contentions: Vec<ContentionLog<u32>>,
    pub(super) floats: Vec<FloatLog<u32>>,
    /// Each forbidden use of each cell.
    pub(super) forbid_logs: Vec<Vec<Occurrences>>,
    pub(super) oscillators: Vec<Oscillator>,
    pub(super) timers: Vec<Timer>,
    pub(super) clocks: Vec<Clock>,
    pub(super) stimuli: BTreeMap<NetKey, u32>,
    pub(super) links: Links,
    pub(super) synchronisers: Option<Synchronisers>,
    pub(super) dirty: Vec<u32>,
    pub(super) changed_stamps: Vec<(crate::part::sheet::Signal, i64)>,
    /// Inputs of the chip at hand that moved too close to an edge.
    pub(super) blinded: u64,
    pub(super) scratch: Scratch,
    pub(super) counters: Counters,
    /// The length of the chain of causes of what happens at this moment; see [`Out`].
    pub(super) chain: u32,
    /// The output at the end of a chain that is too long.
    pub(super) endless: Option<u32>,
    pub(super) rules: BTreeMap<Rule, BTreeSet<String>>,
    pub(super) history: Option<History>,
    pub(super) past: Option<Box<Past>>,
    /// The number of events at which it is looked whether a checkpoint is due.
    pub(super) next_look: u64,
    pub(super) pauses: bool,
    pub(super) stop: bool,
}

impl<'c> Machine<'c> {
    /// What a chip does.
    pub(super) fn function(&self, cell: usize) -> &Function {
        &self.models[self.cells[cell].model as usize].part.function
    }

    /// True when the short ways may be taken: causes are not kept, and nobody forbids them.
    pub(super) fn fast(&self) -> bool {
        self.settings.fast_paths && self.history.is_none()
    }

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
        let state = &self.nets[net.index()];
        if state.flags == 0 && self.fast() {
            // Its only driver alone knows.
            return self.outs[self.net_drivers[state.drivers.0 as usize] as usize].now;
        }
        state.level
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

    // ---- stimulus ---------------------------------------------------------------------------------------------

    /// Drives a net from now on. The net must have been among the stimuli of [`Machine::new`].
    pub fn set(&mut self, net: NetKey, level: Level) {
        self.note_hand(Hand::Set(net, level));
        self.drive(net, level);
    }

    fn drive(&mut self, net: NetKey, level: Level) {
        if let Some(&out) = self.stimuli.get(&net) {
            self.clocks.retain(|clock| clock.out != out);
            self.outs[out as usize].special &= !own::SWINGS;
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
        self.note_hand(Hand::Clock(net, low, high));
        self.drive(net, Level::Zero);
        if let Some(&out) = self.stimuli.get(&net) {
            self.outs[out as usize].special |= own::SWINGS;
            self.clocks.push(Clock {
                out,
                high: high.ps().max(1),
                low: low.ps().max(1),
            });
            let due = self.time + low.ps().max(1);
            let state = &mut self.outs[out as usize];
            if state.due == NEVER {
                (state.next, state.due) = (Level::One, due);
                self.queue.push(due, out);
            } else {
                // The first low is on its way in this moment; the first rise follows it.
                self.follow(out, Level::One, due);
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

    /// Lets [`Machine::advance`] come back now and then, see [`Pause::Looked`].
    pub fn pause_to_look(&mut self, on: bool) {
        self.pauses = on;
        self.next_look = self.next_look.min(self.counters.events);
    }

    /// Nobody watches any net from now on.
    pub(super) fn unwatch(&mut self) {
        for net in 0..self.nets.len() {
            self.nets[net].flags &= !(flag::WATCHED | flag::STOP | flag::KEPT);
            self.mark(net);
        }
        self.pauses = false;
    }

    fn set_flag(&mut self, net: NetKey, flag: u8, on: bool) {
        let flags = &mut self.nets[net.index()].flags;
        *flags = if on { *flags | flag } else { *flags & !flag };
        self.mark(net.index());
    }

    /// Adds something that drives a net, or wakes a chip.
    pub(super) fn add_out(&mut self, net: Option<NetKey>, now: Level, owner: Owner) -> u32 {
        self.outs.push(Out::new(now));
        self.places.push(Place {
            net: net.map_or(u32::MAX, |net| net.index() as u32),
            wire: 0,
        });
        self.owners.push(owner);
        self.outs.len() as u32 - 1
    }

    /// The delay of the cables on the net of an output.
    #[inline]
    pub(super) fn wire(&self, out: u32) -> u32 {
        if self.outs[out as usize].special & own::WIRED == 0 {
            return 0;
        }
        self.places[out as usize].wire
    }

    /// Lets the drivers of a net know whether it is more than a wire to its listeners.
    pub(super) fn mark(&mut self, net: usize) {
        let fast = self.fast();
        let state = &mut self.nets[net];
        let plain = state.flags == 0 && fast;
        if state.flags & (flag::SHARED | flag::FIXED) == 0 && self.awake {
            state.level = self.outs[self.net_drivers[state.drivers.0 as usize] as usize].now;
        }
        let state = *state;
        let rows = state.listeners.0 as usize..(state.listeners.0 + state.listeners.1) as usize;
        let listeners = Listeners::new(&self.net_listeners[rows], state.listeners.0);
        for at in state.drivers.0..state.drivers.0 + state.drivers.1 {
            let out = &mut self.outs[self.net_drivers[at as usize] as usize];
            out.listeners = listeners;
            out.special = out.special & !own::MARKED | if plain { 0 } else { own::MARKED };
        }
    }

    /// Opens or closes a contact: `position` 0 is open, 1 closed (or up), 2 down.
    pub fn contact(&mut self, discrete: crate::circuit::DiscreteKey, position: u8) {
        self.note_hand(Hand::Contact(discrete, position));
        self.chain = 0;
        for net in self.links.set_contact(discrete, position) {
            self.follow_links(net, None);
        }
    }

    /// Puts an image into the memory of a chip; `offset` is added to its addresses.
    ///
    /// # Errors
    /// When it does not fit.
    pub fn load(&mut self, chip: ChipKey, image: &Image, offset: i64) -> Result<(), LoadFault> {
        let cell = self.cell_of[chip].ok_or(LoadFault::NotFed)? as usize;
        // Nothing is put in place before all of it fits.
        LoadFault::check(&self.circuit.chips[chip].part, image, offset)?;
        if self.past.is_some() {
            self.note_hand(Hand::Load(Arc::new((chip, image.clone(), offset))));
        }
        put(&mut self.cells[cell].held.memories[0], image, offset);
        self.loaded(cell);
        Ok(())
    }

    /// Takes away what the memory of a chip held from the beginning, so that another image can be loaded in its place.
    pub fn unload(&mut self, chip: ChipKey) {
        self.note_hand(Hand::Unload(chip));
        let Some(cell) = self.cell_of[chip] else {
            return;
        };
        let held = &mut self.cells[cell as usize].held;
        if blank(self.circuit, chip, held) {
            self.loaded(cell as usize);
        }
    }

    /// Lets the nodes and outputs of a chip follow its memory; that is no edge of any of them.
    fn loaded(&mut self, index: usize) {
        let cell = &mut self.cells[index];
        let function = &self.models[cell.model as usize].part.function;
        cell.nodes = function.nodes(cell.inputs, &cell.held, &mut self.scratch);
        self.force(index as u32);
    }

    pub(super) fn force(&mut self, index: u32) {
        let cell = &mut self.cells[index as usize];
        cell.forced = true;
        if !cell.dirty {
            cell.dirty = true;
            self.dirty.push(index);
        }
    }
}

impl Owner {
    pub(super) fn is_chip(self) -> bool {
        matches!(self, Owner::Chip(..))
    }
}
