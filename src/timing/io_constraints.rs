//! What the outside sees: how long before a clock an input must be there, and how long behind it an output comes.

use super::analysis::Analysis;
use super::arrival::{Arrivals, Start};
use super::clocks::ClockEdge;
use super::graph::{Graph, Node, TimingNet, Transition};
use super::paths::{Excluded, Path, Starts};
use crate::key::{Key, KeyVec};
use crate::quantity::Time;
use std::collections::BTreeMap;

/// What an input must keep to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Input {
    pub timing_net: TimingNet,
    /// The edge of a clock, as it is where the clock begins.
    pub clock_edge: ClockEdge,
    /// So long before it the input must be there; negative when it may come later.
    pub before: Option<Time>,
    /// So long behind it the input must stay; negative when it may go earlier.
    pub after: Option<Time>,
}

/// When an output moves.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Output {
    /// The output.
    pub timing_net: TimingNet,
    /// The edge of a clock.
    pub clock_edge: ClockEdge,
    /// The earliest, after the edge.
    pub early: Time,
    /// The latest.
    pub late: Time,
}

/// A way straight through, from an input to an output.
#[derive(Clone, Debug)]
pub struct Feedthrough {
    pub input: TimingNet,
    pub output: TimingNet,
    /// The shortest time.
    pub early: Time,
    /// The longest time.
    pub late: Time,
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
    pub feedthroughs: Vec<Feedthrough>,
}

/// So many ways straight through are told.
const MOST_STRAIGHT: usize = 200;

/// True for nets that the outside drives: nothing on the boards does.
pub(crate) fn is_input(analysis: &Analysis<'_>, timing_net: TimingNet) -> bool {
    let graph = &analysis.graph;
    let place = &graph.timing_nets[timing_net];
    let idle = place.drivers.is_empty() && !place.by_hand;
    let bare = || place.nets.iter().all(|&net| graph.circuit.nets[net].discrete_pins.is_empty());
    idle && (place.is_port || bare()) && !analysis.clocks.begins.contains_key(&timing_net)
}

/// Works out all of it; `paths` is how many of the ways straight through are followed step by step.
pub(crate) fn io_constraints(analysis: &Analysis<'_>, paths: usize) -> IoConstraints {
    let graph = &analysis.graph;
    let mut found = IoConstraints::default();
    let mut arrivals = Arrivals::new(graph, &analysis.order);
    let leaves = leaving(graph);
    let (borrowed, _) = analysis.borrow(&mut arrivals);
    for clock_edge in analysis.clock_edges() {
        let starts = analysis.starts(clock_edge, &borrowed);
        arrivals.spread(graph, &analysis.order, starts.all());
        for timing_net in reached(&arrivals, &leaves) {
            if let Some((early, late)) = window(&arrivals, timing_net) {
                found.outputs.push(Output { timing_net, clock_edge, early, late });
            }
        }
    }
    found.outputs.sort_by_key(|row| (row.timing_net, row.clock_edge));
    let inputs = graph.timing_nets.keys().filter(|&timing_net| is_input(analysis, timing_net));
    for input in inputs {
        let starts = starts_at(input);
        arrivals.spread(graph, &analysis.order, starts.all());
        found.inputs.extend(input_constraints(analysis, &arrivals, input));
        for output in reached(&arrivals, &leaves) {
            if let Some((early, late)) = window(&arrivals, output)
                && output != input
            {
                found.feedthroughs.push(Feedthrough { input, output, early, late, path: None });
            }
        }
        if found.feedthroughs.len() > 4 * MOST_STRAIGHT {
            keep_longest(&mut found.feedthroughs);
        }
    }
    keep_longest(&mut found.feedthroughs);
    for row in found.feedthroughs.iter_mut().take(paths) {
        let starts = starts_at(row.input);
        arrivals.spread(graph, &analysis.order, starts.all());
        let ends = [Transition::Rise, Transition::Fall].map(|what| Node::of(row.output, what));
        let Some(&(chip, output, _)) = graph.timing_nets[row.output].drivers.first() else {
            continue;
        };
        let pin = graph.circuit.chips[chip].part.function.outputs[usize::from(output)];
        let search = analysis.search(&starts, &arrivals);
        row.path = search.worst(&ends, true, (chip, pin), None, &mut Excluded::default());
        if let Some(path) = &row.path {
            row.late = path.at;
        }
    }
    found.feedthroughs.sort_by_key(|row| (-row.late, row.input, row.output));
    found
}

