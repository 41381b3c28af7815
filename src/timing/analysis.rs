//! The whole analysis: waves from every edge of every clock, and what they do to what must hold.

use super::arrival::{Arrivals, Start};
use super::checks::{Check, Checks, Kind, Scene};
use super::clock_latency::ClockLatencies;
use super::clocks::{ClockEdge, ClockKey, Clocks};
use super::delays::Delays;
pub use super::finding::{About, Finding, Slacks};
use super::graph::{Graph, TimingNet, Transition};
use super::latches::{Borrowed, Latches};
use super::order::Order;
use super::parts::Parts;
use super::paths::{Excluded, Path, Search, Starts, any_sensitisation};
use super::sources::Source;
use crate::circuit::{ChipKey, Circuit};
use crate::part::PinIndex;
use crate::quantity::Time;
use rustc_hash::FxHashMap;
use std::collections::BTreeMap;

/// A circuit, ready to be analysed at any rate of its clocks.
#[derive(Debug)]
pub struct Analysis<'c> {
    pub graph: Graph<'c>,
    pub clocks: Clocks,
    /// The order of the graph.
    pub order: Order,
    /// When the clocks are where.
    pub latencies: ClockLatencies,
    /// What must hold.
    pub checks: Checks,
    latches: Latches,
    /// Checks by the net of their data.
    by_net: FxHashMap<TimingNet, Vec<u32>>,
    /// True when a path may be false, so that each must be looked at.
    has_false_paths: bool,
}

/// Latches that borrow from one another more often than this never come to an end.
const MOST_PASSES: usize = 200;

