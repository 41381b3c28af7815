//! A sweep seen over two of its axes.

use super::outcome::Verdict;
use super::result::{AXES, Axis, Row, Sweep};
use crate::quantity::{Frequency, Quantity};

/// The cells of two axes; the points of all other axes fall together.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Grid {
    /// The axis from left to right.
    pub across: Axis,
    /// The axis from top to bottom.
    pub down: Axis,
    /// Rows of cells.
    pub cells: Vec<Vec<Cell>>,
    /// The other axes that have several values.
    pub others: Vec<Axis>,
    /// True when the cells tell highest rates.
    pub search: bool,
}

/// The points that fall together in one cell.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Cell {
    /// Points whose result is there.
    pub done: usize,
    /// Those that passed.
    pub good: usize,
    pub worst: Option<Verdict>,
    /// Of a search: the least of the highest rates.
    pub rate: Option<Frequency>,
    /// Of a search: points at which not even the lowest rate passed.
    pub none: usize,
    /// Of a search: true when the whole range passed at each point.
    pub beyond: bool,
}

impl Cell {
    fn add(&mut self, row: &Row) {
        let first = self.done == 0;
        self.done += 1;
        self.good += usize::from(row.is_good());
        self.worst = self.worst.max(Some(row.outcome.verdict));
        if let Some(highest) = &row.highest {
            let rate = highest.passed.as_ref().and_then(|text| frequency(text));
            match rate {
                None => self.none += 1,
                Some(rate) => self.rate = Some(self.rate.map_or(rate, |other| other.min(rate))),
            }
            let whole = highest.passed.is_some() && highest.failed.is_none();
            self.beyond = whole && (first || self.beyond);
        }
    }

    /// A letter: `+` when all passed, that of the worst verdict when none did, the small letter when some did, a dot where
    /// nothing has been run.
    pub fn letter(&self) -> char {
        match self.worst {
            None => '.',
            Some(Verdict::Passed) => '+',
            Some(worst) if self.good == 0 => worst.letter(),
            Some(worst) => worst.letter().to_ascii_lowercase(),
        }
    }

    /// The highest rate in words.
    pub fn rate_words(&self) -> String {
        match self.rate {
            None if self.done == 0 => ".".to_owned(),
            _ if self.none > 0 => match self.worst {
                Some(Verdict::Supply) => "V".to_owned(),
                _ => "none".to_owned(),
            },
            None => "none".to_owned(),
            Some(rate) => {
                let beyond = if self.beyond { ">= " } else { "" };
                format!("{beyond}{rate}")
            }
        }
    }
}

/// The frequency of a text such as `12.5 MHz`.
pub fn frequency(text: &str) -> Option<Frequency> {
    let quantity: Quantity = text.parse().ok()?;
    quantity.as_frequency()
}

/// The order in which axes are chosen when nobody says which.
const LIKED: [&str; 6] = ["clock", "voltage", "temperature", "corner", "power-up", "trial"];

/// Looks at a sweep over two axes; those that have several values when none are named.
///
/// # Errors
/// A sentence for a person when there is no such axis, or one is named twice.
pub fn grid(sweep: &Sweep, across: Option<&str>, down: Option<&str>) -> Result<Grid, String> {
    let axes = &sweep.header.axes;
    let names: Vec<&str> = AXES[..axes.len().min(AXES.len())].to_vec();
    for name in across.iter().chain(&down) {
        if !names.contains(name) {
            return Err(format!("`{name}` is no axis here; there are: {}", names.join(", ")));
        }
    }
    if across.is_some() && across == down {
        return Err("across and down are the same axis: name two".to_owned());
    }
    let place = |name: &str| axes.iter().position(|axis| axis.name == name);
    let several = |&at: &usize| axes[at].values.len() > 1;
    let liked: Vec<usize> = LIKED.iter().filter_map(|name| place(name)).collect();
    let pick = |taken: Option<usize>| {
        let free = || liked.iter().copied().filter(move |&at| Some(at) != taken);
        free().find(several).or_else(|| free().next_back())
    };
    let named_down = down.and_then(place);
    let x = across.and_then(place).or_else(|| pick(named_down)).unwrap_or(0);
    let y = named_down.or_else(|| pick(Some(x))).unwrap_or(0);
    let mut cells = vec![vec![Cell::default(); axes[x].values.len()]; axes[y].values.len()];
    for row in &sweep.rows {
        let places = sweep.header.places(row.point);
        cells[places[y]][places[x]].add(row);
    }
    let others = (0..axes.len()).filter(|at| ![x, y].contains(at) && several(at));
    Ok(Grid {
        across: axes[x].clone(),
        down: axes[y].clone(),
        cells,
        others: others.map(|at| axes[at].clone()).collect(),
        search: sweep.header.search.is_some(),
    })
}