fn keep_longest(rows: &mut Vec<Feedthrough>) {
    rows.sort_by_key(|row| (-row.late, row.input, row.output));
    rows.truncate(MOST_STRAIGHT);
}

fn starts_at(input: TimingNet) -> Starts {
    let start = |what| Start {
        point: Node::of(input, what),
        early: Time::ZERO,
        late: Some(Time::ZERO),
        arc: None,
        clock: None,
    };
    Starts::new([Transition::Rise, Transition::Fall].map(start).to_vec())
}

/// The nets that lead out: driven, and on a connector that no cable is plugged into; all that nobody listens to, when
/// there is no such connector.
fn leaving(graph: &Graph<'_>) -> KeyVec<TimingNet, bool> {
    let driven = |timing_net: TimingNet| !graph.timing_nets[timing_net].drivers.is_empty();
    let timing_nets = graph.timing_nets.keys();
    let out: KeyVec<TimingNet, bool> =
        timing_nets.map(|timing_net| driven(timing_net) && graph.timing_nets[timing_net].is_port).collect();
    if out.values().any(|out| *out) {
        return out;
    }
    let listens = |timing_net: TimingNet| {
        let points = [Transition::Rise, Transition::Fall].map(|what| Node::of(timing_net, what));
        points.iter().any(|&point| !graph.leaving(point).is_empty())
    };
    graph.timing_nets.keys().map(|timing_net| driven(timing_net) && !listens(timing_net)).collect()
}

/// The outputs that a wave has reached, in order.
fn reached(arrivals: &Arrivals, leaves: &KeyVec<TimingNet, bool>) -> Vec<TimingNet> {
    let timing_nets = arrivals.reached().iter().map(|point| point.timing_net());
    let mut timing_nets: Vec<TimingNet> = timing_nets.filter(|&timing_net| leaves[timing_net]).collect();
    timing_nets.sort_unstable();
    timing_nets.dedup();
    timing_nets
}

fn window(arrivals: &Arrivals, timing_net: TimingNet) -> Option<(Time, Time)> {
    let points = super::graph::TRANSITIONS.map(|what| Node::of(timing_net, what));
    let early = points.iter().filter_map(|&point| arrivals.early(point)).min()?;
    let late = points.iter().filter_map(|&point| arrivals.late(point)).max()?;
    Some((early, late))
}

/// What an input must keep to, for each clock that looks at what hangs on it.
fn input_constraints(analysis: &Analysis<'_>, arrivals: &Arrivals, input: TimingNet) -> Vec<Input> {
    let mut rows: BTreeMap<ClockEdge, (Option<Time>, Option<Time>)> = BTreeMap::new();
    let mut timing_nets: Vec<TimingNet> = arrivals.reached().iter().map(|point| point.timing_net()).collect();
    timing_nets.sort_unstable_by_key(|timing_net| timing_net.index());
    timing_nets.dedup();
    for check in timing_nets.iter().flat_map(|&timing_net| analysis.checks_at(timing_net)) {
        for &row in &check.latencies {
            let latency = analysis.latencies.row(row);
            let (before, after) = rows.entry(latency.clock_edge).or_default();
            if check.before {
                let late = check.data.iter().filter_map(|&point| arrivals.late(point)).max();
                let needed = late.map(|late| late + check.least - latency.early);
                *before = (*before).max(needed);
            } else {
                let early = check.data.iter().filter_map(|&point| arrivals.early(point)).min();
                let needed = early.map(|early| latency.late + check.least - early);
                *after = (*after).max(needed);
            }
        }
    }
    let row = |(clock_edge, (before, after))| Input { timing_net: input, clock_edge, before, after };
    rows.into_iter().map(row).collect()
}
