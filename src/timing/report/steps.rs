//! The steps of a path, and other rows of the report.

use super::{Bin, Step};
use crate::circuit::{Chip, ChipKey};
use crate::delay::Transition as OutputTransition;
use crate::quantity::{Frequency, Time};
use crate::timing::analysis::{Analysis, Finding};
use crate::timing::clocks::ClockEdge;
use crate::timing::delays::wire;
use crate::timing::graph::{ArcKey, ArcKind, Graph, Transition};
use crate::timing::paths::Path;
use std::collections::BTreeMap;

/// What takes the greatest share of what is needed.
pub(super) fn advice(steps: &[Step], before: bool, needed: Time, end: &Chip, least: Time) -> Option<String> {
    if !before || steps.is_empty() || needed <= Time::ZERO {
        return None;
    }
    let mut shares: BTreeMap<(&str, &str), Time> = BTreeMap::new();
    for step in steps {
        *shares.entry((&step.chip, &step.number)).or_default() += step.delay - step.cable;
    }
    *shares.entry((&end.path, &end.number)).or_default() += least;
    let all = steps.iter().fold(least, |all, step| all + step.delay);
    let ((chip, number), most) = shares.into_iter().max_by_key(|(name, share)| (*share, std::cmp::Reverse(*name)))?;
    // A clock that comes late gives time, so that the parts of a path may be more than what it needs.
    let percent = most.ps() * 100 / needed.max(all).ps();
    Some(format!("{chip} {number} is {percent} % of this path"))
}

/// A rate in millihertz, rounded down.
pub(crate) fn rate_of(period: Time) -> Frequency {
    // A second is 10^12 ps, and the frequency counts in 10^-3 Hz.
    Frequency::from_raw(1_000_000_000_000_000 / period.ps().max(1))
}

/// `rise of phi`.
pub(crate) fn edge_name(analysis: &Analysis<'_>, (clock, edge): ClockEdge) -> String {
    let name = analysis.graph.net_name(analysis.clocks.clocks[clock].timing_net);
    match edge {
        Transition::Rise => format!("rise of {name}"),
        _ => format!("fall of {name}"),
    }
}

/// The clock that a made clock begins with: from its edge all times count.
pub(super) fn root_name(analysis: &Analysis<'_>, (clock, _): ClockEdge) -> Option<String> {
    let clock = &analysis.clocks.clocks[clock];
    let root = &analysis.clocks.clocks[clock.root];
    (clock.generated.is_some()).then(|| analysis.graph.net_name(root.timing_net).to_owned())
}

/// The steps of a path, the way of its clock first.
pub(super) fn steps(analysis: &Analysis<'_>, path: &Path) -> Vec<Step> {
    let mut steps: Vec<Step> = Vec::new();
    let late = path.arcs.is_empty() || path.at != path_early(&analysis.graph, path);
    let mut at = path.start.late.filter(|_| late).unwrap_or(path.start.early);
    if let Some(key) = path.start.arc {
        steps.push(step(analysis, key, late, at));
    }
    for &key in &path.arcs {
        let arc = &analysis.graph.arcs[key];
        at += Time::from_ps_u32(if late { arc.late.unwrap_or(arc.early) } else { arc.early });
        steps.push(step(analysis, key, late, at));
    }
    steps
}

/// When the clock of a path is at the chip that it begins at.
pub(super) fn begins_at(graph: &Graph<'_>, path: &Path) -> Time {
    let late = path.arcs.is_empty() || path.at != path_early(graph, path);
    let arc = path.start.arc.map(|key| graph.arcs[key]);
    let delay =
        arc.map_or(Time::ZERO, |arc| Time::from_ps_u32(if late { arc.late.unwrap_or(arc.early) } else { arc.early }));
    path.start.late.filter(|_| late).unwrap_or(path.start.early) - delay
}

fn path_early(graph: &Graph<'_>, path: &Path) -> Time {
    path.arcs.iter().fold(path.start.early, |at, &key| at + Time::from_ps_u32(graph.arcs[key].early))
}

fn step(analysis: &Analysis<'_>, key: ArcKey, late: bool, at: Time) -> Step {
    let graph = &analysis.graph;
    let arc = &graph.arcs[key];
    let chip = &graph.circuit.chips[arc.chip];
    let function = &chip.part.function;
    let (input, output) = (function.inputs[usize::from(arc.input)], function.outputs[usize::from(arc.output)]);
    let delay = if late { arc.late.unwrap_or(arc.early) } else { arc.early };
    let net = chip.nets[output];
    let listens = |&&(chip, pin): &&(ChipKey, usize)| graph.circuit.chips[chip].part.pins[pin].is_input();
    Step {
        board: graph.circuit.boards[chip.board].path.clone(),
        chip: chip.path.clone(),
        number: chip.number.clone(),
        input: chip.part.pins[input].name.clone(),
        output: chip.part.pins[output].name.clone(),
        does: does(arc.how, arc.to.what(), arc.kind),
        net: net.map_or_else(String::new, |net| graph.circuit.nets[net].path.clone()),
        inputs: net.map_or(0, |net| graph.circuit.nets[net].chip_pins.iter().filter(listens).count()),
        load: graph.delays.capacitances.load(graph.circuit, arc.chip, output),
        delay: Time::from_ps(delay.into()),
        cable: Time::from_ps(net.map_or(0, |net| wire(graph.circuit, net)).into()),
        at,
        source: source(graph, arc.chip, usize::from(arc.input), usize::from(arc.output)),
    }
}

fn does(how: OutputTransition, to: Transition, kind: ArcKind) -> &'static str {
    match (how, to, kind) {
        (_, Transition::ToUnknown, _) => "becomes unknown",
        (OutputTransition::EnableHigh | OutputTransition::EnableLow | OutputTransition::EnableToUnknown, ..) => {
            "takes over"
        }
        (OutputTransition::DisableHigh | OutputTransition::DisableLow, ..) => "lets go",
        (_, Transition::Rise, ArcKind::Latch(_)) => "rises, latch open",
        (_, Transition::Fall, ArcKind::Latch(_)) => "falls, latch open",
        (_, Transition::Rise, _) => "rises",
        (_, Transition::Fall, _) => "falls",
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
pub(super) fn histogram(findings: &[Finding]) -> Vec<Bin> {
    let (Some(least), Some(most)) =
        (findings.iter().map(|it| it.slack.ps()).min(), findings.iter().map(|it| it.slack.ps()).max())
    else {
        return Vec::new();
    };
    const BINS: i64 = 16;
    // A few that have all the time in the world must not hide the others: they stand together in the last bin.
    let mut slacks: Vec<i64> = findings.iter().map(|finding| finding.slack.ps()).collect();
    slacks.sort_unstable();
    let usual = slacks[slacks.len() * 3 / 4];
    let wanted = (usual.saturating_sub(least) / BINS).max(1);
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
        .map(|at| Bin { from: Time::from_ps(at * width), to: Time::from_ps((at + 1).saturating_mul(width)), count: 0 })
        .collect();
    for finding in findings {
        let at = (finding.slack.ps().div_euclid(width) - first) as usize;
        let last = bins.len() - 1;
        bins[at.min(last)].count += 1;
    }
    if let Some(bin) = bins.last_mut() {
        bin.to = bin.to.max(Time::from_ps(most.saturating_add(1)));
    }
    bins
}
