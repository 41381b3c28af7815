//! From an analysis to its report.

use super::steps::{advice, begins_at, edge_name, histogram, rate_of, root_name, steps};
use super::*;
use crate::circuit::Circuit;
use crate::quantity::Time;
use crate::text::Sources;
use crate::timing::analysis::{About, Analysis, Finding, Slacks};
use crate::timing::clocks::{ClockKey, input_path};
use crate::timing::false_paths;
use crate::timing::graph::{Node, TimingNet, Transition};
use crate::timing::io_constraints::{IoConstraints, io_constraints};
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
        unused: false_path_rows(circuit, sources),
        remarks: Vec::new(),
        unclocked: Vec::new(),
        rules: Vec::new(),
    };
    let mut rules: BTreeMap<_, BTreeSet<String>> = BTreeMap::new();
    for &parts in &options.parts {
        let mut analysis = Analysis::new(circuit, parts, &options.sources);
        let writer = Writer { sources, paths: options.paths };
        let slacks = analysis.slacks();
        let run = writer.run(&mut analysis, parts, &slacks);
        for (row, left_out) in report.unused.iter_mut().zip(&slacks.excluded.unused) {
            row.left_out = row.left_out.max(*left_out);
        }
        if report.runs.is_empty() {
            report.clocks = clock_rows(&analysis);
            report.loops = analysis.order.loops.clone();
            report.unclocked = unclocked(&analysis);
            report.remarks = remarks(&analysis, &slacks);
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

fn false_path_rows(circuit: &Circuit, sources: &Sources) -> Vec<FalsePathRow> {
    let rows = circuit.false_paths.iter().map(|row| FalsePathRow {
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
        net: graph.net_name(clock.timing_net).to_owned(),
        origin: clock.origin.clone(),
        period: clock.period,
        high: clock.high,
        low: clock.low,
        made_from: clock.generated.as_ref().map(|generated| {
            let parent = clocks.clocks[generated.parent].timing_net;
            graph.net_name(parent).to_owned()
        }),
        clocks_something: clocks.clock_pins.iter().any(|clock_pin| {
            bits(clock_pin.inputs).any(|input| {
                let timing_net = graph.input_net(clock_pin.chip, input);
                timing_net.is_some_and(|timing_net| {
                    let points = [Transition::Rise, Transition::Fall].map(|edge| Node::of(timing_net, edge));
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
        .unclocked
        .iter()
        .flat_map(|clock_pin| bits(clock_pin.inputs).map(|input| input_path(graph, clock_pin.chip, input)));
    let mut pins: Vec<String> = pins.collect();
    pins.sort();
    pins.dedup();
    pins
}

fn remarks(analysis: &Analysis<'_>, slacks: &Slacks) -> Vec<String> {
    let graph = &analysis.graph;
    let mut remarks = Vec::new();
    let name = |key: ClockKey| graph.net_name(analysis.clocks.clocks[key].timing_net).to_owned();
    for ((from, to), count) in &slacks.separation {
        remarks.push(format!(
            "{} and {} have nothing to do with each other: {} not judged between them",
            name(*from),
            name(*to),
            times(*count)
        ));
    }
    if analysis.checks.unchecked > 0 {
        remarks.push(format!(
            "{} of the sheets not judged, because no clock reaches the pin",
            count(analysis.checks.unchecked, "requirement")
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
    let moves = |timing_net: &TimingNet| {
        graph.timing_nets[*timing_net].nets.iter().any(|&net| graph.timing_net_of[net] == Some(*timing_net))
    };
    let handled = graph.timing_nets.keys().filter(|&timing_net| graph.timing_nets[timing_net].by_hand).filter(moves);
    let (slow, by_hand): (Vec<TimingNet>, Vec<TimingNet>) =
        handled.partition(|&timing_net| !graph.timing_nets[timing_net].drivers.is_empty());
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
    if !slacks.tangled.is_empty() {
        remarks.push(format!(
            "{} of nets with so many ways round that not all were followed: later arrivals are possible there",
            count(slacks.tangled.len(), "ring")
        ));
    }
    if slacks.excluded.unresolved > 0 {
        remarks.push(format!(
            "{} with so many ways to them that false ones could not all be told apart: they may be better than is told",
            count(slacks.excluded.unresolved as usize, "end")
        ));
    }
    if slacks.unsettled {
        remarks
            .push("latches borrow time from one another without end: there is no rate at which they settle".to_owned());
    }
    if analysis.clocks.truncated {
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
    fn run(&self, analysis: &mut Analysis<'_>, parts: Parts, slacks: &Slacks) -> Run {
        let mut worst: Vec<Finding> = slacks.findings.clone();
        worst.sort_by_key(|finding| (finding.slack, finding.about));
        let mut failing: BTreeMap<Kind, usize> = BTreeMap::new();
        for finding in worst.iter().filter(|finding| finding.slack < Time::ZERO) {
            *failing.entry(analysis.kind(finding)).or_default() += 1;
        }
        let rates = self.rates(analysis, slacks);
        let hold = |finding: &&Finding| analysis.kind(finding) == Kind::Hold;
        let independent_of_period = |finding: &&Finding| finding.slack < Time::ZERO && finding.available == Time::ZERO;
        let at_any_rate = worst.iter().filter(independent_of_period).filter(hold).count();
        let told = &worst[..worst.len().min(self.paths)];
        let seen = io_constraints(analysis, self.paths);
        Run {
            parts,
            rates,
            checks: worst.len(),
            failing,
            at_any_rate,
            histogram: histogram(&worst),
            paths: self.rows(analysis, told),
            turn_rounds: turnaround_rows(analysis),
            inputs: input_rows(analysis, &seen),
            outputs: output_rows(analysis, &seen),
            straight: self.feedthrough_rows(analysis, &seen),
            contradictory: slacks.excluded.contradictory,
        }
    }

    fn rates(&self, analysis: &mut Analysis<'_>, slacks: &Slacks) -> Vec<Rate> {
        let clocks = analysis.clocks.clocks.iter();
        let roots: Vec<ClockKey> = clocks.filter(|(_, clock)| clock.generated.is_none()).map(|(key, _)| key).collect();
        let mut rates = Vec::new();
        for root in roots {
            let shortest = analysis.shortest_period(root, slacks);
            let clock = &analysis.clocks.clocks[root];
            let limit = shortest.and_then(|(_, finding)| self.rows(analysis, &[finding]).pop());
            rates.push(Rate {
                clock: analysis.graph.net_name(clock.timing_net).to_owned(),
                given: rate_of(clock.period),
                highest: shortest.map(|(period, _)| rate_of(period)),
                period: shortest.map(|(period, _)| period),
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
        let latency = analysis.latencies.row(finding.latency);
        let (kind, chip, input, least, span, before) = match finding.about {
            About::Check(row) => {
                let check = &analysis.checks.checks[row as usize];
                (check.kind, check.chip, check.input, check.least, check.span, check.before)
            }
            About::Separation(row) => {
                let separation = &analysis.checks.separations[row as usize];
                (separation.kind, separation.chip, separation.input, separation.least, separation.span, true)
            }
        };
        let steps = path.map_or_else(Vec::new, |path| steps(analysis, path));
        let row = &graph.circuit.chips[chip];
        PathRow {
            kind,
            at: input_path(graph, chip, usize::from(input)),
            number: row.number.clone(),
            from: edge_name(analysis, finding.from),
            to: edge_name(analysis, latency.clock_edge),
            slack: finding.slack,
            given: if before { finding.available } else { -finding.available },
            needed: finding.required,
            arrives: finding.arrival,
            before,
            least,
            clock_at: if before { latency.early } else { latency.late },
            common: finding.common_path_credit,
            begins_at: path.map_or(Time::ZERO, |path| begins_at(graph, path)),
            place: span.map(|span| self.sources.place(span)),
            advice: advice(&steps, before, finding.required, row, least),
            steps,
        }
    }

    fn feedthrough_rows(&self, analysis: &Analysis<'_>, seen: &IoConstraints) -> Vec<FeedthroughRow> {
        let name = |timing_net: TimingNet| analysis.graph.net_name(timing_net).to_owned();
        let rows = seen.feedthroughs.iter().map(|row| FeedthroughRow {
            input: name(row.input),
            output: name(row.output),
            earliest: row.early,
            latest: row.late,
            steps: row.path.as_ref().map_or_else(Vec::new, |path| steps(analysis, path)),
        });
        rows.collect()
    }
}

fn turnaround_rows(analysis: &Analysis<'_>) -> Vec<TurnaroundRow> {
    let rows = turnarounds(analysis).into_iter().map(|row| TurnaroundRow {
        net: analysis.graph.net_name(row.net).to_owned(),
        edge: edge_name(analysis, row.clock_edge),
        overlap: row.overlap,
        overlapping: row.overlapping,
        gap: row.gap,
        parted: row.parted,
    });
    rows.collect()
}

fn input_rows(analysis: &Analysis<'_>, seen: &IoConstraints) -> Vec<InputRow> {
    let rows = seen.inputs.iter().map(|row| InputRow {
        net: analysis.graph.net_name(row.timing_net).to_owned(),
        edge: edge_name(analysis, row.clock_edge),
        root: root_name(analysis, row.clock_edge),
        before: row.before,
        after: row.after,
    });
    rows.collect()
}

fn output_rows(analysis: &Analysis<'_>, seen: &IoConstraints) -> Vec<OutputRow> {
    let rows = seen.outputs.iter().map(|row| OutputRow {
        net: analysis.graph.net_name(row.timing_net).to_owned(),
        edge: edge_name(analysis, row.clock_edge),
        root: root_name(analysis, row.clock_edge),
        earliest: row.early,
        latest: row.late,
    });
    rows.collect()
}
