//! From the path of a thing to its key, and back.

use super::things::{
    BoardId, CableId, ChipId, ConnectorId, DiscreteId, End, Model, SegmentId, SupplyId, Terminal, within,
};

impl Model {
    /// The board of a path, and what is left of it.
    fn on_board<'p>(&self, path: &'p str) -> Option<(BoardId, &'p str)> {
        if !self.assembly {
            return Some((*self.board_names.get("")?, path));
        }
        let (board, name) = path.split_once('.')?;
        Some((*self.board_names.get(board)?, name))
    }

    /// The board of a path; the path of a board that stands alone is empty.
    pub fn board(&self, path: &str) -> Option<BoardId> {
        self.board_names.get(path).copied()
    }

    /// The chip of a path: `A.U1`.
    pub fn chip(&self, path: &str) -> Option<ChipId> {
        let (board, name) = self.on_board(path)?;
        self.boards[board].chips.find(name)
    }

    /// The discrete of a path: `A.R1`.
    pub fn discrete(&self, path: &str) -> Option<DiscreteId> {
        let (board, name) = self.on_board(path)?;
        self.boards[board].discretes.find(name)
    }

    /// The connector of a path: `A.BUS`.
    pub fn connector(&self, path: &str) -> Option<ConnectorId> {
        let (board, name) = self.on_board(path)?;
        self.boards[board].connectors.find(name)
    }

    /// The copper of a path: `A.m0`.
    pub fn segment(&self, path: &str) -> Option<SegmentId> {
        let (board, name) = self.on_board(path)?;
        self.boards[board].segments.find(name)
    }

    /// The cable of a name.
    pub fn cable(&self, name: &str) -> Option<CableId> {
        self.cable_names.get(name).copied()
    }

    /// The supply of a name.
    pub fn supply(&self, name: &str) -> Option<SupplyId> {
        self.supply_names.get(name).copied()
    }

    /// The pin of a path: `A.U1.Q3`, `A.U1.5`, `A.R1.2`, `A.BUS.4`.
    pub fn terminal(&self, path: &str) -> Option<Terminal> {
        let (owner, name) = path.rsplit_once('.')?;
        let number = name.parse::<u32>().ok();
        if let Some(chip) = self.chip(owner) {
            let part = &self.chips[chip].device.part;
            let numbered = || part.pin_numbered(number?);
            return Some(Terminal::Chip(chip, part.pin_named(name).or_else(numbered)?));
        }
        let index = (number? as usize).checked_sub(1)?;
        let contact = |id| Terminal::Contact(id, index);
        let pin = |id| Terminal::Discrete(id, index);
        let terminal = (self.connector(owner).map(contact)).or(self.discrete(owner).map(pin))?;
        self.joint(terminal).map(|_| terminal)
    }

    /// The path of a thing on a board.
    pub(super) fn path(&self, board: BoardId, name: &str) -> String {
        within(&self.boards[board].path, name)
    }

    /// The path of a chip.
    pub(super) fn chip_path(&self, chip: ChipId) -> String {
        let chip = &self.chips[chip];
        self.path(chip.board, &chip.reference)
    }

    /// The path of a segment.
    pub(super) fn segment_path(&self, segment: SegmentId) -> String {
        let segment = &self.segments[segment];
        self.path(segment.board, &segment.name)
    }

    /// The path of a pin whose thing is there.
    pub(super) fn terminal_path(&self, terminal: Terminal) -> String {
        match terminal {
            Terminal::Chip(id, pin) => {
                let pins = &self.chips[id].device.part.pins;
                let name = pins.get(pin).map_or_else(|| (pin + 1).to_string(), |pin| pin.name.clone());
                format!("{}.{name}", self.chip_path(id))
            }
            Terminal::Discrete(id, pin) => {
                let discrete = &self.discretes[id];
                let path = self.path(discrete.board, &discrete.reference);
                format!("{path}.{}", pin + 1)
            }
            Terminal::Contact(id, pin) => self.contact_path((id, pin)),
        }
    }

    /// The path of a contact whose connector is there.
    pub(crate) fn contact_path(&self, (id, pin): End) -> String {
        let connector = &self.connectors[id];
        let path = self.path(connector.board, &connector.name);
        format!("{path}.{}", pin + 1)
    }
}
