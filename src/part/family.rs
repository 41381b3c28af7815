//! The electrical sheet of a logic family.

use super::LevelName;
use super::sheet::{Column, Sheet};
use crate::language::ast;
use crate::quantity::{Quantity, Voltage};
use crate::text::Span;

/// A logic family.
#[derive(Clone, Debug)]
pub struct Family {
    /// `HC`.
    pub name: String,
    pub title: String,
    /// Publisher, document and date.
    pub sources: Vec<String>,
    /// What the figures of each row are.
    pub columns: Vec<Column>,
    /// Least and most supply voltage.
    pub supply: Option<(Voltage, Voltage)>,
    /// How its delays compare with those of other families.
    pub estimates: Vec<Estimate>,
    pub levels: Vec<Level>,
    pub notes: Vec<String>,
    /// Where its name was written.
    pub span: Span,
}

/// How long the delays of a family are, compared with those of another one, over all parts that have sheets in both.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Estimate {
    /// The family whose sheets stand in.
    pub base: String,
    /// Least share, in thousandths of a percent.
    pub least: i64,
    /// Most share, in thousandths of a percent.
    pub most: i64,
    /// Where the shares come from.
    pub source: Option<String>,
}

/// One electrical figure.
#[derive(Clone, Debug)]
pub struct Level {
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
        let texts = |list: &[crate::text::Spanned<String>]| list.iter().map(|text| text.node.clone()).collect();
        let rows = |block: &ast::LevelBlock| {
            let level = |row| Level::load(row, block.voltage);
            block.rows.iter().map(level).collect::<Vec<_>>()
        };
        let levels = tree.blocks.iter().flat_map(rows);
        Family {
            name: tree.name.node.clone(),
            title: tree.title.clone(),
            sources: texts(&tree.sources),
            columns: tree.columns.iter().map(column).collect(),
            supply: tree.supply,
            estimates: tree.estimates.iter().map(Estimate::load).collect(),
            levels: levels.collect(),
            notes: texts(&tree.notes),
            span: tree.name.span,
        }
    }

    /// The family with the figures that the sheet of a part has of its own, in the place of its own of the same names.
    #[must_use]
    pub fn of_part(&self, sheet: &Sheet) -> Family {
        let mut family = self.clone();
        let own = |name| sheet.levels.iter().any(|level| level.name == name);
        family.levels.retain(|level| !own(level.name));
        family.columns.extend(&sheet.columns);
        family.levels.extend(sheet.levels.iter().map(|level| {
            let mut level = level.clone();
            let before = std::iter::repeat_n(None, self.columns.len());
            level.figures.splice(0..0, before);
            level.source = level.source.or_else(|| sheet.sources.first().cloned());
            level
        }));
        family
    }

    /// The figures of one name, by rising supply voltage.
    pub fn figures(&self, name: LevelName) -> impl Iterator<Item = &Level> {
        self.levels.iter().filter(move |level| level.name == name)
    }
}

impl Level {
    /// The figure of a row at a supply voltage.
    pub(super) fn load(row: &ast::LevelRow, supply: Voltage) -> Level {
        Level {
            name: row.name.node,
            supply,
            at: row.at,
            figures: row.figures.clone(),
            source: row.source.as_ref().map(|source| source.node.clone()),
        }
    }
}

impl Estimate {
    /// Both shares in words: `40 % to 70 %`.
    pub fn shares(&self) -> String {
        let share = |raw| Quantity::Percent(raw);
        format!("{} to {}", share(self.least), share(self.most))
    }

    fn load(tree: &ast::Estimate) -> Estimate {
        Estimate {
            base: tree.base.node.clone(),
            least: tree.least,
            most: tree.most,
            source: tree.source.as_ref().map(|source| source.node.clone()),
        }
    }
}

/// A column of a syntax tree.
pub(super) fn column(tree: &ast::Column) -> Column {
    Column { kind: tree.kind, coldest: tree.temperature.0, hottest: tree.temperature.1 }
}
