//! Timing diagrams in the manner of a data sheet, as SVG.
//!
//! Names stand on the left and time runs to the right. A net is a line, high above low; nobody driving it is a line
//! half way, a pulled level is dashed, an unknown one is a hatched box. A bus is a row of lozenges with its value in
//! each; it is off when all its bits are, dashed when all are pulled, and hatched when any is not known. What changes
//! faster than the picture can show is a solid band. Marks are numbered lines, told below the diagram.
//!
//! Everything can be told apart in black on white; colour is an addition.

mod axis;
mod draw;
mod shapes;
mod sizes;
mod trace;

use crate::language::ast::Radix;
use crate::logic::Level;
use crate::quantity::Time;
use crate::run::wave::{Mark, Wave, Waves};
use crate::text::filled;
use axis::{Axis, Ruler};
use shapes::{Face, Kind, Shape};
use sizes::{
    AXIS_HEIGHT, BESIDE_NAMES, CHARACTER, FAR_ROWS, FLAG_HEIGHT, KEY_HEIGHT, MARGIN, MOST_LINES, MOST_NAMES,
    MOST_NOTES, NAME_SIZE, NOTE_HEIGHT, NOTE_INDENT, RIGHT_MARGIN, ROW_HEIGHT, SAMPLE, SMALL_SIZE, TITLE_HEIGHT,
    TITLE_SIZE,
};
use std::borrow::Cow;

/// What to draw, and how.
#[derive(Clone, Debug)]
pub struct DiagramOptions {
    /// The left end of the time axis.
    pub from: Time,
    /// The right end; what is not after the left end counts as a picosecond after it.
    pub to: Time,
    /// The width of the picture in pixels, kept between 320 and 10000.
    pub width: u32,
    /// What stands above; may be empty.
    pub title: String,
    /// How the values of buses are written.
    pub radix: Radix,
}

/// Draws recorded signals as a timing diagram. Marks beside the time axis are left out.
pub fn diagram(waves: &Waves, options: &DiagramOptions) -> String {
    diagram_with(waves, options, &|_, _| None)
}

/// What is written in place of a number: for the name of a signal and its levels, the most significant first.
pub type Words<'a> = dyn Fn(&str, &[Level]) -> Option<String> + 'a;

/// As [`diagram`], with words in place of some numbers.
pub fn diagram_with(waves: &Waves, options: &DiagramOptions, words: &Words<'_>) -> String {
    draw::draw(&Plan::new(waves, options, words))
}

/// Where everything will stand.
struct Plan<'a> {
    title: String,
    width: f64,
    height: f64,
    axis: Axis,
    ruler: Ruler,
    /// Where the axis is.
    axis_y: f64,
    /// Where the rows begin and end.
    rows_top: f64,
    rows_bottom: f64,
    rows: Vec<Row<'a>>,
    /// What stands in place of the rows.
    remark: Option<&'static str>,
    /// The characters that a name may have.
    name_letters: usize,
    /// The part of the axis that was recorded.
    seen: (f64, f64),
    /// By rising time; numbered from 1.
    marks: Vec<&'a Mark>,
    notes: Vec<Note>,
    notes_y: f64,
    key: Vec<KeyItem>,
}

struct Row<'a> {
    name: &'a str,
    shapes: Vec<Shape>,
}

/// What a mark is about, in lines.
struct Note {
    number: String,
    lines: Vec<String>,
}

/// A look that not everybody knows.
struct KeyItem {
    face: Option<Face>,
    words: &'static str,
    x: f64,
    y: f64,
}

impl<'a> Plan<'a> {
    fn new(waves: &'a Waves, options: &DiagramOptions, words: &Words<'_>) -> Plan<'a> {
        let width = f64::from(options.width.clamp(320, 10_000));
        let from = options.from.min(Time::MAX - Time::from_ps(1));
        let to = options.to.max(from + Time::from_ps(1));

