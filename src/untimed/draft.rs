//! What is needed only while a machine is built.

use super::pieces::Gate;
use super::signal::Hears;
use crate::evaluate::Partition;
use crate::logic::Word;
use crate::part::Part;
use crate::run::Joint;
use rustc_hash::FxHashMap;
use std::collections::BTreeMap;
use std::rc::Rc;

/// What makes two tables the same: part, unit outputs, constants, variable bits, and whether it is of an edge.
type TableKey = (*const Part, u64, u64, u64, Vec<u32>, bool);

/// What makes two pairs of programs the same: part, tied inputs, stored bits that are known, the bits of storage, and
/// whether they are of an edge.
pub(super) type FlatKey = (*const Part, Word, Word, u64, bool);

/// What makes two gates the same: part, constants, stored bits, and inputs that can move.
pub(super) type GateKey = (*const Part, Word, u64, u64);

/// What is needed only while a machine is built.
#[derive(Default)]
pub(super) struct Draft {
    pub(super) partitions: FxHashMap<*const Part, Rc<Vec<Partition>>>,
    pub(super) tables: FxHashMap<TableKey, (u32, u32)>,
    pub(super) flats: FxHashMap<FlatKey, Option<u32>>,
    pub(super) gates: FxHashMap<GateKey, Option<Gate>>,
    pub(super) unit_of: FxHashMap<(u32, u32), u32>,
    /// The stored bits that outputs show as they are, by unit and output.
    pub(super) shows: FxHashMap<(u32, u32), u32>,
    /// Who hears a line: signal, movement, word of the sets, set; then bits by bit of the word.
    pub(super) heard: BTreeMap<(u32, Hears, u32, usize), BTreeMap<u32, u64>>,
    pub(super) links: Vec<Joint>,
}
