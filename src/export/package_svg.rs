//! The package of a part as a picture: its pins in their places, with their kinds as marks.

use super::package::{Place, Sides};
use super::svg::{Course, Svg};
use crate::part::{Part, PinKind};

// In pixels.
const PITCH: f64 = 24.0;
const LEG: f64 = 26.0;
const LEG_WIDTH: f64 = 9.0;
const MARGIN: f64 = 16.0;
const HEAD: f64 = 54.0;
const KEY_PITCH: f64 = 20.0;
const NAME_SIZE: f64 = 13.0;
const NUMBER_SIZE: f64 = 11.0;
/// A character of a monospaced face is about 0.6 of its size wide.
const NAME_ADVANCE: f64 = NAME_SIZE * 0.6;
const INK: &str = "#000";
const PAPER: &str = "#fff";

/// The package as an SVG picture in black and white.
pub fn picture(part: &Part) -> String {
    let sides = Sides::new(part);
    let widest = |of: &dyn Fn(&(Place<'_>, Place<'_>)) -> usize| sides.rows.iter().map(of).max().unwrap_or(0) as f64;
    let name_room = |count: f64| count * NAME_ADVANCE + LEG + 18.0;
    let left = if sides.single { MARGIN } else { MARGIN + name_room(widest(&|row| row.0.name().chars().count())) };
    let right = MARGIN + name_room(widest(&|row| row.1.name().chars().count()));
    let body = (if sides.single { 44.0 } else { 104.0 }, (sides.rows.len().max(1) as f64 + 0.5) * PITCH);
    let heading = format!("{} ({})", part.name, part.package);
    let keys = keys(part);
    let text_width = |text: &str, size: f64| text.chars().count() as f64 * size * 0.62;
    let key_width = keys.iter().map(|(_, text)| text_width(text, NUMBER_SIZE) + 36.0).fold(0.0, f64::max);
    let width = (left + body.0 + right)
        .max(text_width(&heading, 16.0) + 2.0 * MARGIN)
        .max(text_width(&part.title, NUMBER_SIZE) + 2.0 * MARGIN)
        .max(key_width + 2.0 * MARGIN);
    let key_top = HEAD + body.1 + 28.0;
    let height = key_top + keys.len() as f64 * KEY_PITCH;
    // Whatever is wider, the chip stands in the middle.
    let x = left + (width - (left + body.0 + right)) / 2.0;

    let description = format!("{} seen from above, {} pins", part.package, part.pins.len());
    let mut svg = Svg::new(width, height, &heading, &description);
    svg.start("rect").num("width", width).num("height", height).attr("fill", PAPER).empty();
    text(&mut svg, (MARGIN, 24.0), 16.0, "start", true, &heading);
    text(&mut svg, (MARGIN, 41.0), NUMBER_SIZE, "start", false, &part.title);
    outline(&mut svg, (x, HEAD), body, sides.single);
    for (index, (a, b)) in sides.rows.iter().enumerate() {
        let y = HEAD + (index as f64 + 0.75) * PITCH;
        pin(&mut svg, a, (x, y), -1.0);
        pin(&mut svg, b, (x + body.0, y), 1.0);
    }
    for (index, (key, words)) in keys.iter().enumerate() {
        let y = key_top + index as f64 * KEY_PITCH;
        match key {
            Key::Kind(kind) => {
                // The edge of the body shows where the marks point to.
                line(&mut svg, (MARGIN, y - 8.0), (MARGIN, y + 8.0), 2.0);
                mark(&mut svg, *kind, (MARGIN, y), 1.0);
            }
            Key::Schmitt => hysteresis(&mut svg, (MARGIN + LEG / 2.0, y)),
        }
        let at = (MARGIN + LEG + 8.0, y + 4.0);
        text(&mut svg, at, NUMBER_SIZE, "start", false, words);
    }
    svg.finish()
}

/// A mark that the picture explains.
#[derive(Clone, Copy)]
enum Key {
    Kind(PinKind),
    Schmitt,
}

/// The marks that this part uses, each with what it means.
fn keys(part: &Part) -> Vec<(Key, &'static str)> {
    const KEYS: &[(Key, &str)] = &[
        (Key::Kind(PinKind::In), "input"),
        (Key::Schmitt, "input with hysteresis"),
        (Key::Kind(PinKind::Out), "output"),
        (Key::Kind(PinKind::ThreeState), "three-state output"),
        (Key::Kind(PinKind::OpenDrain), "open drain: only pulls low"),
        (Key::Kind(PinKind::InOut), "input and three-state output"),
        (Key::Kind(PinKind::Timing), "for a resistor or a capacitor that gives a time"),
        (Key::Kind(PinKind::Power), "supply"),
        (Key::Kind(PinKind::Ground), "ground"),
        (Key::Kind(PinKind::None), "not connected"),
    ];
    let used = |key: &Key| match key {
        Key::Kind(kind) => part.pins_of(*kind).next().is_some(),
        Key::Schmitt => part.pins.iter().any(|pin| pin.schmitt),
    };
    KEYS.iter().filter(|(key, _)| used(key)).copied().collect()
}

