//! Putting things into a model and taking them out: both sides of every joint at once.

use super::things::{
    Board, BoardId, Cable, CableId, Chip, ChipId, Connector, ConnectorId, Discrete, DiscreteId, Joint, Model, Segment,
    SegmentId, Supply, SupplyId, Terminal,
};
use crate::quantity::Voltage;
use crate::text::Span;
use std::sync::Arc;

impl Model {
    pub(super) fn insert_board(&mut self, board: Board) -> BoardId {
        let path = board.path.clone();
        let id = self.boards.insert(board);
        self.board_names.insert(path, id);
        id
    }

    pub(super) fn insert_segment(
        &mut self,
        board: BoardId,
        name: &Arc<str>,
        rail: Option<(Voltage, Span)>,
        span: Span,
    ) -> SegmentId {
        let id = self.segments.insert(Segment { board, name: name.clone(), rail, pins: Vec::new(), span });
        self.boards[board].segments.push(name, id);
        id
    }

    pub(super) fn insert_chip(&mut self, chip: Chip) -> ChipId {
        let (board, name) = (chip.board, chip.reference.clone());
        self.pins += chip.pins.len();
        let id = self.chips.insert(chip);
        self.boards[board].chips.push(&name, id);
        for (pin, joint) in self.chips[id].pins.iter().enumerate() {
            if let Joint::Segment(segment) = joint {
                self.segments[*segment].pins.push(Terminal::Chip(id, pin));
            }
        }
        id
    }

    pub(super) fn insert_discrete(&mut self, discrete: Discrete) -> DiscreteId {
        let (board, name) = (discrete.board, discrete.reference.clone());
        self.pins += discrete.pins.len();
        let id = self.discretes.insert(discrete);
        self.boards[board].discretes.push(&name, id);
        for (pin, joint) in self.discretes[id].pins.iter().enumerate() {
            if let Joint::Segment(segment) = joint {
                let pins = &mut self.segments[*segment].pins;
                pins.push(Terminal::Discrete(id, pin));
            }
        }
        id
    }

    pub(super) fn insert_connector(&mut self, connector: Connector) -> ConnectorId {
        let (board, name) = (connector.board, connector.name.clone());
        self.pins += connector.contacts.len();
        let id = self.connectors.insert(connector);
        self.boards[board].connectors.push(&name, id);
        for (pin, contact) in self.connectors[id].contacts.iter().enumerate() {
            if let Joint::Segment(segment) = contact.joint {
                self.segments[segment].pins.push(Terminal::Contact(id, pin));
            }
        }
        id
    }

    pub(super) fn insert_cable(&mut self, cable: Cable) -> CableId {
        let name = cable.name.clone();
        let id = self.cables.insert(cable);
        self.cable_names.insert(name, id);
        id
    }

    pub(super) fn insert_supply(&mut self, supply: Supply) -> SupplyId {
        let name = supply.name.clone();
        let id = self.supplies.insert(supply);
        self.supply_names.insert(name, id);
        id
    }

    /// Takes a chip out; its pins leave their copper.
    pub(super) fn take_chip(&mut self, id: ChipId) -> Option<Chip> {
        let chip = self.chips.remove(id)?;
        let chips = &self.chips;
        self.boards[chip.board].chips.remove(&chip.reference, id, |other| chips[other].reference == chip.reference);
        for (pin, joint) in chip.pins.iter().enumerate() {
            self.unlink(Terminal::Chip(id, pin), *joint);
        }
        self.pins -= chip.pins.len();
        Some(chip)
    }

    /// Takes a discrete out; its pins leave their copper.
    pub(super) fn take_discrete(&mut self, id: DiscreteId) -> Option<Discrete> {
        let discrete = self.discretes.remove(id)?;
        let discretes = &self.discretes;
        self.boards[discrete.board]
            .discretes
            .remove(&discrete.reference, id, |other| discretes[other].reference == discrete.reference);
        for (pin, joint) in discrete.pins.iter().enumerate() {
            self.unlink(Terminal::Discrete(id, pin), *joint);
        }
        self.pins -= discrete.pins.len();
        Some(discrete)
    }

    /// Takes a pin off its copper.
    pub(super) fn unlink(&mut self, terminal: Terminal, joint: Joint) {
        if let Joint::Segment(segment) = joint {
            let pins = &mut self.segments[segment].pins;
            pins.retain(|other| *other != terminal);
        }
    }

    /// What a pin is connected to; `None` when there is no such pin.
    pub fn joint(&self, terminal: Terminal) -> Option<Joint> {
        match terminal {
            Terminal::Chip(id, pin) => self.chips.get(id)?.pins.get(pin).copied(),
            Terminal::Discrete(id, pin) => self.discretes.get(id)?.pins.get(pin).copied(),
            Terminal::Contact(id, pin) => {
                let contact = self.connectors.get(id)?.contacts.get(pin);
                contact.map(|contact| contact.joint)
            }
        }
    }

    pub(super) fn joint_mut(&mut self, terminal: Terminal) -> Option<&mut Joint> {
        match terminal {
            Terminal::Chip(id, pin) => self.chips.get_mut(id)?.pins.get_mut(pin),
            Terminal::Discrete(id, pin) => self.discretes.get_mut(id)?.pins.get_mut(pin),
            Terminal::Contact(id, pin) => {
                let contact = self.connectors.get_mut(id)?.contacts.get_mut(pin);
                contact.map(|contact| &mut contact.joint)
            }
        }
    }
}
