//! Puts everything on paper where the plan says: axis, names, rows, marks, notes and the key to the looks.

use super::axis::Axis;
use super::shapes::{Kind, Shape};
use super::sizes::{
    BESIDE_NAMES, CHARACTER, FAR_ROWS, FLAG_HEIGHT, GRID, HEADROOM, INK, MARGIN, MARK, NAME_SIZE, NOTE_HEIGHT,
    NOTE_INDENT, PAPER, QUIET, ROW_HEIGHT, SAMPLE, SMALL_SIZE, STRIPE, SWING, TITLE_SIZE, UNKNOWN,
};
use super::{Plan, shortened_in_the_middle, trace};
use crate::export::svg::{Course, Element, Svg};

/// The picture of a plan.
pub(super) fn draw(plan: &Plan<'_>) -> String {
    let title = match plan.title.as_str() {
        "" => "Timing diagram",
        title => title,
    };
    let mut svg = Svg::new(plan.width, plan.height, title, &plan.description());
    draw_paper(&mut svg, plan);
    draw_axis(&mut svg, plan);
    draw_names(&mut svg, plan);
    draw_rows(&mut svg, plan);
    if !plan.marks.is_empty() {
        draw_marks(&mut svg, plan);
        draw_notes(&mut svg, plan);
    }
    if !plan.key.is_empty() {
        draw_key(&mut svg, plan);
    }
    svg.finish()
}

fn draw_paper(svg: &mut Svg, plan: &Plan<'_>) {
    svg.start("defs").open();
    svg.start("pattern")
        .attr("id", "coldboard-unknown")
        .num("width", 6.0)
        .num("height", 6.0)
        .attr("patternUnits", "userSpaceOnUse")
        .open();
    rectangle(svg, (0.0, 0.0), (6.0, 6.0), PAPER);
    svg.start("path")
        .attr("d", "M-1 1L1 -1M-1 7L7 -1M5 7L7 5")
        .attr("stroke", UNKNOWN)
        .num("stroke-width", 1.0)
        .empty();
    svg.close();
    svg.close();
    rectangle(svg, (0.0, 0.0), (plan.width, plan.height), PAPER);
    if !plan.title.is_empty() {
        texts(svg, "sans-serif", TITLE_SIZE, INK).attr("font-weight", "bold").open();
        text(svg, (MARGIN, MARGIN / 2.0 + 17.0), &plan.title);
        svg.close();
    }
    // Every second row is tinted, so that the eye finds the way from a name to its line.
    let (left, width) = (MARGIN / 2.0, plan.width - MARGIN);
    for index in (1..plan.rows.len()).step_by(2) {
        rectangle(svg, (left, plan.row(index)), (width, ROW_HEIGHT), STRIPE);
    }
}

fn draw_axis(svg: &mut Svg, plan: &Plan<'_>) {
    let Axis { left, right, .. } = plan.axis;
    let (top, bottom) = (plan.axis_y, plan.rows_bottom);
    let mut grid = Course::default();
    let mut ticks = Course::default();
    let mut labels = Vec::new();
    let both = plan.rows.len() > FAR_ROWS;
    ticks.line(&[(left, top), (right, top)]);
    if both {
        ticks.line(&[(left, bottom), (right, bottom)]);
    }
    for (time, label) in plan.ruler.ticks() {
        let x = plan.axis.x(time);
        grid.line(&[(x, top), (x, bottom)]);
        ticks.line(&[(x, top - 5.0), (x, top)]);
        labels.push((x, top - 9.0, label.clone()));
        if both {
            ticks.line(&[(x, bottom), (x, bottom + 5.0)]);
            labels.push((x, bottom + 17.0, label));
        }
    }
    stroke(svg, "wave-grid", &grid, GRID, 1.0).empty();
    stroke(svg, "wave-axis", &ticks, QUIET, 1.0).empty();
    texts(svg, "monospace", SMALL_SIZE, QUIET).attr("text-anchor", "middle").open();
    for (x, y, label) in labels {
        text(svg, (x, y), &label);
    }
    svg.close();
    let beside = plan.ruler.longest() as f64 * SMALL_SIZE * CHARACTER / 2.0;
    texts(svg, "monospace", SMALL_SIZE, QUIET).attr("text-anchor", "end").open();
    text(svg, (left - BESIDE_NAMES - beside, top - 9.0), &plan.ruler.caption());
    svg.close();
}

fn draw_names(svg: &mut Svg, plan: &Plan<'_>) {
    texts(svg, "monospace", NAME_SIZE, INK).attr("text-anchor", "end").open();
    for (index, row) in plan.rows.iter().enumerate() {
        let x = plan.axis.left - BESIDE_NAMES;
        let y = plan.row(index) + HEADROOM + SWING / 2.0 + 4.0;
        let name = shortened_in_the_middle(row.name, plan.name_letters);
        text(svg, (x, y), &name);
    }
    svg.close();
    if let Some(remark) = plan.remark {
        texts(svg, "sans-serif", NAME_SIZE, QUIET).open();
        text(svg, (plan.axis.left + 8.0, plan.rows_top + 20.0), remark);
        svg.close();
    }
}

