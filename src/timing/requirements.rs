//! What the sheets ask for at the places where clocks and data meet.

use super::checks::{Check, Checks, Kind, Scene, Separation};
use super::clock_pins::signal_inputs;
use super::graph::{Graph, Node, TRANSITIONS, Transition};
use super::shape::bits;
use crate::circuit::ChipKey;
use crate::delay::opposite;
use crate::part::Edge;
use crate::part::function::structure::{Dependency, Structure};
use crate::part::sheet::{CheckKind, Signal};
use crate::quantity::Time;
use crate::text::Span;

/// A row of a sheet at a chip.
#[derive(Clone, Copy)]
struct Row {
    chip: ChipKey,
    signal: Signal,
    /// In picoseconds.
    least: Time,
    span: Span,
}

/// Which moves of an input a requirement speaks of.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Which {
    All,
    Releases,
    Asserts,
}

impl Checks {
    /// Collects what the sheets ask of a machine's chips.
    pub(super) fn requirements(&mut self, scene: &Scene<'_, '_>) {
        for (chip, row) in scene.graph.circuit.chips.iter() {
            if row.fed {
                self.requirements_of(scene, chip);
            }
        }
    }

    fn requirements_of(&mut self, scene: &Scene<'_, '_>, chip: ChipKey) {
        let Some((_, delays)) = scene.graph.delays.of(chip) else {
            return;
        };
        for requirement in delays.requirements() {
            let row = Row { chip, signal: requirement.signal, least: requirement.least, span: requirement.span };
            let mut window = |kind, before, which, reference, edge| {
                self.window(scene, row, (kind, before), which, (reference, edge));
            };
            match requirement.kind {
                CheckKind::Setup(reference, edge) => {
                    window(Kind::Setup, true, Which::All, reference, edge);
                }
                CheckKind::Hold(reference, edge) => {
                    window(Kind::Hold, false, Which::All, reference, edge);
                }
                CheckKind::Recovery(reference, edge) => {
                    window(Kind::Recovery, true, Which::Releases, reference, edge);
                }
                CheckKind::Select(reference, edge) => {
                    window(Kind::Setup, true, Which::Asserts, reference, edge);
                }
                CheckKind::Stable(reference) => {
                    window(Kind::Stable, true, Which::All, reference, Edge::Rise);
                    window(Kind::Stable, false, Which::All, reference, Edge::Fall);
                }
                CheckKind::Width(high) => {
                    let edge = if high { Edge::Rise } else { Edge::Fall };
                    self.width(scene, row, edge);
                }
                CheckKind::Period => self.rate(scene, row),
            }
        }
    }

    /// Data that must be there before an edge of a reference, or stay behind it.
    fn window(
        &mut self,
        scene: &Scene<'_, '_>,
        row: Row,
        (kind, before): (Kind, bool),
        which: Which,
        (reference, edge): (Signal, Edge),
    ) {
        let (graph, chip) = (scene.graph, row.chip);
        let own = signal_inputs(graph, chip, reference);
        // An edge that never comes asks for nothing.
        if own == 0 {
            return;
        }
        let rows = reference_latencies(scene, chip, reference, edge);
        let begins = if kind == Kind::Stable && !before {
            reference_latencies(scene, chip, reference, opposite(edge))
        } else {
            Vec::new()
        };
        // A select makes the end of a write that it begins as well.
        let own = if which == Which::Asserts { 0 } else { own };
        let matters = mattering(&graph.constants.structure(chip));
        let inputs = signal_inputs(graph, chip, row.signal);
        for input in bits(inputs & !own & matters) {
            let Some(net) = graph.input_net(chip, input) else {
                continue;
            };
            if rows.is_empty() {
                self.unchecked += 1;
                continue;
            }
            let data = match (which, released(graph, chip, input)) {
                (Which::Releases, release) => vec![Node::of(net, release)],
                (Which::Asserts, Transition::Rise) => vec![Node::of(net, Transition::Fall)],
                (Which::Asserts, _) => vec![Node::of(net, Transition::Rise)],
                (Which::All, _) => TRANSITIONS.map(|what| Node::of(net, what)).to_vec(),
            };
            self.checks.push(Check {
                kind,
                before,
                chip,
                input: input as u8,
                data,
                latencies: rows.clone(),
                begins: begins.clone(),
                least: row.least,
                span: Some(row.span),
            });
        }
    }

