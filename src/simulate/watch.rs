//! What a run notes on its way: fights, floating nets, forbidden uses; and who they are about.

use super::findings::{Contention, Floating, Forbidden, signal_name};
use super::machine::{Machine, Owner, SUPPLY};
use crate::circuit::NetKey;
use crate::key::Key;
use crate::quantity::Time;

#[derive(Clone, Copy, Debug, Default)]
pub(super) struct FightLog {
    pub(super) since: Option<i64>,
    pub(super) pair: (u32, u32),
    pub(super) count: u64,
    pub(super) first: i64,
    pub(super) longest: i64,
    pub(super) total: i64,
}

#[derive(Clone, Copy, Debug, Default)]
pub(super) struct FloatLog {
    pub(super) since: Option<i64>,
    pub(super) last_driver: Option<u32>,
    pub(super) count: u64,
    pub(super) first: i64,
    pub(super) longest: i64,
}

#[derive(Clone, Copy, Debug, Default)]
pub(super) struct ForbidLog {
    pub(super) goes_on: bool,
    pub(super) count: u64,
    pub(super) first: i64,
}

impl Machine<'_> {
    pub(super) fn note_fight(&mut self, net: usize, low: Option<u32>, high: Option<u32>) {
        let log = &mut self.fights[net];
        match (low, high, log.since) {
            (Some(low), Some(high), None) => {
                log.since = Some(self.time);
                if log.count == 0 {
                    log.first = self.time;
                    log.pair = (low, high);
                }
            }
            (Some(_), Some(_), Some(_)) | (_, _, None) => {}
            (_, _, Some(since)) => {
                log.since = None;
                // Drivers that change hands in the same picosecond do not meet.
                let stretch = self.time - since;
                if stretch > 0 {
                    log.count += 1;
                    log.longest = log.longest.max(stretch);
                    log.total += stretch;
                }
            }
        }
    }

    /// A net begins to float, because a driver has let go, or no longer floats.
    pub(super) fn note_float(&mut self, net: usize, let_go: Option<u32>) {
        let log = &mut self.floats[net];
        if let_go.is_some() {
            log.since = Some(self.time);
            if log.count == 0 {
                log.first = self.time;
            }
            log.last_driver = let_go;
        } else if let Some(since) = log.since.take() {
            let stretch = self.time - since;
            if stretch > 0 {
                log.count += 1;
                log.longest = log.longest.max(stretch);
            }
        }
    }

    /// Nets on which outputs drove against each other, by net.
    pub fn contentions(&self) -> Vec<Contention> {
        let rows = self.fights.iter().enumerate();
        rows.filter_map(|(net, log)| {
            let running = log.since.map_or(0, |since| self.time - since);
            if log.count == 0 && running == 0 {
                return None;
            }
            Some(Contention {
                net: NetKey::from_index(net),
                low: self.owner_path(log.pair.0),
                high: self.owner_path(log.pair.1),
                count: log.count + u64::from(running > 0),
                first: Time::from_ps(log.first),
                longest: Time::from_ps(log.longest.max(running)),
                total: Time::from_ps(log.total + running),
                lasting: running > 0,
            })
        })
        .collect()
    }

    /// Nets that floated while chips listened, by net.
    pub fn floating(&self) -> Vec<Floating> {
        let rows = self.floats.iter().enumerate();
        rows.filter_map(|(net, log)| {
            let running = log.since.map_or(0, |since| self.time - since);
            if log.count == 0 && running == 0 {
                return None;
            }
            let listener = self.net_listeners[self.nets[net].listeners.0 as usize];
            let (cell, bit) = (listener.cell() as usize, listener.bit() as usize);
            let pin = self.function(cell).inputs[bit];
            Some(Floating {
                net: NetKey::from_index(net),
                listener: self.circuit.pin_path(self.cells[cell].chip, pin),
                last_driver: log.last_driver.map(|out| self.owner_path(out)),
                count: log.count + u64::from(running > 0),
                first: Time::from_ps(log.first),
                longest: Time::from_ps(log.longest.max(running)),
                lasting: running > 0,
            })
        })
        .collect()
    }

    /// Forbidden uses, by chip.
    pub fn forbidden(&self) -> Vec<Forbidden> {
        let mut found = Vec::new();
        for (index, logs) in self.forbid_logs.iter().enumerate() {
            for (at, log) in logs.iter().enumerate().filter(|(_, log)| log.count > 0) {
                let text = self.function(index).forbid_text(at).to_owned();
                found.push(Forbidden {
                    chip: self.cells[index].chip,
                    text,
                    count: log.count,
                    first: Time::from_ps(log.first),
                });
            }
        }
        found
    }

    /// Outputs that swallowed pulses, with how many.
    pub fn swallowed(&self) -> Vec<(String, u64)> {
        let all = self.outs.iter().zip(&self.swallowed).enumerate();
        let counts = all.map(|(out, (state, &rounds))| (out, state.swallowed(rounds)));
        counts
            .filter(|&(out, count)| count > 0 && self.owners[out].is_chip())
            .map(|(out, count)| (self.owner_path(out as u32), count))
            .collect()
    }

    /// The path of what drives.
    pub(super) fn owner_path(&self, out: u32) -> String {
        if out == SUPPLY {
            return "the supply".to_owned();
        }
        match self.owners[out as usize] {
            Owner::Chip(chip, pin) => self.circuit.pin_path(chip, pin),
            Owner::Oscillator(chip, _) | Owner::Timer(chip, _) => {
                self.circuit.chips[chip].path.clone()
            }
            Owner::Stimulus(net) => format!("the stimulus on {}", self.circuit.nets[net].path),
            Owner::Link(discrete) => self.circuit.discretes[discrete].path.clone(),
        }
    }

    /// The name of an input or node of a cell.
    pub(super) fn signal_name(&self, index: usize, signal: crate::part::sheet::Signal) -> String {
        signal_name(&self.models[self.cells[index].model as usize].part, signal)
    }
}
