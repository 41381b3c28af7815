//! The page of a part for a terminal.

use super::electrical::{LEVELS, LevelRow};
use super::grid::{Grid, wrapped};
use super::rows::{Conditions, Row, SheetPage};
use super::{Line, Page};
use crate::export::package;
use crate::text::WIDEST_COLUMN;
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
    "select",
    "width",
    "rate",
    "stable",
    "threshold",
    "start-up",
    "power-capacitance",
    "extra-supply-current",
];

/// The whole page, in lines of at most `width` characters where a column allows it.
pub fn text(page: &Page, width: usize) -> String {
    let part = &page.part;
    let mut out = wrapped(&format!("{}  ", part.name), &part.title, width);
    out.push_str(&page.file);
    out.push('\n');
    heading(&mut out, &format!("{}, seen from above", part.package), width);
    out.push_str(&package::characters(part));
    if !page.tables.is_empty() {
        heading(&mut out, "function (as published; * does not matter)", width);
        let tables: Vec<String> = page.tables.iter().map(|table| function(table, width)).collect();
        out.push_str(&tables.join("\n"));
    }
    if !part.notes.is_empty() {
        heading(&mut out, "what to know", width);
        notes(&mut out, "", &part.notes, width);
    }
    timing(&mut out, &page.sheets, width);
    // With several sheets beside each other there is no room for more than one voltage.
    if let [sheet] = page.sheets.as_slice() {
        whole(&mut out, sheet, width);
    }
    estimates(&mut out, &page.sheets, width);
    electrical(&mut out, page, width);
    sources(&mut out, page, width);
    uses(&mut out, page, width);
    out
}

fn heading(out: &mut String, words: &str, width: usize) {
    out.push('\n');
    out.push_str(&wrapped("", words, width));
}

fn notes(out: &mut String, before: &str, notes: &[String], width: usize) {
    for note in notes {
        out.push_str(&wrapped("  - ", &format!("{before}{note}"), width));
    }
}

/// A function table, its columns under each other.
fn function(table: &[Line], width: usize) -> String {
    let rows = table.iter().map(|line| {
        let bar = ["|".to_owned()];
        let cells = line.inputs.iter().chain(&bar).chain(&line.outputs);
        cells.cloned().collect()
    });
    Grid { heading: Vec::new(), rows: rows.collect() }.within(width)
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

/// What the figures of a row are.
fn meaning(least: bool) -> String {
    let four = if least { "; of four figures the first is the least" } else { "" };
    format!("typical / limit at 25 C / limit over the temperatures in the heading{four}")
}

fn timing(out: &mut String, sheets: &[SheetPage], width: usize) {
    let sheets: Vec<&SheetPage> = sheets.iter().filter(|sheet| !sheet.rows.is_empty()).collect();
    if sheets.is_empty() {
        heading(out, "timing: no figures", width);
        return;
    }
    let has_least = |row: &Row| row.figures.is_some_and(|figures| figures.least.is_some());
    let least = sheets.iter().flat_map(|sheet| &sheet.rows).any(has_least);
    heading(out, &format!("timing: {}", meaning(least)), width);
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
        let mut rows = sheets.iter().flat_map(|sheet| sheet.rows_of(label));
        let least = rows.any(has_least);
        let lines = sheets.iter().map(|sheet| sheet.rows_of(label).count());
        for line in 0..lines.max().unwrap_or(0) {
            let cells = sheets.iter().map(|sheet| {
                let row = sheet.rows_of(label).nth(line);
                row.map_or_else(String::new, |row| marks.cell(figures(row, least), row.at, sheet.at))
            });
            let label = if line == 0 { label } else { "" };
            let cells: Vec<String> = [label.to_owned()].into_iter().chain(cells).collect();
            grid.rows.push(cells);
        }
    }
    out.push_str(&grid.within(width));
    marks.legend(out);
}

