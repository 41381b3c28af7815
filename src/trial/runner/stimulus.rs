//! What is done to a circuit in a trial: levels, contacts, pulses, images.

use super::{Observer, Runner};
use crate::circuit::{ChipKey, DiscreteKey, NetKey, Signal};
use crate::image::Image;
use crate::logic::Level;
use crate::quantity::Time;
use crate::text::Span;
use crate::trial::prepare::Wait;

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
            self.machine.set(net, if value >> at & 1 == 1 { Level::One } else { Level::Zero });
        }
    }

    pub(super) fn release(&mut self, signal: &Signal) {
        for &net in &signal.nets {
            self.machine.release(net);
        }
    }

    /// Single pulses, high and low for half of the time each.
    pub(super) fn pulses(&mut self, net: NetKey, times: u64, every: Time, span: Span, observer: &mut dyn Observer) {
        let half = Time::from_ps((every.ps() / 2).max(1));
        for _ in 0..times {
            for level in [Level::Zero, Level::One] {
                self.machine.set(net, level);
                self.pass(&Wait::Time(half), span, observer);
            }
            self.machine.set(net, Level::Zero);
            if self.ended {
                break;
            }
        }
    }

    /// Pushes a button, waits, and lets it go.
    pub(super) fn press(
        &mut self,
        discrete: DiscreteKey,
        wait: &Wait,
        bounce: Option<Time>,
        span: Span,
        observer: &mut dyn Observer,
    ) {
        self.bounce(discrete, bounce, 1, span, observer);
        self.pass(wait, span, observer);
        self.bounce(discrete, bounce, 0, span, observer);
    }

    /// A contact that bounces touches and lifts a few times before it rests.
    fn bounce(
        &mut self,
        discrete: DiscreteKey,
        bounce: Option<Time>,
        rest: u8,
        span: Span,
        observer: &mut dyn Observer,
    ) {
        if let Some(bounce) = bounce {
            for (touch, share) in [(rest, 20), (1 - rest, 15), (rest, 25), (1 - rest, 40)] {
                self.machine.contact(discrete, touch);
                self.pass(&Wait::Time(Time::from_ps((bounce.ps() / 100 * share).max(1))), span, observer);
            }
        }
        self.machine.contact(discrete, rest);
    }
}