impl<'c> Analysis<'c> {
    pub fn new(circuit: &'c Circuit, parts: Parts, sources: &[Source]) -> Analysis<'c> {
        let graph = Graph::new(circuit, Delays::new(circuit, parts));
        let clocks = Clocks::find(&graph, sources);
        let order = Order::new(&graph, &clocks);
        let latencies = ClockLatencies::new(&graph, &order, &clocks);
        let scene = Scene { graph: &graph, clocks: &clocks, latencies: &latencies };
        let mut checks = Checks::default();
        checks.requirements(&scene);
        checks.gates(&scene);
        let latches = Latches::new(&graph, &clocks);
        let mut by_net: FxHashMap<TimingNet, Vec<u32>> = FxHashMap::default();
        for (row, check) in checks.checks.iter().enumerate() {
            if let Some(point) = check.data.first() {
                by_net.entry(point.timing_net()).or_default().push(row as u32);
            }
        }
        let has_false_paths = any_sensitisation(&graph.arcs) || !circuit.false_paths.is_empty();
        Analysis { graph, clocks, order, latencies, checks, latches, by_net, has_false_paths }
    }

    /// Every edge that sends something.
    pub fn clock_edges(&self) -> Vec<ClockEdge> {
        let clocks = self.clocks.clocks.keys();
        clocks.flat_map(|clock| [(clock, Transition::Rise), (clock, Transition::Fall)]).collect()
    }

    /// Where the wave of an edge begins.
    pub fn starts(&self, clock_edge: ClockEdge, borrowed: &Borrowed) -> Starts {
        let mut starts = Vec::new();
        for (at, &row) in self.latencies.of(clock_edge).iter().enumerate() {
            let latency = self.latencies.row(row);
            if at == 0 {
                starts.push(Start {
                    point: latency.point,
                    early: latency.early,
                    late: Some(latency.late),
                    arc: None,
                    clock: Some(row),
                });
            }
            for &key in self.graph.leaving(latency.point) {
                let arc = &self.graph.arcs[key];
                if self.latches.begins(&self.clocks, arc) {
                    starts.push(Start {
                        point: arc.to,
                        early: latency.early + Time::from_ps_u32(arc.early),
                        late: arc.late.map(|late| latency.late + Time::from_ps_u32(late)),
                        arc: Some(key),
                        clock: Some(row),
                    });
                }
            }
        }
        self.latches.starts(&self.graph, &self.latencies, clock_edge, borrowed, &mut starts);
        Starts::new(starts)
    }

    /// What latches borrow at the present rates; and whether that came to an end.
    pub fn borrow(&self, arrivals: &mut Arrivals) -> (Borrowed, bool) {
        let mut borrowed = Borrowed::default();
        if self.latches.is_empty() {
            return (borrowed, true);
        }
        for _ in 0..MOST_PASSES {
            let mut next = Borrowed::default();
            for clock_edge in self.clock_edges() {
                let starts = self.starts(clock_edge, &borrowed);
                arrivals.spread(&self.graph, &self.order, starts.all());
                self.latches.borrow(&self.graph, &self.clocks, &self.latencies, arrivals, clock_edge, &mut next);
            }
            if next == borrowed {
                return (borrowed, true);
            }
            borrowed = next;
        }
        (borrowed, false)
    }

    /// Judges everything at the present rates of the clocks.
    pub fn slacks(&self) -> Slacks {
        let mut arrivals = Arrivals::new(&self.graph, &self.order);
        let (borrowed, settled) = self.borrow(&mut arrivals);
        let mut slacks = Slacks { unsettled: !settled, ..Slacks::default() };
        let mut worst: Vec<Option<Finding>> = vec![None; self.checks.checks.len()];
        for clock_edge in self.clock_edges() {
            let starts = self.starts(clock_edge, &borrowed);
            if starts.all().is_empty() {
                continue;
            }
            arrivals.spread(&self.graph, &self.order, starts.all());
            self.slacks_of_edge(clock_edge, &starts, &arrivals, &mut worst, &mut slacks);
        }
        slacks.findings = worst.into_iter().flatten().collect();
        self.slacks_of_separations(&mut slacks);
        slacks.tangled = arrivals.tangled;
        slacks
    }

    fn slacks_of_edge(
        &self,
        clock_edge: ClockEdge,
        starts: &Starts,
        arrivals: &Arrivals,
        worst: &mut [Option<Finding>],
        slacks: &mut Slacks,
    ) {
        let clocks = starts.all().iter().filter_map(|start| start.clock);
        let common = clocks.map(Some).reduce(|a, b| self.latencies.common(a?, b?)).flatten();
        let several = starts.all().windows(2).any(|pair| pair[0].clock != pair[1].clock);
        let mut nets: Vec<TimingNet> = arrivals.reached().iter().map(|point| point.timing_net()).collect();
        nets.sort_unstable();
        nets.dedup();
        let rows = nets.iter().filter_map(|net| self.by_net.get(net)).flatten();
        for &row in rows {
            let check = &self.checks.checks[row as usize];
            let times = check.data.iter();
            let arrival = if check.before {
                times.filter_map(|&point| arrivals.late(point)).max()
            } else {
                times.filter_map(|&point| arrivals.early(point)).min()
            };
            let Some(arrival) = arrival else { continue };
            for &latency in &check.latencies {
                let to = self.latencies.row(latency);
                let Some((next, last)) = self.clocks.edge_separation(clock_edge, to.clock_edge) else {
                    let pair = (self.clocks.clocks[clock_edge.0].root, self.clocks.clocks[to.clock_edge.0].root);
                    *slacks.separation.entry(pair).or_default() += 1;
                    continue;
                };
                let common_path_credit =
                    common.map_or(Time::ZERO, |common| self.latencies.common_path_credit(common, latency));
                let available = match check.before {
                    true => next,
                    false => self.last_end(check, clock_edge, to.clock_edge).unwrap_or(last),
                };
                let finding = |arrival: Time, common_path_credit: Time| {
                    let (required, slack) = if check.before {
                        let required = arrival + check.least - to.early - common_path_credit;
                        (required, available - required)
                    } else {
                        let required = to.late + check.least - arrival - common_path_credit;
                        (required, -available - required)
                    };
                    Finding {
                        about: About::Check(row),
                        from: clock_edge,
                        latency,
                        slack,
                        required,
                        available,
                        arrival,
                        common_path_credit,
                    }
                };
                let mut found = finding(arrival, common_path_credit);
                let root = self.clocks.clocks[clock_edge.0].root;
                let limit = slacks.limits.get(&root);
                let limits = check.before && limit.is_none_or(|limit| is_slower(&found, limit));
                let so_far = worst[row as usize];
                if !limits && so_far.is_some_and(|worst| worst.slack <= found.slack) {
                    continue;
                }
                if self.has_false_paths || several && to.late > to.early {
                    let search = self.search(starts, arrivals);
                    let excluded = &mut slacks.excluded;
                    match search.worst(&check.data, check.before, self.pin(check), Some(latency), excluded) {
                        Some(path) => found = finding(path.at, path.common_path_credit),
                        None => continue,
                    }
                }
                if worst[row as usize].is_none_or(|worst| found.slack < worst.slack) {
                    worst[row as usize] = Some(found);
                }
                note_limit(&mut slacks.limits, root, found, check.before);
            }
        }
    }

    /// For data that must not move from one edge to another: how long after an edge the last such stretch ends before
    /// the next one begins. `None` for data that only must stay behind one edge.
    fn last_end(&self, check: &Check, from: ClockEdge, end: ClockEdge) -> Option<Time> {
        let begins = check.begins.iter().map(|&row| self.latencies.row(row).clock_edge);
        let ends = begins.filter(|&begin| self.clocks.make_pulse(begin, end)).filter_map(|begin| {
            let (next, _) = self.clocks.edge_separation(from, begin)?;
            let (rest, _) = self.clocks.edge_separation(end, begin)?;
            // A faster clock sends at several of its edges before a stretch begins: the first of them may lie in
            // the stretch before.
            let every = self.clocks.clocks[from.0].period.max(Time::PICOSECOND);
            let more = (self.clocks.clocks[begin.0].period - next).max(Time::ZERO).ps() / every.ps();
            Some(next.saturating_add(every * more).saturating_sub(rest))
        });
        ends.max()
    }

    fn slacks_of_separations(&self, slacks: &mut Slacks) {
        for (row, separation) in self.checks.separations.iter().enumerate() {
            let (first, second) =
                (self.latencies.row(separation.latencies.0), self.latencies.row(separation.latencies.1));
            let Some((available, _)) = self.clocks.edge_separation(first.clock_edge, second.clock_edge) else {
                continue;
            };
            let common_path_credit = self.latencies.common_path_credit(separation.latencies.0, separation.latencies.1);
            let same = separation.latencies.0 == separation.latencies.1;
            // Two edges that go the same way come equally late.
            let spread = if same { Time::ZERO } else { first.late - second.early - common_path_credit };
            let required = separation.least + spread;
            let found = Finding {
                about: About::Separation(row as u32),
                from: first.clock_edge,
                latency: separation.latencies.1,
                slack: available - required,
                required,
                available,
                arrival: first.late,
                common_path_credit: if same { Time::ZERO } else { common_path_credit },
            };
            slacks.findings.push(found);
            let root = self.clocks.clocks[first.clock_edge.0].root;
            note_limit(&mut slacks.limits, root, found, true);
        }
    }

    /// A wave to be searched.
    pub fn search<'s>(&'s self, starts: &'s Starts, arrivals: &'s Arrivals) -> Search<'s, 'c> {
        Search { graph: &self.graph, order: &self.order, latencies: &self.latencies, arrivals, starts }
    }

