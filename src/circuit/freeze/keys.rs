//! The row of each thing of a model.

use crate::circuit::rows::{BoardKey, CableKey, ChipKey, ConnectorKey};
use crate::key::Key;
use crate::model::{BoardId, CableId, ChipId, ConnectorId, Model};
use slotmap::SecondaryMap;

/// Rows are in order of writing: board by board, and on a board as its things were written.
pub(super) struct Keys {
    pub(super) boards: SecondaryMap<BoardId, BoardKey>,
    pub(super) chips: SecondaryMap<ChipId, ChipKey>,
    pub(super) connectors: SecondaryMap<ConnectorId, ConnectorKey>,
    pub(super) cables: SecondaryMap<CableId, CableKey>,
}

impl Keys {
    pub(super) fn of(model: &Model) -> Keys {
        Keys {
            boards: numbered(model.boards().map(|(id, _)| id)),
            chips: numbered(model.chips().map(|(id, _)| id)),
            connectors: numbered(model.connectors().map(|(id, _)| id)),
            cables: numbered(model.cables().map(|(id, _)| id)),
        }
    }
}

fn numbered<I: slotmap::Key, K: Key>(ids: impl Iterator<Item = I>) -> SecondaryMap<I, K> {
    let mut keys = SecondaryMap::new();
    for (row, id) in ids.enumerate() {
        keys.insert(id, K::from_index(row));
    }
    keys
}
