//! From an analysis to its report.

use super::steps::{advice, begins_at, edge_name, histogram, rate_of, root_name, steps};
use super::*;
use crate::circuit::Circuit;
use crate::text::Sources;
use crate::timing::analysis::{About, Analysis, Finding, Slacks};
use crate::timing::clocks::{ClockKey, input_path};
use crate::timing::false_paths;
use crate::timing::graph::{Node, TimingNet, Transition};
use crate::timing::io_constraints::{IoConstraints, outside};
use crate::timing::paths::Path;
use crate::timing::shape::bits;
use crate::timing::turnaround::turnarounds;
use std::collections::BTreeSet;

/// Analyses a circuit.
pub fn analyse(circuit: &Circuit, sources: &Sources, options: &Options) -> Report {
    let mut report = Report {
        on: circuit.name.clone(),
        clocks: Vec::new(),
        runs: Vec::new(),
        loops: Vec::new(),
        unused: unused_rows(circuit, sources),
        remarks: Vec::new(),
        unclocked: Vec::new(),
        rules: Vec::new(),
    };
    let mut rules: BTreeMap<_, BTreeSet<String>> = BTreeMap::new();
    for &parts in &options.parts {
        let mut analysis = Analysis::new(circuit, parts, &options.sources);
        let writer = Writer { sources, paths: options.paths };
        let judgement = analysis.judge();
        let run = writer.run(&mut analysis, parts, &judgement);
        for (row, left_out) in report.unused.iter_mut().zip(&judgement.passed.unused) {
            row.left_out = row.left_out.max(*left_out);
        }
        if report.runs.is_empty() {
            report.clocks = clock_rows(&analysis);
            report.loops = analysis.order.loops.clone();
            report.unclocked = unclocked(&analysis);
            report.remarks = remarks(&analysis, &judgement);
            let exists = false_paths::exist(&analysis);
            for (row, exists) in report.unused.iter_mut().zip(exists) {
                row.exists = exists;
            }
        }
        for (rule, numbers) in &analysis.graph.delays.rules {
            rules.entry(*rule).or_default().extend(numbers.iter().cloned());
        }
        report.runs.push(run);
    }
    report.rules =
        rules.into_iter().map(|(rule, numbers)| (rule.sentence().to_owned(), numbers.into_iter().collect())).collect();
    report
}

fn unused_rows(circuit: &Circuit, sources: &Sources) -> Vec<UnusedRow> {
    let rows = circuit.unused_paths.iter().map(|row| UnusedRow {
        place: sources.place(row.span),
        reason: row.reason.clone(),
        exists: false,
        left_out: 0,
        span: row.span,
    });
    rows.collect()
}

fn clock_rows(analysis: &Analysis<'_>) -> Vec<ClockRow> {
    let graph = &analysis.graph;
    let clocks = &analysis.clocks;
    let rows = clocks.clocks.iter().map(|(key, clock)| ClockRow {
        net: graph.net_name(clock.spot).to_owned(),
        origin: clock.origin.clone(),
        period: Time::from_ps(clock.period),
        high: Time::from_ps(clock.high),
        low: Time::from_ps(clock.low),
        made_from: clock.made.as_ref().map(|made| {
            let parent = clocks.clocks[made.parent].spot;
            graph.net_name(parent).to_owned()
        }),
        clocks_something: clocks.gateways.iter().any(|gateway| {
            bits(gateway.inputs).any(|input| {
                let spot = graph.input_net(gateway.chip, input);
                spot.is_some_and(|spot| {
                    let points = [Transition::Rise, Transition::Fall].map(|edge| Node::of(spot, edge));
                    points.iter().any(|&point| clocks.reaches(key, point) != 0)
                })
            })
        }),
    });
    rows.collect()
}

fn unclocked(analysis: &Analysis<'_>) -> Vec<String> {
    let graph = &analysis.graph;
    let pins = analysis
        .clocks
        .silent
        .iter()
        .flat_map(|gateway| bits(gateway.inputs).map(|input| input_path(graph, gateway.chip, input)));
    let mut pins: Vec<String> = pins.collect();
    pins.sort();
    pins.dedup();
    pins
}

