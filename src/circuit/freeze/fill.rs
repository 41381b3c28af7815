//! Things in dense rows, the pins of nets, and the names of rows.

use super::keys::Keys;
use crate::circuit::rows::{Board, Cable, Chip, ChipKey, Circuit, Connector, ConnectorPin, Discrete, NetKey, Waiver};
use crate::key::{Finder, Key, KeyVec};
use crate::model::{self, Joint, Model, SegmentId, within};
use crate::quantity::Voltage;
use slotmap::SecondaryMap;
use std::sync::Arc;

/// The net of each segment.
type Of = SecondaryMap<SegmentId, NetKey>;

/// The circuit with all rows but those of nets and supplies.
pub(super) fn rows(model: &Arc<Model>, keys: &Keys, of: &Of) -> Circuit {
    let mut circuit = Circuit {
        name: model.name.as_ref().to_owned(),
        assembly: model.assembly,
        names: model.names.clone(),
        model: model.clone(),
        boards: model.boards().map(|(_, row)| board(row)).collect(),
        waivers: model.waivers.iter().map(|row| waiver(row, keys)).collect(),
        ..Circuit::default()
    };
    circuit.chips.reserve(model.chips.len());
    circuit.discretes.reserve(model.discretes.len());
    for (_, row) in model.chips() {
        circuit.chips.push(chip(model, row, keys, of));
    }
    for (_, row) in model.discretes() {
        circuit.discretes.push(discrete(model, row, keys, of));
    }
    for (_, row) in model.connectors() {
        circuit.connectors.push(connector(model, row, keys, of));
    }
    for (id, row) in model.cables() {
        let key = keys.cables[id];
        let wire = |ends: &Vec<_>| {
            let ends = ends.iter().map(|&(id, pin)| (keys.connectors[id], pin));
            ends.collect::<Vec<_>>()
        };
        let wires: Vec<_> = row.conductors.iter().map(wire).collect();
        for &(connector, pin) in wires.iter().flatten() {
            let cables = &mut circuit.connectors[connector].pins[pin].cables;
            if cables.last() != Some(&key) {
                cables.push(key);
            }
        }
        circuit.cables.push(Cable {
            name: row.name.as_ref().to_owned(),
            kind: row.kind.as_ref().to_owned(),
            length: row.length,
            wires,
            span: row.span,
        });
    }
    circuit
}

fn board(board: &model::Board) -> Board {
    Board {
        path: board.path.as_ref().to_owned(),
        design: board.design.as_ref().to_owned(),
        title: board.title.as_ref().to_owned(),
        trace: board.trace,
        span: board.span,
    }
}

fn waiver(waiver: &model::Waiver, keys: &Keys) -> Waiver {
    Waiver {
        rule: waiver.rule.clone(),
        place: waiver.place.clone(),
        reason: waiver.reason.clone(),
        board: waiver.board.map(|board| keys.boards[board]),
        span: waiver.span,
    }
}

fn chip(model: &Model, chip: &model::Chip, keys: &Keys, of: &Of) -> Chip {
    let device = &chip.device;
    let open = chip.pins.iter().enumerate();
    let open = open.filter(|(_, joint)| **joint == Joint::Open);
    Chip {
        path: within(&model.boards[chip.board].path, &chip.reference),
        board: keys.boards[chip.board],
        reference: chip.reference.as_ref().to_owned(),
        number: device.number.clone(),
        part: device.part.clone(),
        sheet: device.sheet,
        family: device.family.clone(),
        electrical: device.electrical.clone(),
        estimate: device.estimate.clone(),
        frequency: chip.frequency,
        initial_contents: chip.contents.clone(),
        timing: Vec::new(),
        nets: chip.pins.iter().map(|joint| net(*joint, of)).collect(),
        open: open.map(|(pin, _)| pin).collect(),
        fed: false,
        supply: Voltage::ZERO,
        span: chip.span,
    }
}

fn discrete(model: &Model, discrete: &model::Discrete, keys: &Keys, of: &Of) -> Discrete {
    let decouples = discrete.decouples.iter();
    let decouples: Vec<ChipKey> = decouples.filter_map(|chip| keys.chips.get(*chip).copied()).collect();
    Discrete {
        path: within(&model.boards[discrete.board].path, &discrete.reference),
        board: keys.boards[discrete.board],
        reference: discrete.reference.as_ref().to_owned(),
        kind: discrete.kind.clone(),
        decouples,
        rating: discrete.rating,
        nets: discrete.pins.iter().map(|joint| net(*joint, of)).collect(),
        span: discrete.span,
    }
}

fn connector(model: &Model, connector: &model::Connector, keys: &Keys, of: &Of) -> Connector {
    let pins = connector.contacts.iter().map(|contact| ConnectorPin {
        label: contact.label.clone(),
        remark: contact.remark.clone(),
        net: net(contact.joint, of),
        open: contact.joint == Joint::Open,
        cables: Vec::new(),
        span: contact.span,
    });
    Connector {
        path: within(&model.boards[connector.board].path, &connector.name),
        board: keys.boards[connector.board],
        name: connector.name.as_ref().to_owned(),
        kind: connector.kind.as_ref().to_owned(),
        pins: pins.collect(),
        span: connector.span,
    }
}

fn net(joint: Joint, of: &Of) -> Option<NetKey> {
    of.get(joint.segment()?).copied()
}

/// Gives each net its pins.
pub(super) fn pins(circuit: &mut Circuit) {
    let nets = &mut circuit.nets;
    for (key, chip) in circuit.chips.iter() {
        for (pin, net) in chip.nets.iter().enumerate() {
            if let Some(net) = *net {
                nets[net].chip_pins.push((key, pin));
            }
        }
    }
    for (key, discrete) in circuit.discretes.iter() {
        for (pin, net) in discrete.nets.iter().enumerate() {
            if let Some(net) = *net {
                nets[net].discrete_pins.push((key, pin));
            }
        }
    }
    for (key, connector) in circuit.connectors.iter() {
        for (index, pin) in connector.pins.iter().enumerate() {
            if let Some(net) = pin.net {
                nets[net].connector_pins.push((key, index));
            }
        }
    }
}

/// Makes everything findable by its path. Of several with one path the first is found.
pub(super) fn names(circuit: &mut Circuit) {
    let mut paths = Finder::with_capacity(circuit.nets.len());
    let mut path = String::new();
    for (key, net) in circuit.nets.iter() {
        for (board, name) in &net.names {
            path.clear();
            let board = &circuit.boards[*board].path;
            if !board.is_empty() {
                path.push_str(board);
                path.push('.');
            }
            path.push_str(name);
            paths.insert(&path, key, |other| circuit.has_path(other, &path));
        }
    }
    circuit.net_paths = paths;
    circuit.chip_paths = by_path(&circuit.chips, |chip| &chip.path);
    circuit.discrete_paths = by_path(&circuit.discretes, |discrete| &discrete.path);
    circuit.connector_paths = by_path(&circuit.connectors, |connector| &connector.path);
}

fn by_path<K: Key, V>(rows: &KeyVec<K, V>, path: impl Fn(&V) -> &String) -> Finder<K> {
    let mut paths = Finder::with_capacity(rows.len());
    for (key, row) in rows.iter() {
        let path_of = path(row);
        paths.insert(path_of, key, |other| path(&rows[other]) == path_of);
    }
    paths
}