/// The body with its notch; a bevel marks the end of a single row.
fn outline(svg: &mut Svg, (x, y): (f64, f64), (width, height): (f64, f64), single: bool) {
    let (right, bottom, middle) = (x + width, y + height, x + width / 2.0);
    let mut course = Course::default();
    if single {
        course.line(&[(x + 10.0, y), (right, y), (right, bottom), (x, bottom)]);
        course.line_to(x, y + 10.0);
        course.line_to(x + 10.0, y);
    } else {
        course.line(&[(middle - 10.0, y), (x, y), (x, bottom), (right, bottom)]);
        course.line_to(right, y);
        // The notch, from right to left in short steps.
        for step in 0..=12 {
            let angle = std::f64::consts::PI * f64::from(step) / 12.0;
            course.line_to(middle + 10.0 * angle.cos(), y + 10.0 * angle.sin());
        }
    }
    svg.start("path")
        .attr("d", course.as_str())
        .attr("fill", PAPER)
        .attr("stroke", INK)
        .attr("stroke-width", "2")
        .attr("stroke-linejoin", "round")
        .empty();
}

/// A pin at the edge of the body; `side` is -1 to the left and 1 to the right.
fn pin(svg: &mut Svg, place: &Place<'_>, (x, y): (f64, f64), side: f64) {
    if *place == Place::Nothing {
        return;
    }
    let anchor = |side: f64| if side < 0.0 { "end" } else { "start" };
    let number = place.number();
    let inside = (x - side * 7.0, y + 4.0);
    text(svg, inside, NUMBER_SIZE, anchor(-side), false, &number);
    let Place::Pin(pin) = place else {
        return;
    };
    mark(svg, pin.kind, (x, y), side);
    if pin.schmitt {
        hysteresis(svg, (x - side * 32.0, y));
    }
    let supply = matches!(pin.kind, PinKind::Power | PinKind::Ground);
    let (name, active_low) = without_slashes(&pin.name);
    let at = x + side * (LEG + 8.0);
    text(svg, (at, y + 4.5), NAME_SIZE, anchor(side), supply, &name);
    let start = if side < 0.0 { at - NAME_ADVANCE * name.chars().count() as f64 } else { at };
    for (from, to) in active_low {
        let place = |count: usize| (start + NAME_ADVANCE * count as f64, y - 7.5);
        line(svg, place(from), place(to), 1.2);
    }
}

/// A name without the slashes that mean active low, and the characters that a line goes over: all of /OE, the A of
/// /A/B, the LD of SH//LD.
fn without_slashes(name: &str) -> (String, Vec<(usize, usize)>) {
    let mut shown = String::new();
    let mut over = Vec::new();
    let mut rest = name;
    let mut count = 0;
    loop {
        let active_low = rest.len() > 1 && rest.starts_with('/');
        let word = if active_low { &rest[1..] } else { rest };
        let (first, behind) = match word.split_once('/') {
            Some((first, behind)) => (first, Some(behind)),
            None => (word, None),
        };
        let end = count + first.chars().count();
        if active_low {
            over.push((count, end));
        }
        shown.push_str(first);
        let Some(behind) = behind else {
            return (shown, over);
        };
        shown.push('/');
        (rest, count) = (behind, end + 1);
    }
}

