//! From recorded levels to what is drawn of them: faces with a left and a right end.

use super::axis::Axis;
use crate::language::ast::Radix;
use crate::logic::Level;
use crate::quantity::Time;
use crate::run::wave::{Wave, Waves};

/// What is narrower than this, in pixels, is not drawn by itself.
const NARROW: f64 = 2.0;
/// How far the first and the last shape go on beyond what is seen, so that their ends are not.
const BEYOND: f64 = 20.0;

/// What a signal looks like for a while.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    Low,
    High,
    /// Driven by nobody.
    Off,
    /// Neither low nor high.
    Unknown,
    /// A bus with a known value.
    Value,
}

/// How a signal looks for a while.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Face {
    pub(super) kind: Kind,
    /// Pulled rather than driven.
    pub(super) weak: bool,
    /// The value of a bus.
    pub(super) text: String,
}

/// A face in its place; without one, more changes than can be drawn.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Shape {
    pub(super) left: f64,
    pub(super) right: f64,
    pub(super) face: Option<Face>,
}

impl Shape {
    pub(super) fn width(&self) -> f64 {
        self.right - self.left
    }
}

/// The part of the recording that an axis shows; nothing when they do not meet.
pub(super) fn visible(waves: &Waves, axis: &Axis) -> Option<(Time, Time)> {
    let (from, to) = (axis.from.max(waves.start), axis.to.min(waves.end));
    (from < to).then_some((from, to))
}

/// How the levels of a bus are written.
pub(super) type Text<'a> = dyn Fn(&[Level]) -> String + 'a;

/// The shapes of a signal between two times, each beginning where the one before it ends.
pub(super) fn shapes(wave: &Wave, axis: &Axis, (from, to): (Time, Time), text: &Text<'_>) -> Vec<Shape> {
    if wave.bits.is_empty() {
        return Vec::new();
    }
    let mut changes: Vec<(Time, usize, Level)> = Vec::new();
    let mut levels = Vec::new();
    for (index, bit) in wave.bits.iter().enumerate() {
        levels.push(bit.at(from));
        let first = bit.changes.partition_point(|&(time, _)| time <= from);
        let seen = bit.changes[first..].iter().take_while(|&&(time, _)| time < to);
        changes.extend(seen.map(|&(time, level)| (time, index, level)));
    }
    // Stable: of several changes of a bit at one time, the last stays.
    changes.sort_by_key(|&(time, _, _)| time);

    let mut shapes = Vec::new();
    let mut left = axis.x(from) - BEYOND;
    let mut state = State::of(&levels);
    for together in changes.chunk_by(|a, b| a.0 == b.0) {
        for &(_, index, level) in together {
            levels[index] = level;
        }
        let next = State::of(&levels);
        if next != state {
            let right = axis.x(together[0].0);
            push(&mut shapes, left, right, || state.face(text));
            (state, left) = (next, right);
        }
    }
    push(&mut shapes, left, axis.x(to) + BEYOND, || state.face(text));
    shapes
}

/// Adds a shape, or widens a band by it when it is too narrow.
fn push(shapes: &mut Vec<Shape>, left: f64, right: f64, face: impl FnOnce() -> Face) {
    if right - left >= NARROW {
        let face = Some(face());
        shapes.push(Shape { left, right, face });
        return;
    }
    match shapes.last_mut() {
        Some(band) if band.face.is_none() => band.right = right,
        _ => shapes.push(Shape { left, right, face: None }),
    }
}

/// The levels of a signal, as far as they look different.
#[derive(Clone, Debug, PartialEq, Eq)]
struct State {
    /// Each 0, 1, Z or X; the most significant first.
    levels: Vec<Level>,
    weak: bool,
}

impl State {
    fn of(levels: &[Level]) -> State {
        let look = |level: &Level| match level {
            Level::Z => Level::Z,
            level => level.to_x01(),
        };
        State {
            levels: levels.iter().map(look).collect(),
            weak: levels.iter().all(|level| matches!(level, Level::L | Level::H)),
        }
    }

    fn face(&self, text: &Text<'_>) -> Face {
        let all = |level| self.levels.iter().all(|&l| l == level);
        let known = self.levels.iter().all(|level| level.is_known());
        let bus = self.levels.len() > 1;
        let kind = match (bus, known) {
            _ if all(Level::Z) => Kind::Off,
            (false, true) if all(Level::Zero) => Kind::Low,
            (false, true) => Kind::High,
            (true, true) => Kind::Value,
            (_, false) => Kind::Unknown,
        };
        let blank = !bus || kind == Kind::Off || all(Level::X);
        Face {
            kind,
            weak: self.weak,
            text: match blank {
                true => String::new(),
                false => text(&self.levels),
            },
        }
    }
}

