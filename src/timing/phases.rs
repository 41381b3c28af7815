//! Clocks that repeat one another, and the gates in which they meet.
//!
//! A flip-flop that takes a clock as its data, at an edge of what all began with, makes the same clock again, later by a
//! known part of the period; a second output makes it again at once, the other way up. Where two such clocks meet in a
//! gate it is known what the one is while the other moves: the edges that the gate does not let through are none behind
//! it, and a pulse may be opened by the one and closed by the other. That holds as long as the edges come to the gate in
//! that order, which is one of the things that [`super::checks`] asks for.

use super::clock_pins::ClockPin;
use super::clocks::{Clock, ClockEdge, ClockKey, Clocks, GeneratedClock, output_path};
use super::graph::{Arc, ArcKind, Graph, TimingNet, Transition};
use super::shape::{bits, fixed};
use crate::circuit::ChipKey;
use crate::logic::Word;
use crate::part::Edge;
use crate::part::function::structure::{Clocked, Unateness};
use crate::part::sheet::Signal;
use crate::quantity::Time;
use rustc_hash::FxHashSet;

/// The clock that a clock repeats.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct MasterClock {
    pub clock: ClockKey,
    /// True when the one is low while the other is high.
    pub inverted: bool,
    /// True when a flip-flop takes it as data; false for another output of the flip-flop that makes it.
    pub sampled: bool,
}

/// Where a clock stands beside the one that it repeats in the end.
#[derive(Clone, Copy, Debug)]
struct Phase {
    base: ClockKey,
    shift: Time,
    inverted: bool,
}

/// So many gates with one input, or clocks that repeat one another, are followed in a row.
const MOST_STEPS: usize = 64;

impl Clocks {
    /// Finds which clocks repeat others; makes clocks of outputs that lead to clock inputs and repeat one. False when
    /// there was nothing new.
    pub(super) fn repeat(&mut self, graph: &Graph<'_>) -> bool {
        let mut found = false;
        for key in self.clocks.keys() {
            let clock = &self.clocks[key];
            let known = clock
                .generated
                .as_ref()
                .is_none_or(|generated| generated.steps.is_some() || generated.master.is_some());
            if known {
                continue;
            }
            let net = clock.timing_net;
            if let Some(generated) = self.repeats(graph, net)
                && let Some(master) = generated.master
                && self.phase(master.clock).base != key
                && let Some(own) = &mut self.clocks[key].generated
                && (own.parent, own.edge) == (generated.parent, generated.edge)
            {
                own.master = Some(master);
                found = true;
            }
        }
        let mut nets: Vec<TimingNet> = leading(graph, &self.clock_pins).into_iter().collect();
        nets.sort_unstable();
        for net in nets {
            if self.begins.contains_key(&net) {
                continue;
            }
            if let Some(generated) = self.repeats(graph, net) {
                let path = output_path(graph, generated.chip, generated.output);
                let parent = &self.clocks[generated.parent];
                let clock = Clock {
                    timing_net: net,
                    origin: format!("{path}, clocked by {}", graph.net_name(parent.timing_net)),
                    period: Time::ZERO,
                    high: Time::ZERO,
                    low: Time::ZERO,
                    root: parent.root,
                    generated: Some(generated),
                };
                found |= self.begin(graph, clock);
            }
        }
        found
    }

    /// How the output on a net is made, when it repeats a clock.
    fn repeats(&self, graph: &Graph<'_>, net: TimingNet) -> Option<GeneratedClock> {
        let (chip, output, state, inverted) = stored_bit(graph, net)?;
        let sampled = self.sampled(graph, chip, state).map(|(parent, edge, master)| GeneratedClock {
            parent,
            edge,
            chip,
            output,
            steps: None,
            master: Some(MasterClock { inverted: master.inverted ^ inverted, ..master }),
        });
        sampled.or_else(|| {
            let master = self.twin(graph, net, (chip, state, inverted))?;
            let generated = self.clocks[master.clock].generated.as_ref()?;
            Some(GeneratedClock { output, steps: None, master: Some(master), ..generated.clone() })
        })
    }

