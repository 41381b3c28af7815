//! The report: plain data, with names and places, for every look of it.

use super::Parts;
use super::analysis::{About, Analysis, Finding, Judgement};
use super::checks::Kind;
use super::clocks::{ClockKey, Source, Tag, input_path};
use super::graph::{ArcKey, Graph, Move, Spot, Through};
use super::outside::{Outside, outside};
use super::paths::Path;
use super::turn_round::turn_rounds;
use super::unused;
use crate::circuit::{ChipKey, Circuit};
use crate::delay::Transition;
use crate::quantity::{Frequency, Time};
use crate::text::{Sources, Span};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// What is asked for.
#[derive(Clone, Debug)]
pub struct Options {
    /// How fast the parts are; one run each.
    pub parts: Vec<Parts>,
    /// Clocks that somebody names. Of several on one net the first counts.
    pub sources: Vec<Source>,
    /// How many of the worst paths are followed step by step.
    pub paths: usize,
}

/// What came of it.
#[derive(Clone, Debug, Serialize)]
pub struct Report {
    /// The board or assembly.
    pub on: String,
    /// The clocks.
    pub clocks: Vec<ClockRow>,
    /// One for each speed of the parts.
    pub runs: Vec<Run>,
    /// Loops that are cut, each as the outputs that it goes through.
    pub loops: Vec<Vec<String>>,
    /// Paths that the designer says are not used.
    pub unused: Vec<UnusedRow>,
    /// What is not judged, in sentences.
    pub remarks: Vec<String>,
    /// Clock inputs that no clock reaches.
    pub unclocked: Vec<String>,
    /// Rules that filled gaps of the sheets, with the numbers of the parts.
    pub rules: Vec<(String, Vec<String>)>,
}

/// A clock.
#[derive(Clone, Debug, Serialize)]
pub struct ClockRow {
    /// Its net.
    pub net: String,
    /// Who says so.
    pub origin: String,
    /// From rise to rise, at the least.
    pub period: Time,
    /// How long it is high, at the least.
    pub high: Time,
    /// How long it is low, at the least.
    pub low: Time,
    /// The clock that it is made from.
    pub made_from: Option<String>,
    /// True when it goes to clock inputs.
    pub clocks_something: bool,
}

/// The analysis with parts of one speed.
#[derive(Clone, Debug, Serialize)]
pub struct Run {
    /// How fast the parts are.
    pub parts: Parts,
    /// The highest rate of each clock that all begins with.
    pub rates: Vec<Rate>,
    /// How many things must hold.
    pub checks: usize,
    /// How many of them do not, by kind.
    pub failing: BTreeMap<Kind, usize>,
    /// The slack of everything that must hold.
    pub histogram: Vec<Bin>,
    /// The worst of them, each with its path.
    pub paths: Vec<PathRow>,
    /// Nets that change hands.
    pub turn_rounds: Vec<TurnRow>,
    /// What the inputs must keep to.
    pub inputs: Vec<InputRow>,
    /// When the outputs move.
    pub outputs: Vec<OutputRow>,
    /// The longest ways straight through.
    pub straight: Vec<StraightRow>,
    /// How often the search turned away from a path through two outputs that are never on together.
    pub contradictory: u64,
}

impl Run {
    /// True when everything holds.
    pub fn holds(&self) -> bool {
        self.failing.is_empty()
    }
}

/// How fast a clock can be.
#[derive(Clone, Debug, Serialize)]
pub struct Rate {
    /// Its net.
    pub clock: String,
    /// How fast it is.
    pub given: Frequency,
    /// How fast it can be, rounded down; `None` when nothing limits it.
    pub highest: Option<Frequency>,
    /// The same as a period.
    pub period: Option<Time>,
    /// What limits it.
    pub limit: Option<PathRow>,
}

/// Things that must hold, by what is left.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Bin {
    /// From here,
    pub from: Time,
    /// up to here, exclusive.
    pub to: Time,
    /// So many.
    pub count: usize,
}

