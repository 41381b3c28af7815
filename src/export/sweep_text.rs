//! A sweep as text for a person at a bench: a picture of letters, and what went wrong where.

use crate::diagnostic::count;
use crate::sweep::grid::{Cell, Grid, grid};
use crate::sweep::{Highest, Rests, Row, Searched, Sweep, VERDICTS, Verdict};
use crate::text::WIDEST_COLUMN;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;

/// Columns of a terminal that a picture with names above its columns may take.
const MOST_COLUMNS: usize = 100;
/// Searches that are told one by one.
const MOST_SEARCHES: usize = 60;

/// The whole sweep over two axes; those that have several values when none are named.
///
/// # Errors
/// A sentence for a person when there is no such axis.
pub fn text(sweep: &Sweep, across: Option<&str>, down: Option<&str>) -> Result<String, String> {
    let grid = grid(sweep, across, down)?;
    let mut out = head(sweep);
    if let Some(search) = &sweep.header.search {
        searches(&mut out, sweep, search);
    }
    if grid.down.values.len() > 1 || grid.across.values.len() > 1 {
        picture(&mut out, &grid);
    }
    wrong(&mut out, sweep);
    rules(&mut out, sweep);
    let good = sweep.rows.iter().filter(|row| row.is_good()).count();
    let missing = sweep.header.slice_points().count() - sweep.rows.len();
    let missing = match missing {
        0 => String::new(),
        some => format!(", {some} have not been run"),
    };
    let _ = writeln!(out, "\n  {good} of {} passed{missing}", count(sweep.rows.len(), "point"));
    Ok(out)
}

fn head(sweep: &Sweep) -> String {
    let axes = sweep.header.axes.iter().filter(|axis| axis.values.len() > 1);
    let axes: Vec<String> = axes.map(|axis| count(axis.values.len(), noun(&axis.name))).collect();
    let over = match axes.as_slice() {
        [] => "one point".to_owned(),
        some => some.join(" x "),
    };
    let slice = sweep.header.slice;
    let slice = slice.map_or(String::new(), |slice| format!(", slice {slice}"));
    let mut out = format!("sweep over {over}{slice}\n");
    for words in &sweep.header.changed {
        let _ = writeln!(out, "  {words}");
    }
    out
}

fn searches(out: &mut String, sweep: &Sweep, search: &Searched) {
    let _ = writeln!(
        out,
        "\n  the highest rate at which all passes, to {} between {} and {}",
        search.step, search.from, search.to
    );
    for row in sweep.rows.iter().take(MOST_SEARCHES) {
        let Some(highest) = &row.highest else {
            continue;
        };
        let _ = writeln!(out, "    {}: {}", sweep.header.words(&row.at), found(row, highest, search));
        if let Some(limit) = &highest.limit {
            let _ = writeln!(out, "      {limit}");
        }
    }
    if sweep.rows.len() > MOST_SEARCHES {
        let _ = writeln!(out, "    and {} more", sweep.rows.len() - MOST_SEARCHES);
    }
    if let Some(tried) = tried_below(sweep) {
        let _ = writeln!(
            out,
            "  Found by halving. That a rate passes does not prove that all lower ones do: {tried} tried and passed."
        );
    }
}

/// How many lower rates passed beside those that were found; nothing where no rate was.
fn tried_below(sweep: &Sweep) -> Option<String> {
    let found = sweep.rows.iter().filter_map(|row| row.highest.as_ref());
    let found = found.filter(|highest| highest.passed.is_some());
    let counts: Vec<usize> = found.map(|highest| highest.passed_below.len()).collect();
    let (least, most) = (*counts.iter().min()?, *counts.iter().max()?);
    Some(match (least, most) {
        (1, 1) => "1 lower rate was".to_owned(),
        (least, most) if least == most => format!("{} were", count(most, "lower rate")),
        _ => format!("{least} to {} were, by point,", count(most, "lower rate")),
    })
}

/// What a search found, in words.
pub(super) fn found(row: &Row, highest: &Highest, search: &Searched) -> String {
    let again = match highest.passed_above.last() {
        None => String::new(),
        Some(last) => format!("; passed again at {last}, which is no answer"),
    };
    match (&highest.passed, &highest.failed) {
        (None, _) if row.outcome.verdict == Verdict::Supply => {
            let why = row.outcome.first.as_deref().unwrap_or_default();
            format!("not run: {why}")
        }
        (None, _) => format!("fails even at {}", search.from),
        (Some(passed), None) => format!("{passed} passes, the end of the range{again}"),
        (Some(passed), Some(failed)) => format!("{passed} passes, {failed} fails{again}"),
    }
}

