//! What excludes what: a path through two outputs that are never on together is no path.
//!
//! An arc through a three-state output needs levels at the inputs that switch the output on. Followed back through
//! gates and decoders they become needs of levels at many nets. Two needs contradict each other when they ask for both
//! levels of one net, or for two outputs of one chip that this chip never gives together, such as two outputs of a
//! decoder.

use super::graph::Graph;
pub use super::node::Sensitisation;
use super::node::TimingNet;
use super::shape::{bits, fixed};
use crate::circuit::ChipKey;
use crate::hazard::exclusion::{Pair, can_be_together};
use rustc_hash::FxHashMap;
use std::cell::RefCell;

/// A level that a net must have.
type Condition = (TimingNet, bool);

/// How far back needs are followed.
const MOST_STEPS: usize = 4;
/// How many needs one arc may have.
const MOST_NEEDS: usize = 64;

/// All needs, and what is known of their contradictions.
#[derive(Debug)]
pub struct MutualExclusions {
    rows: Vec<Vec<Condition>>,
    known: FxHashMap<Vec<Condition>, Sensitisation>,
    behind: FxHashMap<Condition, Vec<Condition>>,
    together: RefCell<FxHashMap<(ChipKey, Pair), bool>>,
    contradictions: RefCell<FxHashMap<(Sensitisation, Sensitisation), bool>>,
}

impl Default for MutualExclusions {
    fn default() -> Self {
        MutualExclusions {
            rows: vec![Vec::new()],
            known: FxHashMap::default(),
            behind: FxHashMap::default(),
            together: RefCell::default(),
            contradictions: RefCell::default(),
        }
    }
}

impl MutualExclusions {
    /// The needs of an arc of a chip that needs levels at some inputs.
    pub(super) fn sensitisation(&mut self, graph: &Graph<'_>, chip: ChipKey, inputs: &[(u8, bool)]) -> Sensitisation {
        let mut open: Vec<(Condition, usize)> = inputs
            .iter()
            .filter_map(|&(input, level)| Some(((graph.input_net(chip, input.into())?, level), 0)))
            .collect();
        let mut sensitisation: Vec<Condition> = Vec::new();
        while let Some((condition, steps)) = open.pop() {
            if sensitisation.contains(&condition) || sensitisation.len() >= MOST_NEEDS {
                continue;
            }
            sensitisation.push(condition);
            if steps < MOST_STEPS {
                let behind = self.behind.entry(condition).or_insert_with(|| behind(graph, condition));
                open.extend(behind.iter().map(|&condition| (condition, steps + 1)));
            }
        }
        if sensitisation.is_empty() {
            return Sensitisation::default();
        }
        sensitisation.sort_unstable();
        if let Some(&known) = self.known.get(&sensitisation) {
            return known;
        }
        let row = Sensitisation(self.rows.len() as u32);
        self.rows.push(sensitisation.clone());
        self.known.insert(sensitisation, row);
        row
    }

    /// True when two arcs cannot both count.
    pub(crate) fn contradict(&self, graph: &Graph<'_>, one: Sensitisation, other: Sensitisation) -> bool {
        if one.is_none() || other.is_none() || one == other {
            return false;
        }
        let pair = (one.min(other), one.max(other));
        if let Some(&known) = self.contradictions.borrow().get(&pair) {
            return known;
        }
        let (a, b) = (&self.rows[one.0 as usize], &self.rows[other.0 as usize]);
        let found = a.iter().any(|&one| b.iter().any(|&other| self.clash(graph, one, other)));
        self.contradictions.borrow_mut().insert(pair, found);
        found
    }

    fn clash(&self, graph: &Graph<'_>, one: Condition, other: Condition) -> bool {
        if one.0 == other.0 {
            return one.1 != other.1;
        }
        let (Some((chip, a)), Some((second, b))) = (driver(graph, one.0), driver(graph, other.0)) else {
            return false;
        };
        if chip != second {
            return false;
        }
        let mut pair = [(a, one.1), (b, other.1)];
        pair.sort_unstable();
        let known = self.together.borrow().get(&(chip, pair)).copied();
        let together = known.unwrap_or_else(|| {
            let part = &graph.circuit.chips[chip].part;
            let together = can_be_together(part, graph.constants.inputs(chip), pair);
            self.together.borrow_mut().insert((chip, pair), together);
            together
        });
        !together
    }
}

/// The only output that drives a net, where nothing else can.
fn driver(graph: &Graph<'_>, timing_net: TimingNet) -> Option<(ChipKey, u8)> {
    let place = &graph.timing_nets[timing_net];
    match place.drivers.as_slice() {
        &[(chip, output, _)] if place.nets.len() == 1 && !place.by_hand => Some((chip, output)),
        _ => None,
    }
}

/// The levels at the inputs of the driving chip without which a net cannot have a level.
fn behind(graph: &Graph<'_>, (timing_net, level): Condition) -> Vec<Condition> {
    let Some((chip, output)) = driver(graph, timing_net) else {
        return Vec::new();
    };
    let part = &graph.circuit.chips[chip].part;
    let inputs = graph.constants.inputs(chip);
    let structure = graph.constants.structure(chip);
    let influence = structure.values[output as usize];
    if influence.states.all() != 0 || influence.memory {
        return Vec::new();
    }
    let mut sensitisation = Vec::new();
    for input in bits(influence.inputs.all()) {
        for tried in [false, true] {
            let under = structure.with(&part.function, fixed(inputs, input, tried));
            let known = under.value.unknown >> output & 1 == 0;
            if known
                && (under.value.value >> output & 1 == 1) != level
                && let Some(timing_net) = graph.input_net(chip, input)
            {
                sensitisation.push((timing_net, !tried));
            }
        }
    }
    sensitisation
}
