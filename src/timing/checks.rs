//! What must hold: the requirements of the sheets at the places where clocks and data meet, and the gates of clocks.

use super::clocks::{ClockKey, Clocks};
use super::gateways::{Gateway, signal_inputs};
use super::graph::{Graph, Move, Point, Through};
use super::moments::Moments;
use super::phases::leading;
use super::shape::{bits, fixed};
use crate::circuit::ChipKey;
use crate::delay::opposite;
use crate::part::Edge;
use crate::part::function::structure::{Influence, Structure};
use crate::part::sheet::{CheckKind, Signal};
use crate::text::Span;

/// The kind of a check.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// Data is there before an edge.
    Setup,
    /// Data stays behind an edge.
    Hold,
    /// A clear or set has ended before an edge.
    Recovery,
    /// Data does not move while a signal is active.
    Stable,
    /// A gate lets whole clock pulses through.
    Gate,
    /// A pulse of a clock is longer than a gate takes to follow.
    Whole,
    /// A pulse of a clock is wide enough.
    Width,
    /// The edges of a clock are far enough apart.
    Rate,
}

impl Kind {
    /// All of them.
    pub const ALL: [Kind; 8] = [
        Kind::Setup,
        Kind::Hold,
        Kind::Recovery,
        Kind::Stable,
        Kind::Gate,
        Kind::Whole,
        Kind::Width,
        Kind::Rate,
    ];

    /// The word for a report.
    pub fn word(self) -> &'static str {
        match self {
            Kind::Setup => "setup",
            Kind::Hold => "hold",
            Kind::Recovery => "recovery",
            Kind::Stable => "stability",
            Kind::Gate => "clock gate",
            Kind::Whole => "whole pulse",
            Kind::Width => "pulse width",
            Kind::Rate => "rate",
        }
    }
}

/// Data that must be there at a clock's moment, or stay behind it.
#[derive(Clone, Debug)]
pub struct Check {
    /// What it is.
    pub kind: Kind,
    /// True when the data must be there before the moment; false when it must stay behind it.
    pub before: bool,
    /// The chip.
    pub chip: ChipKey,
    /// The input with the data.
    pub input: u8,
    /// The moves of the data that count.
    pub data: Vec<Point>,
    /// The moments that it is compared with, as rows of the moments.
    pub moments: Vec<u32>,
    /// For data that must not move from one moment to another: the moments that begin it, as the others end it.
    pub begins: Vec<u32>,
    /// So long before or behind, in picoseconds.
    pub least: i64,
    /// The row of the sheet; `None` for a gate.
    pub span: Option<Span>,
}

/// Two moments of one clock that must be apart.
#[derive(Clone, Debug)]
pub struct Apart {
    /// What it is: a width or a rate.
    pub kind: Kind,
    /// The chip.
    pub chip: ChipKey,
    /// The input.
    pub input: u8,
    /// True for the width of high pulses.
    pub high: bool,
    /// The first moment and the second.
    pub moments: (u32, u32),
    /// So far, in picoseconds.
    pub least: i64,
    /// The row of the sheet; `None` for a gate.
    pub span: Option<Span>,
}

/// Everything that must hold.
#[derive(Debug, Default)]
pub struct Checks {
    /// Data against clocks.
    pub checks: Vec<Check>,
    /// Clocks against themselves.
    pub aparts: Vec<Apart>,
    /// Gates of clocks that neither level of the clock blocks: chip, output bit or none for the chip's own, input.
    pub open_gates: Vec<(ChipKey, u8)>,
    /// Gates in which clocks meet of which it is not known what the one is while the other moves.
    pub met: Vec<(ChipKey, u8)>,
    /// Requirements that no clock reaches, or whose pulses do not come from a clock.
    pub unjudged: usize,
}

/// What is looked at.
#[derive(Clone, Copy)]
struct Scene<'s, 'c> {
    graph: &'s Graph<'c>,
    clocks: &'s Clocks,
    moments: &'s Moments,
}

/// Where a clock and other signals meet.
#[derive(Clone, Copy, Debug)]
enum Target {
    /// An output of a gate.
    Output(u8),
    /// A signal inside a chip.
    Inner(Signal),
    /// The condition of a latch.
    Condition(usize),
}