/// One thing that must hold, with its path.
#[derive(Clone, Debug, Serialize)]
pub struct PathRow {
    /// What it is.
    pub kind: Kind,
    /// The pin where it must hold.
    pub at: String,
    /// The number of its chip.
    pub number: String,
    /// The edge that it begins with: `rise of phi`.
    pub from: String,
    /// The edge that it is compared with.
    pub to: String,
    /// What is left.
    pub slack: Time,
    /// What is there between the two edges.
    pub given: Time,
    /// What is needed.
    pub needed: Time,
    /// When the edge that it begins with is at the first chip.
    pub begins_at: Time,
    /// The steps, in order.
    pub steps: Vec<Step>,
    /// What the sheet asks for at the end.
    pub least: Time,
    /// When the clock that it is compared with is there.
    pub clock_at: Time,
    /// Taken off, because both clocks have it in common.
    pub common: Time,
    /// Where the sheet's row is written.
    pub place: Option<String>,
    /// What takes the greatest share, in words.
    pub advice: Option<String>,
}

/// One step of a path.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Step {
    /// The board; empty for a board that stands alone.
    pub board: String,
    /// The chip, as a path.
    pub chip: String,
    /// Its number.
    pub number: String,
    /// The pin that it goes in by.
    pub input: String,
    /// The pin that it comes out by.
    pub output: String,
    /// What the output does: `rise`, `fall`, `enable`, ...
    pub does: &'static str,
    /// The net behind it.
    pub net: String,
    /// How many inputs are on that net.
    pub inputs: usize,
    /// How long it takes, cables included.
    pub delay: Time,
    /// What cables have in it.
    pub cable: Time,
    /// When the net has moved, after the edge that all began with.
    pub at: Time,
    /// The data sheet.
    pub source: String,
}

/// A net that changes hands.
#[derive(Clone, Debug, Serialize)]
pub struct TurnRow {
    /// The net.
    pub net: String,
    /// The edge behind which it does.
    pub edge: String,
    /// The longest time for which two drive; negative when that cannot be.
    pub overlap: Time,
    /// Who lets go, who takes over.
    pub overlapping: (String, String),
    /// The longest time for which nobody drives.
    pub gap: Time,
    /// Who lets go, who takes over.
    pub parted: (String, String),
}

/// What an input must keep to.
#[derive(Clone, Debug, Serialize)]
pub struct InputRow {
    /// The net.
    pub net: String,
    /// The edge.
    pub edge: String,
    /// So long before.
    pub before: Option<Time>,
    /// So long behind.
    pub after: Option<Time>,
}

/// When an output moves.
#[derive(Clone, Debug, Serialize)]
pub struct OutputRow {
    /// The net.
    pub net: String,
    /// The edge.
    pub edge: String,
    /// The earliest.
    pub earliest: Time,
    /// The latest.
    pub latest: Time,
}

/// A way straight through.
#[derive(Clone, Debug, Serialize)]
pub struct StraightRow {
    /// The input.
    pub input: String,
    /// The output.
    pub output: String,
    /// The shortest time.
    pub earliest: Time,
    /// The longest.
    pub latest: Time,
    /// The longest path, when it was followed.
    pub steps: Vec<Step>,
}

/// A path that the designer says is not used.
#[derive(Clone, Debug, Serialize)]
pub struct UnusedRow {
    /// Where that is written.
    pub place: String,
    /// Why it is not used.
    pub reason: String,
    /// False when there is no such path.
    pub exists: bool,
    /// How many paths were left out because of it, that would have been the worst at their ends.
    pub left_out: u64,
    /// Where that is written, in the text.
    #[serde(skip)]
    pub span: Span,
}

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
        let writer = Writer {
            sources,
            paths: options.paths,
        };
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
            let exists = unused::exist(&analysis);
            for (row, exists) in report.unused.iter_mut().zip(exists) {
                row.exists = exists;
            }
        }
        for (rule, numbers) in &analysis.graph.delays.rules {
            rules.entry(*rule).or_default().extend(numbers.iter().cloned());
        }
        report.runs.push(run);
    }
    report.rules = rules
        .into_iter()
        .map(|(rule, numbers)| (rule.sentence().to_owned(), numbers.into_iter().collect()))
        .collect();
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
        net: graph.spot_name(clock.spot).to_owned(),
        origin: clock.origin.clone(),
        period: Time::from_ps(clock.period),
        high: Time::from_ps(clock.high),
        low: Time::from_ps(clock.low),
        made_from: clock.made.as_ref().map(|made| {
            let parent = clocks.clocks[made.parent].spot;
            graph.spot_name(parent).to_owned()
        }),
        clocks_something: clocks.gateways.iter().any(|gateway| {
            super::shape::bits(gateway.inputs).any(|input| {
                let spot = graph.input_spot(gateway.chip, input);
                spot.is_some_and(|spot| {
                    let points = [Move::Rise, Move::Fall].map(|edge| super::graph::Point::of(spot, edge));
                    points.iter().any(|&point| clocks.reaches(key, point) != 0)
                })
            })
        }),
    });
    rows.collect()
}

