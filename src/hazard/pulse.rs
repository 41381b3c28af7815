//! Short pulses that gates make: which change of which input can bring one forth.

use super::cone::{Choice, Cone, Goal, Source, Variable, source};
use crate::circuit::{ChipKey, Circuit, NetKey};
use crate::electrical::OperatingPoint;
use crate::logic::Word;
use crate::part::Edge;
use crate::part::function::{Function, SampledInputs, Scratch};
use crate::part::sheet::Signal;

/// Cones of more variables than this are not looked at.
const MOST_VARIABLES: usize = 8;

/// Of more clear and preset inputs it is not tried which levels are their idle ones.
const MOST_LEVEL_INPUTS: usize = 4;

/// A change that can make a short pulse.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Glitch {
    /// What changes, in words, and why that makes a pulse.
    pub(crate) change: String,
    /// What the rest is meanwhile, in words; may be empty.
    pub(crate) meanwhile: String,
}

/// The moment behind an edge of a clock.
#[derive(Clone, Debug)]
struct Phase {
    /// The variable that is the clock.
    clock: usize,
    /// Its level behind the edge.
    level: bool,
    /// What the other bits of the clock's own chip are then: masks of variables, and their levels. Empty when all is
    /// possible.
    after: Vec<(usize, usize)>,
}

impl Phase {
    fn holds(&self, mask: usize) -> bool {
        let fits = |&(known, levels): &(usize, usize)| mask & known == levels;
        (mask >> self.clock & 1 == 1) == self.level && (self.after.is_empty() || self.after.iter().any(fits))
    }
}

/// The level of a net for every choice of its variables.
struct Table<'a, 'c> {
    cone: &'a mut Cone<'c>,
    net: NetKey,
    levels: Vec<bool>,
}

/// True when too many variables are behind a net to look for short pulses on it.
pub(crate) fn is_too_large(circuit: &Circuit, operating_point: &OperatingPoint, net: NetKey) -> bool {
    let Source::Output(driver) = source(circuit, operating_point, net) else {
        return false;
    };
    let function = &circuit.chips[driver.chip].part.function;
    let flip_flop = function.reads_of_value(driver.bit).states.count_ones() == 1;
    let cone = Cone::new(circuit, operating_point, &[Goal::High(net)]);
    !flip_flop && (cone.cut || cone.variables.len() > MOST_VARIABLES)
}

/// Looks for a change that makes a short pulse on a net; `None` when there is none, or too much to look at.
pub(crate) fn glitch(circuit: &Circuit, operating_point: &OperatingPoint, net: NetKey) -> Option<Glitch> {
    let Source::Output(driver) = source(circuit, operating_point, net) else {
        return None;
    };
    // A flip-flop moves once for each edge.
    let function = &circuit.chips[driver.chip].part.function;
    if function.reads_of_value(driver.bit).states.count_ones() == 1 {
        return None;
    }
    let mut cone = Cone::new(circuit, operating_point, &[Goal::High(net)]);
    let count = cone.variables.len();
    if cone.cut || count > MOST_VARIABLES {
        return None;
    }
    let levels = (0..1_usize << count)
        .map(|mask| {
            let choice = choice(&cone, mask, None);
            cone.is_met(Goal::High(net), &choice)
        })
        .collect::<Option<Vec<bool>>>()?;
    let mut table = Table { cone: &mut cone, net, levels };
    table
        .through_memory(circuit, operating_point)
        .or_else(|| table.late(circuit, operating_point))
        .or_else(|| table.together(circuit, operating_point))
        .or_else(|| table.fixed())
}

/// The choice of a mask: bit n is variable n; one of them may be left open.
fn choice(cone: &Cone<'_>, mask: usize, open: Option<usize>) -> Choice {
    let variables = cone.variables.iter().enumerate();
    variables.filter(|(at, _)| Some(*at) != open).map(|(at, variable)| (*variable, mask >> at & 1 == 1)).collect()
}

