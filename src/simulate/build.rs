//! From a circuit to the flat tables of a machine.

use super::delays::DelayOffset;
use super::driver::{LONG_AGO, LaterTransition, NEVER, Owner, driver_flag};
use super::instance::{CausalDepth, ColdState, Instance};
use super::links::Links;
use super::machine::Machine;
use super::model::Model;
use super::nets::{DriverCounts, Load, NetState, net_flag};
use super::number::row;
use super::queue::Queue;
use super::self_timed::{Oscillator, OscillatorTarget, Timer};
use crate::circuit::{ChipKey, Circuit, NetKey};
use crate::delay::random::generator;
use crate::delay::wire::wire_delay;
use crate::delay::{ChipDelays, Conditions, durations};
use crate::key::{Key, KeyVec};
use crate::language::ast::Corner;
use crate::logic::{Level, Word};
use crate::part::PinKind;
use crate::part::function::{Drive, SampledInputs};
use crate::quantity::Time;
use crate::run::{ContentionLog, FloatLog, Settings};
use rand_core::Rng;
use std::collections::BTreeSet;

/// Drivers of a net while they are collected.
type DriverLists = KeyVec<NetKey, Vec<u32>>;
/// Loads of a net while they are collected.
type LoadLists = KeyVec<NetKey, Vec<Load>>;

