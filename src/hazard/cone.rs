//! What drives a net, back to what can move freely: the small part of the logic that decides a question.
//!
//! A `Cone` follows nets through gates to its *variables*: nets that come from outside, from contacts, from memories
//! or from several drivers, and stored bits. Each is taken to be high or low, whatever the others are; so what no choice
//! of variables brings about cannot happen, while what some choice brings about may still be kept from happening by what
//! is stored.

use crate::circuit::{ChipKey, Circuit, NetKey};
use crate::electrical::OperatingPoint;
use crate::electrical::drive::{Driver, Enabled, inputs_from_rails};
use crate::logic::Word;
use crate::part::function::{SampledInputs, Scratch};
use crate::quantity::Voltage;
use std::collections::{BTreeMap, BTreeSet};

/// Something that moves freely.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Variable {
    /// A net that nothing here computes.
    Net(NetKey),
    /// A stored bit of a chip.
    State(ChipKey, usize),
}

/// A question about an output.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Goal {
    /// The level of a net is high.
    High(NetKey),
    /// An output drives (true) or lets go (false).
    Drives(Driver, bool),
}

/// What each variable is, unknown where it is not in the map.
pub(crate) type Choice = BTreeMap<Variable, bool>;

/// More variables than this are not searched.
const MOST_VARIABLES: usize = 24;
/// Cones of more chips than this are not followed.
const MOST_NETS: usize = 400;
/// A search ends after so many looks.
const MOST_LOOKS: usize = 4_000;

/// What a search found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Answer {
    Never,
    /// When the variables are so; those left out do not matter.
    When(Choice),
    /// Too much to search.
    Unknown,
}

/// The logic behind some goals.
pub(crate) struct Cone<'c> {
    circuit: &'c Circuit,
    operating_point: &'c OperatingPoint,
    /// In the order in which they were met, the nearest first.
    pub(crate) variables: Vec<Variable>,
    /// True when not all of it was followed.
    pub(crate) cut: bool,
    scratch: Scratch,
}