impl Table<'_, '_> {
    fn count(&self) -> usize {
        self.cone.variables.len()
    }

    /// Every mask with these bits low.
    fn masks(&self, low: usize) -> impl Iterator<Item = usize> + use<> {
        (0..self.levels.len()).filter(move |mask| mask & low == 0)
    }

    fn found(&self, change: String, mask: usize, moved: usize) -> Option<Glitch> {
        let mut rest = choice(self.cone, mask, None);
        for (at, variable) in self.cone.variables.iter().enumerate() {
            if moved >> at & 1 == 1 {
                rest.remove(variable);
            }
        }
        Some(Glitch { change, meanwhile: self.cone.words(&rest) })
    }

    /// A memory's output moves through anything while its address settles; a clock may mask it.
    fn through_memory(&self, circuit: &Circuit, operating_point: &OperatingPoint) -> Option<Glitch> {
        for (at, variable) in self.cone.variables.iter().enumerate() {
            let Variable::Net(net) = *variable else {
                continue;
            };
            let memory = operating_point.nets[net]
                .drivers
                .iter()
                .any(|driver| !circuit.chips[driver.chip].part.function.memories.is_empty());
            let bit = 1 << at;
            let shows = |wanted: &dyn Fn(usize) -> bool| {
                let mut masks = self.masks(bit).filter(|mask| wanted(*mask));
                masks.find(|mask| self.levels[*mask] != self.levels[mask | bit])
            };
            let masked = |other: usize| {
                let at_level = |level: usize| shows(&|mask| mask >> other & 1 == level);
                other != at && (0..2).any(|level| at_level(level).is_none())
            };
            if memory
                && !(0..self.count()).any(masked)
                && let Some(mask) = shows(&|_| true)
            {
                let change = format!(
                    "{} comes from a memory, whose outputs run through any value when its address moves",
                    self.cone.name(*variable)
                );
                return self.found(change, mask, bit);
            }
        }
        None
    }

    /// A stored bit that changes just behind the edge of a clock that is let through then.
    fn late(&self, circuit: &Circuit, operating_point: &OperatingPoint) -> Option<Glitch> {
        for (at, variable) in self.cone.variables.iter().enumerate() {
            let Variable::State(chip, _) = *variable else {
                continue;
            };
            let Some(phase) = self.phase(circuit, operating_point, chip) else {
                continue;
            };
            let (clock, level) = (phase.clock, phase.level);
            let bit = 1 << at;
            let mut masks = self.masks(bit).filter(|mask| phase.holds(*mask));
            if clock != at
                && let Some(mask) = masks.find(|mask| self.levels[*mask] != self.levels[mask | bit])
            {
                let name = self.cone.name(self.cone.variables[clock]);
                let edge = if level { "risen" } else { "fallen" };
                let change =
                    format!("{} changes when {name} has just {edge}, and cuts its pulse", self.cone.name(*variable));
                return self.found(change, mask, bit | 1 << clock);
            }
        }
        None
    }

    /// Two stored bits of one chip that change at once, but never quite.
    fn together(&self, circuit: &Circuit, operating_point: &OperatingPoint) -> Option<Glitch> {
        for (a, one) in self.cone.variables.iter().enumerate() {
            for (b, two) in self.cone.variables.iter().enumerate().skip(a + 1) {
                let (Variable::State(chip, first), Variable::State(other, second)) = (*one, *two) else {
                    continue;
                };
                let clocked = circuit.chips[chip].part.function.clock_inputs() != 0;
                let steps = steps(circuit, operating_point, chip);
                let cross = steps.is_empty() || steps.iter().any(|step| step.crosses(first, second));
                if chip != other || !clocked || !cross {
                    continue;
                }
                let phase = self.phase(circuit, operating_point, chip);
                let (a_bit, b_bit) = (1 << a, 1 << b);
                let at = |mask: usize| self.levels[mask];
                let crossing = |mask: &usize| {
                    let (none, both) = (at(*mask), at(mask | a_bit | b_bit));
                    let (first, second) = (at(mask | a_bit), at(mask | b_bit));
                    first == second && (none != first || both != first)
                };
                let possible = |mask: &usize| phase.as_ref().is_none_or(|phase| phase.holds(*mask));
                let mut masks = self.masks(a_bit | b_bit).filter(possible);
                if let Some(mask) = masks.find(crossing) {
                    let change = format!(
                        "{} rises while {} falls, and for a moment both are alike",
                        self.cone.name(*one),
                        self.cone.name(*two)
                    );
                    return self.found(change, mask, a_bit | b_bit);
                }
            }
        }
        None
    }

