//! What a sweep found: plain data, of which text, CSV, JSON and pictures are views.

use super::MOST_POINTS;
use super::outcome::Outcome;
use super::search::Highest;
use serde::{Deserialize, Serialize};
use std::fmt;
use std::str::FromStr;

/// The names of the axes, from the one that moves slowest. A search has no clock axis.
pub const AXES: [&str; 6] = ["trial", "voltage", "temperature", "corner", "power-up", "clock"];

/// What all rows of a sweep have in common.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Header {
    /// The version of coldboard that ran it.
    pub coldboard: String,
    /// The fingerprint of the texts.
    pub design: String,
    pub axes: Vec<Axis>,
    /// What `clock` and `voltage` change, in words; empty for what stays as it is written.
    pub changed: Vec<String>,
    /// The range of a search for the highest rate, if it is one.
    pub search: Option<Searched>,
    /// The part of the grid that was run; all of it when none is given.
    pub slice: Option<Slice>,
}

/// The range of a search.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Searched {
    /// The lowest rate.
    pub from: String,
    /// The highest rate.
    pub to: String,
    /// The resolution.
    pub step: String,
    /// Lower rates that are tried as well.
    pub samples: usize,
}

/// An axis and its values, as they are written.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Axis {
    /// One of [`AXES`].
    pub name: String,
    /// Its values; `as written` where the trial or the design says it.
    pub values: Vec<String>,
}

/// Every nth point of a grid: `3/16` is the third of sixteen.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Slice {
    /// Which one, from 1.
    pub number: usize,
    /// Of how many.
    pub of: usize,
}

/// What came of one point.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Row {
    /// Its number in the grid, from 0.
    pub point: usize,
    /// Its value on each axis.
    pub at: Vec<String>,
    /// The highest rate, when that is what was looked for.
    pub highest: Option<Highest>,
    /// What came of the run; of a search, of the run at the highest rate that passed, or else at the lowest.
    pub outcome: Outcome,
}

/// A header with rows in order of their points.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Sweep {
    /// What they have in common.
    pub header: Header,
    /// The rows that are there.
    pub rows: Vec<Row>,
}

impl Header {
    /// The number of points of the whole grid, saturating.
    pub fn points(&self) -> usize {
        let sizes = self.axes.iter().map(|axis| axis.values.len());
        sizes.fold(1, usize::saturating_mul)
    }

    /// The points of the slice, or of the whole grid.
    pub fn slice_points(&self) -> impl Iterator<Item = usize> + use<> {
        let slice = self.slice.unwrap_or(Slice { number: 1, of: 1 });
        (slice.number - 1..self.points()).step_by(slice.of)
    }

    /// The row of values of a point: an index into each axis.
    pub fn places(&self, point: usize) -> Vec<usize> {
        let mut rest = point;
        let mut places: Vec<usize> = (self.axes.iter().rev())
            .map(|axis| {
                let size = axis.values.len().max(1);
                let place = rest % size;
                rest /= size;
                place
            })
            .collect();
        places.reverse();
        places
    }

    /// The values of a point.
    pub fn at(&self, point: usize) -> Vec<String> {
        let places = self.places(point);
        let axes = self.axes.iter().zip(places);
        axes.map(|(axis, place)| axis.values[place].clone()).collect()
    }

    /// The values of a point in words, leaving out the axes that have one value only.
    pub fn words(&self, at: &[String]) -> String {
        let axes = self.axes.iter().zip(at);
        let words: Vec<String> = axes
            .filter(|(axis, _)| axis.values.len() > 1)
            .map(|(axis, value)| format!("{} {value}", axis.name))
            .collect();
        if words.is_empty() { "the only point".to_owned() } else { words.join(", ") }
    }
}

impl Row {
    /// True when it passed; of a search, when a rate was found and every lower one that was tried passed as well.
    pub fn is_good(&self) -> bool {
        match &self.highest {
            Some(highest) => highest.is_good(),
            None => self.outcome.passed_all(),
        }
    }
}

impl Sweep {
    /// True when every point of its slice is there and good.
    pub fn is_good(&self) -> bool {
        self.rows.len() == self.header.slice_points().count() && self.rows.iter().all(Row::is_good)
    }
}

impl Slice {
    /// True when there is such a slice: its number is one of 1 to `of`, and a sweep can have so many points.
    pub(super) fn is_one(self) -> bool {
        (1..=self.of).contains(&self.number) && self.of <= MOST_POINTS
    }
}

impl fmt::Display for Slice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.number, self.of)
    }
}

impl FromStr for Slice {
    type Err = String;

    fn from_str(text: &str) -> Result<Slice, String> {
        let digits = |text: &str| {
            let text = text.trim();
            let digits = !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
            digits.then(|| text.parse().unwrap_or(usize::MAX))
        };
        let read = || {
            let (number, of) = text.split_once('/')?;
            let (number, of) = (digits(number)?, digits(of)?);
            (1 <= number && number <= of).then_some(Slice { number, of })
        };
        let slice = read()
            .ok_or_else(|| format!("`{text}` is no slice: write 1/16 to 16/16 for the sixteen parts of a sweep"))?;
        if !slice.is_one() {
            return Err(format!("`{text}` is no slice: a sweep has {MOST_POINTS} points at most, and no more slices"));
        }
        Ok(slice)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn header(slice: Option<&str>) -> Header {
        let axis = |name: &str, values: &[&str]| Axis {
            name: name.to_owned(),
            values: values.iter().map(|&value| value.to_owned()).collect(),
        };
        Header {
            coldboard: "0".to_owned(),
            design: "0".to_owned(),
            axes: vec![
                axis("trial", &["t"]),
                axis("voltage", &["4 V", "5 V"]),
                axis("clock", &["1 MHz", "2 MHz", "3 MHz"]),
            ],
            changed: Vec::new(),
            search: None,
            slice: slice.map(|slice| slice.parse().expect("a slice")),
        }
    }

    #[test]
    fn points_are_counted_with_the_last_axis_fastest() {
        let header = header(None);
        assert_eq!(header.points(), 6);
        assert_eq!(header.at(0), ["t", "4 V", "1 MHz"]);
        assert_eq!(header.at(5), ["t", "5 V", "3 MHz"]);
        assert_eq!(header.words(&header.at(4)), "voltage 5 V, clock 2 MHz");
    }

    #[test]
    fn slices_share_the_points_out() {
        let points = |slice| header(Some(slice)).slice_points().collect::<Vec<_>>();
        assert_eq!(points("1/4"), [0, 4]);
        assert_eq!(points("4/4"), [3]);
        for wrong in ["0/4", "5/4", "x", "1/", "1", "-1/4", "1/-4", "/"] {
            assert!(wrong.parse::<Slice>().is_err(), "{wrong}");
        }
        assert!("20000/20000".parse::<Slice>().is_ok());
        for many in ["1/20001", "1/99999999999", "1/99999999999999999999999"] {
            let sentence = many.parse::<Slice>().expect_err(many);
            assert!(sentence.contains("20000 points at most"), "{sentence}");
        }
    }
}