/// The value of levels that are 0, 1, Z or X. Numbers in base 10 that are not known are a single `X`; those of more
/// than 128 bits are written in base 16.
pub(super) fn value(levels: &[Level], radix: Radix) -> String {
    let bit = |level: &Level| level.is_high();
    match radix {
        Radix::Binary => levels.iter().map(|level| level.to_char()).collect(),
        Radix::Decimal | Radix::Signed if levels.len() <= 128 => {
            if !levels.iter().all(|level| level.is_known()) {
                return "X".to_owned();
            }
            let number = levels.iter().fold(0_u128, |sum, level| sum << 1 | u128::from(bit(level)));
            let unused = 128 - levels.len();
            match radix {
                // Moved to the top and back, the sign fills the bits that are not used.
                Radix::Signed => ((number << unused) as i128 >> unused).to_string(),
                _ => number.to_string(),
            }
        }
        Radix::Hex | Radix::Decimal | Radix::Signed => {
            let digit = |four: &[Level]| match four {
                _ if four.iter().all(|level| level.is_known()) => {
                    let number = four.iter().fold(0, |sum, level| sum << 1 | u32::from(bit(level)));
                    char::from_digit(number, 16).unwrap_or('X').to_ascii_uppercase()
                }
                _ if four.iter().all(|&level| level == Level::Z) => 'Z',
                _ => 'X',
            };
            let digits: Vec<char> = levels.rchunks(4).map(digit).collect();
            digits.iter().rev().collect()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::run::wave::Bit;

    fn levels(text: &str) -> Vec<Level> {
        text.chars().filter_map(Level::from_char).collect()
    }

    /// The signal whose levels are those of a text, the first at 0 and one more each nanosecond, a bus being several
    /// texts; on an axis with 10 pixels a nanosecond.
    fn drawn(bits: &[&str], to: Time, pixels: f64) -> Vec<(f64, f64, String)> {
        let bit =
            |text: &&str| Bit { name: String::new(), changes: (0..).map(Time::from_ns).zip(levels(text)).collect() };
        let wave = Wave { name: "w".to_owned(), bits: bits.iter().map(bit).collect() };
        let axis = Axis { from: Time::ZERO, to, left: 0.0, right: pixels };
        let look = |shape: Shape| {
            let word = match &shape.face {
                None => "band".to_owned(),
                Some(face) => {
                    let weak = if face.weak { "weak " } else { "" };
                    format!("{weak}{:?} {}", face.kind, face.text).trim_end().to_owned()
                }
            };
            (shape.left, shape.right, word)
        };
        shapes(&wave, &axis, (Time::ZERO, to), &|levels| value(levels, Radix::Hex)).into_iter().map(look).collect()
    }

    fn shape(left: i32, right: i32, word: &str) -> (f64, f64, String) {
        (left.into(), right.into(), word.to_owned())
    }

    #[test]
    fn a_net_has_a_shape_for_each_look() {
        assert_eq!(
            drawn(&["001HLZUXW-"], Time::from_ns(10), 100.0),
            [
                shape(-20, 20, "Low"),
                shape(20, 30, "High"),
                shape(30, 40, "weak High"),
                shape(40, 50, "weak Low"),
                shape(50, 60, "Off"),
                shape(60, 120, "Unknown"),
            ]
        );
    }

    #[test]
    fn a_bus_has_a_shape_for_each_value() {
        let bits = ["0Z0XH", "1Z1XH", "0Z0XL", "1Z1XH", "1Z11H"];
        assert_eq!(
            drawn(&bits, Time::from_ns(5), 50.0),
            [
                shape(-20, 10, "Value 0B"),
                shape(10, 20, "Off"),
                shape(20, 30, "Value 0B"),
                shape(30, 40, "Unknown XX"),
                shape(40, 70, "weak Value 1B"),
            ]
        );
    }

    #[test]
    fn what_is_too_fast_becomes_one_band() {
        // A pixel a nanosecond: seven changes in six pixels.
        assert_eq!(
            drawn(&["0000101010111"], Time::from_ns(13), 13.0),
            [shape(-20, 4, "Low"), shape(4, 10, "band"), shape(10, 33, "High"),]
        );
    }

    #[test]
    fn values_are_written_in_every_base() {
        let of = |text: &str, radix| value(&levels(text), radix);
        assert_eq!(of("11111110", Radix::Hex), "FE");
        assert_eq!(of("1ZZZZ111X", Radix::Hex), "1ZX");
        assert_eq!(of("1Z0X", Radix::Binary), "1Z0X");
        assert_eq!(of("11111110", Radix::Decimal), "254");
        assert_eq!(of("11111110", Radix::Signed), "-2");
        assert_eq!(of("01111110", Radix::Signed), "126");
        assert_eq!(of("0111X110", Radix::Signed), "X");
        // -2^127 and 2^128 - 1 are the ends of 128 bits.
        assert_eq!(of(&format!("1{}", "0".repeat(127)), Radix::Signed), i128::MIN.to_string());
        assert_eq!(of(&"1".repeat(128), Radix::Decimal), u128::MAX.to_string());
        assert_eq!(of(&"1".repeat(129), Radix::Decimal), format!("1{}", "F".repeat(32)));
    }
}
