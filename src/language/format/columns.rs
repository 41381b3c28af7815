//! Rows set in columns: which cells a statement has, and how wide each column is.

use super::tree::{Statement, Token, joined};
use crate::language::parse::grammar::Rule;

/// A longer cell does not widen its column.
const WIDEST: usize = 60;

/// The cells of a row, and what follows the last one without a column of its own.
pub(super) struct Row {
    pub(super) cells: Vec<String>,
    pub(super) tail: String,
}

/// How a column is set.
#[derive(Clone, Copy)]
pub(super) struct Column {
    /// Figures stand right in their column.
    pub(super) right: bool,
    /// Blanks before it.
    pub(super) gap: usize,
}

const fn left(gap: usize) -> Column {
    Column { right: false, gap }
}

/// The looks of a kind of row: the first columns, then that of all further ones.
pub(super) fn columns(rule: Rule, count: usize) -> Vec<Column> {
    let figure = Column { right: true, gap: 1 };
    let first_figure = Column { right: true, gap: 2 };
    let (first, further): (&[Column], Column) = match rule {
        Rule::at_block => (&[left(0), left(1), first_figure], figure),
        Rule::level_block => (&[left(0), left(2), first_figure], figure),
        Rule::connector_block => (&[left(0), left(2), left(1), left(2)], left(2)),
        Rule::package_block | Rule::table_block | Rule::bits_block => (&[left(0)], left(2)),
        _ => (&[left(0)], left(1)),
    };
    (0..count).map(|index| first.get(index).copied().unwrap_or(further)).collect()
}

/// The rows of a block.
pub(super) fn rows(block: Rule, statements: &[&Statement<'_>]) -> Vec<Row> {
    let mut rows: Vec<Row> = statements.iter().map(|statement| cells(block, statement)).collect();
    if block == Rule::at_block {
        align_edges(&mut rows, statements);
    }
    rows
}

/// The edges and levels of delays stand in one column: `A -> Y  rise`.
fn align_edges(rows: &mut [Row], statements: &[&Statement<'_>]) {
    let has_edge = |statement: &Statement<'_>| {
        let is_edge =
            |token: &Token<'_>| matches!(token.rule, Rule::kw_rise | Rule::kw_fall | Rule::kw_high | Rule::kw_low);
        statement.rule == Rule::arc_row && statement.tokens.iter().any(is_edge)
    };
    let with_edges = rows.iter_mut().zip(statements).filter(|(_, s)| has_edge(s));
    let mut paths: Vec<&mut String> = with_edges.map(|(row, _)| &mut row.cells[1]).collect();
    let split = |path: &str| path.rfind(' ').unwrap_or(0);
    let length = |path: &str| path[..split(path)].chars().count();
    let widest = paths.iter().map(|path| length(path)).filter(|&l| l <= WIDEST).max();
    let width = widest.unwrap_or(0);
    for path in &mut paths {
        let (arc, edge) = path.split_at(split(path));
        **path = format!("{arc:<width$}{edge}");
    }
}

/// The cells of one statement of a block.
pub(super) fn cells(block: Rule, statement: &Statement<'_>) -> Row {
    let tokens = statement.tokens.as_slice();
    let until = |stops: &[Rule]| tokens.iter().position(|token| stops.contains(&token.rule)).unwrap_or(tokens.len());
    let (cells, tail) = match block {
        Rule::at_block => {
            // The last run of figures: ranges of values may stand before it.
            let unit = tokens.iter().rposition(|token| token.rule == Rule::unit);
            let is_figure = |token: &&Token<'_>| matches!(token.rule, Rule::decimal | Rule::dash);
            let figures =
                unit.map_or(tokens.len(), |unit| unit - tokens[..unit].iter().rev().take_while(is_figure).count());
            return with_figures(vec![&tokens[..1], &tokens[1..figures]], &tokens[figures..]);
        }
        Rule::level_block => {
            let behind = if tokens.get(1).is_some_and(|at| at.rule == Rule::kw_at) { 4.min(tokens.len()) } else { 1 };
            return with_figures(vec![&tokens[..1], &tokens[1..behind]], &tokens[behind..]);
        }
        Rule::package_block => {
            let name = until(&[Rule::name]);
            let kind = (name + 1).min(tokens.len());
            (vec![&tokens[..name], &tokens[name..kind], &tokens[kind..]], "")
        }
        Rule::connector_block => {
            let label = until(&[Rule::name, Rule::kw_open]);
            let remark = until(&[Rule::string]);
            let nets = until(&[Rule::equals]).min(remark);
            let label_end = nets.max(label);
            (vec![&tokens[..label], &tokens[label..label_end], &tokens[label_end..remark], &tokens[remark..]], "")
        }
        Rule::bits_block => {
            let name = until(&[Rule::name]);
            (vec![&tokens[..name], &tokens[name..]], "")
        }
        Rule::table_block => (tokens.chunks(1).collect(), ""),
        Rule::cable_block => {
            let to = until(&[Rule::kw_to]);
            (vec![&tokens[..to], &tokens[to..]], "")
        }
        _ => {
            let equals = until(&[Rule::equals]);
            (vec![&tokens[..equals], &tokens[equals..]], "")
        }
    };
    Row { cells: cells.into_iter().map(joined).collect(), tail: tail.to_owned() }
}

/// Cells, then one a figure, then the unit and the source.
fn with_figures(words: Vec<&[Token<'_>]>, rest: &[Token<'_>]) -> Row {
    let is_figure = |token: &&Token<'_>| matches!(token.rule, Rule::decimal | Rule::dash);
    let count = rest.iter().take_while(is_figure).count();
    let (figures, tail) = rest.split_at(count);
    Row { cells: words.into_iter().chain(figures.chunks(1)).map(joined).collect(), tail: joined(tail) }
}

/// The rows as text, each column as wide as its widest cell; a column without any text takes no room.
pub(super) fn aligned(rows: &[Row], columns: &[Column]) -> Vec<String> {
    let mut widths = vec![0; columns.len()];
    for row in rows {
        for (width, cell) in widths.iter_mut().zip(&row.cells) {
            let length = cell.chars().count();
            if length <= WIDEST {
                *width = length.max(*width);
            }
        }
    }
    rows.iter()
        .map(|row| {
            let mut text = String::new();
            for (index, cell) in row.cells.iter().enumerate() {
                let (column, width) = (columns[index], widths[index]);
                if width == 0 && cell.is_empty() {
                    continue;
                }
                text.extend(std::iter::repeat_n(' ', column.gap));
                if column.right {
                    text.push_str(&format!("{cell:>width$}"));
                } else {
                    text.push_str(&format!("{cell:<width$}"));
                }
            }
            let text = text.trim_end();
            if row.tail.is_empty() { text.to_owned() } else { format!("{text} {}", row.tail) }
        })
        .collect()
}
