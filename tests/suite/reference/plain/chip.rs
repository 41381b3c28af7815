//! A chip in its place: what it stores and sees, and its figures.

use super::description::Description;
use super::levels::{Bit, Level};
use super::storage::{SampledInputs, Storage};
use coldboard::circuit::{Chip as Placed, ChipKey, NetKey};
use coldboard::delay::{ChipDelays, Conditions, DelayTable, Delays, Transition, durations};
use coldboard::language::ast::{Corner, PowerUp};
use std::collections::BTreeSet;
use std::rc::Rc;

/// A time before every event.
pub(super) const LONG_AGO: i64 = i64::MIN / 4;

#[derive(Clone)]
pub(super) struct Chip {
    pub(super) does: Rc<Description>,
    pub(super) storage: Storage,
    /// The inputs as they are, and what it saw when it was last evaluated.
    pub(super) now: Vec<Bit>,
    pub(super) seen: SampledInputs,
    /// What each output is to be once all delays have passed.
    pub(super) wanted: Vec<Bit>,
    pub(super) first_driver: usize,
    pub(super) figures: Rc<Figures>,
    /// When each input last moved something.
    pub(super) arrivals: Vec<i64>,
    /// Stored bits that have moved by themselves, and the inputs that once set that off.
    pub(super) stirred: u64,
    pub(super) lead: u64,
    pub(super) forced: bool,
    pub(super) timers: Vec<Timer>,
    pub(super) swinging: Option<(Swinging, i64)>,
}

/// A stored bit that falls back: when it may end first, and when it certainly has.
#[derive(Clone, Debug)]
pub(super) struct Timer {
    pub(super) state: usize,
    pub(super) duration: Option<i64>,
    pub(super) earliest: Option<i64>,
    pub(super) latest: Option<i64>,
    pub(super) lead: u64,
    /// The moment at which it is to be looked at.
    pub(super) due: Option<i64>,
}

#[derive(Clone, Copy, Debug)]
pub(super) enum Swinging {
    State(usize),
    Input(usize),
}

/// The plain numbers of a chip: picoseconds, by the inputs and outputs of its description.
#[derive(Clone, Debug, Default)]
pub(super) struct Figures {
    /// By input and output.
    pub(super) delays: Vec<Vec<Delays>>,
    pub(super) output_hold: Vec<Vec<i64>>,
    /// Inputs whose move leaves outputs unknown until the delay has passed.
    pub(super) unsettled: u64,
    /// For each output, the inputs of which a sheet says when they bring it to a level.
    pub(super) launches: Vec<u64>,
    pub(super) start_up: i64,
}

impl Figures {
    /// The numbers of a table, put in the order of a description.
    fn new(chip: &Placed, does: &Description, table: &DelayTable, delays: &[Delays]) -> Figures {
        let function = &chip.part.function;
        let row = |pins: &[usize], name: &str| {
            let at = pins.iter().position(|&pin| chip.part.pins[pin].name == name);
            at.expect("a pin of the part")
        };
        let inputs = does.inputs.iter().map(|name| row(&function.inputs, name));
        let inputs: Vec<usize> = inputs.collect();
        let outputs = does.outputs.iter().map(|output| row(&function.outputs, &output.pin));
        let outputs: Vec<usize> = outputs.collect();
        let mask = |theirs: u64| {
            let ours = inputs.iter().enumerate().filter(|(_, at)| theirs >> **at & 1 == 1);
            ours.fold(0, |mask, (bit, _)| mask | 1 << bit)
        };
        let at = |from: usize, to: usize| from * table.outputs + to;
        let each = |from: &usize| {
            let hold = |to: &usize| table.output_hold.get(at(*from, *to)).map_or(0, |&ps| ps.into());
            let delay = |to: &usize| delays[at(*from, *to)];
            (outputs.iter().map(delay).collect(), outputs.iter().map(hold).collect())
        };
        let (delays, output_hold) = inputs.iter().map(each).unzip();
        Figures {
            delays,
            output_hold,
            unsettled: mask(table.unsettled),
            launches: outputs.iter().map(|&to| mask(table.launches[to])).collect(),
            start_up: table.start_up.ps(),
        }
    }

    pub(super) fn delay(&self, from: usize, to: usize, how: Transition) -> i64 {
        self.delays[from][to].of[how as usize].into()
    }
}

/// Makes the chips of a circuit.
pub(super) struct Maker<'c> {
    pub(super) corner: Corner,
    pub(super) power_up: PowerUp,
    pub(super) stimuli: &'c [NetKey],
    pub(super) delays: ChipDelays,
}