fn remarks(analysis: &Analysis<'_>, judgement: &Slacks) -> Vec<String> {
    let graph = &analysis.graph;
    let mut remarks = Vec::new();
    let name = |key: ClockKey| graph.net_name(analysis.clocks.clocks[key].spot).to_owned();
    for ((from, to), count) in &judgement.apart {
        remarks.push(format!(
            "{} and {} have nothing to do with each other: {} not judged between them",
            name(*from),
            name(*to),
            times(*count)
        ));
    }
    if analysis.checks.unjudged > 0 {
        remarks.push(format!(
            "{} of the sheets not judged, because no clock reaches the pin",
            count(analysis.checks.unjudged, "requirement")
        ));
    }
    for &(chip, input) in &analysis.checks.open_gates {
        remarks.push(format!(
            "{} meets a clock in a gate that neither level of the clock blocks: not judged",
            input_path(graph, chip, usize::from(input))
        ));
    }
    for &(chip, input) in &analysis.checks.met {
        remarks.push(format!(
            "{} is an input of a gate in which clocks meet, and which of them moves first is not known: short pulses there are not judged",
            input_path(graph, chip, usize::from(input))
        ));
    }
    // Rails have capacitors as well, and never move.
    let moves = |spot: &TimingNet| graph.spots[*spot].nets.iter().any(|&net| graph.timing_net_of[net] == Some(*spot));
    let handled = graph.spots.keys().filter(|&spot| graph.spots[spot].by_hand).filter(moves);
    let (slow, by_hand): (Vec<TimingNet>, Vec<TimingNet>) =
        handled.partition(|&spot| !graph.spots[spot].drivers.is_empty());
    let (slow, by_hand) = (slow.len(), by_hand.len());
    if by_hand > 0 {
        remarks.push(format!("{} with a switch, a button or a capacitor not timed", count(by_hand, "net")));
    }
    if slow > 0 {
        remarks.push(format!(
            "{} driven by a chip with a switch or a capacitor: the edges of the chip are timed, no hand and no charge",
            count(slow, "net")
        ));
    }
    if !judgement.tangled.is_empty() {
        remarks.push(format!(
            "{} of nets with so many ways round that not all were followed: later arrivals are possible there",
            count(judgement.tangled.len(), "ring")
        ));
    }
    if judgement.passed.undecided > 0 {
        remarks.push(format!(
            "{} with so many ways to them that false ones could not all be told apart: they may be better than is told",
            count(judgement.passed.undecided as usize, "end")
        ));
    }
    if judgement.unsettled {
        remarks
            .push("latches borrow time from one another without end: there is no rate at which they settle".to_owned());
    }
    if analysis.clocks.cut {
        remarks.push("there are more clocks than are followed; the rest is not judged".to_owned());
    }
    remarks
}

fn times(number: usize) -> String {
    count(number, "comparison")
}

fn count(number: usize, what: &str) -> String {
    if number == 1 { format!("1 {what}") } else { format!("{number} {what}s") }
}

struct Writer<'w> {
    sources: &'w Sources,
    paths: usize,
}

