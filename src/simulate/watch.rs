//! What a run notes on its way: contention, floating nets, forbidden uses; and who they are about.

use super::driver::{Owner, SUPPLY};
use super::machine::Machine;
use super::nets::net_flag;
use super::number::row;
use crate::circuit::NetKey;
use crate::key::Key;
use crate::logic::Level;
use crate::run::{Contention, Floating, Forbidden, signal_name};

impl Machine<'_> {
    /// Drivers give a net low and high at once, or not; a rail counts as one of them.
    #[inline]
    pub(super) fn follow_contention(&mut self, net: usize, (low, high): (bool, bool)) {
        if !(low && high) {
            return self.contentions[net].end(self.time);
        }
        if self.contentions[net].begin(self.time) {
            let rail = self.nets[net].flags & net_flag::FIXED != 0;
            let [low, high] = [Level::Zero, Level::One].map(|level| {
                if rail && self.nets[net].level == level { SUPPLY } else { self.driver_giving(net, level) }
            });
            self.contentions[net].name(low, high);
        }
    }

    /// A net begins to float, because a driver went high-impedance, or no longer floats.
    pub(super) fn note_float(&mut self, net: usize, released: Option<u32>) {
        match released {
            Some(driver) => self.floats[net].begin(self.time, Some(driver)),
            None => self.floats[net].end(self.time),
        }
    }

    /// The last of the drivers of a net that give it this level; there is one.
    fn driver_giving(&self, net: usize, level: Level) -> u32 {
        let (first, count) = self.nets[net].drivers;
        let drivers = &self.net_drivers[first as usize..(first + count) as usize];
        let mut giving = drivers.iter().rev();
        let found = giving.find(|&&driver| self.drivers[driver as usize].now == level);
        found.copied().unwrap_or(SUPPLY)
    }

    /// Nets on which outputs drove against each other, by net.
    pub fn contentions(&self) -> Vec<Contention> {
        let rows = self.contentions.iter().enumerate();
        rows.filter_map(|(net, log)| {
            let net = NetKey::from_index(net);
            log.finding(net, self.time, |driver| self.owner_path(driver))
        })
        .collect()
    }

    /// Nets that floated while inputs were on them, by net.
    pub fn floating(&self) -> Vec<Floating> {
        let rows = self.floats.iter().enumerate();
        rows.filter_map(|(net, log)| {
            let input = || {
                let load = self.net_loads[self.nets[net].loads.0 as usize];
                let (instance, bit) = (load.instance() as usize, load.bit() as usize);
                let pin = self.function(instance).inputs[bit];
                Some(self.circuit.pin_path(self.instances[instance].chip, pin))
            };
            let net = NetKey::from_index(net);
            log.finding(net, self.time, input, |driver| self.owner_path(driver))
        })
        .collect()
    }

    /// Forbidden uses, by chip.
    pub fn forbidden(&self) -> Vec<Forbidden> {
        let mut found = Vec::new();
        for (index, logs) in self.forbid_logs.iter().enumerate() {
            for (at, log) in logs.iter().enumerate().filter(|(_, log)| log.count > 0) {
                let text = self.function(index).forbid_text(at).to_owned();
                found.push(Forbidden { chip: self.instances[index].chip, text, count: log.count, first: log.first() });
            }
        }
        found
    }

    /// Outputs that filtered pulses, with how many.
    pub fn filtered(&self) -> Vec<(String, u64)> {
        let all = self.drivers.iter().zip(&self.filtered).enumerate();
        let counts = all.map(|(driver, (state, &rounds))| (driver, state.filtered(rounds)));
        counts
            .filter(|&(driver, count)| count > 0 && self.owners[driver].is_chip())
            .map(|(driver, count)| (self.owner_path(row(driver)), count))
            .collect()
    }

    /// The path of what drives.
    pub(super) fn owner_path(&self, driver: u32) -> String {
        if driver == SUPPLY {
            return "the supply".to_owned();
        }
        match self.owners[driver as usize] {
            Owner::Chip(chip, pin) => self.circuit.pin_path(chip, pin),
            Owner::Oscillator(chip, _) | Owner::Timer(chip, _) => self.circuit.chips[chip].path.clone(),
            Owner::Stimulus(net) => format!("the stimulus on {}", self.circuit.nets[net].path),
            Owner::Link(discrete) => self.circuit.discretes[discrete].path.clone(),
        }
    }

    /// The name of an input or node of an instance.
    pub(super) fn signal_name(&self, index: usize, signal: crate::part::sheet::Signal) -> String {
        signal_name(&self.models[self.instances[index].model as usize].part, signal)
    }
}