impl Checks {
    /// Collects everything that must hold.
    pub fn new(graph: &Graph<'_>, clocks: &Clocks, moments: &Moments) -> Checks {
        let mut checks = Checks::default();
        let scene = &Scene {
            graph,
            clocks,
            moments,
        };
        let fed = || graph.circuit.chips.iter().filter(|(_, chip)| chip.fed);
        for (chip, _) in fed() {
            checks.requirements(scene, chip);
        }
        let leads = leading(graph, &clocks.gateways);
        for (chip, row) in fed() {
            for output in 0..row.part.function.outputs.len() {
                let spot = graph.output_spot(chip, output);
                let to_clock = spot.is_some_and(|spot| {
                    leads.contains(&spot) && !clocks.begins.contains_key(&spot)
                });
                if to_clock {
                    let inputs = graph.constants.structure(chip).values[output].inputs.all();
                    checks.gate(scene, chip, Target::Output(output as u8), inputs);
                    checks.whole_pulses(scene, chip, output as u8);
                }
            }
        }
        for gateway in &clocks.gateways {
            if gateway.inputs.count_ones() > 1 {
                let target = inner(graph, gateway);
                checks.gate(scene, gateway.chip, target, gateway.inputs);
            }
        }
        checks.met.sort_unstable();
        checks.met.dedup();
        checks
    }

    fn requirements(&mut self, scene: &Scene<'_, '_>, chip: ChipKey) {
        let graph = scene.graph;
        let Some((_, delays)) = graph.delays.of(chip) else {
            return;
        };
        let structure = graph.constants.structure(chip);
        let matters = mattering(&structure);
        for requirement in delays.requirements() {
            let least = requirement.least.ps();
            let span = requirement.span;
            let mut add = |kind: Kind,
                           before: bool,
                           inputs: u64,
                           which: Which,
                           reference: Signal,
                           edge: Edge| {
                let rows = reference_moments(scene, chip, reference, edge);
                let begins = if kind == Kind::Stable && !before {
                    reference_moments(scene, chip, reference, opposite(edge))
                } else {
                    Vec::new()
                };
                let own = signal_inputs(graph, chip, reference);
                // A select makes the end of a write that it begins as well.
                let own = if which == Which::Asserts { 0 } else { own };
                // An edge that never comes asks for nothing.
                if signal_inputs(graph, chip, reference) == 0 {
                    return;
                }
                for input in bits(inputs & !own & matters) {
                    let Some(spot) = graph.input_spot(chip, input) else {
                        continue;
                    };
                    if rows.is_empty() {
                        self.unjudged += 1;
                        continue;
                    }
                    self.checks.push(Check {
                        kind,
                        before,
                        chip,
                        input: input as u8,
                        data: match (which, released(graph, chip, input)) {
                            (Which::Releases, release) => vec![Point::of(spot, release)],
                            (Which::Asserts, Move::Rise) => vec![Point::of(spot, Move::Fall)],
                            (Which::Asserts, _) => vec![Point::of(spot, Move::Rise)],
                            (Which::All, _) => super::graph::MOVES
                                .map(|what| Point::of(spot, what))
                                .to_vec(),
                        },
                        moments: rows.clone(),
                        begins: begins.clone(),
                        least,
                        span: Some(span),
                    });
                }
            };
            let inputs = signal_inputs(graph, chip, requirement.signal);
            match requirement.kind {
                CheckKind::Setup(reference, edge) => {
                    add(Kind::Setup, true, inputs, Which::All, reference, edge)
                }
                CheckKind::Hold(reference, edge) => {
                    add(Kind::Hold, false, inputs, Which::All, reference, edge)
                }
                CheckKind::Recovery(reference, edge) => {
                    add(
                        Kind::Recovery,
                        true,
                        inputs,
                        Which::Releases,
                        reference,
                        edge,
                    );
                }
                CheckKind::Select(reference, edge) => {
                    add(Kind::Setup, true, inputs, Which::Asserts, reference, edge);
                }
                CheckKind::Stable(reference) => {
                    add(
                        Kind::Stable,
                        true,
                        inputs,
                        Which::All,
                        reference,
                        Edge::Rise,
                    );
                    add(
                        Kind::Stable,
                        false,
                        inputs,
                        Which::All,
                        reference,
                        Edge::Fall,
                    );
                }
                CheckKind::Width(high) => {
                    let edge = if high { Edge::Rise } else { Edge::Fall };
                    self.width(scene, (chip, requirement.signal, edge), least, span);
                }
                CheckKind::Period => self.rate(scene, (chip, requirement.signal), least, span),
            }
        }
    }