    fn width(&mut self, scene: &Scene<'_, '_>, Row { chip, signal, least, span }: Row, edge: Edge) {
        let Scene { graph, clocks, latencies } = *scene;
        let before = self.separations.len();
        for input in bits(signal_inputs(graph, chip, signal)) {
            let of = |edge| latencies_of(scene, chip, signal, input, edge);
            let (begins, ends) = (of(edge), of(opposite(edge)));
            for &begin in &begins {
                for &end in &ends {
                    let (a, b) = (latencies.row(begin).clock_edge, latencies.row(end).clock_edge);
                    if clocks.make_pulse(a, b) {
                        self.separations.push(Separation {
                            kind: Kind::Width,
                            chip,
                            input: input as u8,
                            high: edge == Edge::Rise,
                            latencies: (begin, end),
                            least,
                            span: Some(span),
                        });
                    }
                }
            }
        }
        if before == self.separations.len() && least > Time::ZERO {
            self.unchecked += usize::from(signal_changes(graph, chip, signal));
        }
    }

    fn rate(&mut self, scene: &Scene<'_, '_>, Row { chip, signal, least, span }: Row) {
        let Scene { graph, clocks, latencies } = *scene;
        let before = self.separations.len();
        for input in bits(signal_inputs(graph, chip, signal)) {
            let rows = latencies_of(scene, chip, signal, input, Edge::Rise);
            for &row in &rows {
                for &next in &rows {
                    let (a, b) = (latencies.row(row).clock_edge.0, latencies.row(next).clock_edge.0);
                    if row == next || clocks.takes_turns(a, b) {
                        self.separations.push(Separation {
                            kind: Kind::Rate,
                            chip,
                            input: input as u8,
                            high: true,
                            latencies: (row, next),
                            least,
                            span: Some(span),
                        });
                    }
                }
            }
        }
        if before == self.separations.len() && least > Time::ZERO {
            self.unchecked += usize::from(signal_changes(graph, chip, signal));
        }
    }
}

/// Inputs that what a part stores can depend on.
fn mattering(structure: &Structure) -> u64 {
    let mut inputs = 0;
    for rule in &structure.clocked {
        inputs |= rule.by.inputs.all();
        inputs |= rule.stores.iter().fold(0, |all, stored| all | stored.data.inputs.all());
        if rule.writes {
            return u64::MAX;
        }
    }
    for rule in &structure.gated {
        inputs |= rule.condition.inputs.all();
        inputs |= rule.stores.iter().fold(0, |all, stored| all | stored.data.inputs.all());
        inputs |= rule.writes.map_or(0, |writes| writes.inputs.all());
    }
    inputs
}

/// The move that ends an asynchronous input: active-low pins are released when high, all others when low.
fn released(graph: &Graph<'_>, chip: ChipKey, input: usize) -> Transition {
    let part = &graph.circuit.chips[chip].part;
    let name = &part.pins[part.function.inputs[input]].name;
    if name.starts_with('/') { Transition::Rise } else { Transition::Fall }
}

fn signal_changes(graph: &Graph<'_>, chip: ChipKey, signal: Signal) -> bool {
    bits(signal_inputs(graph, chip, signal)).any(|input| graph.input_net(chip, input).is_some())
}

/// The moments at which one input makes an edge of a signal.
fn latencies_of(scene: &Scene<'_, '_>, chip: ChipKey, signal: Signal, input: usize, edge: Edge) -> Vec<u32> {
    let Scene { graph, clocks, latencies } = *scene;
    let Some(net) = graph.input_net(chip, input) else {
        return Vec::new();
    };
    let structure = graph.constants.structure(chip);
    let part = &graph.circuit.chips[chip].part;
    let influence = structure.moves(signal);
    let mut rows = Vec::new();
    for (what, rise) in [(Transition::Rise, true), (Transition::Fall, false)] {
        let makes = |influence: Dependency| {
            let (rises, falls) = influence.moved(input, rise);
            if edge == Edge::Rise { rises } else { falls }
        };
        let passes = |row: &u32| {
            let clock_edge = latencies.row(*row).clock_edge;
            let word = clocks.inputs_at(graph, chip, influence.inputs.all(), input, clock_edge);
            word.is_none_or(|word| makes(structure.with(&part.function, word).moves(signal)))
        };
        if makes(influence) {
            let here = latencies.at(Node::of(net, what)).iter();
            rows.extend(here.copied().filter(passes));
        }
    }
    rows
}

/// The moments at which a clock makes an edge of a signal.
fn reference_latencies(scene: &Scene<'_, '_>, chip: ChipKey, signal: Signal, edge: Edge) -> Vec<u32> {
    let inputs = bits(signal_inputs(scene.graph, chip, signal));
    inputs.flat_map(|input| latencies_of(scene, chip, signal, input, edge)).collect()
}
