//! Synchronisers: two flip-flops that the design names, for a signal that comes at any time.
//!
//! The first one is metastable when its signal moves at the very edge: unknown until its next edge, for all inputs on
//! it. The second one looks a clock later, when the first has long decided in the chip; nobody knows how. So it takes 0 or
//! 1 at random, but only where everything unknown that comes to it comes from such a first one.

use super::chips::for_each_bit;
use super::driver::Owner;
use super::machine::Machine;
use super::number::row;
use super::synchronisers::Row;
use super::synchronisers::Synchronisers;
use crate::circuit::{ChipKey, Circuit};
use crate::delay::random::generator;
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
        let rows = circuit.synchronisers.iter().map(|path| Row {
            first: self.bits_shown_by(circuit, &path.from),
            second: self.bits_shown_by(circuit, &path.to),
            count: 0,
            at: Time::ZERO,
        });
        let rows: Vec<Row> = rows.collect();
        for row in &rows {
            for &(instance, bits) in &row.first {
                self.cold_states[instance as usize].first_stage |= bits;
            }
            for &(instance, bits) in &row.second {
                self.cold_states[instance as usize].second_stage |= bits;
                self.instances[instance as usize].resolves_metastability = true;
            }
        }
        self.synchronisers = Some(Synchronisers { rows, rng: generator(seed, 2 << 32) });
    }

    /// The stored bits that some output pins show.
    fn bits_shown_by(&self, circuit: &Circuit, pins: &[(ChipKey, PinIndex)]) -> Vec<(u32, u64)> {
        let shown = pins.iter().filter_map(|&(chip, pin)| {
            let function = &circuit.chips[chip].part.function;
            let bit = function.outputs.iter().position(|&output| output == pin)?;
            Some((self.instance_of[chip]?, function.reads_of_value(bit).states))
        });
        shown.filter(|(_, bits)| *bits != 0).collect()
    }

    /// Lets the second stages of an instance decide that have just taken something unknown; true when one has.
    pub(super) fn resolve_metastable(&mut self, index: usize, known_before: u64) -> bool {
        let instance = &self.instances[index];
        let open = instance.stored.state.unknown & known_before & self.cold_states[index].second_stage;
        if open == 0 {
            return false;
        }
        let Some(mut synchronisers) = self.synchronisers.take() else {
            return false;
        };
        let mut decided = 0u64;
        for row in &mut synchronisers.rows {
            let own = row.second.iter().filter(|(instance, _)| *instance as usize == index);
            let bits = own.fold(0, |all, (_, bits)| all | bits) & open & !decided;
            for_each_bit(bits, |bit| {
                if self.comes_from_metastable(index, bit, &row.first) {
                    let level = u64::from(synchronisers.rng.next_u32() & 1);
                    let state = &mut self.instances[index].stored.state;
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
    pub(super) fn follow_metastable(&mut self, index: usize) {
        let instance = &self.instances[index];
        let function = self.function(index);
        let mut shown = 0;
        for output in 0..function.outputs.len() {
            if !self.drivers[instance.first_driver as usize + output].now.is_known() {
                shown |= function.reads_of_value(output).states;
            }
        }
        let unknown = instance.stored.state.unknown;
        self.instances[index].metastable &= unknown | shown;
    }

    /// True when all that is unknown at the inputs of an instance which a stored bit is taken from comes, through gates, from
    /// first stages that are metastable, one of them among these.
    fn comes_from_metastable(&self, index: usize, bit: usize, first: &[(u32, u64)]) -> bool {
        let instance = &self.instances[index];
        let function = self.function(index);
        let shows = |output: &usize| function.reads_of_value(*output).states >> bit & 1 == 1;
        let outputs = (0..function.outputs.len()).filter(shows);
        let data = outputs.fold(0, |all, output| all | function.data[output]);
        let clocks = function.clock_inputs();
        if instance.now.unknown & clocks != 0 {
            return false;
        }
        let mut open: Vec<u32> = Vec::new();
        let net_of = |chip: ChipKey, pin: PinIndex| self.circuit.chips[chip].nets[pin];
        for_each_bit(instance.now.unknown & data, |input| {
            open.extend(net_of(instance.chip, function.inputs[input]).map(|net| row(net.index())));
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
            for &driver in drivers {
                let state = &self.drivers[driver as usize];
                if state.now.is_known() {
                    continue;
                }
                let Owner::Chip(chip, pin) = self.owners[driver as usize] else {
                    return false;
                };
                let Some(behind) = self.instance_of[chip] else {
                    continue;
                };
                let other = &self.instances[behind as usize];
                let function = self.function(behind as usize);
                let output = (driver - other.first_driver) as usize;
                debug_assert_eq!(function.outputs[output], pin);
                let reads = function.reads_of_value(output);
                if reads.states != 0 || !function.is_combinational() {
                    if reads.states == 0 || reads.states & !other.metastable != 0 {
                        return false;
                    }
                    found |= first.iter().any(|&(instance, bits)| instance == behind && bits & reads.states != 0);
                    continue;
                }
                for_each_bit(other.now.unknown & function.arcs[output], |input| {
                    open.extend(net_of(chip, function.inputs[input]).map(|net| row(net.index())));
                });
            }
        }
        found
    }

    /// What synchronisers took at random, one row a statement of the design that had to.
    pub fn decisions(&self) -> Vec<Decision> {
        let rows = self.synchronisers.iter().flat_map(|all| all.rows.iter().enumerate());
        let rows = rows.filter(|(_, row)| row.count > 0).map(|(synchroniser, row)| Decision {
            synchroniser,
            count: row.count,
            first: row.at,
        });
        rows.collect()
    }
}