    /// The clock that a stored bit takes as data, when an edge of what all began with takes it.
    fn sampled(&self, graph: &Graph<'_>, chip: ChipKey, state: usize) -> Option<(ClockKey, Transition, MasterClock)> {
        let (rule, parent, edge) = self.clocked_by(graph, chip, state)?;
        let structure = graph.constants.structure(chip);
        let data = structure.clocked[rule].stores.iter().find(|stored| stored.state == state)?.data;
        if data.states.all() != 0 || data.memory {
            return None;
        }
        let (input, turned) = only(data.inputs)?;
        let (clock, turned_before) = self.copied(graph, graph.input_net(chip, input)?)?;
        let from_root = self.clocks[parent].generated.is_none() && self.exact(graph, clock, parent);
        let itself =
            stored_bit(graph, self.clocks[clock].timing_net).is_some_and(|row| (row.0, row.2) == (chip, state));
        let master = MasterClock { clock, inverted: turned ^ turned_before, sampled: true };
        (from_root && !itself).then_some((parent, edge, master))
    }

    /// The clock that another output of the same flip-flop makes.
    fn twin(
        &self,
        graph: &Graph<'_>,
        net: TimingNet,
        (chip, state, inverted): (ChipKey, usize, bool),
    ) -> Option<MasterClock> {
        self.clocks.iter().find_map(|(key, clock)| {
            let (other, _, same, turned) = stored_bit(graph, clock.timing_net)?;
            let generated = clock.generated.is_some() && clock.timing_net != net;
            let twin = generated && (other, same) == (chip, state);
            twin.then_some(MasterClock { clock: key, inverted: inverted ^ turned, sampled: false })
        })
    }

    /// True when every edge of a clock is made by one of another one, and by nothing else.
    fn exact(&self, graph: &Graph<'_>, clock: ClockKey, other: ClockKey) -> bool {
        let mut at = clock;
        while at != other {
            let Some(generated) = &self.clocks[at].generated else {
                return false;
            };
            let by = stored_bit(graph, self.clocks[at].timing_net)
                .and_then(|(chip, _, state, _)| self.clocked_by(graph, chip, state));
            if by.is_none_or(|(_, parent, edge)| (parent, edge) != (generated.parent, generated.edge)) {
                return false;
            }
            at = generated.parent;
        }
        clock != other
    }

    /// The only rule that stores a bit while nothing clears it, with the edge of a clock that it acts at.
    fn clocked_by(&self, graph: &Graph<'_>, chip: ChipKey, state: usize) -> Option<(usize, ClockKey, Transition)> {
        let structure = graph.constants.structure(chip);
        let stores = |rule: &Clocked| rule.stores.iter().any(|stored| stored.state == state);
        let mut rules = structure.clocked.iter().enumerate().filter(|(_, rule)| stores(rule));
        let (Some((at, rule)), None) = (rules.next(), rules.next()) else {
            return None;
        };
        let Signal::Input(trigger) = rule.trigger else {
            return None;
        };
        let clears = structure.gated.iter().filter(|rule| rule.stores.iter().any(|stored| stored.state == state));
        for clear in clears {
            let mut inputs = bits(clear.condition.inputs.all()).filter_map(|input| graph.input_net(chip, input));
            if clear.condition.states.all() != 0 || clear.condition.memory || !inputs.all(|net| rests(graph, net)) {
                return None;
            }
        }
        let (clock, turned) = self.trace(graph, graph.input_net(chip, trigger)?)?;
        let rises = (rule.edge == Edge::Rise) ^ turned;
        Some((at, clock, if rises { Transition::Rise } else { Transition::Fall }))
    }

    /// The clock that a net always follows, through gates with one input that moves; and whether it is inverted.
    pub(super) fn trace(&self, graph: &Graph<'_>, net: TimingNet) -> Option<(ClockKey, bool)> {
        let (mut net, mut inverted) = (net, false);
        for _ in 0..MOST_STEPS {
            if let Some(&clock) = self.begins.get(&net) {
                return Some((clock, inverted));
            }
            let (chip, output) = driver(graph, net)?;
            let structure = graph.constants.structure(chip);
            let value = structure.values[usize::from(output)];
            if value.states.all() != 0 || value.memory || !structure.offs[usize::from(output)].is_none() {
                return None;
            }
            let (input, turned) = only(value.inputs)?;
            inverted ^= turned;
            net = graph.input_net(chip, input)?;
        }
        None
    }

    /// As [`Clocks::trace`], but also from an output of which only the other one is a clock.
    fn copied(&self, graph: &Graph<'_>, net: TimingNet) -> Option<(ClockKey, bool)> {
        self.trace(graph, net).or_else(|| {
            let (chip, _, state, inverted) = stored_bit(graph, net)?;
            let master = self.twin(graph, net, (chip, state, inverted))?;
            Some((master.clock, master.inverted))
        })
    }

