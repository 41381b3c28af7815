//! Draws the shapes of one signal: lines, lozenges, hatched boxes and bands.

use super::shapes::{Face, Kind, Shape};
use super::sizes::{CELL, CHARACTER, INK, OFF, PAPER, SMALL_SIZE, SWING};
use crate::export::svg::{Course, Svg};

/// The fill of what is unknown: the pattern that the picture defines.
const HATCHED: &str = "url(#coldboard-unknown)";
/// The width of every line.
const WIDTH: f64 = 1.3;
const DASHES: &str = "4 2.5";
/// Half the width of an edge that has room.
const SLOPE: f64 = 2.2;
/// A band is never thinner.
const THINNEST: f64 = 1.6;
/// The fewest letters that a shortened value has, with the dots.
const FEWEST: usize = 3;

/// Draws shapes whose high level is at `high`, and writes values within the part that is `seen`.
pub(super) fn draw(svg: &mut Svg, shapes: &[Shape], high: f64, seen: (f64, f64)) {
    let mut line = Line::default();
    for (index, shape) in shapes.iter().enumerate() {
        let Shape { left, right, face } = shape;
        let Some(face) = face else {
            line.end(svg);
            draw_band(svg, shape, high);
            continue;
        };
        let before = index.checked_sub(1).map(|index| &shapes[index]);
        let (begin, begin_slope) = joint(before, shape, high);
        let (end, end_slope) = joint(shapes.get(index + 1), shape, high);
        // The flat part, between the edges.
        let (from, to) = (left + begin_slope, right - end_slope);
        match level(face, high) {
            Some(y) => {
                let look = (face.weak, face.kind == Kind::Off);
                match begin {
                    Beside::Line(other) => line.go_on(svg, look, (left - begin_slope, other)),
                    Beside::Box => line.go_on(svg, look, (from, y)),
                    Beside::Nothing => line.go_on(svg, look, (*left, y)),
                }
                line.course.line_to(from, y);
                line.course.line_to(if end == Beside::Nothing { *right } else { to }, y);
            }
            None => {
                line.end(svg);
                let (middle, low) = (high + SWING / 2.0, high + SWING);
                let first = match begin {
                    Beside::Line(y) => (left - begin_slope, y),
                    Beside::Box | Beside::Nothing => (*left, middle),
                };
                let last = match end {
                    Beside::Line(y) => (right + end_slope, y),
                    Beside::Box | Beside::Nothing => (*right, middle),
                };
                let corners = [first, (from, high), (to, high), last, (to, low), (from, low)];
                draw_box(svg, face, &corners, high, (from.max(seen.0), to.min(seen.1)));
            }
        }
    }
    line.end(svg);
}

/// What stands at an end of a shape.
#[derive(Clone, Copy, PartialEq)]
enum Beside {
    /// A line at a height.
    Line(f64),
    /// A lozenge or a hatched box.
    Box,
    /// A band, or the end of the recording.
    Nothing,
}

/// What stands beside a shape, and half the width of the edge between them.
fn joint(neighbour: Option<&Shape>, shape: &Shape, high: f64) -> (Beside, f64) {
    let room = SLOPE.min(shape.width() / 2.0);
    let Some((neighbour, face)) = neighbour.and_then(|n| Some((n, n.face.as_ref()?))) else {
        return (Beside::Nothing, room);
    };
    let beside = level(face, high).map_or(Beside::Box, Beside::Line);
    (beside, room.min(neighbour.width() / 2.0))
}

/// The height of a line; nothing for a box.
fn level(face: &Face, high: f64) -> Option<f64> {
    match face.kind {
        Kind::High => Some(high),
        Kind::Off => Some(high + SWING / 2.0),
        Kind::Low => Some(high + SWING),
        Kind::Unknown | Kind::Value => None,
    }
}

