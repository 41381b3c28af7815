//! The machine: what is where now, and the actions on it.

use super::check_index::{CheckState, ReferenceEdge};
use super::driver::{Clock, Driver, LONG_AGO, LaterTransition, NEVER, NetConnection, Owner, driver_flag};
use super::instance::{ColdState, Instance};
use super::links::Links;
use super::model::Model;
use super::nets::{DriverCounts, Load, Loads, NetState, net_flag};
use super::number::row;
use super::past_log::{Action, Past};
use super::queue::Queue;
use super::records::History;
use super::self_timed::{Oscillator, Timer};
use super::synchronisers::Synchronisers;
use crate::circuit::{ChipKey, Circuit, NetKey};
use crate::delay::Rule;
use crate::image::Image;
use crate::key::{Key, KeyVec};
use crate::logic::Level;
use crate::part::function::{ChipState, Function, Scratch};
use crate::quantity::Time;
use crate::run::{ContentionLog, Counters, FloatLog, LoadFault, Occurrences, Settings, blank, put};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// More rounds than this without time passing are a loop without delay.
pub(super) const MOST_ROUNDS: u32 = 10_000;

#[derive(Clone)]
pub struct Machine<'c> {
    pub(super) circuit: &'c Circuit,
    pub(super) settings: Settings,
    pub(super) time: Time,
    pub(super) queue: Queue,
    pub(super) instances: Vec<Instance>,
    /// One for each instance.
    pub(super) cold_states: Vec<ColdState>,
    pub(super) models: Vec<Model>,
    /// The delays of each instance, or of each model where all its chips are alike, packed by [`Model::pack`].
    pub(super) delays: Vec<u16>,
    pub(super) drivers: Vec<Driver>,
    pub(super) connections: Vec<NetConnection>,
    /// For outputs that are [`driver_flag::FOLLOWED`].
    pub(super) later_transitions: Vec<LaterTransition>,
    pub(super) owners: Vec<Owner>,
    pub(super) nets: Vec<NetState>,
    pub(super) net_drivers: Vec<u32>,
    pub(super) net_loads: Vec<Load>,
    /// For shared nets, how many drivers give each level.
    pub(super) driver_counts: Vec<DriverCounts>,
    pub(super) instance_of: KeyVec<ChipKey, Option<u32>>,
    /// When each input and node of each instance moved last.
    pub(super) timestamps: Vec<Time>,
    /// When each input of an instance that goes high-impedance last moved something, in the places of `timestamps`.
    pub(super) arrivals: Vec<Time>,
    /// For nets that are flagged so, the time of the last change, and the level before it.
    pub(super) previous_levels: Vec<(Time, Level)>,
    /// False until the first call of [`Machine::advance`].
    pub(super) initialised: bool,
    pub(super) check_states: Vec<CheckState>,
    pub(super) reference_edges: Vec<Option<ReferenceEdge>>,
    /// For each output, how often it has called back 256 transitions.
    pub(super) filtered: Vec<u32>,
    pub(super) contentions: Vec<ContentionLog<u32>>,
    pub(super) floats: Vec<FloatLog<u32>>,
    /// Each forbidden use of each instance.
    pub(super) forbid_logs: Vec<Vec<Occurrences>>,
    pub(super) oscillators: Vec<Oscillator>,
    pub(super) timers: Vec<Timer>,
    pub(super) clocks: Vec<Clock>,
    pub(super) stimuli: BTreeMap<NetKey, u32>,
    pub(super) links: Links,
    pub(super) synchronisers: Option<Synchronisers>,
    pub(super) dirty: Vec<u32>,
    pub(super) changed_timestamps: Vec<(crate::part::sheet::Signal, Time)>,
    /// Inputs of the chip at hand that moved too close to an edge.
    pub(super) violating_inputs: u64,
    pub(super) scratch: Scratch,
    pub(super) counters: Counters,
    /// The length of the chain of causes of what happens at this moment; see [`Driver`].
    pub(super) depth: u32,
    /// The output at the end of a chain that is too long.
    pub(super) too_deep: Option<u32>,
    pub(super) rules: BTreeMap<Rule, BTreeSet<String>>,
    pub(super) history: Option<History>,
    pub(super) past: Option<Box<Past>>,
    /// The number of events at which it is looked whether a checkpoint is due.
    pub(super) next_checkpoint: u64,
    pub(super) pauses: bool,
    pub(super) stop: bool,
}