/// Every figure of a sheet, voltage by voltage.
fn whole(out: &mut String, sheet: &SheetPage, width: usize) {
    if sheet.blocks.len() < 2 {
        return;
    }
    heading(out, &format!("every figure of the sheet {}", sheet.name), width);
    let columns = sheet.columns.iter().cloned();
    let mut grid = Grid { heading: vec![[String::new()].into_iter().chain(columns).collect()], rows: Vec::new() };
    for block in &sheet.blocks {
        // The words in each line: one that is carried over below still says where it holds.
        for (label, figures) in &block.rows {
            let figures = figures.iter().map(|figure| match figure {
                Some(figure) => figure.to_string(),
                None => "-".to_owned(),
            });
            let label = format!("{}: {label}", block.at);
            grid.rows.push([label].into_iter().chain(figures).collect());
        }
    }
    out.push_str(&grid.within(width));
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

fn figures(row: &Row, least: bool) -> String {
    let text = row.figures.as_ref().map(|figures| figures.text(least));
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
        KINDS.iter().position(|kind| *kind == word).unwrap_or(KINDS.len())
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
    let found = edges.into_iter().find_map(|(edge, rank)| Some((label.strip_suffix(edge)?, rank)));
    found.unwrap_or((label, 0))
}

fn estimates(out: &mut String, sheets: &[SheetPage], width: usize) {
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
    heading(out, "what is estimated at 5 V, because no sheet gives it", width);
    if rules.is_empty() {
        out.push_str("  nothing: every figure is published\n");
    }
    for rule in rules {
        out.push_str(&wrapped("  ", rule.sentence(), width));
        for corner in ["fastest", "typical", "slowest"] {
            let needs = |sheet: &&SheetPage| {
                let mut corners = sheet.estimated.iter();
                corners.any(|found| found.corner == corner && found.rules.contains(&rule))
            };
            let names: Vec<&str> = sheets.iter().filter(needs).map(|sheet| sheet.name.as_str()).collect();
            if !names.is_empty() {
                out.push_str(&wrapped(&format!("    {corner:8} "), &names.join(", "), width));
            }
        }
    }
}

fn electrical(out: &mut String, page: &Page, width: usize) {
    let families = &page.electrical;
    if families.is_empty() {
        return;
    }
    let has_least = |level: &LevelRow| level.figures.least.is_some();
    let least = families.iter().flat_map(|family| &family.levels).any(has_least);
    heading(
        out,
        &format!("electrical, of the family, or of the part itself where its sheet tells: {}", meaning(least)),
        width,
    );
    let mut marks = Marks::default();
    let mut grid = Grid {
        heading: top(families.iter().map(|family| {
            [
                family.name.clone(),
                family.at.map_or_else(String::new, |at| at.to_string()),
                family.over.map_or_else(String::new, |over| over.to_string()),
            ]
        })),
        rows: Vec::new(),
    };
    let supply = families.iter().map(|family| {
        family
            .supply
            .map_or_else(String::new, |(least, most)| format!("{}..{most}", least.to_string().trim_end_matches(" V")))
    });
    grid.rows.push(["supply".to_owned()].into_iter().chain(supply).collect());
    for (name, word) in LEVELS {
        let levels = families.iter().flat_map(|family| &family.levels);
        let least = levels.filter(|level| level.name == *name).any(has_least);
        // A family may give one level at several currents: one line each.
        let most = families
            .iter()
            .map(|family| family.levels.iter().filter(|level| level.name == *name).count())
            .max()
            .unwrap_or(0);
        for line in 0..most {
            let cells = families.iter().map(|family| {
                let mut levels = family.levels.iter().filter(|level| level.name == *name);
                levels.nth(line).map_or_else(String::new, |level| {
                    let text = level.figures.text(least);
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
    out.push_str(&grid.within(width));
    marks.legend(out);
    for family in families {
        notes(out, &format!("{}: ", family.name), &family.notes, width);
    }
}

fn sources(out: &mut String, page: &Page, width: usize) {
    if page.sheets.is_empty() {
        return;
    }
    heading(out, "sources", width);
    let or_none = |sources: &[String]| match sources {
        [] => "no source named".to_owned(),
        sources => sources.join("; "),
    };
    let mut lines: Vec<(String, String)> = Vec::new();
    for sheet in &page.sheets {
        lines.push((sheet.name.clone(), or_none(&sheet.sources)));
        for row in &sheet.rows {
            if let Some(source) = &row.source {
                lines.push((String::new(), format!("{}: {source}", row.label)));
            }
        }
        let notes = sheet.notes.iter();
        lines.extend(notes.map(|note| (String::new(), format!("note: {note}"))));
    }
    for family in &page.electrical {
        let name = format!("{} electrical", family.name);
        lines.push((name, or_none(&family.sources)));
        // What several rows share is told once.
        let mut shared: Vec<(&str, Vec<String>)> = Vec::new();
        for level in &family.levels {
            let Some(source) = &level.source else {
                continue;
            };
            let word = LEVELS.iter().find(|(name, _)| *name == level.name);
            let word = word.map_or("", |(_, word)| word);
            let current = level.current.map_or_else(String::new, |at| format!(" at {at}"));
            let row = format!("{word}{current}");
            match shared.iter_mut().find(|(known, _)| known == source) {
                Some((_, rows)) => rows.push(row),
                None => shared.push((source, vec![row])),
            }
        }
        let shared = shared.into_iter();
        lines.extend(shared.map(|(source, rows)| (String::new(), format!("{}: {source}", rows.join(", ")))));
    }
    let first = lines.iter().map(|(name, _)| name.chars().count()).max();
    let first = first.unwrap_or(0).min(WIDEST_COLUMN);
    for (name, text) in lines {
        out.push_str(&wrapped(&format!("  {name:first$}  "), &text, width));
    }
}

/// Where the example designs use it.
fn uses(out: &mut String, page: &Page, width: usize) {
    if page.used_in.is_empty() {
        return;
    }
    heading(out, "used in the example designs", width);
    let mut file = "";
    for found in &page.used_in {
        if found.file != file {
            file = &found.file;
            let _ = writeln!(out, "  {file}");
        }
        let before = format!("    {}: {} ", found.board, found.number);
        out.push_str(&wrapped(&before, &found.chips.join(", "), width));
    }
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
