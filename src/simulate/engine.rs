//! The engine with delays as one of several.

use super::machine::Machine;
use crate::circuit::{ChipKey, Circuit, DiscreteKey, NetKey};
use crate::image::Image;
use crate::logic::{Level, Word};
use crate::part::function::ChipState;
use crate::quantity::Time;
use crate::run::{Counters, Engine, Findings, LoadFault, Pause, Sink, Snapshot, Step};

impl Engine for Machine<'_> {
    fn circuit(&self) -> &Circuit {
        self.circuit
    }

    fn now(&self) -> Time {
        self.now()
    }

    fn has_begun(&self) -> bool {
        self.initialised
    }

    fn level(&self, net: NetKey) -> Level {
        self.level(net)
    }

    fn level_before(&self, net: NetKey) -> Level {
        self.level_before(net)
    }

    fn stored(&self, chip: ChipKey) -> Option<ChipState> {
        self.stored(chip).cloned()
    }

    fn stored_word(&self, chip: ChipKey, address: u64) -> Option<Word> {
        Some(self.stored(chip)?.memories.first()?.get(address))
    }

    fn advance(&mut self, until: Time, sink: &mut dyn Sink) -> Pause {
        self.advance(until, sink)
    }

    fn next_event(&mut self) -> Option<Time> {
        self.next_event()
    }

    fn period(&self) -> Option<Time> {
        self.period()
    }

    fn snapshot(&self) -> Snapshot {
        self.snapshot()
    }

    fn set(&mut self, net: NetKey, level: Level) {
        self.set(net, level);
    }

    fn clock(&mut self, net: NetKey, low: Time, high: Time) {
        self.clock(net, low, high);
    }

    fn force(&mut self, net: NetKey) -> bool {
        self.force(net);
        true
    }

    fn contact(&mut self, discrete: DiscreteKey, position: u8) {
        self.contact(discrete, position);
    }

    fn load(&mut self, chip: ChipKey, image: &Image, offset: i64) -> Result<(), LoadFault> {
        self.load(chip, image, offset)
    }

    fn unload(&mut self, chip: ChipKey) {
        self.unload(chip);
    }

    fn watch(&mut self, net: NetKey, on: bool) {
        self.watch(net, on);
    }

    fn stop_at(&mut self, net: NetKey, on: bool) {
        self.stop_at(net, on);
    }

    fn keep_before(&mut self, net: NetKey) {
        self.keep_before(net);
    }

    fn pause_to_look(&mut self, on: bool) {
        self.pause_to_look(on);
    }

    fn counters(&self) -> Counters {
        self.counters
    }

    fn findings(&self) -> Findings {
        Findings {
            violations: self.violations(),
            metastable: self.metastable(),
            decisions: self.decisions(),
            forbidden: self.forbidden(),
            contentions: self.contentions(),
            floating: self.floating(),
            filtered: self.filtered(),
            rules: self.rules.clone(),
        }
    }

    fn why(&mut self, net: NetKey, time: Time) -> Vec<Step> {
        self.why(net, time)
    }
}