impl<'c> Cone<'c> {
    /// The cone of some goals.
    pub(crate) fn new(circuit: &'c Circuit, operating_point: &'c OperatingPoint, goals: &[Goal]) -> Cone<'c> {
        let mut cone =
            Cone { circuit, operating_point, variables: Vec::new(), cut: false, scratch: Scratch::default() };
        cone.follow(goals);
        cone
    }

    fn follow(&mut self, goals: &[Goal]) {
        let mut seen: BTreeSet<NetKey> = BTreeSet::new();
        let mut waiting: Vec<NetKey> = Vec::new();
        for goal in goals {
            match *goal {
                Goal::High(net) => waiting.push(net),
                Goal::Drives(driver, _) => self.reads(driver, true, &mut waiting),
            }
        }
        let mut at = 0;
        while let Some(&net) = waiting.get(at) {
            at += 1;
            if !seen.insert(net) {
                continue;
            }
            if seen.len() > MOST_NETS {
                self.cut = true;
                return;
            }
            match source(self.circuit, self.operating_point, net) {
                Source::Fixed(_) => {}
                Source::Free => self.add(Variable::Net(net)),
                Source::Output(driver) => self.reads(driver, false, &mut waiting),
            }
        }
    }

    fn add(&mut self, variable: Variable) {
        if !self.variables.contains(&variable) {
            self.variables.push(variable);
            self.cut |= self.variables.len() > MOST_VARIABLES;
        }
    }

    /// Adds what an output is computed from: stored bits at once, nets to those that wait.
    fn reads(&mut self, driver: Driver, off: bool, waiting: &mut Vec<NetKey>) {
        let chip = &self.circuit.chips[driver.chip];
        let function = &chip.part.function;
        let reads = if off { function.reads_of_off(driver.bit) } else { function.reads_of_value(driver.bit) };
        for (bit, &pin) in function.inputs.iter().enumerate() {
            if reads.inputs >> bit & 1 == 1 {
                waiting.extend(chip.nets[pin]);
            }
        }
        for bit in 0..function.states.len() {
            if reads.states >> bit & 1 == 1 {
                self.add(Variable::State(driver.chip, bit));
            }
        }
    }

    /// Whether a goal is met: `None` when the choice leaves it open.
    pub(crate) fn is_met(&mut self, goal: Goal, choice: &Choice) -> Option<bool> {
        let mut known = BTreeMap::new();
        self.met(goal, choice, &mut known)
    }

    fn met(&mut self, goal: Goal, choice: &Choice, known: &mut BTreeMap<NetKey, Option<bool>>) -> Option<bool> {
        match goal {
            Goal::High(net) => self.level(net, choice, known),
            Goal::Drives(driver, drives) => {
                let off = self.output(driver, true, choice, known)?;
                Some(off != drives)
            }
        }
    }

    fn level(&mut self, net: NetKey, choice: &Choice, known: &mut BTreeMap<NetKey, Option<bool>>) -> Option<bool> {
        if let Some(&level) = known.get(&net) {
            return level;
        }
        // A loop comes back here before its level is known.
        known.insert(net, None);
        let level = match source(self.circuit, self.operating_point, net) {
            Source::Fixed(level) => Some(level),
            Source::Free => choice.get(&Variable::Net(net)).copied(),
            Source::Output(driver) => self.output(driver, false, choice, known),
        };
        known.insert(net, level);
        level
    }

    /// The level of an output, or whether it lets go.
    fn output(
        &mut self,
        driver: Driver,
        off: bool,
        choice: &Choice,
        known: &mut BTreeMap<NetKey, Option<bool>>,
    ) -> Option<bool> {
        let chip = &self.circuit.chips[driver.chip];
        let function = &chip.part.function;
        let reads = if off { function.reads_of_off(driver.bit) } else { function.reads_of_value(driver.bit) };
        let mut inputs = inputs_from_rails(self.circuit, chip);
        for (bit, &pin) in function.inputs.iter().enumerate() {
            if reads.inputs >> bit & 1 == 0 {
                continue;
            }
            let level = chip.nets[pin].and_then(|net| self.level(net, choice, known));
            if let Some(level) = level {
                inputs.unknown &= !(1 << bit);
                inputs.value = inputs.value & !(1 << bit) | u64::from(level) << bit;
            }
        }
        let mut stored = function.unknown_state();
        for bit in 0..function.states.len() {
            if let Some(&level) = choice.get(&Variable::State(driver.chip, bit)) {
                stored.state.unknown &= !(1 << bit);
                stored.state.value |= u64::from(level) << bit;
            }
        }
        let nodes = function.nodes(inputs, &stored, &mut self.scratch);
        let drive = function.drive(SampledInputs { inputs, nodes }, &stored, &mut self.scratch);
        let word = if off { drive.off } else { drive.value };
        let bit = word.slice(driver.bit as u32, 1);
        (bit != Word::all_unknown(1)).then_some(bit.value == 1)
    }

    /// Looks for a choice of the variables that meets all goals.
    pub(crate) fn search(&mut self, goals: &[Goal]) -> Answer {
        if self.cut {
            return Answer::Unknown;
        }
        let mut looks = 0;
        let mut choice = Choice::new();
        match self.descend(goals, 0, &mut choice, &mut looks) {
            Some(true) => Answer::When(choice),
            Some(false) => Answer::Never,
            None => Answer::Unknown,
        }
    }

    /// The least choice that meets the goals like a given one: a single variable where one does it, else the given one
    /// without the variables that the goals do not need.
    pub(crate) fn least(&mut self, goals: &[Goal], mut choice: Choice) -> Choice {
        if choice.len() > 1 {
            for variable in self.variables.clone() {
                for level in [false, true] {
                    let single = Choice::from([(variable, level)]);
                    if goals.iter().all(|&goal| self.is_met(goal, &single) == Some(true)) {
                        return single;
                    }
                }
            }
        }
        for (variable, level) in choice.clone() {
            choice.remove(&variable);
            let met = goals.iter().all(|&goal| self.is_met(goal, &choice) == Some(true));
            if !met {
                choice.insert(variable, level);
            }
        }
        choice
    }

    /// `None` when there was too much to look at.
    fn descend(&mut self, goals: &[Goal], at: usize, choice: &mut Choice, looks: &mut usize) -> Option<bool> {
        *looks += 1;
        if *looks > MOST_LOOKS {
            return None;
        }
        let mut known = BTreeMap::new();
        let mut open = false;
        for &goal in goals {
            match self.met(goal, choice, &mut known) {
                Some(true) => {}
                Some(false) => return Some(false),
                None => open = true,
            }
        }
        if !open {
            return Some(true);
        }
        // What stays open with every variable chosen hangs on something that was not followed.
        let variable = *self.variables.get(at)?;
        for level in [false, true] {
            choice.insert(variable, level);
            match self.descend(goals, at + 1, choice, looks) {
                Some(false) => {}
                other => return other,
            }
        }
        choice.remove(&variable);
        Some(false)
    }

    /// A variable in words: `U3.q2`, `A.run`.
    pub(crate) fn name(&self, variable: Variable) -> String {
        match variable {
            Variable::Net(net) => self.circuit.nets[net].path.clone(),
            Variable::State(chip, bit) => {
                let chip = &self.circuit.chips[chip];
                format!("{}.{}", chip.path, chip.part.function.states[bit])
            }
        }
    }

    /// A choice in words: `a = 1, U3.q2 = 0`.
    pub(crate) fn words(&self, choice: &Choice) -> String {
        let order = self.variables.iter();
        let words: Vec<String> = order
            .filter_map(|variable| {
                let level = u8::from(*choice.get(variable)?);
                Some(format!("{} = {level}", self.name(*variable)))
            })
            .collect();
        words.join(", ")
    }
}

/// Where the level of a net comes from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Source {
    /// A rail, or a resistor to one and nothing else.
    Fixed(bool),
    /// One output that always drives.
    Output(Driver),
    /// Anything else.
    Free,
}

/// Where the level of a net comes from.
pub(crate) fn source(circuit: &Circuit, operating_point: &OperatingPoint, key: NetKey) -> Source {
    let net = &circuit.nets[key];
    if let Some(rail) = net.rail {
        return Source::Fixed(rail.declared != Voltage::ZERO);
    }
    let drivers: &[Driver] = &operating_point.nets[key].drivers;
    match drivers {
        [driver] if driver.enabled == Enabled::Always => {
            let chip = &circuit.chips[driver.chip];
            let reads = chip.part.function.reads_of_value(driver.bit);
            if chip.fed && !reads.memory { Source::Output(*driver) } else { Source::Free }
        }
        _ => Source::Free,
    }
}