/// A line that goes on through shapes of one look.
#[derive(Default)]
struct Line {
    /// Whether it is pulled, and whether it is off.
    look: Option<(bool, bool)>,
    course: Course,
}

impl Line {
    /// Goes on with a look, from a point where the last one ends.
    fn go_on(&mut self, svg: &mut Svg, look: (bool, bool), (x, y): (f64, f64)) {
        if self.look != Some(look) {
            self.end(svg);
            self.look = Some(look);
            self.course.move_to(x, y);
        }
    }

    fn end(&mut self, svg: &mut Svg) {
        let Some((weak, off)) = self.look.take() else {
            return;
        };
        let course = std::mem::take(&mut self.course);
        let line = svg
            .start("path")
            .attr("class", "wave-line")
            .attr("d", course.as_str())
            .attr("fill", "none")
            .attr("stroke", if off { OFF } else { INK })
            .num("stroke-width", WIDTH);
        if weak {
            line.attr("stroke-dasharray", DASHES).empty();
        } else {
            line.empty();
        }
    }
}

fn draw_band(svg: &mut Svg, band: &Shape, high: f64) {
    let width = band.width().max(THINNEST);
    svg.start("rect")
        .attr("class", "wave-band")
        .num("x", (band.left + band.right - width) / 2.0)
        .num("y", high)
        .num("width", width)
        .num("height", SWING)
        .attr("fill", INK)
        .empty();
}

/// Draws a lozenge or a hatched box with as much of its value as fits between two places; the rest is told when the
/// pointer rests on it.
fn draw_box(svg: &mut Svg, face: &Face, corners: &[(f64, f64)], high: f64, (from, to): (f64, f64)) {
    let unknown = face.kind == Kind::Unknown;
    let outline = Course::outline(corners);
    let mut shape = svg
        .start("path")
        .attr("class", if unknown { "wave-unknown" } else { "wave-lozenge" })
        .attr("d", outline.as_str())
        .attr("fill", if unknown { HATCHED } else { CELL })
        .attr("stroke", INK)
        .num("stroke-width", WIDTH)
        .attr("stroke-linejoin", "round");
    if face.weak {
        shape = shape.attr("stroke-dasharray", DASHES);
    }
    let letters = ((to - from) / (SMALL_SIZE * CHARACTER)) as usize;
    let fitting = fitting(&face.text, letters);
    if fitting == face.text {
        shape.empty();
    } else {
        shape.titled(&face.text);
    }
    if fitting.is_empty() {
        return;
    }
    let (middle, y) = ((from + to) / 2.0, high + SWING / 2.0);
    if unknown {
        // Paper behind the letters, so that they can be read on the hatching.
        let width = (fitting.chars().count() as f64 + 0.6) * SMALL_SIZE * CHARACTER;
        svg.start("rect")
            .num("x", middle - width / 2.0)
            .num("y", y - 7.0)
            .num("width", width)
            .num("height", 14.0)
            .attr("fill", PAPER)
            .empty();
    }
    svg.start("text").num("x", middle).num("y", y + 4.0).content(&fitting);
}

