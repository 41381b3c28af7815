//! The order of levels, and who hears of what moves.

use super::draft::Draft;
use super::graph::components;
use super::machine::Machine;
use super::pieces::{Guard, Plan, Store, bits};
use super::place::Node;
use super::signal::{ARMED, DIRTY, Hears, Listener, NONE, Sets, TICKED, TOUCHED, Tap};
use crate::part::Edge;
use std::collections::BTreeMap;

/// A signal with so many lines that are heard is told as one.
const WIDE: u32 = 6;

impl Machine<'_> {
    pub(super) fn order_nodes(&mut self, draft: &mut Draft) {
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
        let edges = next.iter().zip(0..).flat_map(|(list, node)| list.iter().map(move |&to| (node, to)));
        let groups = components(next.len(), edges);
        let sleeps = self.find_sleepers(&groups, &next, &heard);
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
        self.sets = vec![Sets::default(); self.nodes.len() / 64];
        self.unit_places = places[..units].to_vec();
        self.knot_places = places[units + buses..].to_vec();
        self.link_drives(&drives, &places);
        for number in 0..units {
            self.listen(number, draft);
        }
        self.lay_out_listeners(draft);
        self.lay_out_taps();
    }

    /// Which units nothing that stores, and nobody but a person, looks at; `groups` are in such an order that what a unit
    /// leads to comes before it.
    fn find_sleepers(&self, groups: &[Vec<u32>], next: &[Vec<u32>], heard: &[bool]) -> Vec<bool> {
        let mut sleeps = vec![false; self.units.len()];
        for node in groups.iter().flatten().map(|&node| node as usize) {
            let Some(unit) = self.units.get(node) else {
                continue;
            };
            let quiet = unit.own == NONE || !heard[unit.own as usize];
            let asleep = |&other: &u32| sleeps.get(other as usize).copied().unwrap_or(false);
            sleeps[node] =
                quiet && unit.shared == NONE && unit.store == Store::Nothing && next[node].iter().all(asleep);
        }
        sleeps
    }

    /// From each row of drives to the places of the buses and knots that it drives.
    fn link_drives(&mut self, drives: &[Vec<u32>], places: &[u32]) {
        for unit in &mut self.units {
            if unit.shared == NONE {
                continue;
            }
            let first = self.behind.len() as u32;
            for &node in &drives[unit.shared as usize] {
                let place = places[node as usize];
                let (word, bit) = (place / 64, 1u64 << (place % 64));
                match self.behind[first as usize..].iter_mut().find(|row| row.0 == word) {
                    Some(row) => row.1 |= bit,
                    None => self.behind.push((word, bit)),
                }
            }
            unit.behind = (first, self.behind.len() as u32);
        }
    }

    /// From each signal to all that is looked up by it, in the order of levels.
    fn lay_out_taps(&mut self) {
        let mut taps: Vec<Vec<Tap>> = vec![Vec::new(); self.signals.len()];
        for (number, unit) in self.units.iter().enumerate() {
            let (Plan::Table { gather, .. } | Plan::Flat { gather, .. }) = unit.plan else {
                continue;
            };
            for segment in &self.segments[gather.0 as usize..gather.1 as usize] {
                taps[segment.signal as usize].push(Tap {
                    mask: segment.mask,
                    place: self.unit_places[number],
                    word: self.unit_places[number] / 64,
                    bit: 1 << (self.unit_places[number] % 64),
                    turn: segment.turn,
                });
            }
        }
        for (signal, mut taps) in self.signals.iter_mut().zip(taps) {
            taps.sort_by_key(|tap| tap.place);
            let first = self.taps.len() as u32;
            self.taps.extend(taps);
            signal.taps = (first, self.taps.len() as u32);
        }
    }

    fn listen(&mut self, number: usize, draft: &mut Draft) {
        let unit = &self.units[number];
        let cell = &self.cells[unit.cell as usize];
        let place = self.unit_places[number];
        let mut hear = |line: (u32, u32), set: usize, hears: Hears| {
            let rows = draft.heard.entry((line.0, hears, place / 64, set));
            let rows = rows.or_default();
            *rows.entry(place % 64).or_default() |= 1 << line.1;
        };
        // All others have taps.
        if unit.plan == Plan::Full {
            for input in bits(unit.drive_inputs) {
                hear(self.line(cell, input), DIRTY, Hears::Any);
            }
        }
        if unit.store == Store::Nothing {
            return;
        }
        let clock = cell.part.function.plain_clock(unit.states);
        for input in bits(unit.controls) {
            let line = self.line(cell, input);
            let level = cell.part.function.level_inputs() | cell.part.function.forbid_inputs();
            match (unit.store, clock) {
                (Store::Register(edge, _), Some((clock, _))) if clock == input as usize && level >> input & 1 == 0 => {
                    let hears = if edge == Edge::Rise { Hears::Rise } else { Hears::Fall };
                    hear(line, TICKED, hears);
                    hear(line, TOUCHED, Hears::Blur);
                }
                _ => hear(line, TOUCHED, Hears::Any),
            }
        }
        let behind = unit.gate.map_or(0, |gate| gate.behind);
        for input in bits(unit.data & !behind) {
            hear(self.line(cell, input), ARMED, Hears::Any);
        }
        for bit in bits(unit.states) {
            if !matches!(unit.plan, Plan::Table { .. }) {
                hear((unit.state, bit), DIRTY, Hears::Any);
            }
            // What only takes its data over has nothing new to take.
            if unit.read_by_edge >> bit & 1 == 1 {
                hear((unit.state, bit), ARMED, Hears::Any);
            }
        }
        for input in bits(unit.controls) {
            let (signal, bit) = self.line(cell, input);
            self.signals[signal as usize].controls |= 1 << bit;
        }
    }

    fn lay_out_listeners(&mut self, draft: &mut Draft) {
        let heard = std::mem::take(&mut draft.heard);
        let mut signal_now = NONE;
        for ((signal, hears, word, set), rows) in heard {
            if signal != signal_now {
                signal_now = signal;
                let first = self.listeners.len() as u32;
                let signal = &mut self.signals[signal as usize];
                (signal.listeners, signal.blurs) = ((first, first), first);
            }
            let mut by_bits: BTreeMap<u64, u64> = BTreeMap::new();
            for (bit, bits) in rows {
                *by_bits.entry(bits).or_default() |= 1 << bit;
            }
            let all = by_bits.keys().fold(0u64, |all, bits| all | bits);
            let looser = matches!(set, DIRTY | ARMED);
            if looser && all.count_ones() >= WIDE {
                let mask = by_bits.values().fold(0, |all, mask| all | mask);
                by_bits = BTreeMap::from([(all, mask)]);
            }
            for (bits, mask) in by_bits {
                self.listeners.push(Listener { bits, mask, word, set: set as u8, hears });
            }
            let signal = &mut self.signals[signal as usize];
            signal.listeners.1 = self.listeners.len() as u32;
            if hears != Hears::Blur {
                signal.blurs = signal.listeners.1;
            }
        }
    }

    /// Finds the gates whose glitches would clock, clear, enable or write something.
    pub(super) fn guard(&mut self) {
        let mut cone: Vec<u64> = self.signals.iter().map(|it| it.controls).collect();
        for place in (0..self.nodes.len()).rev() {
            let number = match self.nodes[place] {
                Node::Unit(number) => number,
                Node::Bus(bus) => {
                    let bus = &mut self.buses[bus as usize];
                    bus.watched = cone[bus.signal as usize];
                    continue;
                }
                _ => continue,
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
                let both = [function.reads_of_value(output as usize), function.reads_of_off(output as usize)];
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
