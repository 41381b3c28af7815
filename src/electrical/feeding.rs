//! How the current of the boards gets to them: through cables and connectors, from the poles of the supplies; and how that
//! of signals does, from the board that gives it.
//!
//! A ribbon is a chain: its wire runs from its first connector to the next one, and at each a contact leads to the board.
//! Wires are taken as 0.22 ohm for a metre (AWG 28, as in ribbon: handbooks), contacts as 20 mohm (common practice).

use super::power::{Power, root};
use super::solver::{Branch, Curve, Node, solve};
use super::view::View;
use crate::circuit::{BoardKey, CableKey, Circuit, ConnectorKey, NetKey, SupplyKey};
use crate::part::PinKind;
use std::collections::BTreeMap;

/// Ohms for a metre of wire.
const WIRE: f64 = 0.22;
/// Ohms of a contact.
const CONTACT: f64 = 20e-3;
/// Larger nets of boards and connectors are not solved.
const MOST_NODES: usize = 300;

/// The currents on a net.
#[derive(Clone, Debug)]
pub struct Feed {
    /// The net.
    pub net: NetKey,
    /// The supply whose pole it is; `None` for a signal.
    pub supply: Option<SupplyKey>,
    /// Through connector pins, in amperes.
    pub pins: BTreeMap<(ConnectorKey, usize), f64>,
    /// Through wires of cables, the largest of each cable, in amperes.
    pub cables: BTreeMap<CableKey, f64>,
    /// What is lost on the way to each board, in volts.
    pub lost: BTreeMap<BoardKey, f64>,
}

/// The nets that current is followed on.
#[derive(Clone, Debug, Default)]
pub struct Feeds {
    /// Both poles of every supply, in order, then the signals that lamps, resistors and contacts draw current from.
    pub found: Vec<Feed>,
    /// Nets that are too large to be followed.
    pub unsolved: Vec<NetKey>,
}

impl Feeds {
    fn take(&mut self, net: NetKey, feed: Result<Option<Feed>, TooLarge>) {
        match feed {
            Ok(feed) => self.found.extend(feed),
            Err(TooLarge) => self.unsolved.push(net),
        }
    }
}

/// A net that is too large to be followed.
struct TooLarge;

/// What flows on the nets of supplies and signals from board to board.
pub fn feeds(circuit: &Circuit, view: &View, power: &Power) -> Feeds {
    let mut found = Feeds::default();
    let of_rail = |net: NetKey, board: BoardKey| power.rails.get(&(net, board)).copied();
    let behind = behind(circuit);
    for (key, supply) in circuit.supplies.iter() {
        for &net in &supply.plus {
            let drawn = |board: BoardKey| {
                // What hangs on the rail behind a switch is drawn where the switch stands.
                let hanging = (behind.iter())
                    .filter(|(_, at, root)| (*at, *root) == (board, net))
                    .flat_map(|(rail, ..)| {
                        let rails = power.rails.iter();
                        rails.filter(move |((other, _), _)| other == rail)
                    })
                    .map(|(_, amps)| amps);
                Some(of_rail(net, board).unwrap_or_default() + hanging.sum::<f64>())
            };
            found.take(net, feed(circuit, net, Some(key), None, &drawn));
        }
        for &(net, at, _) in behind.iter().filter(|(.., root)| supply.plus.contains(root)) {
            let drawn = |board: BoardKey| of_rail(net, board);
            found.take(net, feed(circuit, net, Some(key), Some(at), &drawn));
        }
        for &net in &supply.minus {
            // Ground carries the same current back.
            let drawn = |board: BoardKey| {
                let rails = power.rails.iter();
                let its =
                    rails.filter(|((rail, other), _)| *other == board && supply.plus.contains(&root(circuit, *rail)));
                draws_from(circuit, board, net).then(|| its.map(|(_, amps)| amps).sum())
            };
            found.take(net, feed(circuit, net, Some(key), None, &drawn));
        }
    }
    for (&net, flows) in &view.currents.crossings {
        let drawn = |board: BoardKey| {
            let mut flows = flows.iter();
            flows.find(|(other, _)| *other == board).map(|(_, amps)| -amps)
        };
        found.take(net, feed(circuit, net, None, None, &drawn));
    }
    found
}

/// Rails behind a switch or a fuse: the board that this stands on, and the rail that they hang on.
fn behind(circuit: &Circuit) -> Vec<(NetKey, BoardKey, NetKey)> {
    let rails = circuit.nets.iter();
    let rails = rails.filter_map(|(key, net)| {
        let (discrete, root) = net.rail?.via?;
        Some((key, circuit.discretes[discrete].board, root))
    });
    rails.collect()
}