impl Writer<'_> {
    fn run(&self, analysis: &mut Analysis<'_>, parts: Parts, judgement: &Slacks) -> Run {
        let mut worst: Vec<Finding> = judgement.findings.clone();
        worst.sort_by_key(|finding| (finding.slack, finding.about));
        let mut failing: BTreeMap<Kind, usize> = BTreeMap::new();
        for finding in worst.iter().filter(|finding| finding.slack < 0) {
            *failing.entry(analysis.kind(finding)).or_default() += 1;
        }
        let rates = self.rates(analysis, judgement);
        let hold = |finding: &&Finding| analysis.kind(finding) == Kind::Hold;
        let mended_by_none = |finding: &&Finding| finding.slack < 0 && finding.distance == 0;
        let at_any_rate = worst.iter().filter(mended_by_none).filter(hold).count();
        let told = &worst[..worst.len().min(self.paths)];
        let seen = outside(analysis, self.paths);
        Run {
            parts,
            rates,
            checks: worst.len(),
            failing,
            at_any_rate,
            histogram: histogram(&worst),
            paths: self.rows(analysis, told),
            turn_rounds: turn_rows(analysis),
            inputs: input_rows(analysis, &seen),
            outputs: output_rows(analysis, &seen),
            straight: self.straight_rows(analysis, &seen),
            contradictory: judgement.passed.contradictory,
        }
    }

    fn rates(&self, analysis: &mut Analysis<'_>, judgement: &Slacks) -> Vec<Rate> {
        let clocks = analysis.clocks.clocks.iter();
        let roots: Vec<ClockKey> = clocks.filter(|(_, clock)| clock.made.is_none()).map(|(key, _)| key).collect();
        let mut rates = Vec::new();
        for root in roots {
            let shortest = analysis.shortest_period(root, judgement);
            let clock = &analysis.clocks.clocks[root];
            let limit = shortest.and_then(|(_, finding)| self.rows(analysis, &[finding]).pop());
            rates.push(Rate {
                clock: analysis.graph.net_name(clock.spot).to_owned(),
                given: rate_of(clock.period),
                highest: shortest.map(|(period, _)| rate_of(period)),
                period: shortest.map(|(period, _)| Time::from_ps(period)),
                limit,
            });
        }
        rates
    }

    fn rows(&self, analysis: &Analysis<'_>, findings: &[Finding]) -> Vec<PathRow> {
        let paths = analysis.paths(findings);
        let rows = findings.iter().zip(paths);
        rows.map(|(finding, path)| self.row(analysis, finding, path.as_ref())).collect()
    }

    fn row(&self, analysis: &Analysis<'_>, finding: &Finding, path: Option<&Path>) -> PathRow {
        let graph = &analysis.graph;
        let moment = analysis.moments.row(finding.moment);
        let (kind, chip, input, least, span, before) = match finding.about {
            About::Check(row) => {
                let check = &analysis.checks.checks[row as usize];
                (check.kind, check.chip, check.input, check.least, check.span, check.before)
            }
            About::Apart(row) => {
                let apart = &analysis.checks.aparts[row as usize];
                (apart.kind, apart.chip, apart.input, apart.least, apart.span, true)
            }
        };
        let steps = path.map_or_else(Vec::new, |path| steps(analysis, path));
        let row = &graph.circuit.chips[chip];
        PathRow {
            kind,
            at: input_path(graph, chip, usize::from(input)),
            number: row.number.clone(),
            from: edge_name(analysis, finding.from),
            to: edge_name(analysis, moment.tag),
            slack: Time::from_ps(finding.slack),
            given: Time::from_ps(if before { finding.distance } else { -finding.distance }),
            needed: Time::from_ps(finding.need),
            arrives: Time::from_ps(finding.arrival),
            before,
            least: Time::from_ps(least),
            clock_at: Time::from_ps(if before { moment.early } else { moment.late }),
            common: Time::from_ps(finding.credit),
            begins_at: Time::from_ps(path.map_or(0, |path| begins_at(graph, path))),
            place: span.map(|span| self.sources.place(span)),
            advice: advice(&steps, before, finding.need, row, least),
            steps,
        }
    }

    fn straight_rows(&self, analysis: &Analysis<'_>, seen: &IoConstraints) -> Vec<StraightRow> {
        let name = |spot: TimingNet| analysis.graph.net_name(spot).to_owned();
        let rows = seen.straight.iter().map(|row| StraightRow {
            input: name(row.input),
            output: name(row.output),
            earliest: Time::from_ps(row.early),
            latest: Time::from_ps(row.late),
            steps: row.path.as_ref().map_or_else(Vec::new, |path| steps(analysis, path)),
        });
        rows.collect()
    }
}

fn turn_rows(analysis: &Analysis<'_>) -> Vec<TurnRow> {
    let rows = turnarounds(analysis).into_iter().map(|row| TurnRow {
        net: analysis.graph.net_name(row.net).to_owned(),
        edge: edge_name(analysis, row.tag),
        overlap: Time::from_ps(row.overlap),
        overlapping: row.overlapping,
        gap: Time::from_ps(row.gap),
        parted: row.parted,
    });
    rows.collect()
}

fn input_rows(analysis: &Analysis<'_>, seen: &IoConstraints) -> Vec<InputRow> {
    let rows = seen.inputs.iter().map(|row| InputRow {
        net: analysis.graph.net_name(row.spot).to_owned(),
        edge: edge_name(analysis, row.tag),
        root: root_name(analysis, row.tag),
        before: row.before.map(Time::from_ps),
        after: row.after.map(Time::from_ps),
    });
    rows.collect()
}

fn output_rows(analysis: &Analysis<'_>, seen: &IoConstraints) -> Vec<OutputRow> {
    let rows = seen.outputs.iter().map(|row| OutputRow {
        net: analysis.graph.net_name(row.spot).to_owned(),
        edge: edge_name(analysis, row.tag),
        root: root_name(analysis, row.tag),
        earliest: Time::from_ps(row.early),
        latest: Time::from_ps(row.late),
    });
    rows.collect()
}
