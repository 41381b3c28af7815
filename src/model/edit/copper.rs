//! Edits of copper and of what is connected to it.

use super::refusal::{Edited, gone, refuse};
use crate::diagnostic::count;
use crate::model::things::{BoardId, BridgeId, Joint, Model, SegmentId, Terminal};
use std::sync::Arc;

impl Model {
    /// The copper of a name on a board; new copper when there is none.
    ///
    /// # Errors
    /// When the board is gone, or the name is none.
    pub fn add_segment(&mut self, board: BoardId, name: &str) -> Edited<SegmentId> {
        let row = self.boards.get(board).ok_or_else(|| gone("board"))?;
        if let Some(segment) = row.segments.find(name) {
            return Ok(segment);
        }
        self.check_name(name)?;
        let span = row.span;
        Ok(self.insert_segment(board, &Arc::from(name), None, span))
    }

    /// Connects a pin that is free or open on purpose to copper of its board, behind the other pins there.
    ///
    /// # Errors
    /// When there is no such pin or copper, they are on different boards, or the pin is connected.
    pub fn connect(&mut self, terminal: Terminal, segment: SegmentId) -> Edited {
        let joint = self.there(terminal)?;
        if let Joint::Segment(other) = joint {
            let (pin, other) = (self.terminal_path(terminal), self.segment_path(other));
            let message = format!("{pin} is connected to {other}");
            return Err(refuse(message, "disconnect it first"));
        }
        let board = (self.segments.get(segment)).map(|segment| segment.board);
        let board = board.ok_or_else(|| gone("copper"))?;
        if self.board_of(terminal) != Some(board) {
            let (pin, copper) = (self.terminal_path(terminal), self.segment_path(segment));
            let message = format!("{pin} and {copper} are on different boards");
            return Err(refuse(message, "lead a cable from one board to the other"));
        }
        self.set_joint(terminal, Joint::Segment(segment));
        self.segments[segment].pins.push(terminal);
        Ok(())
    }

    /// Opens the joint between a pin and its copper. Copper without pins is no net, unless it is declared as a rail.
    ///
    /// # Errors
    /// When there is no such pin, or nothing is connected to it.
    pub fn disconnect(&mut self, terminal: Terminal) -> Edited {
        let joint = self.there(terminal)?;
        if joint.segment().is_none() {
            let message = format!("nothing is connected to {}", self.terminal_path(terminal));
            return Err(refuse(message, "name a pin that is connected"));
        }
        self.unlink(terminal, joint);
        self.set_joint(terminal, Joint::Free);
        Ok(())
    }

    /// Says that a pin is open on purpose.
    ///
    /// # Errors
    /// When there is no such pin, or it is connected.
    pub fn leave_open(&mut self, terminal: Terminal) -> Edited {
        if let Joint::Segment(segment) = self.there(terminal)? {
            let (pin, copper) = (self.terminal_path(terminal), self.segment_path(segment));
            let message = format!("{pin} is connected to {copper}");
            return Err(refuse(message, "disconnect it first"));
        }
        self.set_joint(terminal, Joint::Open);
        Ok(())
    }

    /// Joins two segments, as solder does that runs from one to the other. Both keep their names.
    ///
    /// # Errors
    /// When one is gone, or they are the same.
    pub fn bridge(&mut self, one: SegmentId, other: SegmentId) -> Edited<BridgeId> {
        if !self.segments.contains_key(one) || !self.segments.contains_key(other) {
            return Err(gone("copper"));
        }
        if one == other {
            let message = format!("{} would be joined to itself", self.segment_path(one));
            return Err(refuse(message, "name two segments"));
        }
        Ok(self.bridges.insert([one, other]))
    }

    /// Takes a bridge away.
    ///
    /// # Errors
    /// When it is gone.
    pub fn remove_bridge(&mut self, bridge: BridgeId) -> Edited {
        let removed = self.bridges.remove(bridge);
        removed.map(drop).ok_or_else(|| gone("bridge"))
    }

    /// Cuts a segment behind some of its pins; the others are on new copper of another name, which is no rail. Bridges
    /// stay with the first piece.
    ///
    /// # Errors
    /// When it is gone, no pin would be on either side, or the name is none or is taken.
    pub fn cut(&mut self, id: SegmentId, behind: usize, name: &str) -> Edited<SegmentId> {
        let segment = self.segments.get(id).ok_or_else(|| gone("copper"))?;
        let (board, pins, span) = (segment.board, segment.pins.len(), segment.span);
        if behind == 0 || behind >= pins {
            let (path, pins) = (self.segment_path(id), count(pins, "pin"));
            let message = format!("{path} has {pins}, and cannot be cut behind {behind} of them");
            return Err(refuse(message, "leave a pin on either side"));
        }
        self.check_name(name)?;
        if self.boards[board].segments.find(name).is_some() {
            let message = format!("{} is there already", self.path(board, name));
            return Err(refuse(message, "take another name for the new copper"));
        }
        let rest = self.segments[id].pins.split_off(behind);
        let new = self.insert_segment(board, &Arc::from(name), None, span);
        for terminal in &rest {
            self.set_joint(*terminal, Joint::Segment(new));
        }
        self.segments[new].pins = rest;
        Ok(new)
    }

    /// What a pin is connected to.
    fn there(&self, terminal: Terminal) -> Edited<Joint> {
        if let Some(joint) = self.joint(terminal) {
            return Ok(joint);
        }
        let owner = match terminal {
            Terminal::Chip(id, pin) => (self.chips.get(id)).map(|_| (self.chip_path(id), pin)),
            Terminal::Discrete(id, pin) => {
                let row = self.discretes.get(id);
                row.map(|row| (self.path(row.board, &row.reference), pin))
            }
            Terminal::Contact(id, pin) => {
                let row = self.connectors.get(id);
                row.map(|row| (self.path(row.board, &row.name), pin))
            }
        };
        let (path, pin) = owner.ok_or_else(|| gone("component"))?;
        let message = format!("{path} has no pin of index {pin}");
        Err(refuse(message, "count its pins from 0"))
    }

    fn set_joint(&mut self, terminal: Terminal, joint: Joint) {
        if let Some(place) = self.joint_mut(terminal) {
            *place = joint;
        }
    }

    fn board_of(&self, terminal: Terminal) -> Option<BoardId> {
        match terminal {
            Terminal::Chip(id, _) => Some(self.chips.get(id)?.board),
            Terminal::Discrete(id, _) => Some(self.discretes.get(id)?.board),
            Terminal::Contact(id, _) => Some(self.connectors.get(id)?.board),
        }
    }
}
