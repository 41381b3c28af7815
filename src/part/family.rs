//! The electrical sheet of a logic family.

use super::LevelName;
use super::sheet::Column;
use crate::language::ast;
use crate::quantity::{Quantity, Voltage};
use crate::text::Span;

/// A logic family.
#[derive(Clone, Debug)]
pub struct Family {
    /// `HC`.
    pub name: String,
    /// In words.
    pub title: String,
    /// Publisher, document and date.
    pub sources: Vec<String>,
    /// What the figures of each row are.
    pub columns: Vec<Column>,
    /// Least and most supply voltage.
    pub supply: Option<(Voltage, Voltage)>,
    /// The figures.
    pub levels: Vec<Level>,
    /// Remarks.
    pub notes: Vec<String>,
    /// Where its name was written.
    pub span: Span,
}

/// One electrical figure.
#[derive(Clone, Debug)]
pub struct Level {
    /// What it is.
    pub name: LevelName,
    /// The supply voltage that it holds at.
    pub supply: Voltage,
    /// The output current that it holds at.
    pub at: Option<Quantity>,
    /// One figure a column.
    pub figures: Vec<Option<Quantity>>,
    /// A source of its own.
    pub source: Option<String>,
}

impl Family {
    /// The family of a syntax tree.
    pub fn load(tree: &ast::Family) -> Family {
        let texts = |list: &[crate::text::Spanned<String>]| {
            list.iter().map(|text| text.node.clone()).collect()
        };
        let levels = tree.blocks.iter().flat_map(|block| {
            block.rows.iter().map(|row| Level {
                name: row.name.node,
                supply: block.voltage,
                at: row.at,
                figures: row.figures.clone(),
                source: row.source.as_ref().map(|source| source.node.clone()),
            })
        });
        Family {
            name: tree.name.node.clone(),
            title: tree.title.clone(),
            sources: texts(&tree.sources),
            columns: tree.columns.iter().map(column).collect(),
            supply: tree.supply,
            levels: levels.collect(),
            notes: texts(&tree.notes),
            span: tree.name.span,
        }
    }

    /// The figures of one name, by rising supply voltage.
    pub fn figures(&self, name: LevelName) -> impl Iterator<Item = &Level> {
        self.levels.iter().filter(move |level| level.name == name)
    }
}

/// A column of a syntax tree.
pub(super) fn column(tree: &ast::Column) -> Column {
    Column {
        kind: tree.kind,
        coldest: tree.temperature.0,
        hottest: tree.temperature.1,
    }
}
