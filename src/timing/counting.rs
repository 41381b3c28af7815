//! Counters that count by themselves: at which edges of their clock each output moves.

use super::graph::{ArcKind, Graph, TimingNet};
use super::shape::bits;
use crate::circuit::ChipKey;
use crate::logic::Word;
use crate::part::function::structure::Clocked;
use crate::part::function::{ChipState, Function, SampledInputs, Scratch};
use crate::part::sheet::Signal;
use crate::part::{Edge, Part};
use rustc_hash::{FxHashMap, FxHashSet};
use std::rc::Rc;
use std::sync::Arc;

/// When an output moves, counted in edges of the clock; all comes again after `round` edges.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Steps {
    /// Edges until all comes again.
    pub round: i64,
    /// The edges at which it moves, in order: true when it rises there.
    pub moves: Vec<(i64, bool)>,
}

/// Counters that take longer than this to come round are not counted out.
const LONGEST_ROUND: usize = 1 << 16;

impl Steps {
    /// The fewest edges from rise to rise, from rise to fall, from fall to rise.
    pub fn gaps(&self) -> (i64, i64, i64) {
        let gap = |from, to| self.edge_separation(from, self, to).map_or(self.round, |(next, _)| next);
        (gap(true, true), gap(true, false), gap(false, true))
    }

    /// The level of another output of the same counter while this one rises, or falls; `None` when it is not always the
    /// same, or moves as well.
    pub fn level_of(&self, rise: bool, other: &Steps) -> Option<bool> {
        let mut levels = self.moves.iter().filter(|(_, up)| *up == rise).map(|&(at, _)| {
            let behind = other.moves.partition_point(|&(edge, _)| edge < at);
            let moves = other.moves.get(behind).is_some_and(|&(edge, _)| edge == at);
            let last = other.moves[..behind].last().or(other.moves.last());
            last.filter(|_| !moves).map(|&(_, up)| up)
        });
        let first = levels.next()??;
        levels.all(|level| level == Some(first)).then_some(first)
    }

    /// The fewest edges from a move of this output to the next one (later) of another output of the same counter, and
    /// from the last one (earlier, or at once) of the other to it.
    pub(crate) fn edge_separation(&self, rise: bool, other: &Steps, other_rises: bool) -> Option<(i64, i64)> {
        let those: Vec<i64> = (other.moves.iter().filter(|(_, up)| *up == other_rises)).map(|(at, _)| *at).collect();
        let (first, last) = (*those.first()?, *those.last()?);
        let mut nearest: Option<(i64, i64)> = None;
        for &(at, _) in self.moves.iter().filter(|(_, up)| *up == rise) {
            let behind = those.partition_point(|&edge| edge <= at);
            let next = those.get(behind).map_or(first + other.round, |&edge| edge) - at;
            let before = match behind {
                0 => at + other.round - last,
                _ => at - those[behind - 1],
            };
            let so_far = nearest.get_or_insert((next, before));
            *so_far = (so_far.0.min(next), so_far.1.min(before));
        }
        nearest
    }
}

/// A part, its inputs that never move, and a row of its clocked storage.
type Alike = (*const Part, Word, usize);

/// What has been counted out: chips that are alike count alike.
#[derive(Debug, Default)]
pub struct Counting {
    rounds: FxHashMap<Alike, Option<Rc<Vec<u64>>>>,
}

impl Counting {
    /// The steps of an output that only a clock moves; `None` when anything else has a say in it.
    pub fn of(&mut self, graph: &Graph<'_>, chip: ChipKey, output: u8) -> Option<Rc<Steps>> {
        let structure = graph.constants.structure(chip);
        let part = &graph.circuit.chips[chip].part;
        let shown = structure.values[usize::from(output)].join(structure.offs[usize::from(output)]);
        let states = shown.states.all();
        if states == 0 || shown.inputs.all() != 0 || shown.memory || !part.function.memories.is_empty() {
            return None;
        }
        let holds = |(_, rule): &(usize, &Clocked)| mask_of(rule) & states != 0;
        let mut rules = structure.clocked.iter().enumerate().filter(holds);
        let (Some((at, rule)), None) = (rules.next(), rules.next()) else {
            return None;
        };
        let own = mask_of(rule);
        let alone = rule.stores.iter().all(|stored| {
            let data = stored.data;
            data.inputs.all() == 0 && !data.memory && data.states.all() & !own == 0
        });
        let Signal::Input(trigger) = rule.trigger else {
            return None;
        };
        if !alone || states & !own != 0 {
            return None;
        }
        // Everything that sets or clears rests, and does not hang on what is counted.
        let constant = graph.constants.inputs(chip);
        let mut inputs = Word::known(constant.value);
        for gated in &structure.gated {
            if gated.stores.iter().all(|stored| own >> stored.state & 1 == 0) {
                continue;
            }
            if gated.condition.states.all() != 0 || gated.condition.memory {
                return None;
            }
            inputs.value |= gated.condition.inputs.negative;
            for input in bits(gated.condition.inputs.all()) {
                if let Some(net) = graph.input_net(chip, input)
                    && hangs_on(graph, net, chip)
                {
                    return None;
                }
            }
        }
        let alike = (Arc::as_ptr(part), constant, at);
        let round = self.rounds.entry(alike).or_insert_with(|| {
            let edge = rule.edge;
            round(&part.function, inputs, trigger, edge, own).map(Rc::new)
        });
        let levels = round.as_ref()?.iter().map(|word| word >> output & 1 == 1);
        Some(Rc::new(steps(&levels.collect::<Vec<bool>>())))
    }
}

