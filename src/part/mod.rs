//! Parts as loaded: pins, what they do, and how fast.
//!
//! A [`Part`] is made from its syntax tree by [`Part::load`], which reports everything that is wrong with it. Its
//! [`Function`] is compiled once, to steps on packed words; its [`Sheet`]s keep the published
//! figures as they stand. Nothing here knows of boards.

mod durations;
pub mod family;
pub mod function;
pub mod library;
mod load;
mod load_sheet;
mod not_found;
pub mod rule;
pub mod sheet;
pub mod socket;
pub mod table;

pub use crate::language::ast::{ColumnKind, Edge, LevelName, PinKind, Share};
pub use family::Family;
pub use function::Function;
pub use library::Library;
pub use sheet::Sheet;

use crate::text::Span;
use rustc_hash::FxHashMap;

/// A chip model.
#[derive(Clone, Debug)]
pub struct Part {
    /// Its number without family: `574`, `62256`.
    pub name: String,
    /// What it is, in words.
    pub title: String,
    /// Where its name was written.
    pub span: Span,
    /// `DIP20`; empty for a part that is only a set of formulas.
    pub package: String,
    /// Its pins, by rising number.
    pub pins: Vec<Pin>,
    /// Vectors of pins that its file declares: name, and pins from the least significant.
    pub groups: Vec<(String, Vec<PinIndex>)>,
    pub function: Function,
    /// The published function tables.
    pub tables: Vec<table::FunctionTable>,
    /// Its families or grades.
    pub sheets: Vec<Sheet>,
    /// What a builder should know.
    pub notes: Vec<String>,
    by_name: FxHashMap<String, PinIndex>,
}

/// A row of [`Part::pins`].
pub type PinIndex = usize;

#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pin {
    /// Its number on the package.
    pub number: u32,
    pub name: String,
    pub kind: PinKind,
    /// True for an input with hysteresis.
    pub schmitt: bool,
}

impl Part {
    /// The pin of a name.
    pub fn pin_named(&self, name: &str) -> Option<PinIndex> {
        self.by_name.get(name).copied()
    }

    /// True for an output bit that only pulls low.
    pub fn is_open_drain(&self, output: usize) -> bool {
        self.pins[self.function.outputs[output]].kind == PinKind::OpenDrain
    }

    /// The pin of a number.
    pub fn pin_numbered(&self, number: u32) -> Option<PinIndex> {
        self.pins.binary_search_by_key(&number, |pin| pin.number).ok()
    }

    /// The sheet of a family or grade.
    pub fn sheet(&self, name: &str) -> Option<&Sheet> {
        self.sheets.iter().find(|sheet| sheet.name == name)
    }

    /// The pins of one kind.
    pub fn pins_of(&self, kind: PinKind) -> impl Iterator<Item = PinIndex> + '_ {
        self.pins.iter().enumerate().filter(move |(_, pin)| pin.kind == kind).map(|(index, _)| index)
    }
}

impl Pin {
    /// True when the chip can drive this pin.
    pub fn drives(&self) -> bool {
        matches!(self.kind, PinKind::Out | PinKind::ThreeState | PinKind::OpenDrain | PinKind::InOut)
    }

    /// True when the chip reads this pin.
    pub fn is_input(&self) -> bool {
        matches!(self.kind, PinKind::In | PinKind::InOut)
    }
}
