//! The engine without delays as one of several.

use super::machine::Machine;
use super::place::Source;
use crate::circuit::{ChipKey, Circuit, DiscreteKey, NetKey};
use crate::image::Image;
use crate::logic::{Level, Word};
use crate::part::function::{ChipState, Drive, SampledInputs};
use crate::quantity::Time;
use crate::run::{Counters, Engine, Findings, LoadFault, Pause, Sink, Snapshot, Step, common_period};

impl Engine for Machine<'_> {
    fn circuit(&self) -> &Circuit {
        self.circuit
    }

    fn now(&self) -> Time {
        self.now()
    }

    fn has_begun(&self) -> bool {
        self.awake
    }

    fn level(&self, net: NetKey) -> Level {
        self.level(net)
    }

    fn level_before(&self, net: NetKey) -> Level {
        self.level_before(net)
    }

    fn stored(&self, chip: ChipKey) -> Option<ChipState> {
        self.held(chip)
    }

    fn stored_word(&self, chip: ChipKey, address: u64) -> Option<Word> {
        self.cell(chip, address)
    }

    fn advance(&mut self, until: Time, sink: &mut dyn Sink) -> Pause {
        let pause = self.advance(until);
        for (time, net, level) in self.take_changes() {
            sink.change(time, net, level);
        }
        pause
    }

    fn next_event(&mut self) -> Option<Time> {
        if !self.awake || self.hands || self.refusal.is_some() {
            return Some(self.now());
        }
        let due = self.agenda.iter().map(|row| row.0);
        due.min().map(Time::from_ps)
    }

    fn period(&self) -> Option<Time> {
        common_period(self.agenda.iter().filter_map(|(_, source)| match *source {
            Source::Oscillator(_, period) => Some(Time::from_ps(period)),
            Source::Clock(_, low, high) => Some(Time::from_ps(low + high)),
            Source::Charge(..) => None,
        }))
    }

    fn snapshot(&self) -> Snapshot {
        let levels = self.circuit.nets.keys().map(|net| self.level(net));
        let mut coming: Vec<(Source, i64)> =
            self.agenda.iter().map(|&(due, source)| (source, due - self.time)).collect();
        coming.sort_unstable();
        let stored = self.circuit.chips.keys().filter_map(|chip| self.held(chip));
        Snapshot {
            levels: levels.collect(),
            coming: coming.iter().map(|row| (Level::U, Time::from_ps(row.1))).collect(),
            cells: stored.map(|held| (Word::default(), SampledInputs::default(), held, Drive::default())).collect(),
        }
    }

    fn set(&mut self, net: NetKey, level: Level) {
        self.set(net, level);
    }

    fn clock(&mut self, net: NetKey, low: Time, high: Time) {
        self.clock(net, low, high);
    }

    fn force(&mut self, net: NetKey) -> bool {
        self.is_stimulus(net)
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
        self.counters()
    }

    fn findings(&self) -> Findings {
        Findings {
            forbidden: self.forbidden(),
            contentions: self.contentions(),
            floating: self.floating(),
            ..Findings::default()
        }
    }

    fn why(&mut self, _: NetKey, _: Time) -> Vec<Step> {
        Vec::new()
    }
}