impl<'c> Machine<'c> {
    /// What a chip does.
    pub(super) fn function(&self, instance: usize) -> &Function {
        &self.models[self.instances[instance].model as usize].part.function
    }

    /// True when the short ways may be taken: causes are not kept, and nobody forbids them.
    pub(super) fn fast(&self) -> bool {
        self.settings.fast_paths && self.history.is_none()
    }

    // ---- what is where now ------------------------------------------------------------------------------------

    /// The present time.
    pub fn now(&self) -> Time {
        self.time
    }

    /// The level of a net.
    pub fn level(&self, net: NetKey) -> Level {
        let state = &self.nets[net.index()];
        if state.flags == 0 && self.fast() {
            // Its only driver alone knows.
            return self.drivers[self.net_drivers[state.drivers.0 as usize] as usize].now;
        }
        state.level
    }

    /// What a chip remembers; `None` when it is not fed.
    pub fn stored(&self, chip: ChipKey) -> Option<&ChipState> {
        self.instance_of[chip].map(|instance| &self.instances[instance as usize].stored)
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
        self.note_action(Action::Set(net, level));
        self.drive(net, level);
    }

    fn drive(&mut self, net: NetKey, level: Level) {
        if let Some(&driver) = self.stimuli.get(&net) {
            self.clocks.retain(|clock| clock.driver != driver);
            self.drivers[driver as usize].flags &= !driver_flag::SELF_TIMED;
            self.depth = 0;
            self.schedule(driver, level, self.time);
        }
    }

    /// Lets go of a net.
    pub fn release(&mut self, net: NetKey) {
        self.set(net, Level::Z);
    }

    /// Drives a net with a clock from now on: low first, then high and low for these times.
    pub fn clock(&mut self, net: NetKey, low: Time, high: Time) {
        self.note_action(Action::Clock(net, low, high));
        self.drive(net, Level::Zero);
        if let Some(&driver) = self.stimuli.get(&net) {
            self.drivers[driver as usize].flags |= driver_flag::SELF_TIMED;
            self.clocks.push(Clock { driver, high: high.max(Time::PICOSECOND), low: low.max(Time::PICOSECOND) });
            let due = self.time + low.max(Time::PICOSECOND);
            let state = &mut self.drivers[driver as usize];
            if state.due == NEVER {
                (state.next, state.due) = (Level::One, due);
                self.queue.push(due, driver);
            } else {
                // The first low is on its way in this moment; the first rise follows it.
                self.follow(driver, Level::One, due);
            }
        }
    }

    /// Pauses [`Machine::advance`] when a net changes.
    pub fn stop_at(&mut self, net: NetKey, on: bool) {
        self.set_flag(net, net_flag::STOP, on);
    }

    /// Keeps what a net was before the moment of its last change, for [`Machine::level_before`].
    pub fn keep_before(&mut self, net: NetKey) {
        if self.previous_levels.is_empty() {
            self.previous_levels = vec![(LONG_AGO, Level::U); self.nets.len()];
        }
        self.set_flag(net, net_flag::KEPT, true);
    }

    /// The level that a net had just before the present moment, when [`Machine::keep_before`] asked for it; else its
    /// level.
    pub fn level_before(&self, net: NetKey) -> Level {
        match self.previous_levels.get(net.index()) {
            Some(&(time, level)) if time == self.time => level,
            _ => self.level(net),
        }
    }

    /// True once time has begun to pass, be it only the first moment.
    pub fn has_begun(&self) -> bool {
        self.initialised
    }

    /// Tells a sink of each change of a net.
    pub fn watch(&mut self, net: NetKey, on: bool) {
        self.set_flag(net, net_flag::WATCHED, on);
    }

    /// Lets [`Machine::advance`] come back now and then, see [`Pause::Looked`](crate::run::Pause::Looked).
    pub fn pause_to_look(&mut self, on: bool) {
        self.pauses = on;
        self.next_checkpoint = self.next_checkpoint.min(self.counters.events);
    }