    /// The pin of a check's data.
    pub fn pin(&self, check: &Check) -> (ChipKey, PinIndex) {
        let function = &self.graph.circuit.chips[check.chip].part.function;
        (check.chip, function.inputs[usize::from(check.input)])
    }

    /// The worst paths of some findings, in their order; none for pulses and rates.
    pub fn paths(&self, findings: &[Finding]) -> Vec<Option<Path>> {
        let mut arrivals = Arrivals::new(&self.graph, &self.order);
        let (borrowed, _) = self.borrow(&mut arrivals);
        let mut paths: Vec<Option<Path>> = vec![None; findings.len()];
        let mut by_tag: BTreeMap<ClockEdge, Vec<usize>> = BTreeMap::new();
        for (at, finding) in findings.iter().enumerate() {
            by_tag.entry(finding.from).or_default().push(at);
        }
        for (clock_edge, rows) in by_tag {
            let starts = self.starts(clock_edge, &borrowed);
            arrivals.spread(&self.graph, &self.order, starts.all());
            let search = self.search(&starts, &arrivals);
            for at in rows {
                if let About::Check(row) = findings[at].about {
                    let check = &self.checks.checks[row as usize];
                    let latency = Some(findings[at].latency);
                    let mut excluded = Excluded::default();
                    paths[at] = search.worst(&check.data, check.before, self.pin(check), latency, &mut excluded);
                }
            }
        }
        paths
    }

