//! A package seen from above, with its pins: in characters for a terminal, and as a picture for paper.
//!
//! Names that begin with a slash are active low; the picture draws a line over them, as data sheets do.

use crate::part::{Part, Pin, PinKind};
use std::fmt::Write;

/// The most pins of a package that is drawn with its gaps; a larger one is drawn from the pins that it lists.
const MOST_PINS: u32 = 256;

/// The two sides of a package, row by row from its marked end.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Sides<'a> {
    pub(super) rows: Vec<(Place<'a>, Place<'a>)>,
    /// True for a package with all pins in one row.
    pub(super) single: bool,
}

/// A place at the edge of a package.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Place<'a> {
    /// Nothing is there.
    Nothing,
    /// A pin that the part does not list.
    Unlisted(u32),
    Pin(&'a Pin),
}

impl<'a> Sides<'a> {
    /// Pins count down the left side and up the right one; in a single row they count down.
    pub(super) fn new(part: &'a Part) -> Self {
        let places = places(part);
        let single = ["SIP", "SIL", "TO"].iter().any(|kind| part.package.starts_with(kind));
        if single {
            let rows = places.into_iter().map(|place| (Place::Nothing, place));
            return Sides { rows: rows.collect(), single };
        }
        let (left, right) = places.split_at(places.len().div_ceil(2));
        let mut right: Vec<Place<'a>> = right.iter().rev().copied().collect();
        // Five pins stand as three and two, with the gap in the middle.
        if right.len() < left.len() {
            right.insert(right.len().div_ceil(2), Place::Nothing);
        }
        Sides { rows: left.iter().copied().zip(right).collect(), single }
    }
}

/// Every place of the package, by rising number.
pub(super) fn places(part: &Part) -> Vec<Place<'_>> {
    let last = part.pins.last().map_or(0, |pin| pin.number);
    let digits: String =
        part.package.chars().skip_while(|c| !c.is_ascii_digit()).take_while(char::is_ascii_digit).collect();
    // SOT23 counts types, not pins.
    let counted = part.package.starts_with("DIP") || part.package.starts_with("SI");
    let count = digits.parse().ok().filter(|_| counted).map_or(last, |count: u32| count.max(last));
    if count > MOST_PINS {
        return part.pins.iter().map(Place::Pin).collect();
    }
    let place = |number| match part.pin_numbered(number) {
        Some(pin) => Place::Pin(&part.pins[pin]),
        None => Place::Unlisted(number),
    };
    (1..=count).map(place).collect()
}

impl Place<'_> {
    pub(super) fn number(&self) -> String {
        match self {
            Place::Nothing => String::new(),
            Place::Unlisted(number) => number.to_string(),
            Place::Pin(pin) => pin.number.to_string(),
        }
    }

    pub(super) fn name(&self) -> &str {
        match self {
            Place::Pin(pin) => &pin.name,
            _ => "",
        }
    }

    pub(super) fn kind(&self) -> &'static str {
        match self {
            Place::Nothing => "",
            Place::Unlisted(_) => "not listed",
            Place::Pin(pin) if pin.schmitt => "in, Schmitt",
            Place::Pin(pin) => kind_word(pin.kind),
        }
    }

    /// What leads from the body to the name.
    pub(super) fn leg(&self) -> &'static str {
        if *self == Place::Nothing { " " } else { "-" }
    }
}

/// The kind of a pin, as part files write it.
pub fn kind_word(kind: PinKind) -> &'static str {
    match kind {
        PinKind::In => "in",
        PinKind::Out => "out",
        PinKind::ThreeState => "three-state",
        PinKind::OpenDrain => "open-drain",
        PinKind::InOut => "in-out",
        PinKind::Timing => "timing",
        PinKind::Power => "power",
        PinKind::Ground => "ground",
        PinKind::None => "none",
    }
}

/// The package in characters, each line indented by two.
pub fn characters(part: &Part) -> String {
    let sides = Sides::new(part);
    let widest = |of: &dyn Fn(&(Place<'_>, Place<'_>)) -> usize| sides.rows.iter().map(of).max().unwrap_or(0);
    let kind = widest(&|row| row.0.kind().len());
    let left = widest(&|row| row.0.name().chars().count());
    let right = widest(&|row| row.1.name().chars().count());
    let digits = widest(&|row| row.0.number().len().max(row.1.number().len()));
    let inside = if sides.single { digits + 2 } else { 2 * digits + 7 };
    let margin = if sides.single { 2 } else { 2 + kind + 2 + left + 2 };
    let edge = "-".repeat(inside);
    let notch = if sides.single {
        edge.clone()
    } else {
        let side = "-".repeat((inside - 3) / 2);
        format!("{side}\\_/{side}")
    };
    let mut out = format!("{:margin$}+{notch}+\n", "");
    for (a, b) in &sides.rows {
        let line = if sides.single {
            format!("  | {:>digits$} |-- ", b.number())
        } else {
            format!(
                "  {:>kind$}  {:>left$} {}| {:<digits$}{:5}{:>digits$} |{} ",
                a.kind(),
                a.name(),
                a.leg(),
                a.number(),
                "",
                b.number(),
                b.leg(),
            )
        };
        let line = format!("{line}{:right$}  {}", b.name(), b.kind());
        let _ = writeln!(out, "{}", line.trim_end());
    }
    let _ = writeln!(out, "{:margin$}+{edge}+", "");
    out
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
    fn pins_count_down_and_up_again() {
        let part = part("DIP8 { 1 A in schmitt  2 NC none  3 /OE in  4 GND ground  7 Y out  8 VCC power }");
        assert_eq!(
            characters(&part),
            [
                "                    +---\\_/---+",
                "  in, Schmitt    A -| 1     8 |- VCC  power",
                "         none   NC -| 2     7 |- Y    out",
                "           in  /OE -| 3     6 |-      not listed",
                "       ground  GND -| 4     5 |-      not listed",
                "                    +---------+",
                "",
            ]
            .join("\n")
        );
    }

    #[test]
    fn one_row_stands_on_one_side() {
        let part = part("SIP4 { 1 A in  2 GND ground  3 Y out  4 VCC power }");
        assert_eq!(
            characters(&part),
            [
                "  +---+",
                "  | 1 |-- A    in",
                "  | 2 |-- GND  ground",
                "  | 3 |-- Y    out",
                "  | 4 |-- VCC  power",
                "  +---+",
                "",
            ]
            .join("\n")
        );
    }

    #[test]
    fn odd_packages_and_absurd_ones_are_drawn() {
        // The usual five pins: 1 to 3 on one side, 5 opposite 1 and 4 opposite 3 (common practice).
        let five = part("SOT23-5 { 1 A in  2 GND ground  3 Y out  4 NC none  5 VCC power }");
        let sides = Sides::new(&five);
        let numbers: Vec<(String, String)> = sides.rows.iter().map(|(a, b)| (a.number(), b.number())).collect();
        let row = |a: &str, b: &str| (a.to_owned(), b.to_owned());
        assert_eq!(numbers, [row("1", "5"), row("2", ""), row("3", "4")]);
        let large = part("DIP4000000000 { 1 A in  2 Y out }");
        assert_eq!(Sides::new(&large).rows.len(), 1);
    }
}