fn unclocked(analysis: &Analysis<'_>) -> Vec<String> {
    let graph = &analysis.graph;
    let pins = analysis.clocks.silent.iter().flat_map(|gateway| {
        super::shape::bits(gateway.inputs).map(|input| input_path(graph, gateway.chip, input))
    });
    let mut pins: Vec<String> = pins.collect();
    pins.sort();
    pins.dedup();
    pins
}

fn remarks(analysis: &Analysis<'_>, judgement: &Judgement) -> Vec<String> {
    let graph = &analysis.graph;
    let mut remarks = Vec::new();
    let name = |key: ClockKey| graph.spot_name(analysis.clocks.clocks[key].spot).to_owned();
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
    let by_hand = graph.spots.values().filter(|place| place.by_hand && place.drivers.is_empty()).count();
    if by_hand > 0 {
        remarks.push(format!("{} with a switch, a button or a capacitor not timed", count(by_hand, "net")));
    }
    let slow = graph.spots.values().filter(|place| place.by_hand && !place.drivers.is_empty()).count();
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
    if judgement.unsettled {
        remarks.push("latches borrow time from one another without end: there is no rate at which they settle".to_owned());
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
    fn run(&self, analysis: &mut Analysis<'_>, parts: Parts, judgement: &Judgement) -> Run {
        let mut worst: Vec<Finding> = judgement.findings.clone();
        worst.sort_by_key(|finding| (finding.slack, finding.about));
        let mut failing: BTreeMap<Kind, usize> = BTreeMap::new();
        for finding in worst.iter().filter(|finding| finding.slack < 0) {
            *failing.entry(analysis.kind(finding)).or_default() += 1;
        }
        let rates = self.rates(analysis, judgement);
        let told = &worst[..worst.len().min(self.paths)];
        let seen = outside(analysis, self.paths);
        Run {
            parts,
            rates,
            checks: worst.len(),
            failing,
            histogram: histogram(&worst),
            paths: self.rows(analysis, told),
            turn_rounds: turn_rows(analysis),
            inputs: input_rows(analysis, &seen),
            outputs: output_rows(analysis, &seen),
            straight: self.straight_rows(analysis, &seen),
            contradictory: judgement.passed.contradictory,
        }
    }

    fn rates(&self, analysis: &mut Analysis<'_>, judgement: &Judgement) -> Vec<Rate> {
        let clocks = analysis.clocks.clocks.iter();
        let roots: Vec<ClockKey> =
            clocks.filter(|(_, clock)| clock.made.is_none()).map(|(key, _)| key).collect();
        let mut rates = Vec::new();
        for root in roots {
            let shortest = analysis.shortest_period(root, judgement);
            let clock = &analysis.clocks.clocks[root];
            let limit = shortest.and_then(|(_, finding)| self.rows(analysis, &[finding]).pop());
            rates.push(Rate {
                clock: analysis.graph.spot_name(clock.spot).to_owned(),
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
                (apart.kind, apart.chip, apart.input, apart.least, Some(apart.span), true)
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
            least: Time::from_ps(least),
            clock_at: Time::from_ps(if before { moment.early } else { moment.late }),
            common: Time::from_ps(finding.credit),
            begins_at: Time::from_ps(path.map_or(0, |path| begins_at(graph, path))),
            place: span.map(|span| self.sources.place(span)),
            advice: advice(&steps, before, finding.need, row, least),
            steps,
        }
    }

    fn straight_rows(&self, analysis: &Analysis<'_>, seen: &Outside) -> Vec<StraightRow> {
        let name = |spot: Spot| analysis.graph.spot_name(spot).to_owned();
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

/// What takes the greatest share of what is needed.
fn advice(
    steps: &[Step],
    before: bool,
    needed: i64,
    end: &crate::circuit::Chip,
    least: i64,
) -> Option<String> {
    if !before || steps.is_empty() || needed <= 0 {
        return None;
    }
    let mut shares: BTreeMap<(&str, &str), i64> = BTreeMap::new();
    for step in steps {
        *shares.entry((&step.chip, &step.number)).or_default() += (step.delay - step.cable).ps();
    }
    *shares.entry((&end.path, &end.number)).or_default() += least;
    let ((chip, number), most) = shares.into_iter().max_by_key(|(name, share)| (*share, std::cmp::Reverse(*name)))?;
    let percent = most * 100 / needed;
    Some(format!("{chip} {number} is {percent} % of this path"))
}

/// A rate in millihertz, rounded down.
pub fn rate_of(period: i64) -> Frequency {
    // A second is 10^12 ps, and the frequency counts in 10^-3 Hz.
    Frequency::from_raw(1_000_000_000_000_000 / period.max(1))
}

/// `rise of phi`.
pub fn edge_name(analysis: &Analysis<'_>, (clock, edge): Tag) -> String {
    let name = analysis.graph.spot_name(analysis.clocks.clocks[clock].spot);
    match edge {
        Move::Rise => format!("rise of {name}"),
        _ => format!("fall of {name}"),
    }
}

/// The steps of a path, the way of its clock first.
fn steps(analysis: &Analysis<'_>, path: &Path) -> Vec<Step> {
    let mut steps: Vec<Step> = Vec::new();
    let late = path.arcs.is_empty() || path.at != path_early(&analysis.graph, path);
    let mut at = path.start.late.filter(|_| late).unwrap_or(path.start.early);
    if let Some(key) = path.start.arc {
        steps.push(step(analysis, key, late, at));
    }
    for &key in &path.arcs {
        let arc = &analysis.graph.arcs[key];
        at += i64::from(if late { arc.late.unwrap_or(arc.early) } else { arc.early });
        steps.push(step(analysis, key, late, at));
    }
    steps
}

/// When the clock of a path is at the chip that it begins at.
fn begins_at(graph: &Graph<'_>, path: &Path) -> i64 {
    let late = path.arcs.is_empty() || path.at != path_early(graph, path);
    let arc = path.start.arc.map(|key| graph.arcs[key]);
    let delay = arc.map_or(0, |arc| i64::from(if late { arc.late.unwrap_or(arc.early) } else { arc.early }));
    path.start.late.filter(|_| late).unwrap_or(path.start.early) - delay
}

fn path_early(graph: &Graph<'_>, path: &Path) -> i64 {
    path.arcs.iter().fold(path.start.early, |at, &key| at + i64::from(graph.arcs[key].early))
}

fn step(analysis: &Analysis<'_>, key: ArcKey, late: bool, at: i64) -> Step {
    let graph = &analysis.graph;
    let arc = &graph.arcs[key];
    let chip = &graph.circuit.chips[arc.chip];
    let function = &chip.part.function;
    let (input, output) = (function.inputs[usize::from(arc.input)], function.outputs[usize::from(arc.output)]);
    let delay = if late { arc.late.unwrap_or(arc.early) } else { arc.early };
    let net = chip.nets[output];
    let listens = |&&(chip, pin): &&(ChipKey, usize)| graph.circuit.chips[chip].part.pins[pin].listens();
    Step {
        board: graph.circuit.boards[chip.board].path.clone(),
        chip: chip.path.clone(),
        number: chip.number.clone(),
        input: chip.part.pins[input].name.clone(),
        output: chip.part.pins[output].name.clone(),
        does: does(arc.how, arc.to.what(), arc.through),
        net: net.map_or_else(String::new, |net| graph.circuit.nets[net].path.clone()),
        inputs: net.map_or(0, |net| graph.circuit.nets[net].chip_pins.iter().filter(listens).count()),
        delay: Time::from_ps(delay.into()),
        cable: Time::from_ps(net.map_or(0, |net| super::delays::wire(graph.circuit, net)).into()),
        at: Time::from_ps(at),
        source: source(graph, arc.chip, usize::from(arc.input), usize::from(arc.output)),
    }
}

fn does(how: Transition, to: Move, through: Through) -> &'static str {
    match (how, to, through) {
        (_, Move::Blur, _) => "becomes unknown",
        (Transition::EnableHigh | Transition::EnableLow | Transition::EnableBlur, ..) => "takes over",
        (Transition::DisableHigh | Transition::DisableLow, ..) => "lets go",
        (_, Move::Rise, Through::Latch(_)) => "rises, latch open",
        (_, Move::Fall, Through::Latch(_)) => "falls, latch open",
        (_, Move::Rise, _) => "rises",
        (_, Move::Fall, _) => "falls",
    }
}

/// The sheet of an arc: that of the figure, or else that of the part.
fn source(graph: &Graph<'_>, chip: ChipKey, input: usize, output: usize) -> String {
    let chip = &graph.circuit.chips[chip];
    let Some(sheet) = chip.sheet.and_then(|row| chip.part.sheets.get(row)) else {
        return "no sheet".to_owned();
    };
    let arcs = sheet.blocks.iter().flat_map(|block| &block.arcs);
    let own = arcs.filter(|arc| (arc.from, arc.to) == (input, output)).find_map(|arc| arc.source.clone());
    own.unwrap_or_else(|| sheet.source_line())
}

/// Twenty bins or so, of a round width.
fn histogram(findings: &[Finding]) -> Vec<Bin> {
    let (Some(least), Some(most)) = (
        findings.iter().map(|finding| finding.slack).min(),
        findings.iter().map(|finding| finding.slack).max(),
    ) else {
        return Vec::new();
    };
    const BINS: i64 = 16;
    // A few that have all the time in the world must not hide the others: they stand together in the last bin.
    let mut slacks: Vec<i64> = findings.iter().map(|finding| finding.slack).collect();
    slacks.sort_unstable();
    let usual = slacks[slacks.len() * 3 / 4];
    let wanted = ((usual - least) / BINS).max(1);
    let mut width = 1_000i64;
    'found: loop {
        for factor in [1, 2, 5] {
            if width.saturating_mul(factor) >= wanted {
                width = width.saturating_mul(factor);
                break 'found;
            }
        }
        width = width.saturating_mul(10);
    }
    let first = least.div_euclid(width);
    let last = most.div_euclid(width).min(usual.div_euclid(width) + 1);
    let mut bins: Vec<Bin> = (first..=last)
        .map(|at| Bin {
            from: Time::from_ps(at * width),
            to: Time::from_ps((at + 1) * width),
            count: 0,
        })
        .collect();
    for finding in findings {
        let at = (finding.slack.div_euclid(width) - first) as usize;
        let last = bins.len() - 1;
        bins[at.min(last)].count += 1;
    }
    if let Some(bin) = bins.last_mut() {
        bin.to = bin.to.max(Time::from_ps(most.saturating_add(1)));
    }
    bins
}

fn turn_rows(analysis: &Analysis<'_>) -> Vec<TurnRow> {
    let rows = turn_rounds(analysis).into_iter().map(|row| TurnRow {
        net: analysis.graph.spot_name(row.spot).to_owned(),
        edge: edge_name(analysis, row.tag),
        overlap: Time::from_ps(row.overlap),
        overlapping: row.overlapping,
        gap: Time::from_ps(row.gap),
        parted: row.parted,
    });
    rows.collect()
}

fn input_rows(analysis: &Analysis<'_>, seen: &Outside) -> Vec<InputRow> {
    let rows = seen.inputs.iter().map(|row| InputRow {
        net: analysis.graph.spot_name(row.spot).to_owned(),
        edge: edge_name(analysis, row.tag),
        before: row.before.map(Time::from_ps),
        after: row.after.map(Time::from_ps),
    });
    rows.collect()
}

fn output_rows(analysis: &Analysis<'_>, seen: &Outside) -> Vec<OutputRow> {
    let rows = seen.outputs.iter().map(|row| OutputRow {
        net: analysis.graph.spot_name(row.spot).to_owned(),
        edge: edge_name(analysis, row.tag),
        earliest: Time::from_ps(row.early),
        latest: Time::from_ps(row.late),
    });
    rows.collect()
}
