//! How the current of the boards gets to them: through cables and connectors, from the poles of the supplies; and how that
//! of signals does, from the board that gives it.
//!
//! A ribbon is a chain: its wire runs from its first connector to the next one, and at each a contact leads to the board.
//! Wires are taken as 0.22 ohm for a metre (AWG 28, as in ribbon: handbooks), contacts as 20 mohm (common practice).

use super::operating_point::OperatingPoint;
use super::power::{Power, source_rail};
use super::solver::{Branch, Curve, Node, solve};
use crate::circuit::{BoardKey, CableKey, Circuit, ConnectorKey, NetKey, SupplyKey};
use crate::part::PinKind;
use crate::quantity::si::{Amperes, Ohms, Volts};
use std::collections::BTreeMap;

/// The resistance of a metre of wire.
const WIRE: Ohms = Ohms(0.22);
/// The resistance of a contact.
const CONTACT: Ohms = Ohms(20e-3);
/// Larger nets of boards and connectors are not solved.
const MOST_NODES: usize = 300;

/// The currents on a net.
#[derive(Clone, Debug)]
pub struct NetCurrents {
    pub net: NetKey,
    /// The supply whose pole it is; `None` for a signal.
    pub supply: Option<SupplyKey>,
    /// Through connector pins.
    pub pins: BTreeMap<(ConnectorKey, usize), Amperes>,
    /// Through wires of cables, the largest of each cable.
    pub cables: BTreeMap<CableKey, Amperes>,
    /// BranchKind is lost on the way to each board, in volts.
    pub drop: BTreeMap<BoardKey, Volts>,
}

/// The nets that current is followed on.
#[derive(Clone, Debug, Default)]
pub struct PowerDistribution {
    /// Both poles of every supply, in order, then the signals that lamps, resistors and contacts draw current from.
    pub nets: Vec<NetCurrents>,
    /// Nets that are too large to be followed.
    pub unsolved: Vec<NetKey>,
}

impl PowerDistribution {
    fn take(&mut self, net: NetKey, net_currents: Result<Option<NetCurrents>, TooLarge>) {
        match net_currents {
            Ok(net_currents) => self.nets.extend(net_currents),
            Err(TooLarge) => self.unsolved.push(net),
        }
    }
}

/// A net that is too large to be followed.
struct TooLarge;

/// BranchKind flows on the nets of supplies and signals from board to board.
pub fn power_distribution(circuit: &Circuit, operating_point: &OperatingPoint, power: &Power) -> PowerDistribution {
    let mut nets = PowerDistribution::default();
    let of_rail = |net: NetKey, board: BoardKey| power.rails.get(&(net, board)).copied();
    let behind = behind(circuit);
    for (key, supply) in circuit.supplies.iter() {
        for &net in &supply.plus {
            let drawn = |board: BoardKey| {
                // BranchKind hangs on the rail behind a switch is drawn where the switch stands.
                let hanging = (behind.iter())
                    .filter(|(_, at, source_rail)| (*at, *source_rail) == (board, net))
                    .flat_map(|(rail, ..)| {
                        let rails = power.rails.iter();
                        rails.filter(move |((other, _), _)| other == rail)
                    })
                    .map(|(_, amps)| amps);
                Some(of_rail(net, board).unwrap_or_default() + hanging.sum::<Amperes>())
            };
            nets.take(net, net_currents(circuit, net, Some(key), None, &drawn));
        }
        for &(net, at, _) in behind.iter().filter(|(.., source_rail)| supply.plus.contains(source_rail)) {
            let drawn = |board: BoardKey| of_rail(net, board);
            nets.take(net, net_currents(circuit, net, Some(key), Some(at), &drawn));
        }
        for &net in &supply.minus {
            // Ground carries the same current back.
            let drawn = |board: BoardKey| {
                let rails = power.rails.iter();
                let its = rails
                    .filter(|((rail, other), _)| *other == board && supply.plus.contains(&source_rail(circuit, *rail)));
                draws_from(circuit, board, net).then(|| its.map(|(_, amps)| amps).sum())
            };
            nets.take(net, net_currents(circuit, net, Some(key), None, &drawn));
        }
    }
    for (&net, flows) in &operating_point.currents.crossings {
        let drawn = |board: BoardKey| {
            let mut flows = flows.iter();
            flows.find(|(other, _)| *other == board).map(|(_, amps)| -*amps)
        };
        nets.take(net, net_currents(circuit, net, None, None, &drawn));
    }
    nets
}

/// Rails behind a switch or a fuse: the board that this stands on, and the rail that they hang on.
fn behind(circuit: &Circuit) -> Vec<(NetKey, BoardKey, NetKey)> {
    let rails = circuit.nets.iter();
    let rails = rails.filter_map(|(key, net)| {
        let (discrete, source_rail) = net.rail?.via?;
        Some((key, circuit.discretes[discrete].board, source_rail))
    });
    rails.collect()
}

