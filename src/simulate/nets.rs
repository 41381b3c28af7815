//! What hangs on a net: who listens, and what several drivers make of it.

use crate::logic::Level;

pub(super) mod flag {
    /// A rail: its level never moves.
    pub(in crate::simulate) const FIXED: u8 = 1;
    /// No driver, or several.
    pub(in crate::simulate) const SHARED: u8 = 2;
    /// Resistors or switches on it follow what it is.
    pub(in crate::simulate) const LINKED: u8 = 4;
    /// A sink listens.
    pub(in crate::simulate) const WATCHED: u8 = 8;
    /// The run pauses when it changes.
    pub(in crate::simulate) const STOP: u8 = 16;
    /// Its level before the last moment is kept.
    pub(in crate::simulate) const KEPT: u8 = 32;
}

#[derive(Clone, Copy, Debug)]
pub(super) struct NetState {
    /// Kept while a flag is set or a history kept; else its driver has it.
    pub(super) level: Level,
    pub(super) flags: u8,
    /// First row and number of rows.
    pub(super) drivers: (u32, u32),
    pub(super) listeners: (u32, u32),
    /// For shared nets, the row of [`Machine::tallies`].
    pub(super) tally: u32,
}

/// An input that listens to a net.
#[derive(Clone, Copy, Debug)]
pub(super) struct Listener(u32);

/// Bits of the number that do not tell the cell.
const BELOW_CELL: u32 = 7;

impl Listener {
    /// An input bit of a cell; a quiet one only needs to be remembered.
    pub(super) fn new(cell: u32, bit: u32, quiet: bool) -> Listener {
        Listener(cell << BELOW_CELL | u32::from(quiet) << 6 | bit)
    }

    #[inline]
    pub(super) fn cell(self) -> u32 {
        self.0 >> BELOW_CELL
    }

    #[inline]
    pub(super) fn bit(self) -> u32 {
        self.0 & 63
    }

    #[inline]
    pub(super) fn is_quiet(self) -> bool {
        self.0 >> 6 & 1 == 1
    }
}

/// Who listens to a net. One or two, as nearly everywhere, stand here by themselves.
#[derive(Clone, Copy, Debug)]
pub(super) struct Listeners {
    /// The first listener, or the first row of [`super::machine::Machine::net_listeners`].
    pub(super) first: u32,
    /// The second listener, [`ALONE`], or [`ROWS`] and the number of rows.
    pub(super) second: u32,
}

/// No cell has a number as large as those from here on.
const ROWS: u32 = 0xFF00_0000;
const ALONE: u32 = u32::MAX;

impl Listeners {
    /// The listeners of a stretch of rows.
    pub(super) fn new(rows: &[Listener], first: u32) -> Listeners {
        let (first, second) = match *rows {
            [one] => (one.0, ALONE),
            [one, two] if two.0 < ROWS => (one.0, two.0),
            _ => (first, ROWS | rows.len() as u32),
        };
        Listeners { first, second }
    }

    /// One, two, or a stretch of rows.
    #[inline]
    pub(super) fn each(self) -> Each {
        match self.second {
            ALONE => Each::One(Listener(self.first)),
            second if second < ROWS => Each::Two(Listener(self.first), Listener(second)),
            many => Each::Rows(self.first, many & !ROWS),
        }
    }
}

/// Who listens, unpacked.
#[derive(Clone, Copy, Debug)]
pub(super) enum Each {
    One(Listener),
    Two(Listener, Listener),
    /// First row and number of rows.
    Rows(u32, u32),
}

/// How many drivers of a net give each level. Resolution does not ask in which order, so that this is all there is to
/// know, and one move costs the same however many drivers there are.
#[derive(Clone, Debug, Default)]
pub(super) struct Tally {
    pub(super) of: [u32; 9],
}

impl Tally {
    pub(super) fn add(&mut self, level: Level) {
        self.of[level as usize] += 1;
    }

    #[inline]
    pub(super) fn change(&mut self, from: Level, to: Level) {
        self.of[from as usize] -= 1;
        self.of[to as usize] += 1;
    }

    /// True when a driver gives this level.
    #[inline]
    pub(super) fn has(&self, level: Level) -> bool {
        self.of[level as usize] != 0
    }

    /// What the drivers make of the net: the resolution function of IEEE Std 1164.
    #[inline]
    pub(super) fn level(&self) -> Level {
        use Level::{Dash, H, L, One, U, W, X, Z, Zero};
        let (low, high) = (self.has(Zero), self.has(One));
        if self.has(U) {
            U
        } else if self.has(X) || self.has(Dash) || low && high {
            X
        } else if low {
            Zero
        } else if high {
            One
        } else if self.has(W) || self.has(L) && self.has(H) {
            W
        } else if self.has(L) {
            L
        } else if self.has(H) {
            H
        } else {
            Z
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// However the drivers of a net move, the tally says what the table of the standard makes of them one by one.
        #[test]
        fn a_tally_resolves_as_the_table_does(
            start in prop::collection::vec(0u8..9, 1..6),
            moves in prop::collection::vec((0usize..6, 0u8..9), 0..40),
        ) {
            let mut drivers: Vec<Level> = start.into_iter().map(Level::from_u8).collect();
            let mut tally = Tally::default();
            drivers.iter().for_each(|&level| tally.add(level));
            for (driver, level) in moves {
                let (driver, level) = (driver % drivers.len(), Level::from_u8(level));
                tally.change(drivers[driver], level);
                drivers[driver] = level;
                let resolved = drivers.iter().fold(Level::Z, |all, &one| all.resolve(one));
                prop_assert_eq!(tally.level(), resolved);
            }
        }
    }

    #[test]
    fn a_listener_keeps_its_numbers() {
        let listener = Listener::new(70_000, 63, true);
        assert_eq!((listener.cell(), listener.bit()), (70_000, 63));
        assert!(listener.is_quiet() && !Listener::new(1, 5, false).is_quiet());
    }
}