impl<'c> Machine<'c> {
    /// A machine at the moment before power comes. `stimuli` are the nets that a trial will drive.
    pub fn new(circuit: &'c Circuit, settings: Settings, stimuli: &[NetKey]) -> Machine<'c> {
        let mut machine = Machine::empty(circuit, settings);
        let mut drivers: DriverLists = KeyVec::filled(circuit.nets.len(), Vec::new());
        let mut loads: LoadLists = KeyVec::filled(circuit.nets.len(), Vec::new());
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
                        machine.models[model].find_equal_inputs(table);
                    }
                    first_delays.push(machine.models[model].pack(table, &mut machine.delays));
                }
            }
            let first_delay = match &delays.own {
                Some(own) => machine.models[model].pack(&own[key], &mut machine.delays),
                None => first_delays[model],
            };
            let place = (row(model), first_delay);
            machine.add_chip(key, place, stimuli, &mut drivers, &mut loads);
        }
        machine.links = Links::new(circuit, settings.corner, &mut |net, owner, level| {
            let driver = machine.add_driver(Some(net), level, owner);
            drivers[net].push(driver);
            driver
        });
        for &net in stimuli {
            if !machine.stimuli.contains_key(&net) {
                let driver = machine.add_driver(Some(net), Level::Z, Owner::Stimulus(net));
                machine.stimuli.insert(net, driver);
                drivers[net].push(driver);
            }
        }
        machine.lay_out_nets(&drivers, &loads);
        if !circuit.synchronisers.is_empty() {
            machine.find_synchronisers();
        }
        machine.filtered = vec![0; machine.drivers.len()];
        let (due, level) = (NEVER, Level::U);
        machine.later_transitions = vec![LaterTransition { due, level }; machine.drivers.len()];
        machine.power_up();
        machine
    }

    fn add_chip(
        &mut self,
        key: ChipKey,
        (model, first_delay): (u32, DelayOffset),
        stimuli: &[NetKey],
        drivers: &mut DriverLists,
        loads: &mut LoadLists,
    ) {
        let chip = &self.circuit.chips[key];
        let function = &chip.part.function;
        let index = row(self.instances.len());
        let first_driver = row(self.drivers.len());
        for &pin in &function.outputs {
            // A pin without a net drives a place of its own, so that every output bit has an output.
            let net = chip.nets[pin];
            let level = if chip.fed { Level::U } else { Level::Z };
            let driver = self.add_driver(net, level, Owner::Chip(key, pin));
            if let Some(net) = net {
                let wire = wire_delay(self.circuit.nets[net].wire).ps();
                self.connections[driver as usize].wire = u32::try_from(wire).unwrap_or(u32::MAX);
                if wire > 0 {
                    self.drivers[driver as usize].flags |= driver_flag::WIRED;
                }
                drivers[net].push(driver);
            }
        }
        self.instance_of.push(chip.fed.then_some(index));
        if !chip.fed {
            return;
        }
        let times = self.times(key, stimuli);
        let rc_oscillator = function.rc_oscillator.as_ref().filter(|_| chip.timing.last().is_some_and(Option::is_some));
        for (bit, &pin) in function.inputs.iter().enumerate() {
            // An input that oscillates is on no net.
            let target = rc_oscillator.is_some_and(|rc_oscillator| rc_oscillator.input == bit);
            if let Some(net) = chip.nets[pin]
                && !target
            {
                let data_only = self.models[model as usize].data_only >> bit & 1 == 1;
                loads[net].push(Load::new(index, row(bit), data_only));
            }
        }
        let can = function.oscillator.and_then(|bit| {
            let period = chip.frequency?.period()?;
            Some((OscillatorTarget::State(bit), period))
        });
        let rc_oscillator = rc_oscillator.zip(times.last().copied().flatten());
        let rc_oscillator =
            rc_oscillator.map(|(rc_oscillator, period)| (OscillatorTarget::Input(rc_oscillator.input), period));
        for (target, period) in can.into_iter().chain(rc_oscillator) {
            let row = row(self.oscillators.len());
            let oscillator =
                Oscillator { driver: self.timing_driver(Owner::Oscillator(key, row)), instance: index, period, target };
            self.oscillators.push(oscillator);
        }
        let first_timer = row(self.timers.len());
        for (timer, time) in function.timers.iter().zip(&times) {
            let driver = self.timing_driver(Owner::Timer(key, row(self.timers.len())));
            let time = time.map(|time| time.max(Time::ZERO));
            self.timers.push(Timer::new(driver, index, timer.state, time));
        }
        let unknown = Word::all_unknown(function.input_mask());
        let signals = function.inputs.len() + function.nodes.len();
        let three_state = self.three_state(key);
        self.instances.push(Instance {
            now: unknown,
            inputs: unknown,
            nodes: Word::all_unknown(Word::mask(row(function.nodes.len()))),
            stored: function.unknown_state(),
            wanted: Drive { value: Word::all_unknown(Word::mask(row(function.outputs.len()))), off: Word::default() },
            chip: key,
            model,
            first_delay,
            first_driver,
            moved_by: CausalDepth::NONE,
            hold_ends: NEVER,
            first_timestamp: row(self.timestamps.len()),
            first_check: 0,
            first_reference_edge: 0,
            three_state,
            metastable: 0,
            resolves_metastability: false,
            dirty: false,
            requested: true,
        });
        self.cold_states.push(ColdState {
            self_changed: 0,
            trigger_inputs: 0,
            lost: LONG_AGO,
            renewed: LONG_AGO,
            first_timer,
            first_stage: 0,
            second_stage: 0,
        });
        let never = || std::iter::repeat_n(LONG_AGO, signals);
        self.timestamps.extend(never());
        self.arrivals.extend(never());
    }

    /// True when an output of a chip can go high-impedance, tied as it is to the rails.
    fn three_state(&mut self, key: ChipKey) -> bool {
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
            let rail = chip.nets[pin].and_then(|net| self.circuit.rail_level(net));
            if let Some(level) = rail {
                inputs.unknown &= !(1 << bit);
                inputs.value |= u64::from(level.is_high()) << bit;
            }
        }
        let stored = function.unknown_state();
        let nodes = function.nodes(inputs, &stored, &mut self.scratch);
        let drive = function.drive(SampledInputs { inputs, nodes }, &stored, &mut self.scratch);
        drive.off != Word::default()
    }

    /// Something that drives nothing, but wakes its chip.
    fn timing_driver(&mut self, owner: Owner) -> u32 {
        let driver = self.add_driver(None, Level::U, owner);
        self.drivers[driver as usize].flags |= driver_flag::SELF_TIMED;
        driver
    }

    /// The times of a chip's timers, and the period of an input that oscillates; in a random corner each lies
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
                    Some(Time::from_ps(least + i64::try_from(drawn).unwrap_or(i64::MAX)))
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

    /// Rows of drivers and loads, one net behind the other.
    fn lay_out_nets(&mut self, drivers: &DriverLists, loads: &LoadLists) {
        for key in self.circuit.nets.keys() {
            let fixed = self.circuit.rail_level(key);
            let mut flags = 0;
            if fixed.is_some() {
                flags |= net_flag::FIXED;
            }
            if drivers[key].len() != 1 {
                flags |= net_flag::SHARED;
            }
            if self.links.follow(key) {
                flags |= net_flag::LINKED;
            }
            self.nets.push(NetState {
                level: fixed.unwrap_or(if drivers[key].is_empty() { Level::Z } else { Level::U }),
                flags,
                drivers: (row(self.net_drivers.len()), row(drivers[key].len())),
                loads: (row(self.net_loads.len()), row(loads[key].len())),
                counts: row(self.driver_counts.len()),
            });
            if flags & (net_flag::FIXED | net_flag::SHARED) != 0 {
                let mut counts = DriverCounts::default();
                for &driver in &drivers[key] {
                    counts.add(self.drivers[driver as usize].now);
                }
                self.driver_counts.push(counts);
            }
            self.net_drivers.extend(&drivers[key]);
            self.net_loads.extend(&loads[key]);
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
            time: Time::ZERO,
            queue: Queue::new(),
            instances: Vec::new(),
            cold_states: Vec::new(),
            models: Vec::new(),
            delays: Vec::new(),
            drivers: Vec::new(),
            connections: Vec::new(),
            later_transitions: Vec::new(),
            owners: Vec::new(),
            nets: Vec::new(),
            net_drivers: Vec::new(),
            net_loads: Vec::new(),
            driver_counts: Vec::new(),
            instance_of: KeyVec::new(),
            timestamps: Vec::new(),
            arrivals: Vec::new(),
            previous_levels: Vec::new(),
            initialised: false,
            check_states: Vec::new(),
            reference_edges: Vec::new(),
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
            changed_timestamps: Vec::new(),
            violating_inputs: 0,
            scratch: Default::default(),
            counters: Default::default(),
            depth: 0,
            too_deep: None,
            rules: Default::default(),
            history: settings.history.then(super::records::History::default),
            past: None,
            next_checkpoint: u64::MAX,
            pauses: false,
            stop: false,
        }
    }
}
