//! The page of a part for a terminal.

use super::grid::Grid;
use super::rows::{Conditions, LEVELS, Row, SheetPage, Three};
use super::{Line, Page};
use crate::export::package;
use std::fmt::Write;

/// The kinds of rows, in the order of a page.
const KINDS: &[&str] = &[
    "delay",
    "enable",
    "disable",
    "output-hold",
    "setup",
    "hold",
    "recovery",
    "width",
    "rate",
    "stable",
    "threshold",
    "start-up",
];

/// The whole page.
pub fn text(page: &Page) -> String {
    let part = &page.part;
    let mut out = format!("{}  {}\n{}\n", part.name, part.title, page.file);
    heading(&mut out, &format!("{}, seen from above", part.package));
    out.push_str(&package::characters(part));
    if !page.tables.is_empty() {
        heading(&mut out, "function (as published; * does not matter)");
        let tables: Vec<String> = page.tables.iter().map(|table| function(table)).collect();
        out.push_str(&tables.join("\n"));
    }
    if !part.notes.is_empty() {
        heading(&mut out, "what to know");
        notes(&mut out, "", &part.notes);
    }
    timing(&mut out, &page.sheets);
    estimates(&mut out, &page.sheets);
    electrical(&mut out, page);
    sources(&mut out, page);
    out
}

fn heading(out: &mut String, words: &str) {
    let _ = writeln!(out, "\n{words}");
}

fn notes(out: &mut String, before: &str, notes: &[String]) {
    for note in notes {
        let _ = writeln!(out, "  - {before}{note}");
    }
}

/// A function table, its columns under each other.
fn function(table: &[Line]) -> String {
    let rows = table.iter().map(|line| {
        let bar = ["|".to_owned()];
        let cells = line.inputs.iter().chain(&bar).chain(&line.outputs);
        cells.cloned().collect()
    });
    Grid {
        heading: Vec::new(),
        rows: rows.collect(),
    }
    .text()
}

/// Letters for conditions that differ from those of the heading.
#[derive(Default)]
struct Marks(Vec<String>);

impl Marks {
    /// A figure, with a letter where it does not hold at the usual conditions.
    fn cell(&mut self, text: String, at: Conditions, usual: Option<Conditions>) -> String {
        if usual == Some(at) || text.is_empty() {
            return text;
        }
        let at = at.to_string();
        let index = self.0.iter().position(|known| *known == at);
        let index = index.unwrap_or_else(|| {
            self.0.push(at);
            self.0.len() - 1
        });
        format!("{text} ({})", letter(index))
    }

    fn legend(&self, out: &mut String) {
        for (index, at) in self.0.iter().enumerate() {
            let _ = writeln!(out, "  ({}) at {at}", letter(index));
        }
    }
}

/// a to z, then aa.
fn letter(index: usize) -> String {
    let last = char::from(b'a' + (index % 26) as u8);
    match index / 26 {
        0 => last.to_string(),
        more => letter(more - 1) + &last.to_string(),
    }
}

const THREE: &str = "typical / limit at 25 C / limit over the temperatures in the heading";

fn timing(out: &mut String, sheets: &[SheetPage]) {
    let sheets: Vec<&SheetPage> = sheets
        .iter()
        .filter(|sheet| !sheet.rows.is_empty())
        .collect();
    if sheets.is_empty() {
        heading(out, "timing: no figures");
        return;
    }
    heading(out, &format!("timing: {THREE}"));
    let mut marks = Marks::default();
    let mut grid = Grid {
        heading: top(sheets.iter().map(|sheet| {
            [
                sheet.name.clone(),
                sheet.at.map_or_else(String::new, |at| at.to_string()),
                sheet.over.map_or_else(String::new, |over| over.to_string()),
            ]
        })),
        rows: Vec::new(),
    };
    for label in labels(&sheets) {
        let cells = sheets.iter().map(|sheet| {
            let row = sheet.rows.iter().find(|row| row.label == label);
            row.map_or_else(String::new, |row| {
                marks.cell(figures(row), row.at, sheet.at)
            })
        });
        let cells: Vec<String> = [label.to_owned()].into_iter().chain(cells).collect();
        grid.rows.push(cells);
    }
    out.push_str(&grid.text());
    marks.legend(out);
}

/// The lines of a heading, from what stands over each column.
fn top(columns: impl Iterator<Item = [String; 3]>) -> Vec<Vec<String>> {
    let mut lines = vec![vec![String::new()]; 3];
    for column in columns {
        for (line, cell) in lines.iter_mut().zip(column) {
            line.push(cell);
        }
    }
    lines
}

fn figures(row: &Row) -> String {
    let text = row.figures.as_ref().map(Three::text);
    match text {
        None => "required".to_owned(),
        Some(text) if text.is_empty() => "-".to_owned(),
        Some(text) => text,
    }
}

/// The rows of all sheets: kind by kind, and what differs only in the edge beside each other.
fn labels<'a>(sheets: &[&'a SheetPage]) -> Vec<&'a str> {
    let mut labels: Vec<&str> = Vec::new();
    for row in sheets.iter().flat_map(|sheet| &sheet.rows) {
        if !labels.contains(&row.label.as_str()) {
            labels.push(&row.label);
        }
    }
    let kind = |label: &str| {
        let word = label.split(' ').next().unwrap_or_default();
        KINDS
            .iter()
            .position(|kind| *kind == word)
            .unwrap_or(KINDS.len())
    };
    let seen = labels.clone();
    labels.sort_by_key(|label| {
        let (stem, edge) = split_edge(label);
        let first = seen.iter().position(|other| split_edge(other).0 == stem);
        (kind(label), first, edge)
    });
    labels
}

