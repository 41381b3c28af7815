//! A sweep over two axes as a picture: letters in boxes of grey, so that it is readable in print without colours.

use super::svg::Svg;
use crate::diagnostic::count;
use crate::sweep::grid::{Cell, grid};
use crate::sweep::{Axis, Sweep, VERDICTS};

const ROW: f64 = 24.0;
const LETTER: f64 = 7.5;
const FONT: &str = "monospace";

/// The picture; the axes with several values when none are named.
///
/// # Errors
/// A sentence for a person when there is no such axis.
pub fn svg(sweep: &Sweep, across: Option<&str>, down: Option<&str>) -> Result<String, String> {
    let grid = grid(sweep, across, down)?;
    let words = |cell: &Cell| match grid.search {
        true => cell.rate_words(),
        false => cell.letter().to_string(),
    };
    let length = |text: &str| text.chars().count() as f64 * LETTER;
    let longest = |texts: &[String]| texts.iter().map(|text| length(text)).fold(0.0, f64::max);
    let widest = (grid.cells.iter().flatten()).map(|cell| length(&words(cell)));
    let column = widest.fold(ROW, |a, b| a.max(b + 8.0));
    let left = longest(&grid.down.values).max(length(&grid.down.name)) + 24.0;
    // Names above their columns, on end where they are wider.
    let flat = longest(&grid.across.values) <= column - 4.0;
    let top = if flat {
        14.0
    } else {
        longest(&grid.across.values)
    } + 56.0;
    let (columns, rows) = (
        grid.across.values.len() as f64,
        grid.down.values.len() as f64,
    );
    let legend: Vec<_> = VERDICTS
        .iter()
        .filter(|verdict| {
            let letters = [verdict.letter(), verdict.letter().to_ascii_lowercase()];
            !grid.search
                && grid
                    .cells
                    .iter()
                    .flatten()
                    .any(|cell| letters.contains(&cell.letter()))
        })
        .collect();
    let height = top + rows * ROW + 44.0 + (legend.len() + 1) as f64 * 18.0;
    let good = sweep.rows.iter().filter(|row| row.is_good()).count();
    let title = match grid.search {
        true => "highest clock rate at which all holds",
        false => "where the trials hold",
    };
    // An axis with one value is named beside its row and needs no word of its own.
    let several = |axis: &Axis| axis.values.len() > 1;
    let down = if several(&grid.down) {
        format!(", {} down", grid.down.name)
    } else {
        String::new()
    };
    let told = format!(
        "{} across{down}; {good} of {} held",
        grid.across.name,
        count(sweep.rows.len(), "point")
    );
    let width = (left + columns * column).max(length(title) + length(&told) + 24.0) + 24.0;
    let mut svg = Svg::new(width, height, title, &told);
    svg.start("rect")
        .num("width", width)
        .num("height", height)
        .attr("fill", "#fff")
        .empty();
    let mut label = |x: f64, y: f64, anchor: &str, turn: f64, fill: &str, text: &str| {
        let turned = format!("translate({x:.1} {y:.1}) rotate({turn})");
        svg.start("text")
            .attr("transform", &turned)
            .attr("font-family", FONT)
            .attr("font-size", "12")
            .attr("text-anchor", anchor)
            .attr("fill", fill)
            .content(text);
    };
    label(8.0, 18.0, "start", 0.0, "#000", &format!("{title}: {told}"));
    label(left, 36.0, "start", 0.0, "#000", &grid.across.name);
    label(8.0, top - 8.0, "start", 0.0, "#000", &grid.down.name);
    for (at, name) in grid.across.values.iter().enumerate() {
        let middle = left + (at as f64 + 0.5) * column;
        if flat {
            label(middle, top - 6.0, "middle", 0.0, "#000", name);
        } else {
            label(middle + 4.0, top - 6.0, "start", -90.0, "#000", name);
        }
    }
    for (at, name) in grid.down.values.iter().enumerate() {
        label(
            left - 8.0,
            top + at as f64 * ROW + 16.0,
            "end",
            0.0,
            "#000",
            name,
        );
    }
    for (at, verdict) in legend.iter().enumerate() {
        let y = top + rows * ROW + 24.0 + at as f64 * 18.0;
        label(
            8.0,
            y,
            "start",
            0.0,
            "#000",
            &format!("{}  {}", verdict.letter(), verdict.words()),
        );
    }
    let small = grid
        .cells
        .iter()
        .flatten()
        .any(|cell| cell.letter().is_ascii_lowercase());
    if small && !grid.search {
        let y = top + rows * ROW + 24.0 + legend.len() as f64 * 18.0;
        label(
            8.0,
            y,
            "start",
            0.0,
            "#000",
            "a small letter: some of the points of that place held",
        );
    }
    for (y, row) in grid.cells.iter().enumerate() {
        for (x, cell) in row.iter().enumerate() {
            let (fill, ink) = match (cell.done, cell.good) {
                (0, _) => ("#fff", "#000"),
                (done, good) if done == good => ("#fff", "#000"),
                (_, 0) => ("#444", "#fff"),
                _ => ("#bbb", "#000"),
            };
            let (left, top) = (left + x as f64 * column, top + y as f64 * ROW);
            svg.start("rect")
                .num("x", left)
                .num("y", top)
                .num("width", column)
                .num("height", ROW)
                .attr("fill", fill)
                .attr("stroke", "#888")
                .empty();
            svg.start("text")
                .num("x", left + column / 2.0)
                .num("y", top + 16.0)
                .attr("font-family", FONT)
                .attr("font-size", "12")
                .attr("text-anchor", "middle")
                .attr("fill", ink)
                .content(&words(cell));
        }
    }
    Ok(svg.finish())
}
