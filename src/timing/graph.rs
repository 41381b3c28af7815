//! The graph: what moves what, and after how long.
//!
//! A [`TimingNet`] is all nets that have one level at any time: a net, with those that resistors and contacts join to it. A
//! [`Node`] is a move of a net: it rises, it falls, or it becomes unknown for a while. An [`Arc`] leads from a move of
//! an input to a move that it can cause at an output of the same chip.

use super::constants::Constants;
use super::delays::{Delays, wire};
use super::mutual_exclusion::MutualExclusions;
pub use super::node::{Arc, ArcKey, ArcKind, NetProperties, Node, TRANSITIONS, TimingNet, Transition};
use super::shape::CellArcs;
use crate::circuit::{ChipKey, Circuit, DiscreteKind, NetKey};
use crate::key::{Key, KeyVec};
use crate::part::PinIndex;
use rustc_hash::FxHashMap;
use std::rc::Rc;

/// The graph of a circuit.
#[derive(Debug)]
pub struct Graph<'c> {
    pub circuit: &'c Circuit,
    pub delays: Delays,
    pub timing_nets: KeyVec<TimingNet, NetProperties>,
    /// The timing net of each net; `None` for rails and nets that never move.
    pub timing_net_of: KeyVec<NetKey, Option<TimingNet>>,
    /// What never moves.
    pub constants: Constants,
    pub arcs: KeyVec<ArcKey, Arc>,
    /// What the arcs need.
    pub mutual_exclusions: MutualExclusions,
    leaving: Rows,
    entering: Rows,
}

/// Arcs by point.
#[derive(Debug, Default)]
struct Rows {
    first: Vec<u32>,
    arcs: Vec<ArcKey>,
}

impl Rows {
    fn new(points: usize, arcs: &KeyVec<ArcKey, Arc>, end: impl Fn(&Arc) -> Node) -> Rows {
        let mut first = vec![0u32; points + 1];
        for arc in arcs.values() {
            first[end(arc).index() + 1] += 1;
        }
        for at in 0..points {
            first[at + 1] += first[at];
        }
        let mut next = first.clone();
        let mut rows = vec![ArcKey::from_index(0); arcs.len()];
        for (key, arc) in arcs.iter() {
            let slot = &mut next[end(arc).index()];
            rows[*slot as usize] = key;
            *slot += 1;
        }
        Rows { first, arcs: rows }
    }

    fn of(&self, point: Node) -> &[ArcKey] {
        let at = point.index();
        &self.arcs[self.first[at] as usize..self.first[at + 1] as usize]
    }
}

