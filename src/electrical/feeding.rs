//! How the current of the boards gets to them: through cables and connectors, from the poles of the supplies.
//!
//! A ribbon is a chain: its wire runs from its first connector to the next one, and at each a contact leads to the board.
//! Wires are taken as 0.22 ohm for a metre (AWG 28, as in ribbon: handbooks), contacts as 20 mohm (common practice).

use super::power::Power;
use super::solver::{Branch, Curve, Node, solve};
use crate::circuit::{BoardKey, CableKey, Circuit, ConnectorKey, NetKey, SupplyKey};
use crate::part::PinKind;
use std::collections::BTreeMap;

/// Ohms for a metre of wire.
const WIRE: f64 = 0.22;
/// Ohms of a contact.
const CONTACT: f64 = 20e-3;
/// Larger nets of boards and connectors are not solved.
const MOST_NODES: usize = 300;

/// The currents of one pole of a supply.
#[derive(Clone, Debug, Default)]
pub struct Feed {
    /// Through connector pins, in amperes.
    pub pins: BTreeMap<(ConnectorKey, usize), f64>,
    /// Through wires of cables, the largest of each cable, in amperes.
    pub cables: BTreeMap<CableKey, f64>,
    /// What is lost on the way to each board, in volts.
    pub lost: BTreeMap<BoardKey, f64>,
}

/// Both poles of every supply, in order.
pub fn feeds(circuit: &Circuit, power: &Power) -> Vec<(SupplyKey, NetKey, Feed)> {
    let mut found = Vec::new();
    for (key, supply) in circuit.supplies.iter() {
        for &net in supply.plus.iter().chain(&supply.minus) {
            if let Some(feed) = feed(circuit, power, net, &supply.pins) {
                found.push((key, net, feed));
            }
        }
    }
    found
}

/// The currents on a net that a supply holds. Ground carries the same current back, so both are counted alike.
fn feed(
    circuit: &Circuit,
    power: &Power,
    net: NetKey,
    poles: &[(ConnectorKey, usize)],
) -> Option<Feed> {
    let mut nodes: Vec<Place> = Vec::new();
    let mut node = |place: Place| match nodes.iter().position(|other| *other == place) {
        Some(at) => at,
        None => {
            nodes.push(place);
            nodes.len() - 1
        }
    };
    let mut branches: Vec<(Branch, What)> = Vec::new();
    let resistor = |from: usize, to: usize, ohms: f64| Branch {
        from: Node::Free(from),
        to: Node::Free(to),
        curve: Curve::resistor(ohms),
    };
    for (key, cable) in circuit.cables.iter() {
        for (row, wire) in cable.wires.iter().enumerate() {
            let on = |end: &&(ConnectorKey, usize)| {
                circuit.connectors[end.0].pins[end.1].net == Some(net)
            };
            let ends: Vec<(ConnectorKey, usize)> = wire.iter().filter(on).copied().collect();
            let metres = cable.length.as_f64() / ends.len().saturating_sub(1).max(1) as f64;
            for (at, &end) in ends.iter().enumerate() {
                let tap = node(Place::Wire(key, row, at));
                let board = node(Place::Board(circuit.connectors[end.0].board));
                branches.push((resistor(tap, board, CONTACT), What::Pin(end)));
                if at > 0 {
                    let before = node(Place::Wire(key, row, at - 1));
                    branches.push((resistor(before, tap, metres * WIRE), What::Cable(key)));
                }
            }
        }
    }
    for (key, board) in power.boards.iter() {
        if board.total() > 0.0 && draws_from(circuit, key, net) {
            let from = node(Place::Board(key));
            let curve = Curve::new(vec![(-1.0, board.total()), (1.0, board.total())]);
            branches.push((
                Branch {
                    from: Node::Free(from),
                    to: Node::Fixed(0.0),
                    curve,
                },
                What::Board,
            ));
        }
    }
    let mut held = false;
    for &(connector, pin) in poles {
        let row = &circuit.connectors[connector];
        if row.pins[pin].net == Some(net) {
            held = true;
            let board = node(Place::Board(row.board));
            branches.push((
                Branch {
                    from: Node::Fixed(0.0),
                    to: Node::Free(board),
                    curve: Curve::resistor(CONTACT),
                },
                What::Pin((connector, pin)),
            ));
        }
    }
    let count = nodes.len();
    if !held || count == 0 || count > MOST_NODES {
        return None;
    }
    let list: Vec<Branch> = branches.iter().map(|(branch, _)| branch.clone()).collect();
    let volts = solve(count, &list)?;
    let mut feed = Feed::default();
    for (branch, what) in &branches {
        let amps = branch.current(&volts).abs();
        match what {
            What::Pin(end) => *feed.pins.entry(*end).or_default() += amps,
            What::Cable(cable) => {
                let most = feed.cables.entry(*cable).or_default();
                *most = most.max(amps);
            }
            What::Board => {}
        }
    }
    for (place, volts) in nodes.iter().zip(&volts) {
        if let Place::Board(board) = place {
            feed.lost.insert(*board, volts.abs());
        }
    }
    Some(feed)
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
        discretes
            .clone()
            .any(|(discrete, _)| circuit.discretes[*discrete].board == board)
    };
    chip || lamp()
}
