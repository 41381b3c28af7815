//! What the outside sees: how long before a clock an input must be there, and how long behind it an output comes.

use super::analysis::Analysis;
use super::arrival::{Arrivals, Start};
use super::clocks::ClockEdge;
use super::graph::{Graph, Node, TimingNet, Transition};
use super::paths::{Passed, Path, Starts};
use crate::key::{Key, KeyVec};
use std::collections::BTreeMap;

/// What an input must keep to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Input {
    /// The input.
    pub spot: TimingNet,
    /// The edge of a clock, as it is where the clock begins.
    pub tag: ClockEdge,
    /// So long before it the input must be there, in picoseconds; negative when it may come later.
    pub before: Option<i64>,
    /// So long behind it the input must stay; negative when it may go earlier.
    pub after: Option<i64>,
}

/// When an output moves.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Output {
    /// The output.
    pub spot: TimingNet,
    /// The edge of a clock.
    pub tag: ClockEdge,
    /// The earliest, in picoseconds after the edge.
    pub early: i64,
    /// The latest.
    pub late: i64,
}

/// A way straight through, from an input to an output.
#[derive(Clone, Debug)]
pub struct Straight {
    /// The input.
    pub input: TimingNet,
    /// The output.
    pub output: TimingNet,
    /// The shortest time.
    pub early: i64,
    /// The longest time.
    pub late: i64,
    /// The longest path, when it is one of the longest of all.
    pub path: Option<Path>,
}

/// What the outside sees.
#[derive(Clone, Debug, Default)]
pub struct IoConstraints {
    /// By input and clock.
    pub inputs: Vec<Input>,
    /// By output and clock.
    pub outputs: Vec<Output>,
    /// The longest way from each input to each output, the longest first.
    pub straight: Vec<Straight>,
}

/// So many ways straight through are told.
const MOST_STRAIGHT: usize = 200;

/// True for nets that the outside drives: nothing on the boards does.
pub(crate) fn is_input(analysis: &Analysis<'_>, spot: TimingNet) -> bool {
    let graph = &analysis.graph;
    let place = &graph.spots[spot];
    let idle = place.drivers.is_empty() && !place.by_hand;
    let bare = || place.nets.iter().all(|&net| graph.circuit.nets[net].discrete_pins.is_empty());
    idle && (place.outside || bare()) && !analysis.clocks.begins.contains_key(&spot)
}

/// Works out all of it; `paths` is how many of the ways straight through are followed step by step.
pub fn outside(analysis: &Analysis<'_>, paths: usize) -> IoConstraints {
    let graph = &analysis.graph;
    let mut found = IoConstraints::default();
    let mut arrivals = Arrivals::new(graph, &analysis.order);
    let leaves = leaving(graph);
    let (borrowed, _) = analysis.borrow(&mut arrivals);
    for tag in analysis.tags() {
        let starts = analysis.starts(tag, &borrowed);
        arrivals.spread(graph, &analysis.order, starts.all());
        for spot in reached(&arrivals, &leaves) {
            if let Some((early, late)) = window(&arrivals, spot) {
                found.outputs.push(Output { spot, tag, early, late });
            }
        }
    }
    found.outputs.sort_by_key(|row| (row.spot, row.tag));
    let inputs = graph.spots.keys().filter(|&spot| is_input(analysis, spot));
    for input in inputs {
        let starts = starts_at(input);
        arrivals.spread(graph, &analysis.order, starts.all());
        found.inputs.extend(demands(analysis, &arrivals, input));
        for output in reached(&arrivals, &leaves) {
            if let Some((early, late)) = window(&arrivals, output)
                && output != input
            {
                found.straight.push(Straight { input, output, early, late, path: None });
            }
        }
        if found.straight.len() > 4 * MOST_STRAIGHT {
            keep_longest(&mut found.straight);
        }
    }
    keep_longest(&mut found.straight);
    for row in found.straight.iter_mut().take(paths) {
        let starts = starts_at(row.input);
        arrivals.spread(graph, &analysis.order, starts.all());
        let ends = [Transition::Rise, Transition::Fall].map(|what| Node::of(row.output, what));
        let Some(&(chip, output, _)) = graph.spots[row.output].drivers.first() else {
            continue;
        };
        let pin = graph.circuit.chips[chip].part.function.outputs[usize::from(output)];
        let search = analysis.search(&starts, &arrivals);
        row.path = search.worst(&ends, true, (chip, pin), None, &mut Passed::default());
        if let Some(path) = &row.path {
            row.late = path.at;
        }
    }
    found.straight.sort_by_key(|row| (-row.late, row.input, row.output));
    found
}