    /// A level that stays, but on the way through gates of different length does not.
    fn fixed(&mut self) -> Option<Glitch> {
        for at in 0..self.count() {
            let bit = 1 << at;
            let steady: Vec<usize> =
                (self.masks(bit)).filter(|mask| self.levels[*mask] == self.levels[mask | bit]).collect();
            for mask in steady {
                let open = choice(self.cone, mask, Some(at));
                if self.cone.is_met(Goal::High(self.net), &open).is_none() {
                    let level = u8::from(self.levels[mask]);
                    let name = self.cone.name(self.cone.variables[at]);
                    let change = format!(
                        "{name} changes, which reaches it on two ways of different length; it should stay {level}"
                    );
                    return self.found(change, mask, bit);
                }
            }
        }
        None
    }

    /// The variable that clocks a chip, when it is one of these, and what is so behind the edge.
    fn phase(&self, circuit: &Circuit, operating_point: &OperatingPoint, chip: ChipKey) -> Option<Phase> {
        let row = &circuit.chips[chip];
        row.part.function.triggers().find_map(|(signal, edge)| {
            let Signal::Input(bit) = signal else {
                return None;
            };
            let net = row.nets[row.part.function.inputs[bit]]?;
            let mut clock = Cone::new(circuit, operating_point, &[Goal::High(net)]);
            let [variable] = clock.variables[..] else {
                return None;
            };
            let at = self.cone.variables.iter().position(|&other| other == variable)?;
            let behind = edge == Edge::Rise;
            let level = [false, true].into_iter().find(|&level| {
                let choice = Choice::from([(variable, level)]);
                clock.is_met(Goal::High(net), &choice) == Some(behind)
            })?;
            let after = match variable {
                Variable::State(maker, bit) => self.after(circuit, operating_point, maker, bit, level),
                Variable::Net(_) => Vec::new(),
            };
            Some(Phase { clock: at, level, after })
        })
    }

    /// What the bits of a chip can be when one of them has just taken a level. Empty when that is too much to try.
    fn after(
        &self,
        circuit: &Circuit,
        operating_point: &OperatingPoint,
        maker: ChipKey,
        bit: usize,
        level: bool,
    ) -> Vec<(usize, usize)> {
        let fresh = |step: &&Step| {
            let there = step.after.slice(bit as u32, 1);
            (step.before >> bit & 1 == 1) != level && there != Word::known(u64::from(!level))
        };
        let steps = steps(circuit, operating_point, maker);
        let masks = steps.iter().filter(fresh).map(|step| {
            let (mut known, mut levels) = (0, 0);
            for (at, variable) in self.cone.variables.iter().enumerate() {
                if let Variable::State(owner, other) = *variable
                    && owner == maker
                    && other != bit
                    && step.after.unknown >> other & 1 == 0
                {
                    known |= 1 << at;
                    levels |= usize::from(step.after.value >> other & 1 == 1) << at;
                }
            }
            (known, levels)
        });
        masks.collect()
    }
}

/// What a clock makes of what a chip stores.
#[derive(Clone, Copy, Debug)]
struct Step {
    before: u64,
    /// Unknown where it depends on anything else.
    after: Word,
}