    fn width(
        &mut self,
        scene: &Scene<'_, '_>,
        (chip, signal, edge): (ChipKey, Signal, Edge),
        least: i64,
        span: Span,
    ) {
        let Scene {
            graph,
            clocks,
            moments,
        } = *scene;
        let before = self.aparts.len();
        for input in bits(signal_inputs(graph, chip, signal)) {
            let of = |edge| moments_of(scene, chip, signal, input, edge);
            let (begins, ends) = (of(edge), of(opposite(edge)));
            for &begin in &begins {
                for &end in &ends {
                    let (a, b) = (moments.row(begin).tag, moments.row(end).tag);
                    if clocks.make_pulse(a, b) {
                        self.aparts.push(Apart {
                            kind: Kind::Width,
                            chip,
                            input: input as u8,
                            high: edge == Edge::Rise,
                            moments: (begin, end),
                            least,
                            span: Some(span),
                        });
                    }
                }
            }
        }
        if before == self.aparts.len() && least > 0 {
            self.unjudged += usize::from(signal_moves(graph, chip, signal));
        }
    }

    fn rate(
        &mut self,
        scene: &Scene<'_, '_>,
        (chip, signal): (ChipKey, Signal),
        least: i64,
        span: Span,
    ) {
        let Scene {
            graph,
            clocks,
            moments,
        } = *scene;
        let before = self.aparts.len();
        for input in bits(signal_inputs(graph, chip, signal)) {
            let rows = moments_of(scene, chip, signal, input, Edge::Rise);
            for &row in &rows {
                for &next in &rows {
                    let (a, b) = (moments.row(row).tag.0, moments.row(next).tag.0);
                    if row == next || clocks.takes_turns(a, b) {
                        self.aparts.push(Apart {
                            kind: Kind::Rate,
                            chip,
                            input: input as u8,
                            high: true,
                            moments: (row, next),
                            least,
                            span: Some(span),
                        });
                    }
                }
            }
        }
        if before == self.aparts.len() && least > 0 {
            self.unjudged += usize::from(signal_moves(graph, chip, signal));
        }
    }

    /// Other signals that meet a clock must stand still while the clock lets them through, and clocks that meet must
    /// keep their order.
    fn gate(&mut self, scene: &Scene<'_, '_>, chip: ChipKey, target: Target, inputs: u64) {
        let Scene { graph, clocks, .. } = *scene;
        let carries = |input: &usize| {
            graph
                .input_spot(chip, *input)
                .is_some_and(|spot| clocks.carries(spot))
        };
        let (clock_inputs, others): (Vec<usize>, Vec<usize>) = bits(inputs).partition(carries);
        for &clock in &clock_inputs {
            for &input in &others {
                self.stand_still(scene, (chip, target), clock, input);
            }
        }
        for (at, &one) in clock_inputs.iter().enumerate() {
            for &other in &clock_inputs[at + 1..] {
                self.clocks_meet(scene, (chip, target), one, other);
            }
        }
    }

    /// Two inputs of a gate that clocks come to.
    fn clocks_meet(
        &mut self,
        scene: &Scene<'_, '_>,
        gate: (ChipKey, Target),
        one: usize,
        other: usize,
    ) {
        let Scene { graph, clocks, .. } = *scene;
        let trace = |input: usize| {
            clocks
                .trace(graph, graph.input_spot(gate.0, input)?)
                .map(|found| found.0)
        };
        let (first, second) = (trace(one), trace(other));
        let ordered = match (first, second) {
            (_, Some(clock)) if self.keep_order(scene, gate.0, one, (other, clock)) => true,
            (Some(clock), _) => self.keep_order(scene, gate.0, other, (one, clock)),
            _ => false,
        };
        match (first, second) {
            _ if ordered => {}
            // One that moves because the other does is to stand still while that lets it through.
            (Some(a), Some(b)) if clocks.comes_from(b, a) => {
                self.stand_still(scene, gate, one, other)
            }
            (Some(a), Some(b)) if clocks.comes_from(a, b) => {
                self.stand_still(scene, gate, other, one)
            }
            _ => self.met.push((gate.0, other as u8)),
        }
    }