    /// Nobody watches any net from now on.
    pub(super) fn unwatch(&mut self) {
        for net in 0..self.nets.len() {
            self.nets[net].flags &= !(net_flag::WATCHED | net_flag::STOP | net_flag::KEPT);
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
    pub(super) fn add_driver(&mut self, net: Option<NetKey>, now: Level, owner: Owner) -> u32 {
        self.drivers.push(Driver::new(now));
        self.connections.push(NetConnection { net: net.map_or(u32::MAX, |net| row(net.index())), wire: 0 });
        self.owners.push(owner);
        row(self.drivers.len()) - 1
    }

    /// The delay of the cables on the net of an output.
    #[inline]
    pub(super) fn wire(&self, driver: u32) -> u32 {
        if self.drivers[driver as usize].flags & driver_flag::WIRED == 0 {
            return 0;
        }
        self.connections[driver as usize].wire
    }

    /// Lets the drivers of a net know whether it is more than a wire to its loads.
    pub(super) fn mark(&mut self, net: usize) {
        let fast = self.fast();
        let state = &mut self.nets[net];
        let plain = state.flags == 0 && fast;
        if state.flags & (net_flag::SHARED | net_flag::FIXED) == 0 && self.initialised {
            state.level = self.drivers[self.net_drivers[state.drivers.0 as usize] as usize].now;
        }
        let state = *state;
        let rows = state.loads.0 as usize..(state.loads.0 + state.loads.1) as usize;
        let loads = Loads::new(&self.net_loads[rows], state.loads.0);
        for at in state.drivers.0..state.drivers.0 + state.drivers.1 {
            let driver = &mut self.drivers[self.net_drivers[at as usize] as usize];
            driver.loads = loads;
            driver.flags = driver.flags & !driver_flag::MARKED | if plain { 0 } else { driver_flag::MARKED };
        }
    }

    /// Opens or closes a contact: `position` 0 is open, 1 closed (or up), 2 down.
    pub fn contact(&mut self, discrete: crate::circuit::DiscreteKey, position: u8) {
        self.note_action(Action::Contact(discrete, position));
        self.depth = 0;
        for net in self.links.set_contact(discrete, position) {
            self.follow_links(net, None);
        }
    }

    /// Puts an image into the memory of a chip; `offset` is added to its addresses.
    ///
    /// # Errors
    /// When it does not fit.
    pub fn load(&mut self, chip: ChipKey, image: &Image, offset: i64) -> Result<(), LoadFault> {
        let instance = self.instance_of[chip].ok_or(LoadFault::NotFed)? as usize;
        // Nothing is put in place before all of it fits.
        LoadFault::check(&self.circuit.chips[chip].part, image, offset)?;
        if self.past.is_some() {
            self.note_action(Action::Load(Arc::new((chip, image.clone(), offset))));
        }
        put(&mut self.instances[instance].stored.memories[0], image, offset);
        self.loaded(instance);
        Ok(())
    }

    /// Takes away what the memory of a chip held from the beginning, so that another image can be loaded in its place.
    pub fn unload(&mut self, chip: ChipKey) {
        self.note_action(Action::Unload(chip));
        let Some(instance) = self.instance_of[chip] else {
            return;
        };
        let stored = &mut self.instances[instance as usize].stored;
        if blank(self.circuit, chip, stored) {
            self.loaded(instance as usize);
        }
    }

    /// Lets the nodes and outputs of a chip follow its memory; that is no edge of any of them.
    fn loaded(&mut self, index: usize) {
        let instance = &mut self.instances[index];
        let function = &self.models[instance.model as usize].part.function;
        instance.nodes = function.nodes(instance.inputs, &instance.stored, &mut self.scratch);
        self.request_evaluation(row(index));
    }

    pub(super) fn request_evaluation(&mut self, index: u32) {
        let instance = &mut self.instances[index as usize];
        instance.requested = true;
        if !instance.dirty {
            instance.dirty = true;
            self.dirty.push(index);
        }
    }
}