    /// Where a clock stands beside the one that it repeats in the end: itself, when it repeats none.
    fn phase(&self, clock: ClockKey) -> Phase {
        let mut phase = Phase { base: clock, shift: Time::ZERO, inverted: false };
        for _ in 0..MOST_STEPS {
            let Some(generated) = &self.clocks[phase.base].generated else {
                break;
            };
            let Some(master) = generated.master else { break };
            if master.sampled {
                let root = &self.clocks[generated.parent];
                let taken = self.ancestors((master.clock, Transition::Rise));
                let taken = taken.iter().find(|clock_edge| clock_edge.0 == generated.parent);
                phase.shift =
                    phase.shift.saturating_add(match (taken.map(|clock_edge| clock_edge.1), generated.edge) {
                        (Some(Transition::Rise), Transition::Fall) => root.high,
                        (Some(Transition::Fall), Transition::Rise) => root.low,
                        _ => root.period,
                    });
            }
            phase.inverted ^= master.inverted;
            phase.base = master.clock;
        }
        phase
    }

    /// The times of the clock that another one repeats: from rise to rise, high, low.
    pub(super) fn repeated(&self, master: MasterClock) -> (Time, Time, Time) {
        let phase = self.phase(master.clock);
        let base = &self.clocks[phase.base];
        match phase.inverted ^ master.inverted {
            false => (base.period, base.high, base.low),
            true => (base.period, base.low, base.high),
        }
    }

    /// How two clocks stand beside each other that repeat the same one, or each other; `None` when they do not, or when
    /// their edges can meet.
    fn relative_phases(&self, one: ClockKey, other: ClockKey) -> Option<(Phase, Phase)> {
        let (a, b) = (self.phase(one), self.phase(other));
        let base = &self.clocks[a.base];
        let near = (b.shift - a.shift).abs() < base.high.min(base.low);
        (one != other && a.base == b.base && near).then_some((a, b))
    }

    /// The distances of [`Clocks::edge_separation`] between clocks that repeat the same one.
    pub(super) fn repeated_separation(&self, from: ClockEdge, to: ClockEdge) -> Option<(Time, Time)> {
        let (a, b) = self.relative_phases(from.0, to.0)?;
        let base = &self.clocks[a.base];
        let later = b.shift - a.shift;
        let (rises, other_rises) = ((from.1 == Transition::Rise) ^ a.inverted, (to.1 == Transition::Rise) ^ b.inverted);
        Some(match (rises, other_rises) {
            (true, true) | (false, false) if later > Time::ZERO => (later, later - base.period),
            (true, true) | (false, false) => (base.period + later, later),
            (true, false) => (base.high + later, later - base.low),
            (false, true) => (base.low + later, later - base.high),
        })
    }

    /// True for two edges of which one can begin a pulse that the other ends.
    pub(crate) fn make_pulse(&self, begin: ClockEdge, end: ClockEdge) -> bool {
        match begin.0 == end.0 {
            true => begin.1 != end.1,
            false => self.takes_turns(begin.0, end.0),
        }
    }

    /// True for two clocks of which each has a known level whenever the other one moves.
    pub(crate) fn takes_turns(&self, one: ClockKey, other: ClockKey) -> bool {
        let rests = |edge| self.level_at((one, edge), other).is_some() && self.level_at((other, edge), one).is_some();
        one != other && [Transition::Rise, Transition::Fall].into_iter().all(rests)
    }

    /// The level of a clock while another one moves; `None` when it can be either, or moves as well.
    fn level_at(&self, edge: ClockEdge, other: ClockKey) -> Option<bool> {
        if let Some((a, b)) = self.relative_phases(edge.0, other) {
            let risen = (edge.1 == Transition::Rise) ^ a.inverted;
            return match (b.shift - a.shift).ps().signum() {
                0 => None,
                // The other one has yet to follow, or has gone before.
                1 => Some(!risen ^ b.inverted),
                _ => Some(risen ^ b.inverted),
            };
        }
        let (a, b) = (self.clocks[edge.0].generated.as_ref()?, self.clocks[other].generated.as_ref()?);
        if (a.chip, a.parent, a.edge) != (b.chip, b.parent, b.edge) {
            return None;
        }
        a.steps.as_ref()?.level_of(edge.1 == Transition::Rise, b.steps.as_ref()?)
    }

