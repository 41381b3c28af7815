//! What is done to a circuit in a trial: levels and images.

use super::Runner;
use crate::circuit::{ChipKey, NetKey, Signal};
use crate::image::Image;
use crate::logic::Level;
use crate::text::Span;
use crate::trial::report::Finding;

impl Runner<'_> {
    /// Puts an image into a memory. The first one takes the place of what the chip holds.
    pub(super) fn load(&mut self, chip: ChipKey, image: &Image, offset: i64, span: Span) {
        let first = !self.loaded.contains(&chip);
        if first {
            self.machine.unload(chip);
        }
        match self.machine.load(chip, image, offset) {
            Ok(()) => {
                self.loaded.push(chip);
                self.unfilled.load(self.circuit, chip, image, offset, first);
                self.reload(chip);
            }
            Err(fault) => {
                let path = &self.circuit.chips[chip].path;
                self.fail(span, fault.sentence(path), None);
                self.ended = true;
            }
        }
    }

    pub(super) fn set(&mut self, signal: &Signal, value: u64) {
        for (at, &net) in signal.nets.iter().rev().enumerate() {
            self.set_net(net, if value >> at & 1 == 1 { Level::One } else { Level::Zero });
        }
    }

    pub(super) fn release(&mut self, signal: &Signal) {
        for &net in &signal.nets {
            self.release_net(net);
        }
    }

    pub(super) fn release_net(&mut self, net: NetKey) {
        self.driven.remove(&net);
        self.machine.release(net);
    }

    /// Drives a net; a level that another one follows at the same moment is a pulse of no length.
    pub(super) fn set_net(&mut self, net: NetKey, level: Level) {
        let now = self.machine.now();
        if let Some((_, before)) = self.driven.insert(net, (now, level)).filter(|(time, _)| *time == now)
            && before != level
        {
            match self.pulses.iter_mut().find(|(other, ..)| *other == net) {
                Some((_, _, count)) => *count += 1,
                None => self.pulses.push((net, now, 1)),
            }
        }
        self.machine.set(net, level);
    }

    /// Nets that were driven to two levels at one moment.
    pub(super) fn pulses_of_no_length(&mut self) {
        for &(net, time, count) in &self.pulses {
            let path = self.circuit.nets[net].path.clone();
            self.report.notes.push(Finding {
                kind: "pulse of 0 ns",
                text: format!(
                    "the trial drives {path} to two levels at one moment; let time pass between them: `run for 1 us`"
                ),
                place: path,
                count,
                first: Some(time),
            });
        }
    }
}
