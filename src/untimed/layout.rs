//! From a circuit to the flat tables of a machine.

use super::knots::{Knot, Link, capacitor_on, links, rail_level};
use super::look::Spell;
use super::machine::{
    Bus, BusDriver, Drive, Hears, Listener, Machine, NONE, Node, Place, PlaceKind, Segment,
    Settings, Signal, Source,
};
use super::order::components;
use super::pieces::{Cell, Guard, Plan, Section, Store, Unit, bits, sections};
use crate::circuit::{ChipKey, Circuit, NetKey};
use crate::diagnostic::Diagnostic;
use crate::key::{Key, KeyVec};
use crate::logic::{Level, Word};
use crate::part::function::flat::{Fixed, Flat};
use crate::part::function::{Held, Seen};
use crate::part::{Edge, Part, PinKind};
use rustc_hash::FxHashMap;
use std::collections::BTreeMap;
use std::rc::Rc;
use std::sync::Arc;

/// The most bits that a table is looked up by.
const WIDEST_TABLE: u32 = 14;
/// The most words of all tables together, 64 MiB.
const MOST_ROWS: usize = 1 << 24;
/// A signal with so many lines that are heard is told as one.
const WIDE: u32 = 6;

/// What makes two tables the same: part, unit outputs, constants, variable bits, and whether it is of an edge.
type TableKey = (*const Part, u64, u64, u64, Vec<u32>, bool);

/// What is needed only while a machine is built.
#[derive(Default)]
pub(super) struct Draft {
    sections: FxHashMap<*const Part, Rc<Vec<Section>>>,
    tables: FxHashMap<TableKey, u32>,
    unit_of: FxHashMap<(u32, u32), u32>,
    /// Who hears a line: signal, word of the sets, movement; then bits by bit of the word.
    heard: BTreeMap<(u32, u32, Hears), BTreeMap<u32, u64>>,
    links: Vec<Link>,
}

pub(super) const DIRTY: usize = 0;
pub(super) const ARMED: usize = 1;
pub(super) const TICKED: usize = 2;
pub(super) const TOUCHED: usize = 3;

