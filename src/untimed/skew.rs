//! Clocks that reach one piece of storage later than another: whether the sheets promise that old data still waits.

use super::delays::Delays;
use super::machine::Machine;
use super::pieces::{Store, Unit, bits};
use super::register::Sampled;
use super::settle::At;
use super::signal::NONE;
use super::store::mix;
use crate::logic::Word;
use crate::part::function::ChipState;
use std::collections::{BTreeMap, BTreeSet};

/// A line: a signal and its bit.
type Line = (u32, u32);

/// How a line follows from what moves from outside: delays in picoseconds, and pieces of storage on the way.
#[derive(Clone, Copy, Debug, Default)]
struct Way {
    shortest: i64,
    longest: i64,
    fewest: u32,
    most: u32,
}

type Unateness = BTreeMap<Line, Way>;

struct Tracer<'m, 'c, 'd> {
    machine: &'m Machine<'c>,
    delays: &'m mut Delays<'d>,
    drivers: BTreeMap<Line, Vec<(u32, u32)>>,
    known: BTreeMap<Line, Unateness>,
    open: BTreeSet<Line>,
}

impl<'m, 'c, 'd> Tracer<'m, 'c, 'd> {
    fn new(machine: &'m Machine<'c>, delays: &'m mut Delays<'d>) -> Self {
        let drivers = machine.drivers();
        Tracer { machine, delays, drivers, known: BTreeMap::new(), open: BTreeSet::new() }
    }

    /// The least and the most from an input to an output.
    fn delay(&mut self, unit: u32, input: u32, output: u32) -> (i64, i64) {
        let cell = &self.machine.cells[self.machine.units[unit as usize].cell as usize];
        self.delays.range(cell.chip, input, output)
    }

    /// The least from a clock to anything behind a register.
    fn shows(&mut self, unit: u32, clock: u32) -> i64 {
        let outputs = bits(self.machine.units[unit as usize].outputs);
        let cell = &self.machine.cells[self.machine.units[unit as usize].cell as usize];
        let arcs = &cell.part.function.arcs;
        let outputs = outputs.filter(|&output| arcs[output as usize] >> clock & 1 == 1);
        let delays = outputs.map(|output| self.delay(unit, clock, output).0);
        delays.min().unwrap_or(0)
    }

    fn ways(&mut self, line: Line) -> Unateness {
        if let Some(ways) = self.known.get(&line) {
            return ways.clone();
        }
        if !self.open.insert(line) {
            return Unateness::new();
        }
        let mut all = Unateness::new();
        let drivers = self.drivers.get(&line).cloned().unwrap_or_default();
        if drivers.is_empty() {
            all.insert(line, Way::default());
        }
        for (number, output) in drivers {
            let unit = &self.machine.units[number as usize];
            let cell = &self.machine.cells[unit.cell as usize];
            if cell.part.function.oscillator.is_some() {
                all.insert(line, Way::default());
            }
            let arcs = cell.part.function.arcs[output as usize] & cell.variable;
            let reads = cell.part.function.reads_of_value(output as usize).inputs
                | cell.part.function.reads_of_off(output as usize).inputs;
            let stored = arcs & unit.controls;
            for input in bits(reads & unit.drive_inputs | stored) {
                let through = u32::from(reads >> input & 1 == 0);
                let (least, most) = self.delay(number, input, output);
                let cell = &self.machine.cells[unit.cell as usize];
                for (source, way) in self.ways(self.machine.line(cell, input)) {
                    let way = Way {
                        shortest: way.shortest + least,
                        longest: way.longest + most,
                        fewest: way.fewest + through,
                        most: way.most + through,
                    };
                    let row = all.entry(source).or_insert(way);
                    row.shortest = row.shortest.min(way.shortest);
                    row.longest = row.longest.max(way.longest);
                    row.fewest = row.fewest.min(way.fewest);
                    row.most = row.most.max(way.most);
                }
            }
        }
        self.open.remove(&line);
        self.known.insert(line, all.clone());
        all
    }

    /// True when data that a clock launches may be there before another clock looks.
    fn overtakes(&mut self, launch: Line, shows: i64, capture: Line) -> bool {
        if launch == capture {
            return false;
        }
        let (launch, capture) = (self.ways(launch), self.ways(capture));
        launch.iter().any(|(source, first)| {
            capture.get(source).is_some_and(|second| {
                // Storage that is clocked in an earlier wave is found when it happens.
                first.most >= second.fewest && first.shortest + shows < second.longest
            })
        })
    }

