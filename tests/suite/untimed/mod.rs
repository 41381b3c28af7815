//! The engine without delays beside the engine with them: the same storage and the same levels whenever a design has
//! come to rest between two edges.

mod carillon;
mod checkpoints;
mod drift;
mod dunlin;
mod fast_paths;
mod flat;
mod gated;
pub(crate) mod random;
mod refusals;
mod yardstick;

use coldboard::circuit::{Circuit, NetKey, elaborate};
use coldboard::diagnostic::any_error;
use coldboard::image::Image;
use coldboard::language::ast::{Corner, PowerUp};
use coldboard::language::parse;
use coldboard::logic::Level;
use coldboard::part::Library;
use coldboard::quantity::Time;
use coldboard::run::NullSink;
use coldboard::simulate;
use coldboard::untimed;

/// A circuit in both engines, with the same hands on both.
struct Pair<'c> {
    circuit: &'c Circuit,
    timed: simulate::Machine<'c>,
    untimed: untimed::Machine<'c>,
}

impl<'c> Pair<'c> {
    fn new(circuit: &'c Circuit, corner: Corner, power_up: PowerUp, stimuli: &[NetKey]) -> Self {
        let timed =
            coldboard::run::Settings { corner, temperature: None, power_up, ..coldboard::run::Settings::TYPICAL };
        let settings =
            coldboard::run::Settings { corner, temperature: None, power_up, ..coldboard::run::Settings::TYPICAL };
        Pair {
            circuit,
            timed: simulate::Machine::new(circuit, timed, stimuli),
            untimed: untimed::Machine::new(circuit, settings, stimuli)
                .unwrap_or_else(|problems| panic!("{problems:?}")),
        }
    }

    fn set(&mut self, net: NetKey, level: Level) {
        self.timed.set(net, level);
        self.untimed.set(net, level);
    }

    fn load(&mut self, chip: &str, bytes: &[u8]) {
        let chip = self.circuit.chip(chip).expect("a chip");
        let mut image = Image::new();
        for (address, &byte) in (0u64..).zip(bytes) {
            image.insert(address, byte);
        }
        self.timed.load(chip, &image, 0).expect("it fits");
        self.untimed.load(chip, &image, 0).expect("it fits");
    }

    /// A clock from now on, low and high for so many picoseconds.
    fn clock(&mut self, net: NetKey, low: i64, high: i64) {
        let (low, high) = (Time::from_ps(low), Time::from_ps(high));
        self.timed.clock(net, low, high);
        self.untimed.clock(net, low, high);
    }

    /// Both to a time; the reason when the engine without delays refuses.
    fn advance(&mut self, until: Time) -> Option<String> {
        let pause = self.timed.advance(until, &mut NullSink);
        assert_eq!(pause, coldboard::run::Pause::Reached);
        match self.untimed.advance(until) {
            coldboard::run::Pause::Refused(refusal) => Some(refusal.sentence),
            pause => {
                assert_eq!(pause, coldboard::run::Pause::Reached);
                None
            }
        }
    }

    /// What is different: stored bits by chip, and levels by net when nothing is on its way.
    fn differences(&self, at_rest: bool) -> Vec<String> {
        let mut found = Vec::new();
        for (key, chip) in self.circuit.chips.iter() {
            // An EEPROM counts its reads, which shows only while it is written.
            if chip.number.starts_with("28C") {
                continue;
            }
            let states = (self.timed.stored(key).map(|held| held.state), self.untimed.held(key).map(|held| held.state));
            if states.0 != states.1 {
                found.push(format!("{}: {:x?}", chip.path, states));
            }
        }
        for (key, net) in self.circuit.nets.iter().filter(|_| at_rest) {
            let levels = (self.timed.level(key), self.untimed.level(key));
            let x = |level: Level| if level == Level::U { Level::X } else { level };
            if x(levels.0) != x(levels.1) {
                found.push(format!("{}: {:?}", net.path, levels));
            }
        }
        found
    }

    /// Where the engine without delays knows something else than the one with them; it may know less.
    fn contradictions(&self) -> Vec<String> {
        let mut found = Vec::new();
        for (key, chip) in self.circuit.chips.iter() {
            let (Some(timed), Some(untimed)) = (self.timed.stored(key), self.untimed.held(key)) else {
                continue;
            };
            let (timed, untimed) = (timed.state, untimed.state);
            let differs = (timed.value ^ untimed.value) | timed.unknown;
            if differs & !untimed.unknown != 0 {
                found.push(format!("{}: {timed:x?} {untimed:x?}", chip.path));
            }
        }
        for (key, net) in self.circuit.nets.iter() {
            let levels = (self.timed.level(key), self.untimed.level(key));
            if levels.0 != levels.1 && levels.1.is_known() {
                found.push(format!("{}: {levels:?}", net.path));
            }
        }
        found
    }

    /// The memories of both, word by word.
    fn same_memories(&self) -> bool {
        let all = self.circuit.chips.keys();
        all.into_iter().all(|key| {
            let memories = (
                self.timed.stored(key).map(|held| held.memories.clone()),
                self.untimed.held(key).map(|held| held.memories),
            );
            memories.0 == memories.1
        })
    }
}

/// The circuit of a text without errors.
fn circuit(text: &str) -> Circuit {
    let mut library = Library::built_in();
    let file = library.add_source("test.board", text);
    let (tree, problems) = parse(file, text);
    assert!(!any_error(&problems), "{problems:?}\n{text}");
    let (circuit, problems) = elaborate(None, &[tree], &library);
    assert!(!any_error(&problems), "{problems:?}\n{text}");
    circuit.expect("a circuit")
}

fn net(circuit: &Circuit, path: &str) -> NetKey {
    circuit.net(path).unwrap_or_else(|| panic!("no net {path}"))
}