/// A label without its edge, and the rank of the edge.
fn split_edge(label: &str) -> (&str, u8) {
    let edges = [(" rise", 1), (" high", 1), (" fall", 2), (" low", 2)];
    let found = edges
        .into_iter()
        .find_map(|(edge, rank)| Some((label.strip_suffix(edge)?, rank)));
    found.unwrap_or((label, 0))
}

fn estimates(out: &mut String, sheets: &[SheetPage]) {
    let mut rules: Vec<_> = sheets
        .iter()
        .flat_map(|sheet| &sheet.estimated)
        .flat_map(|estimated| estimated.rules.iter().copied())
        .collect();
    rules.sort_unstable();
    rules.dedup();
    if sheets.is_empty() {
        return;
    }
    heading(out, "what is estimated at 5 V, because no sheet gives it");
    if rules.is_empty() {
        out.push_str("  nothing: every figure is published\n");
    }
    for rule in rules {
        let _ = writeln!(out, "  {}", rule.sentence());
        for corner in ["fastest", "typical", "slowest"] {
            let needs = |sheet: &&SheetPage| {
                let mut corners = sheet.estimated.iter();
                corners.any(|found| found.corner == corner && found.rules.contains(&rule))
            };
            let names: Vec<&str> = sheets
                .iter()
                .filter(needs)
                .map(|sheet| sheet.name.as_str())
                .collect();
            if !names.is_empty() {
                let _ = writeln!(out, "    {corner:8} {}", names.join(", "));
            }
        }
    }
}

fn electrical(out: &mut String, page: &Page) {
    let families = &page.electrical;
    if families.is_empty() {
        return;
    }
    heading(out, &format!("electrical, of the whole family: {THREE}"));
    let mut marks = Marks::default();
    let mut grid = Grid {
        heading: top(families.iter().map(|family| {
            [
                family.name.clone(),
                family.at.map_or_else(String::new, |at| at.to_string()),
                family
                    .over
                    .map_or_else(String::new, |over| over.to_string()),
            ]
        })),
        rows: Vec::new(),
    };
    let supply = families.iter().map(|family| {
        family.supply.map_or_else(String::new, |(least, most)| {
            format!("{}..{most}", least.to_string().trim_end_matches(" V"))
        })
    });
    grid.rows
        .push(["supply".to_owned()].into_iter().chain(supply).collect());
    for (name, word) in LEVELS {
        // A family may give one level at several currents: one line each.
        let most = families
            .iter()
            .map(|family| {
                family
                    .levels
                    .iter()
                    .filter(|level| level.name == *name)
                    .count()
            })
            .max()
            .unwrap_or(0);
        for line in 0..most {
            let cells = families.iter().map(|family| {
                let mut levels = family.levels.iter().filter(|level| level.name == *name);
                levels.nth(line).map_or_else(String::new, |level| {
                    let text = level.figures.text();
                    let text = match level.current {
                        Some(current) if !text.is_empty() => format!("{text} at {current}"),
                        _ => text,
                    };
                    marks.cell(text, level.at, family.at)
                })
            });
            let label = if line == 0 { *word } else { "" };
            let cells: Vec<String> = [label.to_owned()].into_iter().chain(cells).collect();
            grid.rows.push(cells);
        }
    }
    out.push_str(&grid.text());
    marks.legend(out);
    for family in families {
        notes(out, &format!("{}: ", family.name), &family.notes);
    }
}

fn sources(out: &mut String, page: &Page) {
    if page.sheets.is_empty() {
        return;
    }
    heading(out, "sources");
    let or_none = |sources: &[String]| match sources {
        [] => "no source named".to_owned(),
        sources => sources.join("; "),
    };
    let mut lines = Vec::new();
    let mut line = |what: String, source: String| lines.push(vec![what, source]);
    for sheet in &page.sheets {
        line(sheet.name.clone(), or_none(&sheet.sources));
        for row in &sheet.rows {
            if let Some(source) = &row.source {
                line(String::new(), format!("{}: {source}", row.label));
            }
        }
        for note in &sheet.notes {
            line(String::new(), format!("note: {note}"));
        }
    }
    for family in &page.electrical {
        line(
            format!("{} electrical", family.name),
            or_none(&family.sources),
        );
        for level in &family.levels {
            if let Some(source) = &level.source {
                let word = LEVELS.iter().find(|(name, _)| *name == level.name);
                let word = word.map_or("", |(_, word)| word);
                let current = level
                    .current
                    .map_or_else(String::new, |at| format!(" at {at}"));
                line(String::new(), format!("{word}{current}: {source}"));
            }
        }
    }
    let grid = Grid {
        heading: Vec::new(),
        rows: lines,
    };
    out.push_str(&grid.text());
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn letters_go_on_behind_z() {
        let letters: Vec<String> = [0, 25, 26, 52].into_iter().map(letter).collect();
        assert_eq!(letters, ["a", "z", "aa", "ba"]);
    }

    #[test]
    fn edges_stand_beside_their_row() {
        assert_eq!(split_edge("delay A -> Y fall"), ("delay A -> Y", 2));
        assert_eq!(split_edge("delay A -> high"), ("delay A ->", 1));
        assert_eq!(split_edge("rate CLK"), ("rate CLK", 0));
    }
}
