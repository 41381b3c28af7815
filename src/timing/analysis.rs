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
use super::paths::{Passed, Path, Search, Starts, any_needs};
use super::sources::Source;
use crate::circuit::{ChipKey, Circuit};
use crate::part::PinIndex;
use rustc_hash::FxHashMap;
use std::collections::BTreeMap;

/// A circuit, ready to be analysed at any rate of its clocks.
#[derive(Debug)]
pub struct Analysis<'c> {
    /// The graph.
    pub graph: Graph<'c>,
    /// The clocks.
    pub clocks: Clocks,
    /// The order of the graph.
    pub order: Order,
    /// When the clocks are where.
    pub moments: ClockLatencies,
    /// What must hold.
    pub checks: Checks,
    latches: Latches,
    /// Checks by the net of their data.
    by_net: FxHashMap<TimingNet, Vec<u32>>,
    /// True when a path may be false, so that each must be looked at.
    doubtful: bool,
}

/// Latches that borrow from one another more often than this never come to an end.
const MOST_PASSES: usize = 200;

impl<'c> Analysis<'c> {
    /// Prepares a circuit.
    pub fn new(circuit: &'c Circuit, parts: Parts, sources: &[Source]) -> Analysis<'c> {
        let graph = Graph::new(circuit, Delays::new(circuit, parts));
        let clocks = Clocks::find(&graph, sources);
        let order = Order::new(&graph, &clocks);
        let moments = ClockLatencies::new(&graph, &order, &clocks);
        let scene = Scene { graph: &graph, clocks: &clocks, moments: &moments };
        let mut checks = Checks::default();
        checks.requirements(&scene);
        checks.gates(&scene);
        let latches = Latches::new(&graph, &clocks);
        let mut by_net: FxHashMap<TimingNet, Vec<u32>> = FxHashMap::default();
        for (row, check) in checks.checks.iter().enumerate() {
            if let Some(point) = check.data.first() {
                by_net.entry(point.spot()).or_default().push(row as u32);
            }
        }
        let doubtful = any_needs(&graph.arcs) || !circuit.unused_paths.is_empty();
        Analysis { graph, clocks, order, moments, checks, latches, by_net, doubtful }
    }

    /// Every edge that sends something.
    pub fn tags(&self) -> Vec<ClockEdge> {
        let clocks = self.clocks.clocks.keys();
        clocks.flat_map(|clock| [(clock, Transition::Rise), (clock, Transition::Fall)]).collect()
    }

    /// Where the wave of an edge begins.
    pub fn starts(&self, tag: ClockEdge, borrowed: &Borrowed) -> Starts {
        let mut starts = Vec::new();
        for (at, &row) in self.moments.of(tag).iter().enumerate() {
            let moment = self.moments.row(row);
            if at == 0 {
                starts.push(Start {
                    point: moment.point,
                    early: moment.early,
                    late: Some(moment.late),
                    arc: None,
                    clock: Some(row),
                });
            }
            for &key in self.graph.leaving(moment.point) {
                let arc = &self.graph.arcs[key];
                if self.latches.begins(&self.clocks, arc) {
                    starts.push(Start {
                        point: arc.to,
                        early: moment.early + i64::from(arc.early),
                        late: arc.late.map(|late| moment.late + i64::from(late)),
                        arc: Some(key),
                        clock: Some(row),
                    });
                }
            }
        }
        self.latches.starts(&self.graph, &self.moments, tag, borrowed, &mut starts);
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
            for tag in self.tags() {
                let starts = self.starts(tag, &borrowed);
                arrivals.spread(&self.graph, &self.order, starts.all());
                self.latches.borrow(&self.graph, &self.clocks, &self.moments, arrivals, tag, &mut next);
            }
            if next == borrowed {
                return (borrowed, true);
            }
            borrowed = next;
        }
        (borrowed, false)
    }

