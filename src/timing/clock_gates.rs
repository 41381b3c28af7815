//! Gates of clocks: what must hold where a clock meets other signals, or another clock.

use super::checks::{Check, Checks, Kind, Scene, Separation};
use super::clock_pins::ClockPin;
use super::clocks::ClockKey;
use super::graph::{ArcKind, Graph, Node, TRANSITIONS, Transition};
use super::phases::leading;
use super::shape::{bits, fixed};
use crate::circuit::ChipKey;
use crate::part::function::structure::Dependency;
use crate::part::sheet::Signal;
use crate::quantity::Time;

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
    /// Collects what the gates of clocks ask for.
    pub(super) fn gates(&mut self, scene: &Scene<'_, '_>) {
        let Scene { graph, clocks, .. } = *scene;
        let leads = leading(graph, &clocks.clock_pins);
        for (chip, row) in graph.circuit.chips.iter().filter(|(_, chip)| chip.fed) {
            for output in 0..row.part.function.outputs.len() {
                let net = graph.output_net(chip, output);
                let to_clock = net.is_some_and(|net| leads.contains(&net) && !clocks.begins.contains_key(&net));
                if to_clock {
                    let inputs = graph.constants.structure(chip).values[output].inputs.all();
                    self.gate(scene, chip, Target::Output(output as u8), inputs);
                    self.whole_pulses(scene, chip, output as u8);
                }
            }
        }
        for clock_pin in &clocks.clock_pins {
            if clock_pin.inputs.count_ones() > 1 {
                let target = inner(graph, clock_pin);
                self.gate(scene, clock_pin.chip, target, clock_pin.inputs);
            }
        }
        self.met.sort_unstable();
        self.met.dedup();
    }

    /// Other signals that meet a clock must stand still while the clock lets them through, and clocks that meet must
    /// keep their order.
    fn gate(&mut self, scene: &Scene<'_, '_>, chip: ChipKey, target: Target, inputs: u64) {
        let Scene { graph, clocks, .. } = *scene;
        let carries = |input: &usize| graph.input_net(chip, *input).is_some_and(|net| clocks.carries(net));
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
    fn clocks_meet(&mut self, scene: &Scene<'_, '_>, gate: (ChipKey, Target), one: usize, other: usize) {
        let Scene { graph, clocks, .. } = *scene;
        let trace = |input: usize| clocks.trace(graph, graph.input_net(gate.0, input)?).map(|found| found.0);
        let (first, second) = (trace(one), trace(other));
        let ordered = match (first, second) {
            (_, Some(clock)) if self.keep_order(scene, gate.0, one, (other, clock)) => true,
            (Some(clock), _) => self.keep_order(scene, gate.0, other, (one, clock)),
            _ => false,
        };
        match (first, second) {
            _ if ordered => {}
            // One that moves because the other does is to stand still while that lets it through.
            (Some(a), Some(b)) if clocks.comes_from(b, a) => self.stand_still(scene, gate, one, other),
            (Some(a), Some(b)) if clocks.comes_from(a, b) => self.stand_still(scene, gate, other, one),
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
        let Scene { graph, clocks, latencies } = *scene;
        let at = |input: usize| -> Vec<u32> {
            let net = graph.input_net(chip, input).into_iter();
            let points = net.flat_map(|net| [Transition::Rise, Transition::Fall].map(|edge| Node::of(net, edge)));
            points.flat_map(|point| latencies.at(point).iter().copied()).collect()
        };
        let (rows, others) = (at(one), at(other));
        let known = |row: &u32| clocks.takes_turns(latencies.row(*row).clock_edge.0, clock);
        if rows.is_empty() || !rows.iter().all(known) {
            return false;
        }
        for &row in &rows {
            for &second in &others {
                for (input, latencies) in [(other, (row, second)), (one, (second, row))] {
                    self.separations.push(Separation {
                        kind: Kind::Gate,
                        chip,
                        input: input as u8,
                        high: true,
                        latencies,
                        least: Time::ZERO,
                        span: None,
                    });
                }
            }
        }
        true
    }

    /// A gate has followed one edge of a clock before the next one comes: else it swallows the pulse.
    fn whole_pulses(&mut self, scene: &Scene<'_, '_>, chip: ChipKey, output: u8) {
        let Scene { graph, clocks, latencies } = *scene;
        let Some(net) = graph.output_net(chip, output.into()) else {
            return;
        };
        for (edge, back) in [(Transition::Rise, Transition::Fall), (Transition::Fall, Transition::Rise)] {
            let firsts = latencies.at(Node::of(net, edge));
            let arcs = graph.entering(Node::of(net, back)).iter();
            let arcs = arcs
                .map(|&key| &graph.arcs[key])
                .filter(|arc| (arc.chip, arc.output) == (chip, output) && arc.kind == ArcKind::Logic);
            for arc in arcs {
                for &second in latencies.at(arc.from) {
                    let clock_edge = latencies.row(second).clock_edge;
                    let passes = clocks.lets_through(graph, arc, clock_edge);
                    let firsts = firsts
                        .iter()
                        .filter(|&&first| passes && clocks.make_pulse(latencies.row(first).clock_edge, clock_edge));
                    self.separations.extend(firsts.map(|&first| Separation {
                        kind: Kind::Whole,
                        chip,
                        input: arc.input,
                        high: edge == Transition::Rise,
                        latencies: (first, second),
                        least: Time::ZERO,
                        span: None,
                    }));
                }
            }
        }
    }

    /// An input of a gate must not move while a clock at another one lets it through.
    fn stand_still(&mut self, scene: &Scene<'_, '_>, (chip, target): (ChipKey, Target), clock: usize, input: usize) {
        let Scene { graph, latencies, .. } = *scene;
        let (Some(data), Some(clock_spot)) = (graph.input_net(chip, input), graph.input_net(chip, clock)) else {
            return;
        };
        let Some(blocks) = blocking(graph, chip, target, clock, input) else {
            if !self.open_gates.contains(&(chip, input as u8)) {
                self.open_gates.push((chip, input as u8));
            }
            return;
        };
        let (opens, closes) =
            if blocks { (Transition::Fall, Transition::Rise) } else { (Transition::Rise, Transition::Fall) };
        for (before, edge) in [(true, opens), (false, closes)] {
            let begins = if before { &[] } else { latencies.at(Node::of(clock_spot, opens)) };
            let rows = latencies.at(Node::of(clock_spot, edge));
            if !rows.is_empty() {
                self.checks.push(Check {
                    kind: Kind::Gate,
                    before,
                    chip,
                    input: input as u8,
                    data: TRANSITIONS.map(|what| Node::of(data, what)).to_vec(),
                    latencies: rows.to_vec(),
                    begins: begins.to_vec(),
                    least: Time::ZERO,
                    span: None,
                });
            }
        }
    }
}

/// The signal in a chip that the inputs of a gateway make.
fn inner(graph: &Graph<'_>, clock_pin: &ClockPin) -> Target {
    let structure = graph.constants.structure(clock_pin.chip);
    let covers = |influence: &Dependency| influence.inputs.all() & clock_pin.inputs == clock_pin.inputs;
    if let Some(node) = structure.nodes.iter().position(covers) {
        return Target::Inner(Signal::Node(node));
    }
    let condition = structure.gated.iter().position(|rule| covers(&rule.condition));
    Target::Condition(condition.unwrap_or(0))
}

/// The level of a clock at which another input has no say; `None` when it always has.
fn blocking(graph: &Graph<'_>, chip: ChipKey, target: Target, clock: usize, input: usize) -> Option<bool> {
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
                    _ => Dependency::default(),
                }
            }
        };
        influence.inputs.all() >> input & 1 == 0
    })
}