    /// The edges at one input of a gate and those of the clock that another one follows come in the order in which they
    /// are made. False when that is not known of all of them.
    fn keep_order(
        &mut self,
        scene: &Scene<'_, '_>,
        chip: ChipKey,
        one: usize,
        (other, clock): (usize, ClockKey),
    ) -> bool {
        let Scene {
            graph,
            clocks,
            moments,
        } = *scene;
        let at = |input: usize| -> Vec<u32> {
            let spot = graph.input_spot(chip, input).into_iter();
            let points =
                spot.flat_map(|spot| [Move::Rise, Move::Fall].map(|edge| Point::of(spot, edge)));
            points
                .flat_map(|point| moments.at(point).iter().copied())
                .collect()
        };
        let (rows, others) = (at(one), at(other));
        let known = |row: &u32| clocks.takes_turns(moments.row(*row).tag.0, clock);
        if rows.is_empty() || !rows.iter().all(known) {
            return false;
        }
        for &row in &rows {
            for &second in &others {
                for (input, moments) in [(other, (row, second)), (one, (second, row))] {
                    self.aparts.push(Apart {
                        kind: Kind::Gate,
                        chip,
                        input: input as u8,
                        high: true,
                        moments,
                        least: 0,
                        span: None,
                    });
                }
            }
        }
        true
    }

    /// A gate has followed one edge of a clock before the next one comes: else it swallows the pulse.
    fn whole_pulses(&mut self, scene: &Scene<'_, '_>, chip: ChipKey, output: u8) {
        let Scene {
            graph,
            clocks,
            moments,
        } = *scene;
        let Some(spot) = graph.output_spot(chip, output.into()) else {
            return;
        };
        for (edge, back) in [(Move::Rise, Move::Fall), (Move::Fall, Move::Rise)] {
            let firsts = moments.at(Point::of(spot, edge));
            let arcs = graph.entering(Point::of(spot, back)).iter();
            let arcs = arcs.map(|&key| &graph.arcs[key]).filter(|arc| {
                (arc.chip, arc.output) == (chip, output) && arc.through == Through::Logic
            });
            for arc in arcs {
                for &second in moments.at(arc.from) {
                    let tag = moments.row(second).tag;
                    let passes = clocks.lets_through(graph, arc, tag);
                    let firsts = firsts
                        .iter()
                        .filter(|&&first| passes && clocks.make_pulse(moments.row(first).tag, tag));
                    self.aparts.extend(firsts.map(|&first| Apart {
                        kind: Kind::Whole,
                        chip,
                        input: arc.input,
                        high: edge == Move::Rise,
                        moments: (first, second),
                        least: 0,
                        span: None,
                    }));
                }
            }
        }
    }

    /// An input of a gate must not move while a clock at another one lets it through.
    fn stand_still(
        &mut self,
        scene: &Scene<'_, '_>,
        (chip, target): (ChipKey, Target),
        clock: usize,
        input: usize,
    ) {
        let Scene { graph, moments, .. } = *scene;
        let (Some(data), Some(clock_spot)) =
            (graph.input_spot(chip, input), graph.input_spot(chip, clock))
        else {
            return;
        };
        let Some(blocks) = blocking(graph, chip, target, clock, input) else {
            if !self.open_gates.contains(&(chip, input as u8)) {
                self.open_gates.push((chip, input as u8));
            }
            return;
        };
        let (opens, closes) = if blocks {
            (Move::Fall, Move::Rise)
        } else {
            (Move::Rise, Move::Fall)
        };
        for (before, edge) in [(true, opens), (false, closes)] {
            let begins = if before {
                &[]
            } else {
                moments.at(Point::of(clock_spot, opens))
            };
            let rows = moments.at(Point::of(clock_spot, edge));
            if !rows.is_empty() {
                self.checks.push(Check {
                    kind: Kind::Gate,
                    before,
                    chip,
                    input: input as u8,
                    data: super::graph::MOVES
                        .map(|what| Point::of(data, what))
                        .to_vec(),
                    moments: rows.to_vec(),
                    begins: begins.to_vec(),
                    least: 0,
                    span: None,
                });
            }
        }
    }
}

