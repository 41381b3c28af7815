//! A sweep over two axes as a picture: letters in boxes of grey, so that it is readable in print without colours.

use super::svg::Svg;
use crate::diagnostic::count;
use crate::sweep::grid::{Cell, Grid, grid};
use crate::sweep::{Sweep, VERDICTS};

const ROW: f64 = 24.0;
const LETTER: f64 = 7.5;
const FONT: &str = "monospace";

/// The picture; the axes with several values when none are named.
///
/// # Errors
/// A sentence for a person when there is no such axis.
pub fn svg(sweep: &Sweep, across: Option<&str>, down: Option<&str>) -> Result<String, String> {
    let grid = grid(sweep, across, down)?;
    let longest = |texts: &[String]| texts.iter().map(|text| length(text)).fold(0.0, f64::max);
    let widest = (grid.cells.iter().flatten()).map(|cell| length(&words(&grid, cell)));
    let column = widest.fold(ROW, |a, b| a.max(b + 8.0));
    // Names above their columns, on end where they are wider.
    let across = longest(&grid.across.values);
    let flat = across <= column - 4.0;
    let picture = Picture {
        left: longest(&grid.down.values).max(length(&grid.down.name)) + 24.0,
        top: if flat { 14.0 } else { across } + 56.0,
        column,
        flat,
        grid: &grid,
    };
    let legend = legend(&grid);
    let height = picture.top + (grid.down.values.len() as f64) * ROW + 44.0;
    let height = height + (legend.len() + 1) as f64 * 18.0;
    let title = match grid.search {
        true => "highest clock rate at which all passes",
        false => "where the trials pass",
    };
    let told = told(sweep, &grid);
    let columns = grid.across.values.len() as f64;
    let wanted = length(title) + length(&told) + 24.0;
    let width = (picture.left + columns * column).max(wanted) + 24.0;
    let mut svg = Svg::new(width, height, title, &told);
    svg.start("rect").num("width", width).num("height", height).attr("fill", "#fff").empty();
    label(&mut svg, 8.0, 18.0, "start", &format!("{title}: {told}"));
    picture.names(&mut svg);
    let mut y = picture.top + grid.down.values.len() as f64 * ROW + 24.0;
    for line in &legend {
        label(&mut svg, 8.0, y, "start", line);
        y += 18.0;
    }
    picture.cells(&mut svg);
    Ok(svg.finish())
}

fn length(text: &str) -> f64 {
    text.chars().count() as f64 * LETTER
}

/// What stands in a box.
fn words(grid: &Grid, cell: &Cell) -> String {
    match grid.search {
        true => cell.rate_words(),
        false => cell.letter().to_string(),
    }
}

/// What the axes are, and how many points passed.
fn told(sweep: &Sweep, grid: &Grid) -> String {
    let good = sweep.rows.iter().filter(|row| row.is_good()).count();
    // An axis with one value is named beside its row and needs no word of its own.
    let down = match grid.down.values.len() > 1 {
        true => format!(", {} down", grid.down.name),
        false => String::new(),
    };
    let points = count(sweep.rows.len(), "point");
    format!("{} across{down}; {good} of {points} passed", grid.across.name)
}

/// What the letters of the boxes mean, a line each.
fn legend(grid: &Grid) -> Vec<String> {
    let letters: Vec<char> = match grid.search {
        true => Vec::new(),
        false => grid.cells.iter().flatten().map(Cell::letter).collect(),
    };
    let there = VERDICTS.iter().filter(|verdict| {
        let letter = verdict.letter();
        letters.contains(&letter) || letters.contains(&letter.to_ascii_lowercase())
    });
    let mut lines: Vec<String> = there.map(|verdict| format!("{}  {}", verdict.letter(), verdict.words())).collect();
    if letters.iter().any(char::is_ascii_lowercase) {
        lines.push("a small letter: some of the points of that place passed".to_owned());
    }
    lines
}

/// A line of text at a place, in black.
fn label(svg: &mut Svg, x: f64, y: f64, anchor: &str, text: &str) {
    turned(svg, (x, y), anchor, 0.0, text);
}

fn turned(svg: &mut Svg, (x, y): (f64, f64), anchor: &str, degrees: f64, text: &str) {
    svg.start("text")
        .attr("transform", &format!("translate({x:.1} {y:.1}) rotate({degrees})"))
        .attr("font-family", FONT)
        .attr("font-size", "12")
        .attr("text-anchor", anchor)
        .attr("fill", "#000")
        .content(text);
}

/// The grid on the page: where its first box stands, and how wide the boxes are.
struct Picture<'g> {
    grid: &'g Grid,
    left: f64,
    top: f64,
    column: f64,
    /// Names of columns stand level, not on end.
    flat: bool,
}

impl Picture<'_> {
    /// The names of the axes and of their values.
    fn names(&self, svg: &mut Svg) {
        let (across, down) = (&self.grid.across, &self.grid.down);
        label(svg, self.left, 36.0, "start", &across.name);
        label(svg, 8.0, self.top - 8.0, "start", &down.name);
        for (at, name) in across.values.iter().enumerate() {
            let middle = self.left + (at as f64 + 0.5) * self.column;
            if self.flat {
                label(svg, middle, self.top - 6.0, "middle", name);
            } else {
                let place = (middle + 4.0, self.top - 6.0);
                turned(svg, place, "start", -90.0, name);
            }
        }
        for (at, name) in down.values.iter().enumerate() {
            let y = self.top + at as f64 * ROW + 16.0;
            label(svg, self.left - 8.0, y, "end", name);
        }
    }

    fn cells(&self, svg: &mut Svg) {
        for (y, row) in self.grid.cells.iter().enumerate() {
            for (x, cell) in row.iter().enumerate() {
                let (fill, ink) = match (cell.done, cell.good) {
                    (0, _) => ("#fff", "#000"),
                    (done, good) if done == good => ("#fff", "#000"),
                    (_, 0) => ("#444", "#fff"),
                    _ => ("#bbb", "#000"),
                };
                let left = self.left + x as f64 * self.column;
                let top = self.top + y as f64 * ROW;
                svg.start("rect")
                    .num("x", left)
                    .num("y", top)
                    .num("width", self.column)
                    .num("height", ROW)
                    .attr("fill", fill)
                    .attr("stroke", "#888")
                    .empty();
                svg.start("text")
                    .num("x", left + self.column / 2.0)
                    .num("y", top + 16.0)
                    .attr("font-family", FONT)
                    .attr("font-size", "12")
                    .attr("text-anchor", "middle")
                    .attr("fill", ink)
                    .content(&words(self.grid, cell));
            }
        }
    }
}
