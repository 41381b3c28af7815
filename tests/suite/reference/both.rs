//! A circuit in the engine with delays and in the reference, with the same hands on both.

use super::plain::{Bit, Level, Reference, Shelf};
use coldboard::circuit::{Circuit, DiscreteKey, NetKey};
use coldboard::key::Key;
use coldboard::language::ast::{Corner, PowerUp};
use coldboard::logic;
use coldboard::quantity::Time;
use coldboard::run::{Pause, Settings, Sink};
use coldboard::simulate::Machine;
use std::collections::BTreeMap;

/// How the engine is looked at: each watched change of each net, or its levels at every moment at which the reference
/// moves, which leaves its short ways open.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Look {
    Changes,
    Levels,
}

/// What came of a stretch of time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Outcome {
    /// So many changes were the same.
    Same(usize),
    /// A data-sheet limit was violated, or a loop never settles: up to then all was the same.
    Over(usize),
}

/// Changes of nets as they are told.
#[derive(Default)]
struct Log(Vec<(i64, NetKey, char)>);

impl Sink for Log {
    fn change(&mut self, time: Time, net: NetKey, level: logic::Level) {
        self.0.push((time.ps(), net, level.to_char()));
    }
}

pub(super) struct Both<'c> {
    circuit: &'c Circuit,
    pub(super) machine: Machine<'c>,
    pub(super) reference: Reference,
    look: Look,
    /// The level of each net when it was last looked at.
    last: BTreeMap<NetKey, char>,
    log: Log,
}