impl Maker<'_> {
    pub(super) fn chip(&self, (key, chip): (ChipKey, &Placed), does: &Rc<Description>, first_driver: usize) -> Chip {
        let table = self.delays.table(key);
        let own = self.delays.own.as_ref().map(|own| &own[key]);
        let figures = Figures::new(chip, does, table, own.unwrap_or(&table.delays));
        let times = self.times(chip);
        let timer = |(at, &state): (usize, &usize)| Timer {
            state,
            duration: times[at],
            earliest: None,
            latest: None,
            lead: 0,
            due: None,
        };
        let swinging = match (does.oscillator, does.swing) {
            (Some(state), _) => chip
                .frequency
                .and_then(|frequency| frequency.period())
                .map(|period| (Swinging::State(state), period.ps())),
            (None, Some(input)) => {
                let has_parts = chip.timing.last().is_some_and(Option::is_some);
                let period = times.last().copied().flatten().filter(|_| has_parts);
                period.map(|period| (Swinging::Input(input), period))
            }
            (None, None) => None,
        };
        let (inputs, outputs) = (does.inputs.len(), does.outputs.len());
        Chip {
            storage: self.storage(chip, does),
            now: vec![Bit::Unknown; inputs],
            seen: SampledInputs {
                inputs: vec![Bit::Unknown; inputs],
                nodes: vec![Bit::Unknown; does.node_needs.len()],
            },
            wanted: vec![Bit::Unknown; outputs],
            first_driver,
            figures: Rc::new(figures),
            arrivals: vec![LONG_AGO; inputs],
            stirred: 0,
            lead: 0,
            forced: false,
            timers: does.timers.iter().enumerate().map(timer).collect(),
            swinging,
            does: Rc::clone(does),
        }
    }

    /// What it stores when power comes.
    fn storage(&self, chip: &Placed, does: &Description) -> Storage {
        let mut storage = does.unknown();
        let filled = match self.power_up {
            PowerUp::Unknown => None,
            PowerUp::Zero => Some(false),
            PowerUp::One => Some(true),
            PowerUp::Random(_) => panic!("chance is no business of the reference"),
        };
        if let Some(high) = filled {
            for (at, bit) in storage.state.iter_mut().enumerate() {
                *bit = Bit::known(high && does.zero >> at & 1 == 0);
            }
            for (memory, &blank) in storage.memories.iter_mut().zip(&does.blank) {
                if !blank {
                    memory.fill(if high { u64::MAX } else { 0 });
                }
            }
        }
        if let (Some(holds), Some(memory)) = (&chip.initial_contents, storage.memories.first_mut()) {
            for (start, bytes) in holds.image.segments() {
                for (address, &byte) in (start..).zip(bytes) {
                    memory.put(address, byte.into());
                }
            }
        }
        storage
    }

    /// How long its timers run, and the period of an input that swings by itself: plain numbers. What a stimulus drives
    /// as well has no time that is known.
    fn times(&self, chip: &Placed) -> Vec<Option<i64>> {
        if chip.part.function.timed() == 0 {
            return Vec::new();
        }
        assert!(!matches!(self.corner, Corner::Random(_)), "no timers in a random corner");
        let conditions = Conditions {
            family: chip.electrical.as_deref(),
            estimate: chip.estimate.as_ref(),
            ..Conditions::at(chip.supply, self.corner)
        };
        let sheet = chip.sheet.map(|sheet| &chip.part.sheets[sheet]);
        let mut rules = BTreeSet::new();
        let times = durations(&chip.part, sheet, &conditions, &chip.timing, &mut rules);
        let pins = chip.part.function.timing_pins();
        let timed = times.into_iter().zip(pins).map(|(time, pins)| {
            let mut nets = pins.into_iter().filter_map(|pin| chip.nets[pin]);
            let driven = nets.any(|net| self.stimuli.contains(&net));
            time.filter(|_| !driven).map(|time| time.ps().max(0))
        });
        timed.collect()
    }
}

/// Which of the delays of a path counts between two levels that an output wants.
pub(super) fn transition(from: Level, to: Level) -> Transition {
    match (from, to) {
        (Level::Z, Level::One) => Transition::EnableHigh,
        (Level::Z, Level::Zero) => Transition::EnableLow,
        (Level::Z, _) => Transition::EnableToUnknown,
        (Level::Zero, Level::Z) => Transition::DisableLow,
        (_, Level::Z) => Transition::DisableHigh,
        (_, Level::One) => Transition::Rise,
        (_, Level::Zero) => Transition::Fall,
        _ => Transition::ToUnknown,
    }
}