fn mask_of(rule: &Clocked) -> u64 {
    rule.stores.iter().fold(0, |mask, stored| mask | 1 << stored.state)
}

/// The output words before each edge of one round, and once more that of its beginning; from zero on.
fn round(function: &Function, inputs: Word, trigger: usize, edge: Edge, own: u64) -> Option<Vec<u64>> {
    let high = Word::known(inputs.value | 1 << trigger);
    let low = Word::known(inputs.value & !(1 << trigger));
    let (before, after) = if edge == Edge::Rise { (low, high) } else { (high, low) };
    let mut scratch = Scratch::default();
    let mut stored = ChipState::default();
    let mut seen = SampledInputs { inputs: before, nodes: function.nodes(before, &stored, &mut scratch) };
    let mut known: FxHashSet<u64> = FxHashSet::default();
    let mut words = Vec::new();
    let mut first = None;
    while words.len() <= LONGEST_ROUND {
        if stored.state.unknown & own != 0 {
            return None;
        }
        words.push(function.drive(seen, &stored, &mut scratch).value.value);
        let state = stored.state.value & own;
        if first == Some(state) {
            return Some(words);
        }
        if first.is_none() && !known.insert(state) {
            // From here on it comes round; what was before is only the way there.
            first = Some(state);
            words = vec![*words.last()?];
        }
        seen = function.step(seen, after, &mut stored, &mut scratch);
        seen = function.step(seen, before, &mut stored, &mut scratch);
    }
    None
}

fn steps(levels: &[bool]) -> Steps {
    let pairs = levels.windows(2).enumerate().filter(|(_, pair)| pair[0] != pair[1]);
    Steps { round: levels.len() as i64 - 1, moves: pairs.map(|(at, pair)| (at as i64, pair[1])).collect() }
}

/// True when a net hangs on an output of a chip through logic.
fn hangs_on(graph: &Graph<'_>, net: TimingNet, chip: ChipKey) -> bool {
    let mut seen = FxHashSet::default();
    let mut open = vec![net];
    while let Some(net) = open.pop() {
        if !seen.insert(net) {
            continue;
        }
        if graph.timing_nets[net].drivers.iter().any(|driver| driver.0 == chip) {
            return true;
        }
        let logic = graph.entering_net(net);
        let logic = logic.filter(|arc| arc.kind == ArcKind::Logic);
        open.extend(logic.map(|arc| arc.from.timing_net()));
    }
    false
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Plain arithmetic: of a two-bit counter the low bit rises at the edges 0 and 2, the high bit at 1 and falls at 3.
    #[test]
    fn distances_are_counted_both_ways() {
        let low = Steps { round: 4, moves: vec![(0, true), (1, false), (2, true), (3, false)] };
        let high = Steps { round: 4, moves: vec![(1, true), (3, false)] };
        assert_eq!(low.gaps(), (2, 1, 1));
        assert_eq!(high.gaps(), (4, 2, 2));
        assert_eq!(high.edge_separation(true, &low, true), Some((1, 1)));
        assert_eq!(high.edge_separation(true, &low, false), Some((2, 0)));
        // The low bit falls as the high one moves.
        assert_eq!(high.level_of(true, &low), None);
        // Of a ring of two bits, 00 01 11 10, each moves while the other rests.
        let (first, second) = (
            Steps { round: 4, moves: vec![(0, true), (2, false)] },
            Steps { round: 4, moves: vec![(1, true), (3, false)] },
        );
        assert_eq!(first.level_of(true, &second), Some(false));
        assert_eq!(first.level_of(false, &second), Some(true));
        assert_eq!(second.level_of(true, &first), Some(true));
    }
}