impl<'c> Machine<'c> {
    /// A machine at the moment before power comes. `stimuli` are the nets that a trial will drive.
    ///
    /// # Errors
    /// What is in the circuit that comes out only by delays, each at its place.
    pub fn new(
        circuit: &'c Circuit,
        settings: Settings,
        stimuli: &[NetKey],
    ) -> Result<Machine<'c>, Vec<Diagnostic>> {
        let mut machine = Machine::empty(circuit, settings);
        let mut draft = Draft {
            links: links(circuit),
            ..Draft::default()
        };
        let mut problems = Vec::new();
        for key in circuit.chips.keys() {
            machine.add_cell(key);
        }
        machine.fill_storage();
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
        machine.order_nodes(&mut draft);
        machine.guard();
        machine.find_skew();
        machine.power_up();
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
            listeners: Vec::new(),
            sets: Vec::new(),
            set: 0,
            lively: 0,
            plain: Vec::new(),
            open: Vec::new(),
            nodes: Vec::new(),
            unit_places: Vec::new(),
            knot_places: Vec::new(),
            units: Vec::new(),
            cells: Vec::new(),
            cell_of: KeyVec::new(),
            held: Vec::new(),
            segments: Vec::new(),
            tables: Vec::new(),
            flats: Vec::new(),
            drives: Vec::new(),
            behind: Vec::new(),
            buses: Vec::new(),
            bus_drivers: Vec::new(),
            knots: Vec::new(),
            places: KeyVec::new(),
            rings: Vec::new(),
            rings_moved: false,
            agenda: Vec::new(),
            pending: Vec::new(),
            skewed: Vec::new(),
            launchers: Default::default(),
            stored: Vec::new(),
            notes: Vec::new(),
            changes: Vec::new(),
            sleeps: Vec::new(),
            note_moved: false,
            notes_sleepers: false,
            fights: vec![Spell::default(); circuit.nets.len()],
            floats: vec![Spell::default(); circuit.nets.len()],
            spells_moved: Vec::new(),
            buses_moved: Vec::new(),
            forbids: Vec::new(),
            awake: false,
            waking: true,
            hands: false,
            stop: false,
            refusal: None,
            rows: Vec::new(),
            scratch: Default::default(),
            moments: 0,
            evaluations: 0,
            fulls: 0,
        }
    }

    pub(super) fn is_fixed(&self, net: NetKey) -> bool {
        rail_level(self.circuit, net).is_some()
    }

    fn add_cell(&mut self, key: ChipKey) {
        let chip = &self.circuit.chips[key];
        self.cell_of
            .push(chip.fed.then_some(self.cells.len() as u32));
        if !chip.fed {
            return;
        }
        let function = &chip.part.function;
        let mut fixed = Word::all_unknown(function.input_mask());
        let mut variable = 0;
        for (bit, &pin) in function.inputs.iter().enumerate() {
            let Some(net) = chip.nets[pin] else { continue };
            match rail_level(self.circuit, net) {
                Some(level) => {
                    fixed.unknown &= !(1 << bit);
                    fixed.value |= u64::from(level.is_high()) << bit;
                }
                None => variable |= 1 << bit,
            }
        }
        self.held.push(function.held_unknown());
        self.forbids
            .push(vec![(false, 0, 0); function.forbid_count()]);
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
            address: function.address_inputs(),
        });
    }

    /// Finds out what a chip can store at all, and tells what times itself.
    fn look_at_cell(&mut self, number: u32, problems: &mut Vec<Diagnostic>) {
        let cell = &self.cells[number as usize];
        let chip = &self.circuit.chips[cell.chip];
        let function = &cell.part.function;
        let mut held = Held {
            state: Word::all_unknown(function.state_mask() & !function.zero_at_power_up),
            memories: self.held[number as usize].memories.clone(),
        };
        let living = function.living(cell.fixed, &mut held, &mut self.scratch);
        let seen = Seen {
            inputs: cell.fixed,
            nodes: function.nodes(cell.fixed, &held, &mut self.scratch),
        };
        let forbids = function.may_be_forbidden(seen, &held, &mut self.scratch);
        // What moves, but shows nowhere, is not followed.
        let shows = |flat: Option<Flat>| flat.is_none_or(|flat| flat.reads(living.states));
        let fixed = Fixed {
            inputs: cell.fixed,
            states: held.state,
            memories: &held.memories,
        };
        let moves = living.starts || living.writes || function.oscillator.is_some();
        let frozen = !moves
            && (living.states == 0
                || !shows(function.flat_off(fixed)) && !shows(function.flat_value(fixed)));
        let swings = function.swing.is_some() && chip.timing.last().is_some_and(Option::is_some);
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
        (cell.frozen, cell.forbids) = (frozen, forbids);
    }

    /// Cuts a chip into units.
    fn cut(&mut self, number: u32, draft: &mut Draft) {
        let cell = &self.cells[number as usize];
        let part = Arc::clone(&cell.part);
        let known = draft.sections.entry(Arc::as_ptr(&part));
        let found = Rc::clone(known.or_insert_with(|| Rc::new(sections(&part.function))));
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
            owned |= unit.states;
            self.units.push(unit);
        }
        let state = self.held[number as usize].state;
        let cell = &mut self.cells[number as usize];
        cell.rest = Word {
            value: state.value & !owned,
            unknown: state.unknown & !owned,
        };
        if part.function.oscillator.is_some()
            && let Some(frequency) = chip.frequency
            && let Some(period) = frequency.period()
        {
            let unit = draft.unit_of.get(&(number, 0)).copied().unwrap_or(NONE);
            self.agenda.push((0, Source::Oscillator(unit, period.ps())));
        }
    }

    pub(super) fn new_signal(&mut self) -> u32 {
        self.signals.push(Signal {
            now: Word::default(),
            was: Word::default(),
            origin: Word::default(),
            wave: 0,
            moment: 0,
            moved: 0,
            controls: 0,
            glitches: 0,
            glitch_wave: 0,
            listeners: (0, 0),
            noted: false,
        });
        self.signals.len() as u32 - 1
    }

    /// Gives each net its place, and each unit what it drives.
    fn place_nets(&mut self, stimuli: &[NetKey], draft: &mut Draft) {
        let circuit = self.circuit;
        let mut drivers: KeyVec<NetKey, Vec<(u32, u32)>> =
            KeyVec::filled(circuit.nets.len(), Vec::new());
        let mut always: KeyVec<NetKey, bool> = KeyVec::filled(circuit.nets.len(), true);
        for (number, unit) in self.units.iter().enumerate() {
            let cell = &self.cells[unit.cell as usize];
            for output in bits(unit.outputs) {
                let pin = cell.part.function.outputs[output as usize];
                if let Some(net) = circuit.chips[cell.chip].nets[pin] {
                    drivers[net].push((number as u32, output));
                    always[net] &= cell.part.pins[pin].kind == PinKind::Out;
                }
            }
        }
        let rails = self.new_signal();
        self.signals[rails as usize].now = Word::known(2);
        // Nets that contacts and resistors join are one knot.
        let mut group: Vec<u32> = (0..circuit.nets.len() as u32).collect();
        let mut slow = vec![false; circuit.nets.len()];
        for link in &draft.links {
            let [a, b] = link.nets.map(|net| (net, rail_level(circuit, net)));
            match (a, b) {
                ((_, Some(_)), (_, Some(_))) => {}
                ((net, None), (_, Some(_))) | ((_, Some(_)), (net, None)) => {
                    slow[net.index()] |=
                        link.ohms.is_none() || capacitor_on(circuit, net).is_some();
                }
                ((a, None), (b, None)) => {
                    let (a, b) = (group[a.index()], group[b.index()]);
                    group
                        .iter_mut()
                        .filter(|group| **group == b)
                        .for_each(|group| *group = a);
                }
            }
        }
        let mut members: BTreeMap<u32, Vec<NetKey>> = BTreeMap::new();
        for net in circuit.nets.keys() {
            members.entry(group[net.index()]).or_default().push(net);
        }
        self.places = KeyVec::filled(
            circuit.nets.len(),
            Place {
                signal: rails,
                bit: 0,
                kind: PlaceKind::Own,
            },
        );
        let mut buses: BTreeMap<Vec<u32>, Vec<NetKey>> = BTreeMap::new();
        for nets in members.values() {
            let first = nets[0];
            let fixed = rail_level(circuit, first);
            if let Some(level) = fixed {
                let place = &mut self.places[first];
                place.kind = PlaceKind::Fixed(level);
                place.bit = level.is_high().into();
            }
            let knotted = nets.len() > 1
                || slow[first.index()]
                || stimuli.contains(&first)
                || drivers[first].is_empty() && fixed.is_none()
                || fixed.is_some() && !drivers[first].is_empty();
            if knotted {
                self.add_knot(nets, stimuli, &drivers, draft);
            } else if fixed.is_some() {
            } else if let ([(unit, output)], true) = (drivers[first].as_slice(), always[first]) {
                self.place_own(first, *unit, *output);
            } else {
                let units = drivers[first].iter().map(|&(unit, _)| unit).collect();
                buses.entry(units).or_default().push(first);
            }
        }
        for (_, mut nets) in buses {
            nets.sort_by_key(|&net| (drivers[net][0].1, net));
            for nets in nets.chunks(64) {
                self.add_bus(nets, &drivers, draft);
            }
        }
    }

    fn place_own(&mut self, net: NetKey, unit: u32, output: u32) {
        if self.units[unit as usize].own == NONE {
            self.units[unit as usize].own = self.new_signal();
        }
        let unit = &mut self.units[unit as usize];
        unit.own_mask |= 1 << output;
        self.places[net] = Place {
            signal: unit.own,
            bit: output,
            kind: PlaceKind::Own,
        };
    }

    fn shared(&mut self, unit: u32) -> u32 {
        let unit = &mut self.units[unit as usize];
        if unit.shared == NONE {
            unit.shared = self.drives.len() as u32;
            self.drives.push(Drive::default());
        }
        unit.shared
    }

    fn add_knot(
        &mut self,
        nets: &[NetKey],
        stimuli: &[NetKey],
        drivers: &KeyVec<NetKey, Vec<(u32, u32)>>,
        draft: &Draft,
    ) {
        let number = self.knots.len() as u32;
        let touching = draft.links.iter().copied();
        let touching: Vec<Link> = touching
            .filter(|link| link.nets.iter().any(|net| nets.contains(net)))
            .collect();
        let mut knot = Knot::new(self.circuit, self.settings.corner, nets, &touching);
        for (row, net) in knot.nets.iter_mut().enumerate() {
            net.signal = self.new_signal();
            net.stimulus = stimuli.contains(&net.net).then_some(Level::Z);
            for &(unit, output) in &drivers[net.net] {
                net.drivers.push((self.shared(unit), output));
            }
            if net.fixed.is_none() {
                self.places[net.net] = Place {
                    signal: net.signal,
                    bit: 0,
                    kind: PlaceKind::Knot(number, row as u32),
                };
            }
        }
        self.knots.push(knot);
    }

    fn add_bus(
        &mut self,
        nets: &[NetKey],
        drivers: &KeyVec<NetKey, Vec<(u32, u32)>>,
        draft: &Draft,
    ) {
        let number = self.buses.len() as u32;
        let signal = self.new_signal();
        let mut weak = Drive::default();
        let mut heard = 0;
        let mut ways: BTreeMap<(u32, u32), u64> = BTreeMap::new();
        for (bit, &net) in (0u32..).zip(nets) {
            self.places[net] = Place {
                signal,
                bit,
                kind: PlaceKind::Bus(number),
            };
            for link in draft.links.iter().filter(|link| link.nets.contains(&net)) {
                for level in link
                    .nets
                    .iter()
                    .filter_map(|&end| rail_level(self.circuit, end))
                {
                    weak.one |= u64::from(level.is_high()) << bit;
                    weak.zero |= u64::from(level.is_low()) << bit;
                }
            }
            heard |= u64::from(self.is_heard(net)) << bit;
            for &(unit, output) in &drivers[net] {
                let drive = self.shared(unit);
                let turn = bit.wrapping_sub(output) & 63;
                *ways.entry((drive, turn)).or_default() |= 1 << bit;
            }
        }
        let first = self.bus_drivers.len() as u32;
        for ((drive, turn), mask) in ways {
            self.bus_drivers.push(BusDriver { drive, turn, mask });
        }
        self.buses.push(Bus {
            signal,
            drivers: (first, self.bus_drivers.len() as u32),
            width: Word::mask(nets.len() as u32),
            weak,
            drive: Drive::default(),
            fight: 0,
            told: (0, 0),
            unsettled: false,
            heard,
            floats: 0,
            nets: nets.to_vec(),
        });
    }

    /// True when a chip listens to a net.
    pub(super) fn is_heard(&self, net: NetKey) -> bool {
        self.listener(net).is_some()
    }

    /// One of the inputs that listen to a net.
    pub(super) fn listener(&self, net: NetKey) -> Option<(ChipKey, usize)> {
        let pins = self.circuit.nets[net].chip_pins.iter().copied();
        let mut pins = pins.filter(|&(chip, pin)| {
            let chip = &self.circuit.chips[chip];
            chip.fed && chip.part.function.inputs.contains(&pin)
        });
        pins.next()
    }

    // ---- how each unit is found ---------------------------------------------------------------------------------

    /// The line behind an input of a cell.
    pub(super) fn line(&self, cell: &Cell, input: u32) -> (u32, u32) {
        let pin = cell.part.function.inputs[input as usize];
        let net = self.circuit.chips[cell.chip].nets[pin];
        net.map_or((0, 0), |net| {
            (self.places[net].signal, self.places[net].bit)
        })
    }

    /// Segments that bring lines to places of a word.
    fn bring(&mut self, lines: &[((u32, u32), u32)]) -> (u32, u32) {
        let first = self.segments.len();
        for &((signal, bit), to) in lines {
            let turn = to.wrapping_sub(bit) & 63;
            let same = self.segments[first..]
                .iter_mut()
                .find(|segment| (segment.signal, segment.turn) == (signal, turn));
            match same {
                Some(segment) => segment.mask |= 1 << to,
                None => self.segments.push(Segment {
                    signal,
                    turn,
                    mask: 1 << to,
                }),
            }
        }
        (first as u32, self.segments.len() as u32)
    }

    fn plan(&mut self, number: u32, draft: &mut Draft) {
        let cell_number = self.units[number as usize].cell;
        if self.cells[cell_number as usize].gather == (0, 0) {
            let cell = &self.cells[cell_number as usize];
            let lines: Vec<_> = bits(cell.variable)
                .map(|input| (self.line(cell, input), input))
                .collect();
            self.cells[cell_number as usize].gather = self.bring(&lines);
        }
        let cell = &self.cells[cell_number as usize];
        let unit = &self.units[number as usize];
        let function = &cell.part.function;
        let (mut inputs, mut states, mut memory) = (0, 0, false);
        for output in bits(unit.outputs) {
            let both = [
                function.reads_of_value(output as usize),
                function.reads_of_off(output as usize),
            ];
            for reads in both {
                inputs |= reads.inputs;
                states |= reads.states;
                memory |= reads.memory;
            }
        }
        let (variable, frozen) = (cell.variable, cell.frozen);
        let open = inputs & !variable & cell.fixed.unknown != 0;
        let clocked = function.plain_clock(unit.states);
        let oscillates = function.oscillator.is_some();
        let forbids = cell.forbids;
        // A clear stores nothing but constants; what a level takes from inputs is no plain register.
        let loads = function.reads_of_levels(unit.states).inputs & !unit.controls != 0;
        let stores = !frozen && (unit.states != 0 || !function.memories.is_empty());
        let data = unit.data & variable;
        let open_data = unit.data & !variable & cell.fixed.unknown != 0;
        let read_by_edge = function.reads_of_edges(unit.states).states & unit.states;
        if stores {
            let signal = self.new_signal();
            let unit = &mut self.units[number as usize];
            unit.state = signal;
            let mask = unit.states;
            self.cells[cell_number as usize].states.push((signal, mask));
        }
        let unit = &mut self.units[number as usize];
        unit.drive_inputs = inputs & variable;
        unit.controls &= variable;
        unit.data = data;
        unit.read_states = states | read_by_edge;
        let states = states & unit.states;
        let can = !open && !(forbids && !stores);
        self.units[number as usize].plan = if can {
            self.plan_of(number, (inputs & variable, states), memory, false, draft)
        } else {
            Plan::Full
        };
        if stores {
            self.units[number as usize].store = match clocked {
                Some((_, edge)) if !oscillates && !loads => {
                    let plan = if open_data {
                        Plan::Full
                    } else {
                        self.plan_of(number, (data, read_by_edge), false, true, draft)
                    };
                    Store::Register(edge, plan)
                }
                _ => Store::Other,
            };
        }
    }

    /// A table, when there are few bits to look it up by, or a program.
    fn plan_of(
        &mut self,
        number: u32,
        (inputs, states): (u64, u64),
        memory: bool,
        edge: bool,
        draft: &mut Draft,
    ) -> Plan {
        let unit = self.units[number as usize].clone();
        let cell = &self.cells[unit.cell as usize];
        let function = &cell.part.function;
        let held = &self.held[unit.cell as usize];
        let mut known = cell.rest;
        known.unknown |= unit.states;
        let fixed = Fixed {
            inputs: cell.fixed,
            states: known,
            memories: if cell.frozen { &held.memories } else { &[] },
        };
        let flats = if edge {
            [
                Some(Default::default()),
                function.flat_edge(fixed, unit.states),
            ]
        } else {
            [function.flat_off(fixed), function.flat_value(fixed)]
        };
        let [Some(off), Some(value)] = flats else {
            return Plan::Full;
        };
        let base = cell.fixed.value;
        let mut lines: Vec<((u32, u32), bool, u32)> = bits(inputs)
            .map(|input| (self.line(cell, input), false, input))
            .collect();
        lines.extend(bits(states).map(|bit| ((unit.state, bit), true, bit)));
        lines.sort_unstable();
        let mut gathered: Vec<((u32, u32), u32)> = Vec::new();
        // Inputs on one line are one bit.
        let mut places = Vec::new();
        for line in &lines {
            if gathered.last().map(|last| last.0) != Some(line.0) {
                gathered.push((line.0, gathered.len() as u32));
            }
            places.push(gathered.len() as u32 - 1);
        }
        let high = if edge { unit.states } else { unit.outputs };
        let small =
            gathered.len() as u32 <= WIDEST_TABLE && high >> (if edge { 32 } else { 16 }) == 0;
        if small && !memory && self.tables.len() + (1 << gathered.len()) <= MOST_ROWS {
            let order = lines
                .iter()
                .zip(&places)
                .map(|(line, place)| place << 8 | line.2 << 1 | u32::from(line.1))
                .collect();
            let gather = self.bring(&gathered);
            let rest = self.cells[unit.cell as usize].rest.value;
            let part = Arc::as_ptr(&self.cells[unit.cell as usize].part);
            let key = (part, high, base, rest, order, edge);
            if let Some(&first) = draft.tables.get(&key) {
                return Plan::Table { gather, first };
            }
            let first = self.tables.len() as u32;
            for index in 0u64..1 << gathered.len() {
                let (mut inputs, mut states) = (base, rest);
                for (&(_, state, bit), at) in lines.iter().zip(&places) {
                    let word = if state { &mut states } else { &mut inputs };
                    *word = *word & !(1 << bit) | (index >> at & 1) << bit;
                }
                let run = |flat: &Flat, rows: &mut Vec<u64>| flat.run(inputs, states, &[], rows).0;
                let (off, value) = (run(&off, &mut self.rows), run(&value, &mut self.rows));
                let row = if edge {
                    value & unit.states
                } else {
                    value & !off & unit.outputs | (off & unit.outputs) << 16
                };
                self.tables.push(row as u32);
            }
            draft.tables.insert(key, first);
            return Plan::Table { gather, first };
        }
        let lines: Vec<_> = lines
            .iter()
            .filter(|line| !line.1)
            .map(|line| (line.0, line.2))
            .collect();
        let gather = self.bring(&lines);
        let never = edge || off.constant() == Some(0);
        let row = self.flats.len() as u32;
        self.flats.extend([off, value]);
        Plan::Flat {
            gather,
            base,
            off: if never { NONE } else { row },
            value: row + 1,
        }
    }

    // ---- the order of levels ------------------------------------------------------------------------------------

    fn order_nodes(&mut self, draft: &mut Draft) {
        let units = self.units.len();
        let (buses, knots) = (self.buses.len(), self.knots.len());
        let mut next: Vec<Vec<u32>> = vec![Vec::new(); units + buses + knots];
        // From signals to the units that look at once, and from units to what they drive.
        let mut behind: Vec<Vec<u32>> = vec![Vec::new(); self.signals.len()];
        let mut heard: Vec<bool> = vec![false; self.signals.len()];
        for (number, unit) in self.units.iter().enumerate() {
            let cell = &self.cells[unit.cell as usize];
            for input in bits(unit.drive_inputs | unit.controls | unit.data) {
                let (signal, _) = self.line(cell, input);
                if unit.drive_inputs >> input & 1 == 1 {
                    behind[signal as usize].push(number as u32);
                }
                heard[signal as usize] |= unit.store != Store::Nothing;
            }
        }
        for (number, unit) in self.units.iter().enumerate() {
            if unit.own != NONE {
                next[number].extend(&behind[unit.own as usize]);
            }
        }
        let mut drives: Vec<Vec<u32>> = vec![Vec::new(); self.drives.len()];
        for (number, bus) in self.buses.iter().enumerate() {
            let node = units + number;
            next[node].extend(&behind[bus.signal as usize]);
            for driver in &self.bus_drivers[bus.drivers.0 as usize..bus.drivers.1 as usize] {
                drives[driver.drive as usize].push(node as u32);
            }
        }
        for (number, knot) in self.knots.iter().enumerate() {
            let node = units + buses + number;
            for net in &knot.nets {
                next[node].extend(&behind[net.signal as usize]);
                for &(drive, _) in &net.drivers {
                    drives[drive as usize].push(node as u32);
                }
            }
        }
        for (number, unit) in self.units.iter().enumerate() {
            if unit.shared != NONE {
                next[number].extend(&drives[unit.shared as usize]);
            }
        }
        for list in &mut next {
            list.sort_unstable();
            list.dedup();
        }
        let groups = components(&next);
        // Behind all that it leads to: what nobody hears comes first.
        let mut sleeps = vec![false; units];
        for node in groups.iter().flatten().map(|&node| node as usize) {
            let Some(unit) = self.units.get(node) else {
                continue;
            };
            let quiet = unit.own == NONE || !heard[unit.own as usize];
            let asleep = |&other: &u32| sleeps.get(other as usize).copied().unwrap_or(false);
            sleeps[node] = quiet
                && unit.shared == NONE
                && unit.store == Store::Nothing
                && next[node].iter().all(asleep);
        }
        let order = || groups.iter().rev().flatten().map(|&node| node as usize);
        let is_asleep = |node: usize| sleeps.get(node).copied().unwrap_or(false);
        let mut places = vec![0u32; next.len()];
        let node_of = |node: usize| {
            if node < units {
                Node::Unit(node as u32)
            } else if node < units + buses {
                Node::Bus((node - units) as u32)
            } else {
                Node::Knot((node - units - buses) as u32)
            }
        };
        for asleep in [false, true] {
            for node in order().filter(|&node| is_asleep(node) == asleep) {
                places[node] = self.nodes.len() as u32;
                self.nodes.push(node_of(node));
            }
            let full = self.nodes.len().next_multiple_of(64);
            self.nodes.resize(full, Node::Nothing);
            if !asleep {
                self.lively = full / 64;
            }
        }
        self.sleeps = vec![false; self.signals.len()];
        for (number, unit) in self.units.iter().enumerate() {
            if unit.own != NONE {
                self.sleeps[unit.own as usize] = sleeps[number];
            }
        }
        self.set = self.nodes.len() / 64;
        self.sets = vec![0; 4 * self.set];
        (self.plain, self.open) = (vec![0; self.set], vec![0; self.set]);
        self.unit_places = places[..units].to_vec();
        self.knot_places = places[units + buses..].to_vec();
        for number in 0..units {
            let unit = &mut self.units[number];
            if unit.shared == NONE {
                continue;
            }
            let first = self.behind.len() as u32;
            for &node in &drives[unit.shared as usize] {
                let place = places[node as usize];
                let (word, bit) = (place / 64, 1u64 << (place % 64));
                match self.behind[first as usize..]
                    .iter_mut()
                    .find(|row| row.0 == word)
                {
                    Some(row) => row.1 |= bit,
                    None => self.behind.push((word, bit)),
                }
            }
            unit.behind = (first, self.behind.len() as u32);
        }
        for number in 0..units {
            self.listen(number, draft);
        }
        self.lay_out_listeners(draft);
    }

    fn listen(&mut self, number: usize, draft: &mut Draft) {
        let unit = &self.units[number];
        let cell = &self.cells[unit.cell as usize];
        let place = self.unit_places[number];
        let mut hear = |line: (u32, u32), set: usize, hears: Hears| {
            let word = (set * self.set) as u32 + place / 64;
            let rows = draft.heard.entry((line.0, word, hears)).or_default();
            *rows.entry(place % 64).or_default() |= 1 << line.1;
        };
        for input in bits(unit.drive_inputs) {
            hear(self.line(cell, input), DIRTY, Hears::Any);
        }
        if unit.store == Store::Nothing {
            return;
        }
        let clock = cell.part.function.plain_clock(unit.states);
        for input in bits(unit.controls) {
            let line = self.line(cell, input);
            let level = cell.part.function.level_inputs() | cell.part.function.forbid_inputs();
            match (unit.store, clock) {
                (Store::Register(edge, _), Some((clock, _)))
                    if clock == input as usize && level >> input & 1 == 0 =>
                {
                    let hears = if edge == Edge::Rise {
                        Hears::Rise
                    } else {
                        Hears::Fall
                    };
                    hear(line, TICKED, hears);
                    hear(line, TOUCHED, Hears::Blur);
                }
                _ => hear(line, TOUCHED, Hears::Any),
            }
        }
        for input in bits(unit.data) {
            hear(self.line(cell, input), ARMED, Hears::Any);
        }
        for bit in bits(unit.states) {
            hear((unit.state, bit), DIRTY, Hears::Any);
            hear((unit.state, bit), ARMED, Hears::Any);
        }
        for input in bits(unit.controls) {
            let (signal, bit) = self.line(cell, input);
            self.signals[signal as usize].controls |= 1 << bit;
        }
    }

    fn lay_out_listeners(&mut self, draft: &mut Draft) {
        let heard = std::mem::take(&mut draft.heard);
        let mut signal_now = NONE;
        for ((signal, word, hears), rows) in heard {
            if signal != signal_now {
                signal_now = signal;
                let first = self.listeners.len() as u32;
                self.signals[signal as usize].listeners = (first, first);
            }
            let mut by_bits: BTreeMap<u64, u64> = BTreeMap::new();
            for (bit, bits) in rows {
                *by_bits.entry(bits).or_default() |= 1 << bit;
            }
            let all = by_bits.keys().fold(0u64, |all, bits| all | bits);
            let looser = (word as usize) < 2 * self.set;
            if looser && all.count_ones() >= WIDE {
                let mask = by_bits.values().fold(0, |all, mask| all | mask);
                by_bits = BTreeMap::from([(all, mask)]);
            }
            for (bits, mask) in by_bits {
                self.listeners.push(Listener {
                    bits,
                    mask,
                    word,
                    hears,
                });
            }
            self.signals[signal as usize].listeners.1 = self.listeners.len() as u32;
        }
    }

    /// Finds the gates whose glitches would clock, clear, enable or write something.
    fn guard(&mut self) {
        let mut cone: Vec<u64> = self.signals.iter().map(|it| it.controls).collect();
        for place in (0..self.nodes.len()).rev() {
            let Node::Unit(number) = self.nodes[place] else {
                continue;
            };
            let unit = &self.units[number as usize];
            let cell = &self.cells[unit.cell as usize];
            let chip = &self.circuit.chips[cell.chip];
            let (mut pins, mut guarded, mut lines) = (0, 0, Vec::new());
            for output in bits(unit.outputs) {
                let pin = cell.part.function.outputs[output as usize];
                let Some(net) = chip.nets[pin] else { continue };
                let place = self.places[net];
                if cone[place.signal as usize] >> place.bit & 1 == 0 {
                    continue;
                }
                let function = &cell.part.function;
                let both = [
                    function.reads_of_value(output as usize),
                    function.reads_of_off(output as usize),
                ];
                let inputs = (both[0].inputs | both[1].inputs) & unit.drive_inputs;
                let states = (both[0].states | both[1].states) & unit.states;
                let mut behind: Vec<_> = bits(inputs).map(|input| self.line(cell, input)).collect();
                behind.sort_unstable();
                behind.dedup();
                // What shows one stored bit moves when that does.
                if !behind.is_empty() || states.count_ones() > 1 {
                    guarded |= 1 << output;
                    let signal = &self.signals[place.signal as usize];
                    pins |= (signal.controls >> place.bit & 1) << output;
                }
                lines.extend(behind);
            }
            for line in lines {
                cone[line.0 as usize] |= 1 << line.1;
            }
            let unit = &mut self.units[number as usize];
            unit.guarded = guarded;
            unit.guard = match (guarded, pins) {
                (0, _) => Guard::No,
                (_, 0) => Guard::Inner,
                (_, pins) => Guard::Pins(pins),
            };
        }
    }
}