fn draw_rows(svg: &mut Svg, plan: &Plan<'_>) {
    let (left, right) = plan.seen;
    let (width, height) = (right - left, plan.rows_bottom - plan.rows_top);
    if width <= 0.0 {
        return;
    }
    // A picture in the picture shows nothing beyond its frame, and needs no id for that.
    svg.start("svg")
        .num("x", left)
        .num("y", plan.rows_top)
        .num("width", width)
        .num("height", height)
        .view((left, plan.rows_top), (width, height))
        .attr("overflow", "hidden")
        .attr("font-family", "monospace")
        .num("font-size", SMALL_SIZE)
        .attr("text-anchor", "middle")
        .attr("fill", INK)
        .open();
    for (index, row) in plan.rows.iter().enumerate() {
        svg.start("g").attr("class", "wave-row").open();
        trace::draw(svg, &row.shapes, plan.row(index) + HEADROOM, plan.seen);
        svg.close();
    }
    svg.close();
}

fn draw_marks(svg: &mut Svg, plan: &Plan<'_>) {
    /// The numbers of marks that stand too close for one each.
    struct Flag {
        x: f64,
        first: usize,
        last: usize,
    }
    impl Flag {
        fn text(&self) -> String {
            match (self.first, self.last) {
                (first, last) if first == last => first.to_string(),
                (first, last) => format!("{first}\u{2013}{last}"),
            }
        }
    }
    let letter = SMALL_SIZE * CHARACTER;
    let mut flags: Vec<Flag> = Vec::new();
    for (number, mark) in (1..).zip(&plan.marks) {
        let x = plan.axis.x(mark.time);
        let mut line = Course::default();
        line.line(&[(x, plan.axis_y + FLAG_HEIGHT - 1.0), (x, plan.rows_bottom)]);
        stroke(svg, "wave-mark", &line, MARK, 0.9).attr("stroke-dasharray", "1.5 2").empty();
        if mark.signal < plan.rows.len() {
            let tip = plan.row(mark.signal) + HEADROOM - 0.5;
            let triangle = Course::outline(&[(x, tip), (x - 4.0, tip - 6.5), (x + 4.0, tip - 6.5)]);
            svg.start("path").attr("d", triangle.as_str()).attr("fill", MARK).empty();
        }
        match flags.last_mut() {
            Some(flag) if x < flag.x + letter * (flag.text().chars().count() + 1) as f64 => {
                flag.last = number;
            }
            _ => flags.push(Flag { x, first: number, last: number }),
        }
    }
    texts(svg, "monospace", SMALL_SIZE, MARK).attr("font-weight", "bold").open();
    for flag in flags {
        svg.start("text")
            // The first digit stands on the line.
            .num("x", flag.x - letter / 2.0)
            .num("y", plan.axis_y + FLAG_HEIGHT - 3.0)
            .content(&flag.text());
    }
    svg.close();
}

fn draw_notes(svg: &mut Svg, plan: &Plan<'_>) {
    let mut y = plan.notes_y + 12.0;
    texts(svg, "sans-serif", SMALL_SIZE, INK).open();
    for note in &plan.notes {
        svg.start("text")
            .attr("class", "wave-note")
            .num("x", MARGIN + NOTE_INDENT - 8.0)
            .num("y", y)
            .attr("text-anchor", "end")
            .attr("font-family", "monospace")
            .attr("font-weight", "bold")
            .attr("fill", MARK)
            .content(&note.number);
        for line in &note.lines {
            text(svg, (MARGIN + NOTE_INDENT, y), line);
            y += NOTE_HEIGHT;
        }
    }
    svg.close();
}

fn draw_key(svg: &mut Svg, plan: &Plan<'_>) {
    texts(svg, "sans-serif", SMALL_SIZE, QUIET).attr("class", "wave-key").open();
    for item in &plan.key {
        let sample = Shape { left: item.x, right: item.x + SAMPLE, face: item.face.clone() };
        // A line alone stands half way, beside its words.
        let line = item.face.as_ref().is_some_and(|face| face.kind == Kind::High);
        let high = item.y + if line { SWING / 2.0 } else { 0.0 };
        trace::draw(svg, &[sample], high, plan.seen);
        text(svg, (item.x + SAMPLE + 8.0, item.y + SWING / 2.0 + 4.0), item.words);
    }
    svg.close();
}

/// Begins a group of texts of one look.
fn texts<'a>(svg: &'a mut Svg, family: &str, size: f64, fill: &str) -> Element<'a> {
    svg.start("g").attr("font-family", family).num("font-size", size).attr("fill", fill)
}

fn text(svg: &mut Svg, (x, y): (f64, f64), text: &str) {
    svg.start("text").num("x", x).num("y", y).content(text);
}

fn rectangle(svg: &mut Svg, (x, y): (f64, f64), (width, height): (f64, f64), fill: &str) {
    svg.start("rect").num("x", x).num("y", y).num("width", width).num("height", height).attr("fill", fill).empty();
}

/// Begins a line of a course.
fn stroke<'a>(svg: &'a mut Svg, class: &str, course: &Course, colour: &str, width: f64) -> Element<'a> {
    svg.start("path")
        .attr("class", class)
        .attr("d", course.as_str())
        .attr("fill", "none")
        .attr("stroke", colour)
        .num("stroke-width", width)
}
