//! From a circuit to the flat tables of a machine.

use super::delays::Delays;
use super::draft::Draft;
use super::machine::Machine;
use super::pieces::{Cell, Unit, bits};
use super::place::Source;
use super::signal::{NONE, RAILS, Signal};
use crate::circuit::{ChipKey, Circuit, NetKey};
use crate::diagnostic::Diagnostic;
use crate::evaluate::{Lookups, partitions};
use crate::key::KeyVec;
use crate::logic::Word;
use crate::part::function::two_state::{TiedInputs, TwoStateProgram};
use crate::part::function::{ChipState, SampledInputs};
use crate::run::joints;
use crate::run::{ContentionLog, FloatLog, Occurrences, Settings, fill};
use std::rc::Rc;
use std::sync::Arc;

impl<'c> Machine<'c> {
    /// A machine at the moment before power comes. `stimuli` are the nets that a trial will drive.
    ///
    /// # Errors
    /// What is in the circuit that comes out only by delays, each at its place.
    pub fn new(circuit: &'c Circuit, settings: Settings, stimuli: &[NetKey]) -> Result<Machine<'c>, Vec<Diagnostic>> {
        let mut machine = Machine::empty(circuit, settings);
        let mut draft = Draft { links: joints(circuit), ..Draft::default() };
        let mut problems = Vec::new();
        for key in circuit.chips.keys() {
            machine.add_cell(key);
        }
        let chips = machine.cells.iter().map(|cell| cell.chip);
        fill(circuit, settings.power_up, chips.zip(&mut machine.held));
        machine.signals = vec![Signal::default(); RAILS as usize + 1];
        machine.signals[RAILS as usize].now = Word::known(2);
        for cell in 0..machine.cells.len() {
            machine.look_at_cell(cell as u32, &mut problems);
            machine.cut(cell as u32, &mut draft);
        }
        machine.place_nets(stimuli, &mut draft);
        machine.find_rings(&mut problems);
        if !problems.is_empty() {
            return Err(problems);
        }
        for unit in 0..machine.units.len() {
            machine.plan(unit as u32, &mut draft);
        }
        machine.link_loops();
        machine.order_nodes(&mut draft);
        machine.guard();
        machine.lay_out_rows();
        let mut delays = Delays::new(circuit, settings);
        machine.find_skew(&mut delays);
        machine.lay_out_registers();
        machine.power_up(&mut delays);
        Ok(machine)
    }

    fn empty(circuit: &'c Circuit, settings: Settings) -> Machine<'c> {
        Machine {
            circuit,
            settings,
            time: 0,
            wave: 1,
            moment: 1,
            signals: Vec::new(),
            taps: Vec::new(),
            listeners: Vec::new(),
            sets: Vec::new(),
            lively: 0,
            nodes: Vec::new(),
            rows: Vec::new(),
            glances: Vec::new(),
            registers: Vec::new(),
            pulses: Vec::new(),
            glitched: 0,
            unit_places: Vec::new(),
            knot_places: Vec::new(),
            units: Vec::new(),
            cells: Vec::new(),
            cell_of: KeyVec::new(),
            held: Vec::new(),
            segments: Vec::new(),
            tables: Lookups::default(),
            fills: Vec::new(),
            flats: Vec::new(),
            drives: Vec::new(),
            given: Vec::new(),
            behind: Vec::new(),
            buses: Vec::new(),
            bus_drivers: Vec::new(),
            knots: Vec::new(),
            places: KeyVec::new(),
            loops: Vec::new(),
            rings: Vec::new(),
            rings_moved: false,
            agenda: Vec::new(),
            pending: Vec::new(),
            skewed: Vec::new(),
            launchers: Default::default(),
            stored: Vec::new(),
            steady: Vec::new(),
            notes: Vec::new(),
            changes: Vec::new(),
            sleeps: Vec::new(),
            note_moved: false,
            notes_sleepers: false,
            contentions: vec![ContentionLog::default(); circuit.nets.len()],
            floats: vec![FloatLog::default(); circuit.nets.len()],
            last_drivers: KeyVec::filled(circuit.nets.len(), None),
            spells_moved: Vec::new(),
            buses_moved: Vec::new(),
            forbids: Vec::new(),
            awake: false,
            waking: true,
            hands: false,
            stop: false,
            refusal: None,
            scratch: Default::default(),
            moments: 0,
            evaluations: 0,
            next_look: u64::MAX,
        }
    }

    pub(super) fn is_fixed(&self, net: NetKey) -> bool {
        self.circuit.rail_level(net).is_some()
    }

    fn add_cell(&mut self, key: ChipKey) {
        let chip = &self.circuit.chips[key];
        self.cell_of.push(chip.fed.then_some(self.cells.len() as u32));
        if !chip.fed {
            return;
        }
        let function = &chip.part.function;
        let mut fixed = Word::all_unknown(function.input_mask());
        let mut variable = 0;
        for (bit, &pin) in function.inputs.iter().enumerate() {
            let Some(net) = chip.nets[pin] else { continue };
            match self.circuit.rail_level(net) {
                Some(level) => {
                    fixed.unknown &= !(1 << bit);
                    fixed.value |= u64::from(level.is_high()) << bit;
                }
                None => variable |= 1 << bit,
            }
        }
        self.held.push(function.unknown_state());
        self.forbids.push(vec![Occurrences::default(); function.forbid_count()]);
        self.cells.push(Cell {
            part: Arc::clone(&chip.part),
            chip: key,
            fixed,
            variable,
            gather: (0, 0),
            states: Vec::new(),
            rest: Word::default(),
            frozen: false,
            forbids: false,
            always: 0,
            address: function.address_inputs(),
        });
    }

    /// Finds out what a chip can store at all, and tells what times itself.
    fn look_at_cell(&mut self, number: u32, problems: &mut Vec<Diagnostic>) {
        let cell = &self.cells[number as usize];
        let chip = &self.circuit.chips[cell.chip];
        let function = &cell.part.function;
        let mut held = ChipState {
            state: Word::all_unknown(function.state_mask() & !function.zero_at_power_up),
            memories: self.held[number as usize].memories.clone(),
        };
        let living = function.reachable(cell.fixed, &mut held, &mut self.scratch);
        let seen = SampledInputs { inputs: cell.fixed, nodes: function.nodes(cell.fixed, &held, &mut self.scratch) };
        let drive = function.drive(seen, &held, &mut self.scratch);
        let always = !(drive.off.value | drive.off.unknown);
        let forbids = function.may_be_forbidden(seen, &held, &mut self.scratch);
        // What moves, but shows nowhere, is not followed.
        let shows = |flat: Option<TwoStateProgram>| flat.is_none_or(|flat| flat.states() & living.states != 0);
        let fixed = TiedInputs { inputs: cell.fixed, states: held.state, memories: &held.memories };
        let moves = living.starts || living.writes || function.oscillator.is_some();
        let frozen = !moves
            && (living.states == 0 || !shows(function.two_state_off(fixed)) && !shows(function.two_state_value(fixed)));
        let swings = function.rc_oscillator.is_some() && chip.timing.last().is_some_and(Option::is_some);
        let timed = if swings {
            Some("swings by a resistor and a capacitor")
        } else if frozen {
            None
        } else if living.starts {
            Some("times itself: how long it runs is no matter of clocks")
        } else if function.writes_at_edges() {
            Some("writes at an edge, which is not known how to do without delays")
        } else {
            None
        };
        if let Some(why) = timed {
            let message = format!("{} ({}) {why}", chip.path, chip.number);
            problems.push(
                Diagnostic::error("untimed-timer", message)
                    .at(chip.span, "this one")
                    .help("run it with delays: leave out --untimed"),
            );
        }
        if frozen {
            let state = &mut self.held[number as usize].state;
            state.unknown |= living.states;
            state.value &= !living.states;
        }
        let cell = &mut self.cells[number as usize];
        (cell.frozen, cell.forbids, cell.always) = (frozen, forbids, always);
    }

    /// Cuts a chip into units.
    fn cut(&mut self, number: u32, draft: &mut Draft) {
        let cell = &self.cells[number as usize];
        let part = Arc::clone(&cell.part);
        let known = draft.partitions.entry(Arc::as_ptr(&part));
        let found = Rc::clone(known.or_insert_with(|| Rc::new(partitions(&part.function))));
        let chip = &self.circuit.chips[cell.chip];
        let frozen = cell.frozen;
        let mut owned = 0;
        for &section in found.iter() {
            let row = self.units.len() as u32;
            for output in bits(section.outputs) {
                draft.unit_of.insert((number, output), row);
            }
            let mut unit = Unit::new(number, section);
            if frozen {
                unit.states = 0;
            } else {
                let function = &part.function;
                unit.controls = function.controls_of(section.states) & section.inputs;
                if section.states == 0 && function.memories.is_empty() {
                    unit.controls = 0;
                }
                if self.cells[number as usize].forbids {
                    unit.controls |= function.forbid_inputs();
                }
                unit.data = (function.reads_of_edges(section.states).inputs
                    | function.reads_of_levels(section.states).inputs)
                    & !unit.controls;
            }
            if !frozen && (unit.states != 0 || !part.function.memories.is_empty()) {
                unit.state = self.new_signal();
                let states = &mut self.cells[number as usize].states;
                states.push((unit.state, unit.states));
                self.find_shown(row, &unit, draft);
            }
            owned |= unit.states;
            self.units.push(unit);
        }
        let state = self.held[number as usize].state;
        let cell = &mut self.cells[number as usize];
        cell.rest = Word { value: state.value & !owned, unknown: state.unknown & !owned };
        if part.function.oscillator.is_some()
            && let Some(frequency) = chip.frequency
            && let Some(period) = frequency.period()
        {
            let unit = draft.unit_of.get(&(number, 0)).copied().unwrap_or(NONE);
            self.agenda.push((0, Source::Oscillator(unit, period.ps())));
        }
    }

    /// Finds the outputs that are one stored bit each, whatever all else is.
    fn find_shown(&mut self, number: u32, unit: &Unit, draft: &mut Draft) {
        let cell = &self.cells[unit.cell as usize];
        let function = &cell.part.function;
        if !function.memories.is_empty() || !self.settings.fast_paths {
            return;
        }
        for state in bits(unit.states) {
            let mut show = |level: u64| {
                let held = ChipState {
                    state: Word::new(level << state, function.state_mask() & !(1 << state)),
                    memories: Vec::new(),
                };
                let nodes = function.nodes(cell.fixed, &held, &mut self.scratch);
                let seen = SampledInputs { inputs: cell.fixed, nodes };
                function.drive(seen, &held, &mut self.scratch).value
            };
            let (low, high) = (show(0), show(1));
            let shown = !low.value & !low.unknown & high.value & unit.outputs;
            // Another output of the same bit is another net, which may be later.
            if let Some(output) = bits(shown).next() {
                draft.shows.insert((number, output), state);
            }
        }
    }

    pub(super) fn new_signal(&mut self) -> u32 {
        self.signals.push(Signal::default());
        self.signals.len() as u32 - 1
    }
}