    /// The kind of a finding.
    pub fn kind(&self, finding: &Finding) -> Kind {
        match finding.about {
            About::Check(row) => self.checks.checks[row as usize].kind,
            About::Separation(row) => self.checks.separations[row as usize].kind,
        }
    }

    /// The highest rate of a clock: its shortest period in picoseconds at which everything holds that a slower clock
    /// helps, and what limits it. `None` when nothing does.
    pub fn shortest_period(&mut self, root: ClockKey, slacks: &Slacks) -> Option<(Time, Finding)> {
        let limit = *slacks.limits.get(&root)?;
        let now = self.clocks.clocks[root].period;
        let before = self.clocks.clocks.clone();
        let feedthroughs = scaled(now, &limit);
        if self.latches.is_empty() {
            return Some((feedthroughs, limit));
        }
        // What latches borrow depends on the period: the shortest good one is enclosed from both sides.
        let holds = |analysis: &mut Analysis<'c>, period: Time| {
            analysis.clocks.set_period(root, period);
            let limit = analysis.slacks().limits.get(&root).copied();
            limit.filter(|limit| limit.slack < Time::ZERO).map_or(Ok(limit), Err)
        };
        let (mut bad, mut good) = (Time::ZERO, feedthroughs.max(Time::from_ps(2)));
        let mut limiting = limit;
        for _ in 0..40 {
            match holds(self, good) {
                Ok(found) => {
                    limiting = found.unwrap_or(limiting);
                    break;
                }
                Err(_) => {
                    bad = good;
                    good = good * 2;
                }
            }
        }
        while good - bad > Time::PICOSECOND {
            let middle = bad + Time::from_ps((good - bad).ps() / 2);
            match holds(self, middle) {
                Ok(found) => {
                    good = middle;
                    limiting = found.unwrap_or(limiting);
                }
                Err(_) => bad = middle,
            }
        }
        self.clocks.clocks = before;
        Some((good, limiting))
    }

    /// Moves of the data of checks that no clock sends: what the outside must keep to.
    pub(crate) fn checks_at(&self, net: TimingNet) -> impl Iterator<Item = &Check> {
        let rows = self.by_net.get(&net).into_iter().flatten();
        rows.map(|&row| &self.checks.checks[row as usize])
    }
}

/// The period at which what is there is just what is needed, rounded up.
fn scaled(period: Time, limit: &Finding) -> Time {
    let required = i128::from(limit.required.max(Time::ZERO).ps());
    let available = i128::from(limit.available.max(Time::PICOSECOND).ps());
    let period = (i128::from(period.ps()) * required + available - 1) / available;
    Time::from_ps(i64::try_from(period).unwrap_or(i64::MAX).max(1))
}

/// True when one finding asks for a longer period than another.
fn is_slower(one: &Finding, other: &Finding) -> bool {
    let scale =
        |a: &Finding, b: &Finding| i128::from(a.required.ps()) * i128::from(b.available.max(Time::PICOSECOND).ps());
    scale(one, other) > scale(other, one)
}

fn note_limit(limits: &mut BTreeMap<ClockKey, Finding>, root: ClockKey, found: Finding, counts: bool) {
    if counts && limits.get(&root).is_none_or(|limit| is_slower(&found, limit)) {
        limits.insert(root, found);
    }
}
