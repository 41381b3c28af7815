//! The things of a model in order of writing: board by board, and on a board as they were written.

use super::things::{
    Board, BoardId, Cable, CableId, Chip, ChipId, Connector, ConnectorId, Discrete, DiscreteId, Model, Segment,
    SegmentId, Supply, SupplyId,
};

impl Model {
    pub fn boards(&self) -> impl Iterator<Item = (BoardId, &Board)> {
        let ids = self.board_names.values();
        ids.map(|id| (*id, &self.boards[*id]))
    }

    pub fn chips(&self) -> impl Iterator<Item = (ChipId, &Chip)> {
        let ids = self.boards().flat_map(|(_, board)| board.chips.keys());
        ids.map(|id| (id, &self.chips[id]))
    }

    pub fn discretes(&self) -> impl Iterator<Item = (DiscreteId, &Discrete)> {
        let ids = self.boards().flat_map(|(_, board)| board.discretes.keys());
        ids.map(|id| (id, &self.discretes[id]))
    }

    pub fn connectors(&self) -> impl Iterator<Item = (ConnectorId, &Connector)> {
        let ids = self.boards().flat_map(|(_, board)| board.connectors.keys());
        ids.map(|id| (id, &self.connectors[id]))
    }

    /// The copper segments.
    pub fn segments(&self) -> impl Iterator<Item = (SegmentId, &Segment)> {
        let ids = self.boards().flat_map(|(_, board)| board.segments.keys());
        ids.map(|id| (id, &self.segments[id]))
    }

    pub fn cables(&self) -> impl Iterator<Item = (CableId, &Cable)> {
        let ids = self.cable_names.values();
        ids.map(|id| (*id, &self.cables[*id]))
    }

    pub fn supplies(&self) -> impl Iterator<Item = (SupplyId, &Supply)> {
        let ids = self.supply_names.values();
        ids.map(|id| (*id, &self.supplies[*id]))
    }
}