/// Inputs that what a part stores can depend on.
fn mattering(structure: &Structure) -> u64 {
    let mut inputs = 0;
    for rule in &structure.clocked {
        inputs |= rule.by.inputs.all();
        inputs |= rule
            .stores
            .iter()
            .fold(0, |all, stored| all | stored.data.inputs.all());
        if rule.writes {
            return u64::MAX;
        }
    }
    for rule in &structure.gated {
        inputs |= rule.condition.inputs.all();
        inputs |= rule
            .stores
            .iter()
            .fold(0, |all, stored| all | stored.data.inputs.all());
        inputs |= rule.writes.map_or(0, |writes| writes.inputs.all());
    }
    inputs
}

/// The move that ends an asynchronous input: active-low pins are released when high, all others when low.
/// Which moves of an input a requirement speaks of.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Which {
    All,
    Releases,
    Asserts,
}

fn released(graph: &Graph<'_>, chip: ChipKey, input: usize) -> Move {
    let part = &graph.circuit.chips[chip].part;
    let name = &part.pins[part.function.inputs[input]].name;
    if name.starts_with('/') {
        Move::Rise
    } else {
        Move::Fall
    }
}

fn signal_moves(graph: &Graph<'_>, chip: ChipKey, signal: Signal) -> bool {
    bits(signal_inputs(graph, chip, signal)).any(|input| graph.input_spot(chip, input).is_some())
}

/// The moments at which one input makes an edge of a signal.
fn moments_of(
    scene: &Scene<'_, '_>,
    chip: ChipKey,
    signal: Signal,
    input: usize,
    edge: Edge,
) -> Vec<u32> {
    let Scene {
        graph,
        clocks,
        moments,
    } = *scene;
    let Some(spot) = graph.input_spot(chip, input) else {
        return Vec::new();
    };
    let structure = graph.constants.structure(chip);
    let part = &graph.circuit.chips[chip].part;
    let influence = structure.moves(signal);
    let mut rows = Vec::new();
    for (what, rise) in [(Move::Rise, true), (Move::Fall, false)] {
        let makes = |influence: Influence| {
            let (rises, falls) = influence.moved(input, rise);
            if edge == Edge::Rise { rises } else { falls }
        };
        let passes = |row: &u32| {
            let tag = moments.row(*row).tag;
            let word = clocks.inputs_at(graph, chip, influence.inputs.all(), input, tag);
            word.is_none_or(|word| makes(structure.with(&part.function, word).moves(signal)))
        };
        if makes(influence) {
            let here = moments.at(Point::of(spot, what)).iter();
            rows.extend(here.copied().filter(passes));
        }
    }
    rows
}

/// The moments at which a clock makes an edge of a signal.
fn reference_moments(scene: &Scene<'_, '_>, chip: ChipKey, signal: Signal, edge: Edge) -> Vec<u32> {
    let inputs = bits(signal_inputs(scene.graph, chip, signal));
    inputs
        .flat_map(|input| moments_of(scene, chip, signal, input, edge))
        .collect()
}

/// The signal in a chip that the inputs of a gateway make.
fn inner(graph: &Graph<'_>, gateway: &Gateway) -> Target {
    let structure = graph.constants.structure(gateway.chip);
    let covers = |influence: &Influence| influence.inputs.all() & gateway.inputs == gateway.inputs;
    if let Some(node) = structure.nodes.iter().position(covers) {
        return Target::Inner(Signal::Node(node));
    }
    let condition = structure
        .gated
        .iter()
        .position(|rule| covers(&rule.condition));
    Target::Condition(condition.unwrap_or(0))
}

/// The level of a clock at which another input has no say; `None` when it always has.
fn blocking(
    graph: &Graph<'_>,
    chip: ChipKey,
    target: Target,
    clock: usize,
    input: usize,
) -> Option<bool> {
    let inputs = graph.constants.inputs(chip);
    let structure = graph.constants.structure(chip);
    let part = &graph.circuit.chips[chip].part;
    [false, true].into_iter().find(|&level| {
        let under = structure.with(&part.function, fixed(inputs, clock, level));
        let influence = match target {
            Target::Output(output) => under.values[usize::from(output)],
            Target::Inner(signal) => under.moves(signal),
            // A rule that cannot act any more is not there.
            Target::Condition(rule) => {
                let same = structure.gated.len() == under.gated.len();
                match under.gated.get(rule) {
                    Some(gated) if same => gated.condition,
                    _ => Influence::default(),
                }
            }
        };
        influence.inputs.all() >> input & 1 == 0
    })
}
