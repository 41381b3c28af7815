//! Whether the paths exist that the designer says are not used.

use super::analysis::Analysis;
use super::graph::{Graph, Node, TimingNet};
use crate::circuit::{ChipKey, TimingPath};
use crate::part::PinIndex;
use rustc_hash::FxHashSet;

/// For each statement, whether some path goes from its first end to its second.
pub(super) fn exist(analysis: &Analysis<'_>) -> Vec<bool> {
    let statements = analysis.graph.circuit.false_paths.iter();
    statements.map(|statement| exists(analysis, statement)).collect()
}

/// Forward from every arc that goes in or out by a pin of the first end. What a path is compared with at its end is an
/// input, so that an input of the second end is reached with its net.
fn exists(analysis: &Analysis<'_>, statement: &TimingPath) -> bool {
    let graph = &analysis.graph;
    let ends: FxHashSet<TimingNet> = statement.to.iter().filter_map(|&pin| listens(graph, pin)).collect();
    let mut open: Vec<Node> = Vec::new();
    for arc in graph.arcs.values() {
        let function = &graph.circuit.chips[arc.chip].part.function;
        let pins = [
            (arc.chip, function.inputs[usize::from(arc.input)]),
            (arc.chip, function.outputs[usize::from(arc.output)]),
        ];
        if pins.iter().any(|pin| statement.from.contains(pin)) {
            if statement.from.contains(&pins[0]) && statement.to.contains(&pins[1]) {
                return true;
            }
            open.push(arc.to);
        }
    }
    let mut seen: FxHashSet<Node> = FxHashSet::default();
    while let Some(point) = open.pop() {
        if !seen.insert(point) {
            continue;
        }
        if ends.contains(&point.timing_net()) {
            return true;
        }
        for &key in graph.leaving(point).iter().filter(|&&key| analysis.order.open[key]) {
            let arc = &graph.arcs[key];
            let output = graph.circuit.chips[arc.chip].part.function.outputs[usize::from(arc.output)];
            if statement.to.contains(&(arc.chip, output)) {
                return true;
            }
            open.push(arc.to);
        }
    }
    false
}

/// The net that an input pin listens to.
fn listens(graph: &Graph<'_>, (chip, pin): (ChipKey, PinIndex)) -> Option<TimingNet> {
    let row = &graph.circuit.chips[chip];
    row.part.pins[pin].is_input().then(|| row.nets[pin].and_then(|net| graph.timing_net_of[net])).flatten()
}
