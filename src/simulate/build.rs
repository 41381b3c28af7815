//! From a circuit to the flat tables of a machine.

use super::cell::{Aside, Cell, Chains};
use super::delays::First;
use super::links::Links;
use super::machine::Machine;
use super::model::Model;
use super::nets::{Listener, NetState, Tally, flag};
use super::out::{After, LONG_AGO, NEVER, Owner, own};
use super::queue::Queue;
use super::swings::{Oscillator, Swings, Timer};
use crate::circuit::{ChipKey, Circuit, NetKey};
use crate::delay::chance::generator;
use crate::delay::lag::rail_level;
use crate::delay::wire::wire_delay;
use crate::delay::{ChipDelays, Conditions, durations};
use crate::key::{Key, KeyVec};
use crate::language::ast::Corner;
use crate::logic::{Level, Word};
use crate::part::PinKind;
use crate::part::function::{Drive, Seen};
use crate::quantity::Time;
use crate::run::{ContentionLog, FloatLog, Settings};
use rand_core::Rng;
use std::collections::BTreeSet;

/// Drivers of a net while they are collected.
type Drivers = KeyVec<NetKey, Vec<u32>>;
/// Listeners of a net while they are collected.
type Listeners = KeyVec<NetKey, Vec<Listener>>;

impl<'c> Machine<'c> {
    /// A machine at the moment before power comes. `stimuli` are the nets that a trial will drive.
    pub fn new(circuit: &'c Circuit, settings: Settings, stimuli: &[NetKey]) -> Machine<'c> {
        let mut machine = Machine::empty(circuit, settings);
        let mut drivers: Drivers = KeyVec::filled(circuit.nets.len(), Vec::new());
        let mut listeners: Listeners = KeyVec::filled(circuit.nets.len(), Vec::new());
        let mut first_delays = Vec::new();
        let delays = ChipDelays::new(circuit, settings.corner, settings.temperature);
        machine.rules = delays.rules;
        for (key, chip) in circuit.chips.iter() {
            let model = delays.of[key] as usize;
            if model == machine.models.len() {
                let table = delays.tables[model].clone();
                machine.models.push(Model::new(&chip.part, table, settings.fast_paths));
                if delays.own.is_none() {
                    let table = &delays.tables[model].delays;
                    if settings.fast_paths {
                        machine.models[model].find_alike(table);
                    }
                    first_delays.push(machine.models[model].pack(table, &mut machine.delays));
                }
            }
            let first_delay = match &delays.own {
                Some(own) => machine.models[model].pack(&own[key], &mut machine.delays),
                None => first_delays[model],
            };
            let place = (model as u32, first_delay);
            machine.add_chip(key, place, stimuli, &mut drivers, &mut listeners);
        }
        machine.links = Links::new(circuit, settings.corner, &mut |net, owner, level| {
            let out = machine.add_out(Some(net), level, owner);
            drivers[net].push(out);
            out
        });
        for &net in stimuli {
            if !machine.stimuli.contains_key(&net) {
                let out = machine.add_out(Some(net), Level::Z, Owner::Stimulus(net));
                machine.stimuli.insert(net, out);
                drivers[net].push(out);
            }
        }
        machine.lay_out_nets(&drivers, &listeners);
        if !circuit.synchronisers.is_empty() {
            machine.find_synchronisers();
        }
        machine.filtered = vec![0; machine.outs.len()];
        let (due, level) = (NEVER, Level::U);
        machine.afters = vec![After { due, level }; machine.outs.len()];
        machine.power_up();
        machine
    }

    fn add_chip(
        &mut self,
        key: ChipKey,
        (model, first_delay): (u32, First),
        stimuli: &[NetKey],
        drivers: &mut Drivers,
        listeners: &mut Listeners,
    ) {
        let chip = &self.circuit.chips[key];
        let function = &chip.part.function;
        let index = self.cells.len() as u32;
        let first_out = self.outs.len() as u32;
        for &pin in &function.outputs {
            // A pin without a net drives a place of its own, so that every output bit has an output.
            let net = chip.nets[pin];
            let level = if chip.fed { Level::U } else { Level::Z };
            let out = self.add_out(net, level, Owner::Chip(key, pin));
            if let Some(net) = net {
                let wire = wire_delay(self.circuit.nets[net].wire).ps();
                self.places[out as usize].wire = u32::try_from(wire).unwrap_or(u32::MAX);
                if wire > 0 {
                    self.outs[out as usize].special |= own::WIRED;
                }
                drivers[net].push(out);
            }
        }
        self.cell_of.push(chip.fed.then_some(index));
        if !chip.fed {
            return;
        }
        let times = self.times(key, stimuli);
        let swing = function.swing.as_ref().filter(|_| chip.timing.last().is_some_and(Option::is_some));
        for (bit, &pin) in function.inputs.iter().enumerate() {
            // An input that swings by itself does not listen.
            let swings = swing.is_some_and(|swing| swing.input == bit);
            if let Some(net) = chip.nets[pin]
                && !swings
            {
                let quiet = self.models[model as usize].quiet >> bit & 1 == 1;
                listeners[net].push(Listener::new(index, bit as u32, quiet));
            }
        }
        let can = function.oscillator.and_then(|bit| {
            let period = chip.frequency?.period()?;
            Some((Swings::State(bit), period))
        });
        let swing = swing.zip(times.last().copied().flatten());
        let swing = swing.map(|(swing, period)| (Swings::Input(swing.input), period));
        for (swings, period) in can.into_iter().chain(swing) {
            let row = self.oscillators.len() as u32;
            let oscillator =
                Oscillator { out: self.waker(Owner::Oscillator(key, row)), cell: index, period: period.ps(), swings };
            self.oscillators.push(oscillator);
        }
        let first_timer = self.timers.len() as u32;
        for (timer, time) in function.timers.iter().zip(&times) {
            let out = self.waker(Owner::Timer(key, self.timers.len() as u32));
            let time = time.map(|time| time.ps().max(0));
            self.timers.push(Timer::new(out, index, timer.state, time));
        }
        let unknown = Word::all_unknown(function.input_mask());
        let signals = function.inputs.len() + function.nodes.len();
        let lets_go = self.lets_go(key);
        self.cells.push(Cell {
            now: unknown,
            inputs: unknown,
            nodes: Word::all_unknown(Word::mask(function.nodes.len() as u32)),
            held: function.held_unknown(),
            wanted: Drive { value: Word::all_unknown(Word::mask(function.outputs.len() as u32)), off: Word::default() },
            chip: key,
            model,
            first_delay,
            first_out,
            moved_by: Chains::NONE,
            holds_until: NEVER,
            first_stamp: self.stamps.len() as u32,
            first_check: 0,
            first_snapshot: 0,
            lets_go,
            undecided: 0,
            decides: false,
            dirty: false,
            forced: true,
        });
        self.asides.push(Aside {
            stirred: 0,
            lead: 0,
            lost: LONG_AGO,
            renewed: LONG_AGO,
            first_timer,
            first_stage: 0,
            second_stage: 0,
        });
        let never = || std::iter::repeat_n(LONG_AGO, signals);
        self.stamps.extend(never());
        self.arrivals.extend(never());
    }

    /// True when an output of a chip can let go, tied as it is to the rails.
    fn lets_go(&mut self, key: ChipKey) -> bool {
        let chip = &self.circuit.chips[key];
        let function = &chip.part.function;
        let switched = function
            .outputs
            .iter()
            .any(|&pin| matches!(chip.part.pins[pin].kind, PinKind::ThreeState | PinKind::InOut));
        if !switched || !function.is_combinational() {
            return switched;
        }
        let mut inputs = Word::all_unknown(function.input_mask());
        for (bit, &pin) in function.inputs.iter().enumerate() {
            let rail = chip.nets[pin].and_then(|net| rail_level(self.circuit, net));
            if let Some(level) = rail {
                inputs.unknown &= !(1 << bit);
                inputs.value |= u64::from(level.is_high()) << bit;
            }
        }
        let held = function.held_unknown();
        let nodes = function.nodes(inputs, &held, &mut self.scratch);
        let drive = function.drive(Seen { inputs, nodes }, &held, &mut self.scratch);
        drive.off != Word::default()
    }

    /// Something that drives nothing, but wakes its chip.
    fn waker(&mut self, owner: Owner) -> u32 {
        let out = self.add_out(None, Level::U, owner);
        self.outs[out as usize].special |= own::SWINGS;
        out
    }

    /// The times of a chip's timers, and the period of an input that swings by itself; in a random corner each lies
    /// somewhere between its shortest and its longest. What a trial drives as well has no time that is known.
    fn times(&mut self, key: ChipKey, stimuli: &[NetKey]) -> Vec<Option<Time>> {
        let chip = &self.circuit.chips[key];
        if chip.part.function.timed() == 0 {
            return Vec::new();
        }
        let sheet = chip.sheet.map(|sheet| &chip.part.sheets[sheet]);
        let mut rules = BTreeSet::new();
        let mut at = |corner| {
            let conditions = Conditions {
                temperature: self.settings.temperature,
                family: chip.electrical.as_deref(),
                estimate: chip.estimate.as_ref(),
                ..Conditions::at(chip.supply, corner)
            };
            durations(&chip.part, sheet, &conditions, &chip.timing, &mut rules)
        };
        let mut times: Vec<Option<Time>> = match self.settings.corner {
            Corner::Random(seed) => {
                let mut random = generator(seed, 1 << 32 | key.index() as u64);
                let mut between = |(least, most): (Option<Time>, Option<Time>)| {
                    let (least, most) = (least?.ps(), most?.ps());
                    let range = i128::from(most.saturating_sub(least).max(0)) + 1;
                    let drawn = (i128::from(random.next_u64() >> 1) * range) >> 63;
                    Some(Time::from_ps(least + drawn as i64))
                };
                let ends = at(Corner::Fastest).into_iter().zip(at(Corner::Slowest));
                ends.map(&mut between).collect()
            }
            corner => at(corner),
        };
        let pins = chip.part.function.timing_pins();
        for (time, pins) in times.iter_mut().zip(pins) {
            let mut nets = pins.into_iter().filter_map(|pin| chip.nets[pin]);
            if nets.any(|net| stimuli.contains(&net)) {
                *time = None;
            }
        }
        for rule in rules {
            let numbers = self.rules.entry(rule).or_default();
            numbers.insert(chip.number.clone());
        }
        times
    }

    /// Rows of drivers and listeners, one net behind the other.
    fn lay_out_nets(&mut self, drivers: &Drivers, listeners: &Listeners) {
        for key in self.circuit.nets.keys() {
            let fixed = rail_level(self.circuit, key);
            let mut flags = 0;
            if fixed.is_some() {
                flags |= flag::FIXED;
            }
            if drivers[key].len() != 1 {
                flags |= flag::SHARED;
            }
            if self.links.follow(key) {
                flags |= flag::LINKED;
            }
            self.nets.push(NetState {
                level: fixed.unwrap_or(if drivers[key].is_empty() { Level::Z } else { Level::U }),
                flags,
                drivers: (self.net_drivers.len() as u32, drivers[key].len() as u32),
                listeners: (self.net_listeners.len() as u32, listeners[key].len() as u32),
                tally: self.tallies.len() as u32,
            });
            if flags & (flag::FIXED | flag::SHARED) != 0 {
                let mut tally = Tally::default();
                for &out in &drivers[key] {
                    tally.add(self.outs[out as usize].now);
                }
                self.tallies.push(tally);
            }
            self.net_drivers.extend(&drivers[key]);
            self.net_listeners.extend(&listeners[key]);
            self.contentions.push(ContentionLog::default());
            self.floats.push(FloatLog::default());
            self.mark(key.index());
        }
    }
}

impl<'c> Machine<'c> {
    fn empty(circuit: &'c Circuit, settings: Settings) -> Machine<'c> {
        Machine {
            circuit,
            settings,
            time: 0,
            queue: Queue::new(),
            cells: Vec::new(),
            asides: Vec::new(),
            models: Vec::new(),
            delays: Vec::new(),
            outs: Vec::new(),
            places: Vec::new(),
            afters: Vec::new(),
            owners: Vec::new(),
            nets: Vec::new(),
            net_drivers: Vec::new(),
            net_listeners: Vec::new(),
            tallies: Vec::new(),
            cell_of: KeyVec::new(),
            stamps: Vec::new(),
            arrivals: Vec::new(),
            befores: Vec::new(),
            awake: false,
            check_states: Vec::new(),
            snapshots: Vec::new(),
            filtered: Vec::new(),
            contentions: Vec::new(),
            floats: Vec::new(),
            forbid_logs: Vec::new(),
            oscillators: Vec::new(),
            timers: Vec::new(),
            clocks: Vec::new(),
            stimuli: std::collections::BTreeMap::new(),
            links: Links::default(),
            synchronisers: None,
            dirty: Vec::new(),
            changed_stamps: Vec::new(),
            blinded: 0,
            scratch: Default::default(),
            counters: Default::default(),
            chain: 0,
            endless: None,
            rules: Default::default(),
            history: settings.history.then(super::records::History::default),
            past: None,
            next_look: u64::MAX,
            pauses: false,
            stop: false,
        }
    }
}