fn keep_longest(rows: &mut Vec<Straight>) {
    rows.sort_by_key(|row| (-row.late, row.input, row.output));
    rows.truncate(MOST_STRAIGHT);
}

fn starts_at(input: TimingNet) -> Starts {
    let start = |what| Start { point: Node::of(input, what), early: 0, late: Some(0), arc: None, clock: None };
    Starts::new([Transition::Rise, Transition::Fall].map(start).to_vec())
}

/// The nets that lead out: driven, and on a connector that no cable is plugged into; all that nobody listens to, when
/// there is no such connector.
fn leaving(graph: &Graph<'_>) -> KeyVec<TimingNet, bool> {
    let driven = |spot: TimingNet| !graph.spots[spot].drivers.is_empty();
    let spots = graph.spots.keys();
    let out: KeyVec<TimingNet, bool> = spots.map(|spot| driven(spot) && graph.spots[spot].outside).collect();
    if out.values().any(|out| *out) {
        return out;
    }
    let listens = |spot: TimingNet| {
        let points = [Transition::Rise, Transition::Fall].map(|what| Node::of(spot, what));
        points.iter().any(|&point| !graph.leaving(point).is_empty())
    };
    graph.spots.keys().map(|spot| driven(spot) && !listens(spot)).collect()
}

/// The outputs that a wave has reached, in order.
fn reached(arrivals: &Arrivals, leaves: &KeyVec<TimingNet, bool>) -> Vec<TimingNet> {
    let spots = arrivals.reached().iter().map(|point| point.spot());
    let mut spots: Vec<TimingNet> = spots.filter(|&spot| leaves[spot]).collect();
    spots.sort_unstable();
    spots.dedup();
    spots
}

fn window(arrivals: &Arrivals, spot: TimingNet) -> Option<(i64, i64)> {
    let points = super::graph::TRANSITIONS.map(|what| Node::of(spot, what));
    let early = points.iter().filter_map(|&point| arrivals.early(point)).min()?;
    let late = points.iter().filter_map(|&point| arrivals.late(point)).max()?;
    Some((early, late))
}

/// What an input must keep to, for each clock that looks at what hangs on it.
fn demands(analysis: &Analysis<'_>, arrivals: &Arrivals, input: TimingNet) -> Vec<Input> {
    let mut rows: BTreeMap<ClockEdge, (Option<i64>, Option<i64>)> = BTreeMap::new();
    let mut spots: Vec<TimingNet> = arrivals.reached().iter().map(|point| point.spot()).collect();
    spots.sort_unstable_by_key(|spot| spot.index());
    spots.dedup();
    for check in spots.iter().flat_map(|&spot| analysis.checks_at(spot)) {
        for &row in &check.moments {
            let moment = analysis.moments.row(row);
            let (before, after) = rows.entry(moment.tag).or_default();
            if check.before {
                let late = check.data.iter().filter_map(|&point| arrivals.late(point)).max();
                let needed = late.map(|late| late + check.least - moment.early);
                *before = (*before).max(needed);
            } else {
                let early = check.data.iter().filter_map(|&point| arrivals.early(point)).min();
                let needed = early.map(|early| moment.late + check.least - early);
                *after = (*after).max(needed);
            }
        }
    }
    let row = |(tag, (before, after))| Input { spot: input, tag, before, after };
    rows.into_iter().map(row).collect()
}