impl<'c> Graph<'c> {
    /// The graph of a circuit with given delays.
    pub fn new(circuit: &'c Circuit, delays: Delays) -> Graph<'c> {
        let (mut timing_nets, mut timing_net_of) = timing_nets(circuit);
        let mut constants = Constants::new(circuit);
        constants.spread(circuit, &timing_nets, &timing_net_of);
        for net in circuit.nets.keys().filter(|&net| constants.level(net).is_some()) {
            timing_net_of[net] = None;
        }
        for (key, chip) in circuit.chips.iter().filter(|(_, chip)| chip.fed) {
            for (bit, &pin) in chip.part.function.outputs.iter().enumerate() {
                if let Some(net) = chip.nets[pin]
                    && let Some(timing_net) = timing_net_of[net]
                {
                    timing_nets[timing_net].drivers.push((key, bit as u8, net));
                }
            }
        }
        let mut graph = Graph {
            circuit,
            delays,
            timing_nets,
            timing_net_of,
            constants,
            arcs: KeyVec::new(),
            mutual_exclusions: MutualExclusions::default(),
            leaving: Rows::default(),
            entering: Rows::default(),
        };
        graph.add_arcs();
        let points = graph.timing_nets.len() * 3;
        graph.leaving = Rows::new(points, &graph.arcs, |arc| arc.from);
        graph.entering = Rows::new(points, &graph.arcs, |arc| arc.to);
        graph
    }

    fn add_arcs(&mut self) {
        let mut known: FxHashMap<_, Rc<Vec<CellArcs>>> = FxHashMap::default();
        let mut arcs = KeyVec::new();
        let mut mutual_exclusions = std::mem::take(&mut self.mutual_exclusions);
        for (key, chip) in self.circuit.chips.iter() {
            let Some((table, delays)) = self.delays.of(key) else {
                continue;
            };
            let inputs = self.constants.inputs(key);
            let alike = (std::sync::Arc::as_ptr(&chip.part), table, inputs);
            let templates = known
                .entry(alike)
                .or_insert_with(|| {
                    let structure = self.constants.structure(key);
                    Rc::new(CellArcs::all(&chip.part, delays, &structure, inputs))
                })
                .clone();
            for template in templates.iter() {
                let net = |pin: PinIndex| chip.nets[pin];
                let input = net(chip.part.function.inputs[template.input as usize]);
                let output = net(chip.part.function.outputs[template.output as usize]);
                let (Some(input), Some(output)) = (input, output) else {
                    continue;
                };
                let (Some(from), Some(to)) = (self.timing_net_of[input], self.timing_net_of[output]) else {
                    continue;
                };
                let wire = wire(self.circuit, output);
                let to_unknown = template.to == Transition::ToUnknown;
                let sensitisation = mutual_exclusions.sensitisation(self, key, &template.sensitisation);
                arcs.push(Arc {
                    from: Node::of(from, template.from),
                    to: Node::of(to, template.to),
                    chip: key,
                    input: template.input,
                    output: template.output,
                    kind: template.kind,
                    early: template.range.early.saturating_add(wire),
                    late: (!to_unknown && template.from != Transition::ToUnknown)
                        .then_some(template.range.late.saturating_add(wire)),
                    how: template.range.how,
                    sensitisation,
                });
            }
        }
        self.arcs = arcs;
        self.mutual_exclusions = mutual_exclusions;
    }

    /// Arcs that begin at a point.
    pub fn leaving(&self, point: Node) -> &[ArcKey] {
        self.leaving.of(point)
    }

    /// Arcs that end at a point.
    pub(crate) fn entering(&self, point: Node) -> &[ArcKey] {
        self.entering.of(point)
    }

    /// Arcs by which a net is made to rise or fall.
    pub(crate) fn entering_net(&self, timing_net: TimingNet) -> impl Iterator<Item = &Arc> {
        let points = [Transition::Rise, Transition::Fall].map(|edge| Node::of(timing_net, edge));
        let keys = points.into_iter().flat_map(|point| self.entering(point));
        keys.map(|&key| &self.arcs[key])
    }

    /// How many points there are.
    pub fn points(&self) -> usize {
        self.timing_nets.len() * 3
    }

    /// The net behind an input bit of a chip; `None` when nothing that moves is there.
    pub(crate) fn input_net(&self, chip: ChipKey, input: usize) -> Option<TimingNet> {
        let row = &self.circuit.chips[chip];
        let pin = *row.part.function.inputs.get(input)?;
        self.timing_net_of[row.nets[pin]?]
    }

    /// The net that an output bit of a chip drives.
    pub(crate) fn output_net(&self, chip: ChipKey, output: usize) -> Option<TimingNet> {
        let row = &self.circuit.chips[chip];
        let pin = *row.part.function.outputs.get(output)?;
        self.timing_net_of[row.nets[pin]?]
    }

    /// Its name: that of its first net.
    pub(crate) fn net_name(&self, timing_net: TimingNet) -> &str {
        let nets = &self.timing_nets[timing_net].nets;
        nets.first().map_or("", |&net| &self.circuit.nets[net].path)
    }
}

/// Joins nets that resistors and contacts join; rails stand apart.
fn timing_nets(circuit: &Circuit) -> (KeyVec<TimingNet, NetProperties>, KeyVec<NetKey, Option<TimingNet>>) {
    let mut root: Vec<usize> = (0..circuit.nets.len()).collect();
    fn find(root: &mut [usize], mut at: usize) -> usize {
        while root[at] != at {
            root[at] = root[root[at]];
            at = root[at];
        }
        at
    }
    let is_rail = |net: NetKey| circuit.nets[net].rail.is_some_and(|rail| rail.fed.is_some());
    for discrete in circuit.discretes.values() {
        let pairs: Vec<(usize, usize)> = match discrete.kind {
            DiscreteKind::Resistor(_) | DiscreteKind::Button | DiscreteKind::Switch => vec![(0, 1)],
            DiscreteKind::Network(_, true) => (1..discrete.nets.len()).map(|at| (0, at)).collect(),
            DiscreteKind::Network(_, false) => (0..discrete.nets.len() / 2).map(|at| (2 * at, 2 * at + 1)).collect(),
            DiscreteKind::Changeover => vec![(0, 1), (0, 2)],
            DiscreteKind::Capacitor(..) | DiscreteKind::Led(..) | DiscreteKind::TestPoint => {
                continue;
            }
        };
        for (a, b) in pairs {
            let pin = |at: usize| discrete.nets.get(at).copied().flatten();
            if let (Some(a), Some(b)) = (pin(a), pin(b))
                && !is_rail(a)
                && !is_rail(b)
            {
                let (a, b) = (find(&mut root, a.index()), find(&mut root, b.index()));
                // The net that was written first stands for all.
                root[a.max(b)] = a.min(b);
            }
        }
    }
    let mut timing_nets: KeyVec<TimingNet, NetProperties> = KeyVec::new();
    let mut timing_net_of: KeyVec<NetKey, Option<TimingNet>> = KeyVec::filled(circuit.nets.len(), None);
    for (net, row) in circuit.nets.iter() {
        let first = NetKey::from_index(find(&mut root, net.index()));
        let timing_net = match timing_net_of[first] {
            Some(timing_net) => timing_net,
            None => timing_nets.push(NetProperties::default()),
        };
        timing_net_of[net] = Some(timing_net);
        let place = &mut timing_nets[timing_net];
        place.nets.push(net);
        place.by_hand |= row.discrete_pins.iter().any(|&(discrete, _)| {
            matches!(
                circuit.discretes[discrete].kind,
                DiscreteKind::Button | DiscreteKind::Switch | DiscreteKind::Changeover | DiscreteKind::Capacitor(..)
            )
        });
        place.is_port |= row
            .connector_pins
            .iter()
            .any(|&(connector, pin)| circuit.connectors[connector].pins[pin].cables.is_empty());
    }
    (timing_nets, timing_net_of)
}
