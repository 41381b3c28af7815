//! Synchronisers: two flip-flops that the design names, for a signal that comes at any time.
//!
//! The first one is undecided when its signal moves at the very edge: unknown until its next edge, for all that listen to
//! it. The second one looks a clock later, when the first has long decided in the chip; nobody knows how. So it takes 0 or
//! 1 by chance, but only where everything unknown that comes to it comes from such a first one.

use super::chips::for_each_bit;
use super::machine::Machine;
use super::out::Owner;
use super::synchronisers::Row;
use super::synchronisers::Synchronisers;
use crate::circuit::{ChipKey, Circuit};
use crate::delay::chance::generator;
use crate::key::Key;
use crate::language::ast::{Corner, PowerUp};
use crate::part::PinIndex;
use crate::quantity::Time;
use crate::run::Decision;
use rand_core::Rng;

/// So many nets are looked at behind an input that is unknown.
const MOST_NETS: usize = 1_000;

impl Machine<'_> {
    /// Marks the stored bits that the design names.
    pub(super) fn find_synchronisers(&mut self) {
        let seed = match (self.settings.power_up, self.settings.corner) {
            (PowerUp::Random(seed), _) | (_, Corner::Random(seed)) => seed,
            _ => 0,
        };
        let circuit = self.circuit;
        let rows = circuit.synchronisers.iter().map(|way| Row {
            first: self.stored(circuit, &way.from),
            second: self.stored(circuit, &way.to),
            count: 0,
            at: 0,
        });
        let rows: Vec<Row> = rows.collect();
        for row in &rows {
            for &(cell, bits) in &row.first {
                self.asides[cell as usize].first_stage |= bits;
            }
            for &(cell, bits) in &row.second {
                self.asides[cell as usize].second_stage |= bits;
                self.cells[cell as usize].decides = true;
            }
        }
        self.synchronisers = Some(Synchronisers { rows, chance: generator(seed, 2 << 32) });
    }

    /// The stored bits that some output pins show.
    fn stored(&self, circuit: &Circuit, pins: &[(ChipKey, PinIndex)]) -> Vec<(u32, u64)> {
        let shown = pins.iter().filter_map(|&(chip, pin)| {
            let function = &circuit.chips[chip].part.function;
            let bit = function.outputs.iter().position(|&output| output == pin)?;
            Some((self.cell_of[chip]?, function.reads_of_value(bit).states))
        });
        shown.filter(|(_, bits)| *bits != 0).collect()
    }

    /// Lets the second stages of a cell decide that have just taken something unknown; true when one has.
    pub(super) fn decide(&mut self, index: usize, known_before: u64) -> bool {
        let cell = &self.cells[index];
        let open = cell.held.state.unknown & known_before & self.asides[index].second_stage;
        if open == 0 {
            return false;
        }
        let Some(mut synchronisers) = self.synchronisers.take() else {
            return false;
        };
        let mut decided = 0u64;
        for row in &mut synchronisers.rows {
            let own = row.second.iter().filter(|(cell, _)| *cell as usize == index);
            let bits = own.fold(0, |all, (_, bits)| all | bits) & open & !decided;
            for_each_bit(bits, |bit| {
                if self.comes_from_undecided(index, bit, &row.first) {
                    let level = u64::from(synchronisers.chance.next_u32() & 1);
                    let state = &mut self.cells[index].held.state;
                    state.unknown &= !(1 << bit);
                    state.value = state.value & !(1 << bit) | level << bit;
                    decided |= 1 << bit;
                    row.count += 1;
                    if row.count == 1 {
                        row.at = self.time;
                    }
                }
            });
        }
        self.synchronisers = Some(synchronisers);
        decided != 0
    }

    /// A first stage that has taken something known is decided, once its output shows that.
    pub(super) fn follow_undecided(&mut self, index: usize) {
        let cell = &self.cells[index];
        let function = self.function(index);
        let mut shown = 0;
        for output in 0..function.outputs.len() {
            if !self.outs[cell.first_out as usize + output].now.is_known() {
                shown |= function.reads_of_value(output).states;
            }
        }
        let unknown = cell.held.state.unknown;
        self.cells[index].undecided &= unknown | shown;
    }

    /// True when all that is unknown at the inputs of a cell which a stored bit is taken from comes, through gates, from
    /// first stages that are undecided, one of them among these.
    fn comes_from_undecided(&self, index: usize, bit: usize, first: &[(u32, u64)]) -> bool {
        let cell = &self.cells[index];
        let function = self.function(index);
        let shows = |output: &usize| function.reads_of_value(*output).states >> bit & 1 == 1;
        let outputs = (0..function.outputs.len()).filter(shows);
        let data = outputs.fold(0, |all, output| all | function.data[output]);
        let clocks = function.clock_inputs();
        if cell.now.unknown & clocks != 0 {
            return false;
        }
        let mut open: Vec<u32> = Vec::new();
        let net_of = |chip: ChipKey, pin: PinIndex| self.circuit.chips[chip].nets[pin];
        for_each_bit(cell.now.unknown & data, |input| {
            open.extend(net_of(cell.chip, function.inputs[input]).map(|net| net.index() as u32));
        });
        let mut seen: Vec<u32> = Vec::new();
        let mut found = false;
        while let Some(net) = open.pop() {
            if seen.contains(&net) {
                continue;
            }
            if seen.len() >= MOST_NETS {
                return false;
            }
            seen.push(net);
            let (at, count) = self.nets[net as usize].drivers;
            let drivers = &self.net_drivers[at as usize..(at + count) as usize];
            for &out in drivers {
                let state = &self.outs[out as usize];
                if state.now.is_known() {
                    continue;
                }
                let Owner::Chip(chip, pin) = self.owners[out as usize] else {
                    return false;
                };
                let Some(driver) = self.cell_of[chip] else {
                    continue;
                };
                let other = &self.cells[driver as usize];
                let function = self.function(driver as usize);
                let output = (out - other.first_out) as usize;
                debug_assert_eq!(function.outputs[output], pin);
                let reads = function.reads_of_value(output);
                if reads.states != 0 || !function.is_combinational() {
                    if reads.states == 0 || reads.states & !other.undecided != 0 {
                        return false;
                    }
                    found |= first.iter().any(|&(cell, bits)| cell == driver && bits & reads.states != 0);
                    continue;
                }
                for_each_bit(other.now.unknown & function.arcs[output], |input| {
                    open.extend(net_of(chip, function.inputs[input]).map(|net| net.index() as u32));
                });
            }
        }
        found
    }

    /// What synchronisers took by chance, one row a statement of the design that had to.
    pub fn decisions(&self) -> Vec<Decision> {
        let rows = self.synchronisers.iter().flat_map(|all| all.rows.iter().enumerate());
        let rows = rows.filter(|(_, row)| row.count > 0).map(|(way, row)| Decision {
            way,
            count: row.count,
            first: Time::from_ps(row.at),
        });
        rows.collect()
    }
}