impl<'c> Both<'c> {
    pub(super) fn new(
        circuit: &'c Circuit,
        (corner, power_up): (Corner, PowerUp),
        stimuli: &[NetKey],
        look: Look,
        shelf: &mut Shelf,
    ) -> Both<'c> {
        let settings = Settings { corner, temperature: None, power_up, ..Settings::TYPICAL };
        let mut machine = Machine::new(circuit, settings, stimuli);
        if look == Look::Changes {
            for net in circuit.nets.keys() {
                machine.watch(net, true);
            }
        }
        Both {
            circuit,
            machine,
            reference: Reference::new(circuit, (corner, power_up), stimuli, shelf),
            look,
            last: BTreeMap::new(),
            log: Log::default(),
        }
    }

    pub(super) fn set(&mut self, net: NetKey, level: char) {
        self.machine.set(net, logic::Level::from_char(level).expect("a level"));
        self.reference.set(net, Level::from_char(level));
    }

    pub(super) fn clock(&mut self, net: NetKey, low: i64, high: i64) {
        self.machine.clock(net, Time::from_ps(low), Time::from_ps(high));
        self.reference.clock(net, low, high);
    }

    pub(super) fn contact(&mut self, discrete: DiscreteKey, position: u8) {
        self.machine.contact(discrete, position);
        self.reference.contact(discrete, position);
    }

    /// Both to a time.
    ///
    /// # Errors
    /// The first difference, in words.
    pub(super) fn advance(&mut self, until: i64) -> Result<Outcome, String> {
        if self.last.is_empty() {
            // Power-up: only what it comes to counts.
            self.machine.advance(Time::ZERO, &mut self.log);
            self.reference.advance(0);
            self.log.0.clear();
            if !self.reference.rests {
                return Ok(Outcome::Over(0));
            }
            self.reference.trace.clear();
            self.same_levels(0)?;
            let nets = self.circuit.nets.keys();
            self.last = nets.map(|net| (net, self.reference.level(net).to_char())).collect();
        }
        match self.look {
            Look::Changes => self.advance_by_changes(until),
            Look::Levels => self.advance_by_levels(until),
        }
    }

    /// When the first limit of a sheet was violated.
    fn violated(&self) -> Option<i64> {
        let violations = self.machine.violations();
        violations.iter().map(|violation| violation.first.ps()).min()
    }

    fn advance_by_changes(&mut self, until: i64) -> Result<Outcome, String> {
        let pause = self.machine.advance(Time::from_ps(until), &mut self.log);
        let end = match pause {
            Pause::Oscillation(_) => Some(self.machine.now().ps()),
            _ => self.violated(),
        };
        self.reference.advance(end.map_or(until, |end| end - 1));
        let here = |(time, ..): &(i64, NetKey, char)| end.is_none_or(|end| *time < end);
        let theirs: Vec<_> = std::mem::take(&mut self.log.0).into_iter().filter(here).collect();
        let ours = std::mem::take(&mut self.reference.trace).into_iter();
        let ours: Vec<_> = ours.map(|(time, net, level)| (time, net, level.to_char())).collect();
        let theirs = moments(theirs, &mut self.last.clone());
        let ours = moments(ours, &mut self.last);
        let first = (0..ours.len().max(theirs.len())).find(|&at| ours.get(at) != theirs.get(at));
        if let Some(at) = first {
            let tell = |change: Option<&(i64, NetKey, char)>| match change {
                Some((time, net, level)) => {
                    format!("{} is {level} at {time} ps", self.circuit.nets[*net].path)
                }
                None => "nothing".to_owned(),
            };
            let (ours, theirs) = (tell(ours.get(at)), tell(theirs.get(at)));
            return Err(format!("reference: {ours}; engine: {theirs}"));
        }
        if end.is_some() {
            return Ok(Outcome::Over(ours.len()));
        }
        self.same_storage()?;
        Ok(Outcome::Same(ours.len()))
    }

    fn advance_by_levels(&mut self, until: i64) -> Result<Outcome, String> {
        let mut changes = 0;
        loop {
            let next = self.reference.next_event().map_or(until, |next| next.min(until));
            let now = self.machine.now().ps();
            for time in [(next - 1).max(now), next] {
                let pause = self.machine.advance(Time::from_ps(time), &mut self.log);
                if matches!(pause, Pause::Oscillation(_)) || self.violated().is_some() {
                    return Ok(Outcome::Over(changes));
                }
                self.reference.advance(time);
                self.same_levels(time)?;
            }
            changes += std::mem::take(&mut self.reference.trace).len();
            if next == until {
                self.same_storage()?;
                return Ok(Outcome::Same(changes));
            }
        }
    }

    fn same_levels(&self, time: i64) -> Result<(), String> {
        for (net, row) in self.circuit.nets.iter() {
            let levels = (self.reference.level(net).to_char(), self.machine.level(net).to_char());
            if levels.0 != levels.1 {
                let (ours, theirs) = levels;
                return Err(format!("reference: {} is {ours} at {time} ps; engine: {theirs}", row.path));
            }
        }
        Ok(())
    }

    /// Everything that is stored is the same.
    pub(super) fn same_storage(&self) -> Result<(), String> {
        for (key, chip) in self.circuit.chips.iter() {
            let (Some((does, ours)), Some(theirs)) = (self.reference.stored(key), self.machine.stored(key)) else {
                continue;
            };
            for (name, &bit) in does.states.iter().zip(&ours.state) {
                let names = &chip.part.function.states;
                let at = names.iter().position(|other| other == name).expect("a stored bit");
                let theirs = match (theirs.state.unknown >> at & 1, theirs.state.value >> at & 1) {
                    (1, _) => Bit::Unknown,
                    (_, high) => Bit::known(high == 1),
                };
                if bit != theirs {
                    return Err(format!(
                        "reference: {}.{name} stores {bit:?} at {}; engine: {theirs:?}",
                        chip.path,
                        self.machine.now()
                    ));
                }
            }
            for (ours, theirs) in ours.memories.iter().zip(&theirs.memories) {
                for (address, &(value, unknown)) in (0..).zip(ours.words()) {
                    let word = theirs.get(address);
                    if (word.value, word.unknown) != (value, unknown) {
                        return Err(format!("{}: address {address:#x} differs", chip.path));
                    }
                }
            }
        }
        Ok(())
    }
}

/// What each net has at the end of each moment in which it changes, in the order of times and nets.
fn moments(changes: Vec<(i64, NetKey, char)>, last: &mut BTreeMap<NetKey, char>) -> Vec<(i64, NetKey, char)> {
    let mut by_moment = BTreeMap::new();
    for (time, net, level) in changes {
        by_moment.insert((time, net.index()), (net, level));
    }
    let mut found = Vec::new();
    for ((time, _), (net, level)) in by_moment {
        if last.insert(net, level) != Some(level) {
            found.push((time, net, level));
        }
    }
    found
}