/// A value; or dots and its end, which tells neighbours apart, when it is too long; or nothing when even that does
/// not fit.
fn fitting(text: &str, letters: usize) -> String {
    if text.len() <= letters {
        return text.to_owned();
    }
    if letters < FEWEST {
        return String::new();
    }
    format!("\u{2026}{}", &text[text.len() + 1 - letters..])
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shape(left: f64, right: f64, kind: Kind, text: &str) -> Shape {
        Shape { left, right, face: Some(Face { kind, weak: false, text: text.to_owned() }) }
    }

    /// What stands in an attribute of each element of a class.
    fn drawn(shapes: &[Shape], class: &str, attribute: &str) -> Vec<String> {
        let mut svg = Svg::new(1.0, 1.0, "", "");
        draw(&mut svg, shapes, 10.0, (0.0, 100.0));
        let text = svg.finish();
        let class = format!("class=\"{class}\"");
        let attribute = format!(" {attribute}=\"");
        text.lines()
            .filter(|line| line.contains(&class))
            .map(|line| {
                let (_, after) = line.split_once(&attribute).unwrap_or_default();
                after.split('"').next().unwrap_or_default().to_owned()
            })
            .collect()
    }

    // The levels are at 10, 19 and 28, and an edge begins 2.2 before its time and ends 2.2 after it.

    #[test]
    fn a_line_crosses_the_middle_at_the_time_of_its_edge() {
        let shapes =
            [shape(0.0, 50.0, Kind::Low, ""), shape(50.0, 60.0, Kind::High, ""), shape(60.0, 100.0, Kind::Off, "")];
        assert_eq!(
            drawn(&shapes, "wave-line", "d"),
            ["M0 28L2.2 28L47.8 28L52.2 10L57.8 10", "M57.8 10L62.2 19L100 19"]
        );
    }

    #[test]
    fn narrow_shapes_have_steep_edges() {
        let shapes =
            [shape(0.0, 50.0, Kind::Low, ""), shape(50.0, 52.0, Kind::High, ""), shape(52.0, 100.0, Kind::Low, "")];
        assert_eq!(drawn(&shapes, "wave-line", "d"), ["M0 28L2.2 28L49 28L51 10L51 10L53 28L100 28"]);
    }

    #[test]
    fn lozenges_cross_where_the_value_changes_and_lines_run_into_boxes() {
        let shapes = [
            shape(0.0, 50.0, Kind::Value, "3C"),
            shape(50.0, 80.0, Kind::Unknown, ""),
            shape(80.0, 100.0, Kind::High, ""),
        ];
        assert_eq!(drawn(&shapes, "wave-lozenge", "d"), ["M0 19L2.2 10L47.8 10L50 19L47.8 28L2.2 28Z"]);
        assert_eq!(drawn(&shapes, "wave-unknown", "d"), ["M50 19L52.2 10L77.8 10L82.2 10L77.8 28L52.2 28Z"]);
        assert_eq!(drawn(&shapes, "wave-unknown", "fill"), [HATCHED]);
        assert_eq!(drawn(&shapes, "wave-line", "d"), ["M82.2 10L82.2 10L100 10"]);
    }

    #[test]
    fn pulled_levels_are_dashed_and_bands_are_solid() {
        let mut shapes =
            [shape(0.0, 50.0, Kind::High, ""), shape(50.0, 50.4, Kind::Low, ""), shape(50.4, 100.0, Kind::Value, "FF")];
        shapes[1].face = None;
        for index in [0, 2] {
            shapes[index].face.as_mut().expect("a face").weak = true;
        }
        for class in ["wave-line", "wave-lozenge"] {
            assert_eq!(drawn(&shapes, class, "stroke-dasharray"), [DASHES]);
        }
        assert_eq!(drawn(&shapes, "wave-band", "x"), ["49.4"]);
        assert_eq!(drawn(&shapes, "wave-band", "width"), ["1.6"]);
        assert_eq!(drawn(&shapes, "wave-line", "d"), ["M0 10L2.2 10L50 10"]);
    }

    #[test]
    fn values_show_as_much_as_fits() {
        assert_eq!(fitting("BEEF", 4), "BEEF");
        assert_eq!(fitting("BEEF", 3), "\u{2026}EF");
        assert_eq!(fitting("BEEF", 2), "");
        assert_eq!(fitting("7", 1), "7");
        assert_eq!(fitting("7", 0), "");
        let mut svg = Svg::new(1.0, 1.0, "", "");
        draw(&mut svg, &[shape(0.0, 25.0, Kind::Value, "BEEF")], 10.0, (0.0, 100.0));
        let text = svg.finish();
        assert!(text.contains("<title>BEEF</title>"));
        assert!(text.contains(">\u{2026}EF</text>"));
    }
}