    /// The storage whose outputs reach the data of a unit.
    fn launchers(&self, number: u32) -> BTreeSet<u32> {
        let machine = self.machine;
        let unit = &machine.units[number as usize];
        let cell = &machine.cells[unit.cell as usize];
        let mut open: Vec<Line> = bits(unit.data | unit.controls)
            .map(|input| machine.line(cell, input))
            .filter(|&line| line != unit.clock)
            .collect();
        let mut seen: BTreeSet<Line> = open.iter().copied().collect();
        let mut found = BTreeSet::new();
        while let Some(line) = open.pop() {
            for &(driver, _) in self.drivers.get(&line).into_iter().flatten() {
                let unit = &machine.units[driver as usize];
                if unit.store != Store::Nothing {
                    found.insert(driver);
                }
                let cell = &machine.cells[unit.cell as usize];
                for input in bits(unit.drive_inputs) {
                    let line = machine.line(cell, input);
                    if seen.insert(line) {
                        open.push(line);
                    }
                }
            }
        }
        found
    }
}

impl Machine<'_> {
    /// The outputs on each line.
    fn drivers(&self) -> BTreeMap<Line, Vec<(u32, u32)>> {
        let mut drivers: BTreeMap<Line, Vec<(u32, u32)>> = BTreeMap::new();
        for (number, unit) in self.units.iter().enumerate() {
            let cell = &self.cells[unit.cell as usize];
            for output in bits(unit.outputs) {
                let pin = cell.part.function.outputs[output as usize];
                if let Some(net) = self.circuit.chips[cell.chip].nets[pin] {
                    let place = self.places[net];
                    let line = (place.signal, place.bit);
                    drivers.entry(line).or_default().push((number as u32, output));
                }
            }
        }
        drivers
    }

    /// True when a line can only have moved in this moment because another one had moved before: whatever the delays
    /// are, it comes later.
    pub(super) fn follows(&self, line: Line, before: Line) -> bool {
        let drivers = self.drivers();
        let moved = |line: &Line| {
            let signal = &self.signals[line.0 as usize];
            signal.moment == self.moment && signal.moved >> line.1 & 1 == 1
        };
        let mut open = vec![line];
        let mut seen: BTreeSet<Line> = open.iter().copied().collect();
        while let Some(line) = open.pop() {
            if line == before {
                continue;
            }
            let mut causes: Vec<Line> = Vec::new();
            for &(unit, output) in drivers.get(&line).into_iter().flatten() {
                let unit = &self.units[unit as usize];
                let cell = &self.cells[unit.cell as usize];
                let function = &cell.part.function;
                let reads =
                    function.reads_of_value(output as usize).inputs | function.reads_of_off(output as usize).inputs;
                let mut inputs = reads & unit.drive_inputs;
                if unit.state != NONE && self.signals[unit.state as usize].moment == self.moment {
                    inputs |= unit.controls;
                }
                causes.extend(bits(inputs).map(|input| self.line(cell, input)).filter(moved));
            }
            if causes.is_empty() {
                return false;
            }
            open.extend(causes.into_iter().filter(|&cause| seen.insert(cause)));
        }
        true
    }

    /// The inputs of a piece of storage at which it looks at its data, or shows something new.
    fn moments_of(&self, number: u32) -> u64 {
        let unit = &self.units[number as usize];
        let function = &self.cells[unit.cell as usize].part.function;
        match (unit.store, function.plain_clock(unit.states)) {
            (Store::Nothing, _) => 0,
            (Store::Register(..), Some((clock, _))) => unit.controls & 1 << clock,
            _ => unit.controls,
        }
    }

    /// Finds the storage whose clock or enable may be later than the data before it.
    pub(super) fn find_skew(&mut self, delays: &mut Delays<'_>) {
        for number in 0..self.units.len() {
            let unit = &self.units[number];
            let cell = &self.cells[unit.cell as usize];
            if let Some((clock, _)) = cell.part.function.plain_clock(unit.states)
                && unit.store != Store::Nothing
            {
                let line = self.line(cell, clock as u32);
                self.units[number].clock = line;
            }
        }
        self.stored = vec![0; self.units.len()];
        self.steady = vec![[None; 4]; self.units.len()];
        let storage: Vec<(u32, Vec<(u32, Line)>)> = (0..self.units.len() as u32)
            .map(|number| {
                let cell = &self.cells[self.units[number as usize].cell as usize];
                let inputs = bits(self.moments_of(number));
                let lines = inputs.map(|input| (input, self.line(cell, input)));
                (number, lines.collect())
            })
            .filter(|row: &(u32, Vec<(u32, Line)>)| !row.1.is_empty())
            .collect();
        let lines = storage.iter().flat_map(|row| &row.1);
        let lines: BTreeSet<Line> = lines.map(|&(_, line)| line).collect();
        if lines.len() < 2 {
            return;
        }
        let mut tracer = Tracer::new(self, delays);
        let mut late: BTreeSet<(Line, Line)> = BTreeSet::new();
        for &launch in &lines {
            for &capture in &lines {
                if tracer.overtakes(launch, 0, capture) {
                    late.insert((launch, capture));
                }
            }
        }
        let mut skewed = Vec::new();
        for (number, captures) in &storage {
            let is_late = |&&(_, line): &&(u32, Line)| late.iter().any(|pair| pair.1 == line);
            let captures: Vec<Line> = captures.iter().filter(is_late).map(|row| row.1).collect();
            if captures.is_empty() {
                continue;
            }
            let before = tracer.launchers(*number);
            let before = storage.iter().filter(|row| before.contains(&row.0));
            let mut risky = Vec::new();
            for (driver, launches) in before {
                let overtakes = launches.iter().any(|&(input, launch)| {
                    let shows = tracer.shows(*driver, input);
                    captures
                        .iter()
                        .any(|&capture| late.contains(&(launch, capture)) && tracer.overtakes(launch, shows, capture))
                });
                if overtakes {
                    risky.push(*driver);
                }
            }
            if !risky.is_empty() {
                skewed.push((*number, risky));
            }
        }
        for (number, risky) in skewed {
            self.units[number as usize].skewed = true;
            self.launchers.insert(number, risky);
        }
    }

    /// Keeps what was stored, to look at it again at the end of the moment.
    pub(super) fn note_skewed(&mut self, number: u32, before: Word, next: Word) {
        let cell = self.units[number as usize].cell;
        let (was, now) = (self.inputs(cell, At::Before), self.inputs(cell, At::Now));
        self.skewed.push(Sampled { unit: number, before, was, now, next });
    }

    /// Those of some inputs that have not moved because of the very edge that stored.
    fn not_behind(&self, unit: &Unit, inputs: u64, (was, now): (Word, Word)) -> u64 {
        let edge = ((was.value ^ now.value) | (was.unknown ^ now.unknown)) & unit.controls;
        let cell = &self.cells[unit.cell as usize];
        let edges: Vec<Line> = bits(edge).map(|input| self.line(cell, input)).collect();
        let behind = bits(inputs).filter(|&input| {
            let line = self.line(cell, input);
            edges.iter().all(|&edge| self.follows(line, edge))
        });
        behind.fold(inputs, |mask, input| mask & !(1 << input))
    }

    /// Looks whether something else would have been stored with the data as it is now.
    pub(super) fn look_at_skewed(&mut self) {
        for sampled in std::mem::take(&mut self.skewed) {
            let unit = self.units[sampled.unit as usize].clone();
            let mut launchers = self.launchers.get(&sampled.unit).into_iter().flatten();
            if launchers.all(|&launcher| self.stored[launcher as usize] != self.moment) {
                continue;
            }
            let last = self.inputs(unit.cell, At::Now);
            let (was, now) = (sampled.was, sampled.now);
            let differs = (last.value ^ now.value) | (last.unknown ^ now.unknown);
            let later = self.not_behind(&unit, differs & unit.data, (was, now));
            let start = mix(was, last, later);
            let end = mix(now, last, later);
            if end == now {
                continue;
            }
            if self.cells[unit.cell as usize].address != 0 {
                // A memory whose write ended, and whose address or data has moved since.
                self.refuse_skew(sampled.unit);
                continue;
            }
            let mut held = ChipState { state: sampled.before, memories: Vec::new() };
            self.step_held(&unit, was, start, &mut held);
            self.step_held(&unit, start, end, &mut held);
            let known = !held.state.unknown & !sampled.next.unknown & unit.states;
            if (held.state.value ^ sampled.next.value) & known != 0 {
                self.refuse_skew(sampled.unit);
            }
        }
    }
}