    /// True for a clock that is made from another one, at once or in several steps.
    pub(super) fn comes_from(&self, clock: ClockKey, other: ClockKey) -> bool {
        clock != other && self.ancestors((clock, Transition::Rise)).iter().any(|clock_edge| clock_edge.0 == other)
    }

    /// The inputs of a chip while an edge comes to one of them: those of the others known that follow a clock of which
    /// it is known what it is then. `None` when that tells nothing.
    pub(super) fn inputs_at(
        &self,
        graph: &Graph<'_>,
        chip: ChipKey,
        inputs: u64,
        input: usize,
        edge: ClockEdge,
    ) -> Option<Word> {
        let word = graph.constants.inputs(chip);
        let others = bits(inputs & !(1 << input)).filter_map(|other| {
            let (clock, inverted) = self.trace(graph, graph.input_net(chip, other)?)?;
            if !self.takes_turns(edge.0, clock) {
                return None;
            }
            Some((other, self.level_at(edge, clock)? ^ inverted))
        });
        let known = others.fold(word, |word, (other, level)| fixed(word, other, level));
        (known != word).then_some(known)
    }

    /// Whether a gate lets an edge of a clock through along an arc.
    pub(super) fn lets_through(&self, graph: &Graph<'_>, arc: &Arc, edge: ClockEdge) -> bool {
        let structure = graph.constants.structure(arc.chip);
        let (input, output) = (usize::from(arc.input), usize::from(arc.output));
        let inputs = structure.values[output].join(structure.offs[output]).inputs.all();
        let Some(word) = self.inputs_at(graph, arc.chip, inputs, input, edge) else {
            return true;
        };
        let under = structure.with(&graph.circuit.chips[arc.chip].part.function, word);
        if under.offs[output].inputs.all() >> input & 1 == 1 {
            return true;
        }
        let (up, down) = under.values[output].moved(input, arc.from.what() == Transition::Rise);
        match arc.to.what() {
            Transition::Rise => up,
            Transition::Fall => down,
            Transition::ToUnknown => up || down,
        }
    }
}

/// The only bit of some, and whether a rise of it makes a fall.
fn only(ways: Unateness) -> Option<(usize, bool)> {
    let all = ways.all();
    let one = all.count_ones() == 1 && ways.positive & ways.negative == 0;
    one.then(|| (all.trailing_zeros() as usize, ways.negative != 0))
}

/// The output that alone drives a net which no hand moves.
fn driver(graph: &Graph<'_>, net: TimingNet) -> Option<(ChipKey, u8)> {
    let place = &graph.timing_nets[net];
    match place.drivers.as_slice() {
        &[(chip, output, _)] if !place.by_hand => Some((chip, output)),
        _ => None,
    }
}

/// The output and the stored bit that a net always shows, and whether it shows it inverted.
fn stored_bit(graph: &Graph<'_>, net: TimingNet) -> Option<(ChipKey, u8, usize, bool)> {
    let (chip, output) = driver(graph, net)?;
    let structure = graph.constants.structure(chip);
    let value = structure.values[usize::from(output)];
    if value.inputs.all() != 0 || value.memory || !structure.offs[usize::from(output)].is_none() {
        return None;
    }
    let (state, inverted) = only(value.states)?;
    Some((chip, output, state, inverted))
}

/// True for a net that no storage moves: a reset of the whole machine, by hand or from outside.
fn rests(graph: &Graph<'_>, net: TimingNet) -> bool {
    let mut seen = FxHashSet::default();
    let mut open = vec![net];
    while let Some(net) = open.pop() {
        if !seen.insert(net) {
            continue;
        }
        for arc in graph.entering_net(net) {
            if arc.kind != ArcKind::Logic {
                return false;
            }
            open.push(arc.from.timing_net());
        }
    }
    true
}

/// The nets from which logic leads to where clocks go in.
pub(super) fn leading(graph: &Graph<'_>, clock_pins: &[ClockPin]) -> FxHashSet<TimingNet> {
    let mut seen = FxHashSet::default();
    let mut open: Vec<TimingNet> = Vec::new();
    for clock_pin in clock_pins {
        open.extend(bits(clock_pin.inputs).filter_map(|input| graph.input_net(clock_pin.chip, input)));
    }
    while let Some(net) = open.pop() {
        if !seen.insert(net) {
            continue;
        }
        let logic = graph.entering_net(net);
        let logic = logic.filter(|arc| arc.kind == ArcKind::Logic);
        open.extend(logic.map(|arc| arc.from.timing_net()));
    }
    seen
}