/// The currents on a net from which boards draw: from the poles of a supply, from the board `at` that brings it, or of a
/// signal from the board that gives the most.
fn feed(
    circuit: &Circuit,
    net: NetKey,
    supply: Option<SupplyKey>,
    at: Option<BoardKey>,
    drawn: &dyn Fn(BoardKey) -> Option<f64>,
) -> Result<Option<Feed>, TooLarge> {
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
        if amps == 0.0 && Some(key) != giver {
            continue;
        }
        let curve = if Some(key) == giver {
            // What the others draw comes from here.
            Curve::resistor(CONTACT)
        } else {
            Curve::new(vec![(-1.0, amps), (1.0, amps)])
        };
        let from = mesh.node(Place::Board(key));
        mesh.add(Node::Free(from), Node::Fixed(0.0), curve, What::Board);
    }
    let mut stored = giver.is_some();
    let poles = supply.filter(|_| !stored).map_or(&[][..], |key| &circuit.supplies[key].pins);
    for &(connector, pin) in poles {
        let row = &circuit.connectors[connector];
        if row.pins[pin].net == Some(net) {
            stored = true;
            let board = Node::Free(mesh.node(Place::Board(row.board)));
            let what = What::Pin((connector, pin));
            mesh.add(Node::Fixed(0.0), board, Curve::resistor(CONTACT), what);
        }
    }
    if !stored || mesh.nodes.is_empty() {
        return Ok(None);
    }
    if mesh.nodes.len() > MOST_NODES {
        return Err(TooLarge);
    }
    let volts = solve(mesh.nodes.len(), &mesh.branches).ok_or(TooLarge)?;
    let mut feed = Feed { net, supply, pins: BTreeMap::new(), cables: BTreeMap::new(), lost: BTreeMap::new() };
    mesh.read(&volts, &mut feed);
    Ok(Some(feed))
}

/// The wires and boards of a net, as resistors and what draws current.
#[derive(Default)]
struct Mesh {
    nodes: Vec<Place>,
    branches: Vec<Branch>,
    /// What each branch is.
    what: Vec<What>,
}

impl Mesh {
    fn node(&mut self, place: Place) -> usize {
        let known = self.nodes.iter().position(|other| *other == place);
        known.unwrap_or_else(|| {
            self.nodes.push(place);
            self.nodes.len() - 1
        })
    }

    fn add(&mut self, from: Node, to: Node, curve: Curve, what: What) {
        self.branches.push(Branch { from, to, curve });
        self.what.push(what);
    }

    fn resistor(&mut self, from: Place, to: Place, ohms: f64, what: What) {
        let (from, to) = (self.node(from), self.node(to));
        let curve = Curve::resistor(ohms);
        self.add(Node::Free(from), Node::Free(to), curve, what);
    }

    fn cables(&mut self, circuit: &Circuit, net: NetKey) {
        for (key, cable) in circuit.cables.iter() {
            for (row, wire) in cable.wires.iter().enumerate() {
                let on = |end: &&(ConnectorKey, usize)| circuit.connectors[end.0].pins[end.1].net == Some(net);
                let ends: Vec<(ConnectorKey, usize)> = wire.iter().filter(on).copied().collect();
                let metres = cable.length.as_f64() / ends.len().saturating_sub(1).max(1) as f64;
                for (at, &end) in ends.iter().enumerate() {
                    let tap = Place::Wire(key, row, at);
                    let board = Place::Board(circuit.connectors[end.0].board);
                    self.resistor(tap, board, CONTACT, What::Pin(end));
                    if at > 0 {
                        let before = Place::Wire(key, row, at - 1);
                        self.resistor(before, tap, metres * WIRE, What::Cable(key));
                    }
                }
            }
        }
    }

    /// The currents and losses at the voltages of the nodes.
    fn read(&self, volts: &[f64], feed: &mut Feed) {
        // A pin with two ways to it carries what they bring together, or what goes straight on from one to the other.
        let mut ways: BTreeMap<(ConnectorKey, usize), (f64, f64)> = BTreeMap::new();
        for (branch, what) in self.branches.iter().zip(&self.what) {
            let amps = branch.current(volts);
            match what {
                What::Pin(end) => {
                    let (sum, most) = ways.entry(*end).or_default();
                    *sum += amps;
                    *most = most.max(amps.abs());
                }
                What::Cable(cable) => {
                    let most = feed.cables.entry(*cable).or_default();
                    *most = most.max(amps.abs());
                }
                What::Board => {}
            }
        }
        feed.pins = (ways.into_iter()).map(|(end, (sum, most))| (end, sum.abs().max(most))).collect();
        for (place, volts) in self.nodes.iter().zip(volts) {
            if let Place::Board(board) = place {
                feed.lost.insert(*board, volts.abs());
            }
        }
    }
}

#[derive(Clone, Copy, PartialEq)]
enum Place {
    Board(BoardKey),
    /// A place of a wire: cable, wire, which of its ends.
    Wire(CableKey, usize, usize),
}

enum What {
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