fn picture(out: &mut String, grid: &Grid) {
    let _ = write!(out, "\n  across: {}", grid.across.name);
    if grid.down.values.len() > 1 {
        let _ = write!(out, "; down: {}", grid.down.name);
    }
    if grid.others.is_empty() {
        out.push('\n');
    } else {
        let others: Vec<String> = (grid.others.iter()).map(|axis| count(axis.values.len(), noun(&axis.name))).collect();
        let _ = writeln!(out, "; in each place: {}", others.join(" x "));
    }
    let words = |cell: &Cell| {
        if grid.search { cell.rate_words() } else { cell.letter().to_string() }
    };
    let label = |text: &str| text.chars().count().min(WIDEST_COLUMN);
    let left = grid.down.values.iter().map(|text| label(text)).max().unwrap_or(0);
    let widths: Vec<usize> = (grid.across.values.iter().enumerate())
        .map(|(at, text)| {
            let cells = grid.cells.iter().map(|row| label(&words(&row[at])));
            cells.max().unwrap_or(0).max(label(text))
        })
        .collect();
    let wide = left + 4 + widths.iter().map(|width| width + 2).sum::<usize>();
    if wide <= MOST_COLUMNS || grid.search {
        let _ = write!(out, "\n  {:left$}", "");
        for (text, width) in grid.across.values.iter().zip(&widths) {
            let _ = write!(out, "  {text:>width$}");
        }
        out.push('\n');
        for (name, row) in grid.down.values.iter().zip(&grid.cells) {
            let _ = write!(out, "  {name:>left$}");
            for (cell, width) in row.iter().zip(&widths) {
                let _ = write!(out, "  {:>width$}", words(cell));
            }
            out.push('\n');
        }
    } else {
        // A letter a column; every tenth one has a mark and its name below.
        out.push('\n');
        for (name, row) in grid.down.values.iter().zip(&grid.cells) {
            let letters: String = row.iter().map(Cell::letter).collect();
            let _ = writeln!(out, "  {name:>left$}  {letters}");
        }
        let marks: String = (0..widths.len()).map(|at| if at % 10 == 0 { '|' } else { ' ' }).collect();
        let _ = writeln!(out, "  {:left$}  {}", "", marks.trim_end());
        let named: Vec<&str> = (grid.across.values.iter().step_by(10)).map(String::as_str).collect();
        let last = grid.across.values.last().map_or("", String::as_str);
        let _ = writeln!(out, "  {:left$}  marks at {}; the last column is {last}", "", named.join(", "));
    }
    if !grid.search {
        legend(out, grid);
    }
}

fn legend(out: &mut String, grid: &Grid) {
    let letters: BTreeSet<char> = grid.cells.iter().flatten().map(Cell::letter).collect();
    out.push('\n');
    for verdict in VERDICTS {
        let letter = verdict.letter();
        if letters.contains(&letter) || letters.contains(&letter.to_ascii_lowercase()) {
            let _ = writeln!(out, "  {letter}  {}", verdict.words());
        }
    }
    if letters.iter().any(char::is_ascii_lowercase) {
        out.push_str("  a small letter: some of the points of that place passed, others did not\n");
    }
    if letters.contains(&'.') {
        out.push_str("  .  not in this slice, or not run yet\n");
    }
}

/// Of each verdict the first point.
fn wrong(out: &mut String, sweep: &Sweep) {
    if sweep.header.search.is_some() {
        return;
    }
    for verdict in VERDICTS.into_iter().filter(|verdict| *verdict != Verdict::Passed) {
        let mut rows = sweep.rows.iter().filter(|row| row.outcome.verdict == verdict);
        let Some(first) = rows.next() else { continue };
        let _ = writeln!(
            out,
            "\n  {}: {}, first at {}",
            verdict.words(),
            count(1 + rows.count(), "point"),
            sweep.header.words(&first.at)
        );
        if let Some(text) = &first.outcome.first {
            let _ = writeln!(out, "    {text}");
        }
    }
}

fn rules(out: &mut String, sweep: &Sweep) {
    let mut found: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
    for Rests { rule, parts } in sweep.rows.iter().flat_map(|row| &row.outcome.rules) {
        let numbers = found.entry(rule).or_default();
        numbers.extend(parts.iter().map(String::as_str));
    }
    if found.is_empty() {
        return;
    }
    out.push_str("\n  delays that no sheet gives\n");
    for (rule, parts) in found {
        let parts: Vec<&str> = parts.into_iter().collect();
        let _ = writeln!(out, "    {rule}\n      {}", parts.join(" "));
    }
}

/// What the values of an axis are.
fn noun(axis: &str) -> &str {
    match axis {
        "clock" => "clock rate",
        "power-up" => "power-up state",
        other => other,
    }
}