impl Step {
    /// True when two bits that differ may change places.
    fn crosses(&self, a: usize, b: usize) -> bool {
        let was = |bit: usize| self.before >> bit & 1 == 1;
        let may_turn = |bit: usize| self.after.slice(bit as u32, 1) != Word::known(u64::from(was(bit)));
        was(a) != was(b) && may_turn(a) && may_turn(b)
    }
}

/// Every state of a chip, and the next one, with the inputs that it makes itself. Empty when that is too much, or when
/// its clock is not a plain input.
fn steps(circuit: &Circuit, operating_point: &OperatingPoint, maker: ChipKey) -> Vec<Step> {
    let chip = &circuit.chips[maker];
    let function = &chip.part.function;
    let count = function.states.len();
    let mut triggers = function.triggers();
    let Some((Signal::Input(clock), edge)) = triggers.next() else {
        return Vec::new();
    };
    let one_clock = triggers.all(|other| other == (Signal::Input(clock), edge));
    if count > MOST_VARIABLES || !function.memories.is_empty() || !one_clock {
        return Vec::new();
    }
    let inputs: Vec<(usize, NetKey)> = (function.inputs.iter().enumerate())
        .filter(|(input, _)| *input != clock)
        .filter_map(|(input, &pin)| Some((input, chip.nets[pin]?)))
        .collect();
    let goals: Vec<Goal> = inputs.iter().map(|&(_, net)| Goal::High(net)).collect();
    let mut cone = Cone::new(circuit, operating_point, &goals);
    let mut scratch = Scratch::default();
    let step = |state: u64| {
        let states = (0..count).map(|bit| (Variable::State(maker, bit), state >> bit & 1 == 1));
        let choice: Choice = states.collect();
        let mut before = Word::all_unknown(function.input_mask());
        for &(input, net) in &inputs {
            if let Some(level) = cone.is_met(Goal::High(net), &choice) {
                before.unknown &= !(1 << input);
                before.value |= u64::from(level) << input;
            }
        }
        before.unknown &= !(1 << clock);
        let before_edge = idle(function, before, &mut scratch);
        let (mut before, mut after) = (before_edge, before_edge);
        match edge {
            Edge::Rise => after.value |= 1 << clock,
            Edge::Fall => before.value |= 1 << clock,
        }
        let mut stored = function.unknown_state();
        stored.state = Word::known(state);
        let nodes = function.nodes(before, &stored, &mut scratch);
        let seen = SampledInputs { inputs: before, nodes };
        function.step(seen, after, &mut stored, &mut scratch);
        Step { before: state, after: stored.state }
    };
    (0..1_u64 << count).map(step).collect()
}

/// Inputs with clear and preset at rest, as far as they are not known: a clear is no step of a count.
fn idle(function: &Function, inputs: Word, scratch: &mut Scratch) -> Word {
    let open: Vec<u32> =
        (0..u64::BITS).filter(|bit| (function.level_inputs() & inputs.unknown) >> bit & 1 == 1).collect();
    if open.len() > MOST_LEVEL_INPUTS {
        return inputs;
    }
    let rests = |levels: &Word, scratch: &mut Scratch| {
        [0, function.state_mask()].iter().all(|&state| {
            let mut stored = function.unknown_state();
            stored.state = Word::known(state);
            let nodes = function.nodes(*levels, &stored, scratch);
            let seen = SampledInputs { inputs: *levels, nodes };
            function.step(seen, *levels, &mut stored, scratch);
            stored.state == Word::known(state)
        })
    };
    let mut levels = (0..1_u64 << open.len()).map(|choice| {
        let mut levels = inputs;
        for (at, bit) in open.iter().enumerate() {
            levels.unknown &= !(1 << bit);
            levels.value |= (choice >> at & 1) << bit;
        }
        levels
    });
    levels.find(|levels| rests(levels, scratch)).unwrap_or(inputs)
}