        let names = waves.signals.iter().map(|wave| wave.name.chars().count());
        let letters = (width * 0.32 / (NAME_SIZE * CHARACTER)) as usize;
        let name_letters = names.max().unwrap_or(0).min(letters);
        let names_width = name_letters as f64 * NAME_SIZE * CHARACTER;
        let letter = SMALL_SIZE * CHARACTER;
        let room = width - MARGIN - names_width - BESIDE_NAMES - RIGHT_MARGIN;
        let ruler = Ruler::new(from, to, room, letter);
        let caption = ruler.caption().len() as f64 + ruler.longest() as f64 / 2.0;
        let axis = Axis {
            from,
            to,
            left: MARGIN + names_width.max(caption * letter) + BESIDE_NAMES,
            right: width - RIGHT_MARGIN,
        };

        let visible = shapes::visible(waves, &axis);
        let row = |wave: &'a Wave| Row {
            name: &wave.name,
            shapes: visible.map_or(Vec::new(), |part| {
                shapes::shapes(wave, &axis, part, &|levels| {
                    words(&wave.name, levels).unwrap_or_else(|| shapes::value(levels, options.radix))
                })
            }),
        };
        let rows: Vec<Row<'a>> = waves.signals.iter().map(row).collect();
        let remark = match (rows.is_empty(), visible) {
            (true, _) => Some("no signal was recorded"),
            (false, None) => Some("nothing was recorded in this time"),
            (false, Some(_)) => None,
        };

        let mut marks: Vec<&Mark> = waves.marks.iter().filter(|m| axis.shows(m.time)).collect();
        marks.sort_by_key(|mark| (mark.time, mark.signal));
        let notes = notes(&marks, waves, width);

        let title_letters = ((width - 2.0 * MARGIN) / (TITLE_SIZE * CHARACTER)) as usize;
        let title = shortened_at_the_end(&options.title, title_letters);
        let title_height = if title.is_empty() { 4.0 } else { TITLE_HEIGHT };
        let axis_y = MARGIN / 2.0 + title_height + AXIS_HEIGHT;
        let rows_top = axis_y + if marks.is_empty() { 0.0 } else { FLAG_HEIGHT };
        let rows_bottom = rows_top + ROW_HEIGHT * rows.len().max(1) as f64;
        let second_axis = if rows.len() > FAR_ROWS { AXIS_HEIGHT } else { 8.0 };
        let notes_y = rows_bottom + second_axis;
        let lines: usize = notes.iter().map(|note| note.lines.len()).sum();
        let key_y = notes_y + lines as f64 * NOTE_HEIGHT + if lines > 0 { 10.0 } else { 0.0 };
        let key = key(&rows, &axis, key_y);
        let key_end = key.last().map_or(key_y, |item| item.y + KEY_HEIGHT);
        Plan {
            title,
            width,
            height: key_end + MARGIN / 2.0,
            axis,
            ruler,
            axis_y,
            rows_top,
            rows_bottom,
            rows,
            remark,
            name_letters,
            seen: visible.map_or((axis.left, axis.left), |(from, to)| (axis.x(from), axis.x(to))),
            marks,
            notes,
            notes_y,
            key,
        }
    }

    /// The top of a row.
    fn row(&self, index: usize) -> f64 {
        self.rows_top + ROW_HEIGHT * index as f64
    }

    /// The picture in words.
    fn description(&self) -> String {
        let names: Vec<&str> = self.rows.iter().map(|row| row.name).take(MOST_NAMES).collect();
        let more = match self.rows.len() - names.len() {
            0 => String::new(),
            more => format!(" and {more} more"),
        };
        let mut text =
            format!("Timing diagram from {} to {}: {}{more}.", self.axis.from, self.axis.to, names.join(", "));
        for note in &self.notes {
            text += &format!(" {} {}.", note.number, note.lines.join(" "));
        }
        text.trim_end().to_owned()
    }
}

/// The marks in words, within a width.
fn notes(marks: &[&Mark], waves: &Waves, width: f64) -> Vec<Note> {
    let letters = ((width - 2.0 * MARGIN - NOTE_INDENT) / (SMALL_SIZE * CHARACTER)) as usize;
    let note = |(number, mark): (usize, &&Mark)| {
        let text = match waves.signals.get(mark.signal) {
            Some(wave) => format!("{}, {}: {}", mark.time, wave.name, mark.text),
            None => format!("{}: {}", mark.time, mark.text),
        };
        Note { number: number.to_string(), lines: wrapped(&text, letters) }
    };
    let mut notes: Vec<Note> = (1..).zip(marks).take(MOST_NOTES).map(note).collect();
    if marks.len() > MOST_NOTES {
        notes.push(Note { number: String::new(), lines: vec![format!("and {} more", marks.len() - MOST_NOTES)] });
    }
    notes
}