    /// Judges everything at the present rates of the clocks.
    pub fn judge(&self) -> Slacks {
        let mut arrivals = Arrivals::new(&self.graph, &self.order);
        let (borrowed, settled) = self.borrow(&mut arrivals);
        let mut judgement = Slacks { unsettled: !settled, ..Slacks::default() };
        let mut worst: Vec<Option<Finding>> = vec![None; self.checks.checks.len()];
        for tag in self.tags() {
            let starts = self.starts(tag, &borrowed);
            if starts.all().is_empty() {
                continue;
            }
            arrivals.spread(&self.graph, &self.order, starts.all());
            self.judge_wave(tag, &starts, &arrivals, &mut worst, &mut judgement);
        }
        judgement.findings = worst.into_iter().flatten().collect();
        self.judge_aparts(&mut judgement);
        judgement.tangled = arrivals.tangled;
        judgement
    }

    fn judge_wave(
        &self,
        tag: ClockEdge,
        starts: &Starts,
        arrivals: &Arrivals,
        worst: &mut [Option<Finding>],
        judgement: &mut Slacks,
    ) {
        let clocks = starts.all().iter().filter_map(|start| start.clock);
        let common = clocks.map(Some).reduce(|a, b| self.moments.common(a?, b?)).flatten();
        let several = starts.all().windows(2).any(|pair| pair[0].clock != pair[1].clock);
        let mut nets: Vec<TimingNet> = arrivals.reached().iter().map(|point| point.spot()).collect();
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
            for &moment in &check.moments {
                let to = self.moments.row(moment);
                let Some((next, last)) = self.clocks.distance(tag, to.tag) else {
                    let pair = (self.clocks.clocks[tag.0].root, self.clocks.clocks[to.tag.0].root);
                    *judgement.apart.entry(pair).or_default() += 1;
                    continue;
                };
                let credit = common.map_or(0, |common| self.moments.credit(common, moment));
                let distance = match check.before {
                    true => next,
                    false => self.last_end(check, tag, to.tag).unwrap_or(last),
                };
                let finding = |arrival: i64, credit: i64| {
                    let (need, slack) = if check.before {
                        let need = arrival + check.least - to.early - credit;
                        (need, distance.saturating_sub(need))
                    } else {
                        let need = to.late + check.least - arrival - credit;
                        (need, distance.saturating_neg().saturating_sub(need))
                    };
                    Finding { about: About::Check(row), from: tag, moment, slack, need, distance, arrival, credit }
                };
                let mut found = finding(arrival, credit);
                let root = self.clocks.clocks[tag.0].root;
                let limit = judgement.limits.get(&root);
                let limits = check.before && limit.is_none_or(|limit| is_slower(&found, limit));
                let so_far = worst[row as usize];
                if !limits && so_far.is_some_and(|worst| worst.slack <= found.slack) {
                    continue;
                }
                if self.doubtful || several && to.late > to.early {
                    let search = self.search(starts, arrivals);
                    let passed = &mut judgement.passed;
                    match search.worst(&check.data, check.before, self.pin(check), Some(moment), passed) {
                        Some(path) => found = finding(path.at, path.credit),
                        None => continue,
                    }
                }
                if worst[row as usize].is_none_or(|worst| found.slack < worst.slack) {
                    worst[row as usize] = Some(found);
                }
                note_limit(&mut judgement.limits, root, found, check.before);
            }
        }
    }

    /// For data that must not move from one edge to another: how long after an edge the last such stretch ends before
    /// the next one begins. `None` for data that only must stay behind one edge.
    fn last_end(&self, check: &Check, from: ClockEdge, end: ClockEdge) -> Option<i64> {
        let begins = check.begins.iter().map(|&row| self.moments.row(row).tag);
        let ends = begins.filter(|&begin| self.clocks.make_pulse(begin, end)).filter_map(|begin| {
            let (next, _) = self.clocks.distance(from, begin)?;
            let (rest, _) = self.clocks.distance(end, begin)?;
            // A faster clock sends at several of its edges before a stretch begins: the first of them may lie in
            // the stretch before.
            let every = self.clocks.clocks[from.0].period.max(1);
            let more = (self.clocks.clocks[begin.0].period - next).max(0) / every;
            Some(next.saturating_add(more * every).saturating_sub(rest))
        });
        ends.max()
    }

    fn judge_aparts(&self, judgement: &mut Slacks) {
        for (row, apart) in self.checks.aparts.iter().enumerate() {
            let (first, second) = (self.moments.row(apart.moments.0), self.moments.row(apart.moments.1));
            let Some((distance, _)) = self.clocks.distance(first.tag, second.tag) else {
                continue;
            };
            let credit = self.moments.credit(apart.moments.0, apart.moments.1);
            let same = apart.moments.0 == apart.moments.1;
            // Two edges that go the same way come equally late.
            let spread = if same { 0 } else { first.late - second.early - credit };
            let need = apart.least + spread;
            let found = Finding {
                about: About::Apart(row as u32),
                from: first.tag,
                moment: apart.moments.1,
                slack: distance.saturating_sub(need),
                need,
                distance,
                arrival: first.late,
                credit: if same { 0 } else { credit },
            };
            judgement.findings.push(found);
            let root = self.clocks.clocks[first.tag.0].root;
            note_limit(&mut judgement.limits, root, found, true);
        }
    }

    /// A wave to be searched.
    pub fn search<'s>(&'s self, starts: &'s Starts, arrivals: &'s Arrivals) -> Search<'s, 'c> {
        Search { graph: &self.graph, order: &self.order, moments: &self.moments, arrivals, starts }
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
        for (tag, rows) in by_tag {
            let starts = self.starts(tag, &borrowed);
            arrivals.spread(&self.graph, &self.order, starts.all());
            let search = self.search(&starts, &arrivals);
            for at in rows {
                if let About::Check(row) = findings[at].about {
                    let check = &self.checks.checks[row as usize];
                    let moment = Some(findings[at].moment);
                    let mut passed = Passed::default();
                    paths[at] = search.worst(&check.data, check.before, self.pin(check), moment, &mut passed);
                }
            }
        }
        paths
    }

    /// The kind of a finding.
    pub fn kind(&self, finding: &Finding) -> Kind {
        match finding.about {
            About::Check(row) => self.checks.checks[row as usize].kind,
            About::Apart(row) => self.checks.aparts[row as usize].kind,
        }
    }

    /// The highest rate of a clock: its shortest period in picoseconds at which everything holds that a slower clock
    /// helps, and what limits it. `None` when nothing does.
    pub fn shortest_period(&mut self, root: ClockKey, judgement: &Slacks) -> Option<(i64, Finding)> {
        let limit = *judgement.limits.get(&root)?;
        let now = self.clocks.clocks[root].period;
        let before = self.clocks.clocks.clone();
        let straight = scaled(now, &limit);
        if self.latches.is_empty() {
            return Some((straight, limit));
        }
        // What latches borrow depends on the period: the shortest good one is enclosed from both sides.
        let holds = |analysis: &mut Analysis<'c>, period: i64| {
            analysis.clocks.set_period(root, period);
            let limit = analysis.judge().limits.get(&root).copied();
            limit.filter(|limit| limit.slack < 0).map_or(Ok(limit), Err)
        };
        let (mut bad, mut good) = (0, straight.max(2));
        let mut limiting = limit;
        for _ in 0..40 {
            match holds(self, good) {
                Ok(found) => {
                    limiting = found.unwrap_or(limiting);
                    break;
                }
                Err(_) => {
                    bad = good;
                    good = good.saturating_mul(2);
                }
            }
        }
        while good - bad > 1 {
            let middle = bad + (good - bad) / 2;
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
fn scaled(period: i64, limit: &Finding) -> i64 {
    let need = i128::from(limit.need.max(0));
    let distance = i128::from(limit.distance.max(1));
    let period = (i128::from(period) * need + distance - 1) / distance;
    i64::try_from(period).unwrap_or(i64::MAX).max(1)
}

/// True when one finding asks for a longer period than another.
fn is_slower(one: &Finding, other: &Finding) -> bool {
    let scale = |a: &Finding, b: &Finding| i128::from(a.need) * i128::from(b.distance.max(1));
    scale(one, other) > scale(other, one)
}

fn note_limit(limits: &mut BTreeMap<ClockKey, Finding>, root: ClockKey, found: Finding, counts: bool) {
    if counts && limits.get(&root).is_none_or(|limit| is_slower(&found, limit)) {
        limits.insert(root, found);
    }
}