/// The currents on a net from which boards draw: from the poles of a supply, from the board `at` that brings it, or of a
/// signal from the board that gives the most.
fn net_currents(
    circuit: &Circuit,
    net: NetKey,
    supply: Option<SupplyKey>,
    at: Option<BoardKey>,
    drawn: &dyn Fn(BoardKey) -> Option<Amperes>,
) -> Result<Option<NetCurrents>, TooLarge> {
    let mut mesh = Mesh::default();
    mesh.cables(circuit, net);
    let given = |board: &BoardKey| drawn(*board).unwrap_or_default();
    let boards = circuit.boards.keys();
    let giver = match (at, supply) {
        (None, None) => boards.min_by(|a, b| given(a).total_cmp(&given(b))),
        _ => at,
    };
    for key in circuit.boards.keys() {
        let amps = given(&key);
        if amps == Amperes::ZERO && Some(key) != giver {
            continue;
        }
        let curve = if Some(key) == giver {
            // BranchKind the others draw comes from here.
            Curve::resistor(CONTACT)
        } else {
            Curve::new(vec![(Volts(-1.0), amps), (Volts(1.0), amps)])
        };
        let from = mesh.node(MeshNode::Board(key));
        mesh.add(Node::Free(from), Node::Fixed(Volts::ZERO), curve, BranchKind::Board);
    }
    let mut stored = giver.is_some();
    let poles = supply.filter(|_| !stored).map_or(&[][..], |key| &circuit.supplies[key].pins);
    for &(connector, pin) in poles {
        let row = &circuit.connectors[connector];
        if row.pins[pin].net == Some(net) {
            stored = true;
            let board = Node::Free(mesh.node(MeshNode::Board(row.board)));
            let kinds = BranchKind::Pin((connector, pin));
            mesh.add(Node::Fixed(Volts::ZERO), board, Curve::resistor(CONTACT), kinds);
        }
    }
    if !stored || mesh.nodes.is_empty() {
        return Ok(None);
    }
    if mesh.nodes.len() > MOST_NODES {
        return Err(TooLarge);
    }
    let volts = solve(mesh.nodes.len(), &mesh.branches).ok_or(TooLarge)?;
    let mut net_currents =
        NetCurrents { net, supply, pins: BTreeMap::new(), cables: BTreeMap::new(), drop: BTreeMap::new() };
    mesh.read(&volts, &mut net_currents);
    Ok(Some(net_currents))
}

/// The wires and boards of a net, as resistors and what draws current.
#[derive(Default)]
struct Mesh {
    nodes: Vec<MeshNode>,
    branches: Vec<Branch>,
    /// BranchKind each branch is.
    kinds: Vec<BranchKind>,
}

impl Mesh {
    fn node(&mut self, place: MeshNode) -> usize {
        let known = self.nodes.iter().position(|other| *other == place);
        known.unwrap_or_else(|| {
            self.nodes.push(place);
            self.nodes.len() - 1
        })
    }

    fn add(&mut self, from: Node, to: Node, curve: Curve, kinds: BranchKind) {
        self.branches.push(Branch { from, to, curve });
        self.kinds.push(kinds);
    }

    fn resistor(&mut self, from: MeshNode, to: MeshNode, ohms: Ohms, kinds: BranchKind) {
        let (from, to) = (self.node(from), self.node(to));
        let curve = Curve::resistor(ohms);
        self.add(Node::Free(from), Node::Free(to), curve, kinds);
    }

    fn cables(&mut self, circuit: &Circuit, net: NetKey) {
        for (key, cable) in circuit.cables.iter() {
            for (row, wire) in cable.wires.iter().enumerate() {
                let on = |end: &&(ConnectorKey, usize)| circuit.connectors[end.0].pins[end.1].net == Some(net);
                let ends: Vec<(ConnectorKey, usize)> = wire.iter().filter(on).copied().collect();
                let metres = cable.length.as_f64() / ends.len().saturating_sub(1).max(1) as f64;
                for (at, &end) in ends.iter().enumerate() {
                    let tap = MeshNode::Wire(key, row, at);
                    let board = MeshNode::Board(circuit.connectors[end.0].board);
                    self.resistor(tap, board, CONTACT, BranchKind::Pin(end));
                    if at > 0 {
                        let before = MeshNode::Wire(key, row, at - 1);
                        self.resistor(before, tap, WIRE * metres, BranchKind::Cable(key));
                    }
                }
            }
        }
    }

    /// The currents and losses at the voltages of the nodes.
    fn read(&self, volts: &[Volts], net_currents: &mut NetCurrents) {
        // A pin with two ways to it carries what they bring together, or what goes straight on from one to the other.
        let mut paths: BTreeMap<(ConnectorKey, usize), (Amperes, Amperes)> = BTreeMap::new();
        for (branch, kinds) in self.branches.iter().zip(&self.kinds) {
            let amps = branch.current(volts);
            match kinds {
                BranchKind::Pin(end) => {
                    let (sum, most) = paths.entry(*end).or_default();
                    *sum += amps;
                    *most = most.max(amps.abs());
                }
                BranchKind::Cable(cable) => {
                    let most = net_currents.cables.entry(*cable).or_default();
                    *most = most.max(amps.abs());
                }
                BranchKind::Board => {}
            }
        }
        net_currents.pins = (paths.into_iter()).map(|(end, (sum, most))| (end, sum.abs().max(most))).collect();
        for (place, volts) in self.nodes.iter().zip(volts) {
            if let MeshNode::Board(board) = place {
                net_currents.drop.insert(*board, volts.abs());
            }
        }
    }
}

#[derive(Clone, Copy, PartialEq)]
enum MeshNode {
    Board(BoardKey),
    /// A place of a wire: cable, wire, which of its ends.
    Wire(CableKey, usize, usize),
}

enum BranchKind {
    Pin((ConnectorKey, usize)),
    Cable(CableKey),
    Board,
}

/// True when a board takes its supply or ground from a net.
fn draws_from(circuit: &Circuit, board: BoardKey, net: NetKey) -> bool {
    let row = &circuit.nets[net];
    let chip = row.chip_pins.iter().any(|&(chip, pin)| {
        let chip = &circuit.chips[chip];
        let supply = matches!(chip.part.pins[pin].kind, PinKind::Power | PinKind::Ground);
        chip.board == board && supply
    });
    let lamp = || {
        let discretes = row.discrete_pins.iter();
        discretes.clone().any(|(discrete, _)| circuit.discretes[*discrete].board == board)
    };
    chip || lamp()
}