/// The looks in the rows that need words, side by side below the axis.
fn key(rows: &[Row<'_>], axis: &Axis, y: f64) -> Vec<KeyItem> {
    let has =
        |look: &dyn Fn(&Option<Face>) -> bool| rows.iter().flat_map(|row| &row.shapes).any(|shape| look(&shape.face));
    let face = |kind, weak| {
        let text = String::new();
        Some(Face { kind, weak, text })
    };
    let is = |wanted: Kind| move |face: &Option<Face>| face.as_ref().is_some_and(|f| f.kind == wanted);
    let weak = |face: &Option<Face>| face.as_ref().is_some_and(|f| f.weak);
    let all = [
        (has(&weak), face(Kind::High, true), "pulled, not driven"),
        (has(&is(Kind::Off)), face(Kind::Off, false), "off: nobody drives it"),
        (has(&is(Kind::Unknown)), face(Kind::Unknown, false), "unknown"),
        (has(&Option::is_none), None, "too fast to draw"),
    ];
    let mut items = Vec::new();
    let (mut x, mut y) = (axis.left, y);
    for (_, face, words) in all.into_iter().filter(|&(has, ..)| has) {
        let width = SAMPLE + 8.0 + words.len() as f64 * SMALL_SIZE * CHARACTER;
        if x > axis.left && x + width > axis.right {
            (x, y) = (axis.left, y + KEY_HEIGHT);
        }
        items.push(KeyItem { face, words, x, y });
        x += width + 20.0;
    }
    items
}

/// A text that keeps its start and more of its end, where paths differ.
fn shortened_in_the_middle(text: &str, letters: usize) -> String {
    let count = text.chars().count();
    if count <= letters {
        return text.to_owned();
    }
    let kept = letters.saturating_sub(1);
    let head = kept / 3;
    let start: String = text.chars().take(head).collect();
    let end: String = text.chars().skip(count - (kept - head)).collect();
    format!("{start}\u{2026}{end}")
}

/// A text that keeps its start.
fn shortened_at_the_end(text: &str, letters: usize) -> String {
    if text.chars().count() <= letters {
        return text.to_owned();
    }
    let start: String = text.chars().take(letters.saturating_sub(1)).collect();
    format!("{start}\u{2026}")
}

/// A text in lines of so many letters, broken between words where that is possible.
fn wrapped(text: &str, letters: usize) -> Vec<String> {
    let letters = letters.max(1);
    let lines = textwrap::wrap(text, filled(letters).break_words(true));
    let mut lines: Vec<String> = lines.into_iter().map(Cow::into_owned).collect();
    if lines.len() > MOST_LINES {
        lines.truncate(MOST_LINES);
        if let Some(last) = lines.last_mut() {
            *last = shortened_at_the_end(&format!("{last} \u{2026}"), letters);
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_keep_both_ends() {
        assert_eq!(shortened_in_the_middle("A.U1.Q3", 7), "A.U1.Q3");
        assert_eq!(shortened_in_the_middle("backplane.carry", 8), "ba\u{2026}carry");
        assert_eq!(shortened_in_the_middle("abc", 0), "\u{2026}");
        assert_eq!(shortened_at_the_end("abcdef", 4), "abc\u{2026}");
    }

    #[test]
    fn notes_are_broken_between_words() {
        assert_eq!(wrapped("setup of D is short", 10), ["setup of D", "is short"]);
        assert_eq!(wrapped("abcdefgh ij", 3), ["abc", "def", "gh", "ij"]);
        assert_eq!(wrapped("", 3), [""]);
        let long = wrapped(&"word ".repeat(100), 9);
        assert_eq!((long.len(), long[5].as_str()), (MOST_LINES, "word wor\u{2026}"));
    }
}