/// The leg of a pin, with the mark of its kind; `side` is where it points to.
fn mark(svg: &mut Svg, kind: PinKind, (x, y): (f64, f64), side: f64) {
    let end = x + side * LEG;
    let triangle = |tip: f64, base: f64| Course::outline(&[(tip, y), (base, y - 5.0), (base, y + 5.0)]);
    let (near, far) = (x + side * 9.0, x + side * 19.0);
    match kind {
        PinKind::Power | PinKind::Ground => {
            let fill = if kind == PinKind::Power { INK } else { PAPER };
            let corner = (x.min(end), y - LEG_WIDTH / 2.0);
            svg.start("rect")
                .num("x", corner.0)
                .num("y", corner.1)
                .num("width", LEG)
                .num("height", LEG_WIDTH)
                .attr("fill", fill)
                .attr("stroke", INK)
                .attr("stroke-width", "1.5")
                .empty();
            return;
        }
        PinKind::None => {
            line(svg, (x, y), (near, y), 1.5);
            line(svg, (near - 4.0, y - 4.0), (near + 4.0, y + 4.0), 1.5);
            line(svg, (near - 4.0, y + 4.0), (near + 4.0, y - 4.0), 1.5);
            return;
        }
        _ => line(svg, (x, y), (end, y), 1.5),
    }
    let shapes = match kind {
        PinKind::In => vec![(triangle(near, far), INK)],
        PinKind::Out => vec![(triangle(far, near), INK)],
        PinKind::ThreeState => vec![(triangle(far, near), PAPER)],
        // Two plates.
        PinKind::Timing => {
            line(svg, (near, y - 6.0), (near, y + 6.0), 1.5);
            line(svg, (near + side * 4.0, y - 6.0), (near + side * 4.0, y + 6.0), 1.5);
            return;
        }
        PinKind::InOut => {
            let middle = x + side * 14.0;
            vec![(triangle(x + side * 4.0, middle - side), INK), (triangle(x + side * 24.0, middle + side), PAPER)]
        }
        _ => {
            let middle = x + side * 14.0;
            let diamond = [(middle - 6.0, y), (middle, y - 5.0), (middle + 6.0, y), (middle, y + 5.0)];
            line(svg, (middle - 6.0, y + 8.0), (middle + 6.0, y + 8.0), 1.5);
            vec![(Course::outline(&diamond), PAPER)]
        }
    };
    for (shape, fill) in shapes {
        svg.start("path")
            .attr("d", shape.as_str())
            .attr("fill", fill)
            .attr("stroke", INK)
            .attr("stroke-width", "1.2")
            .empty();
    }
}

/// The small loop that marks an input with hysteresis.
fn hysteresis(svg: &mut Svg, (x, y): (f64, f64)) {
    let mut course = Course::default();
    course.line(&[(x - 7.0, y + 4.0), (x + 2.0, y + 4.0), (x + 2.0, y - 4.0)]);
    course.line_to(x + 7.0, y - 4.0);
    course.move_to(x - 2.0, y + 4.0);
    course.line_to(x - 2.0, y - 4.0);
    course.line_to(x + 2.0, y - 4.0);
    svg.start("path")
        .attr("d", course.as_str())
        .attr("fill", "none")
        .attr("stroke", INK)
        .attr("stroke-width", "1")
        .empty();
}

fn line(svg: &mut Svg, from: (f64, f64), to: (f64, f64), width: f64) {
    let mut course = Course::default();
    course.line(&[from, to]);
    svg.start("path")
        .attr("d", course.as_str())
        .attr("fill", "none")
        .attr("stroke", INK)
        .num("stroke-width", width)
        .empty();
}

fn text(svg: &mut Svg, (x, y): (f64, f64), size: f64, anchor: &str, bold: bool, words: &str) {
    let element = svg
        .start("text")
        .num("x", x)
        .num("y", y)
        .attr("font-family", "monospace")
        .num("font-size", size)
        .attr("text-anchor", anchor)
        .attr("fill", INK);
    let element = if bold { element.attr("font-weight", "bold") } else { element };
    element.content(words);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::part::Library;
    use std::sync::Arc;

    fn part(package: &str) -> Arc<Part> {
        let mut library = Library::default();
        let text = format!("part X {{ package {package}  Y = A }}");
        library.add_text("x.part", &text);
        let problems = library.problems();
        library.part("X").unwrap_or_else(|| panic!("{problems:?}"))
    }

    #[test]
    fn lines_go_over_what_is_active_low() {
        for (name, shown, over) in [
            ("CLK", "CLK", vec![]),
            ("/OE", "OE", vec![(0, 2)]),
            ("/A/B", "A/B", vec![(0, 1)]),
            ("SH//LD", "SH/LD", vec![(3, 5)]),
            ("MAX/MIN", "MAX/MIN", vec![]),
        ] {
            assert_eq!(without_slashes(name), (shown.to_owned(), over));
        }
    }

    #[test]
    fn a_picture_has_every_name_and_marks_active_low() {
        let part = part("DIP4 { 1 A in  2 GND ground  3 Y out  4 /B in }");
        let svg = picture(&part);
        for name in ["A", "GND", "Y", "B"] {
            assert!(svg.contains(&format!(">{name}</text>")), "{name}");
        }
        assert!(!svg.contains(">/B<"), "the line over it says it");
        assert_eq!(svg, picture(&part));
    }
}
