//! What hangs on a net: what is on it, and what several drivers make of it.

use super::number::row;
use crate::logic::Level;

pub(super) mod net_flag {
    /// A rail: its level never moves.
    pub(in crate::simulate) const FIXED: u8 = 1;
    /// No driver, or several.
    pub(in crate::simulate) const SHARED: u8 = 2;
    /// Resistors or switches on it follow what it is.
    pub(in crate::simulate) const LINKED: u8 = 4;
    /// A sink is told.
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
    pub(super) loads: (u32, u32),
    /// For shared nets, the row of [`Machine::driver_counts`].
    pub(super) counts: u32,
}

/// An input on a net.
#[derive(Clone, Copy, Debug)]
pub(super) struct Load(u32);

/// Bits of the number that do not tell the instance.
const BELOW_CELL: u32 = 7;

impl Load {
    /// An input bit of an instance; data-only inputs are only remembered.
    pub(super) fn new(instance: u32, bit: u32, data_only: bool) -> Load {
        Load(instance << BELOW_CELL | u32::from(data_only) << 6 | bit)
    }

    #[inline]
    pub(super) fn instance(self) -> u32 {
        self.0 >> BELOW_CELL
    }

    #[inline]
    pub(super) fn bit(self) -> u32 {
        self.0 & 63
    }

    #[inline]
    pub(super) fn is_data_only(self) -> bool {
        self.0 >> 6 & 1 == 1
    }
}

/// what is on it to a net. One or two, as nearly everywhere, stand here by themselves.
#[derive(Clone, Copy, Debug)]
pub(super) struct Loads {
    /// The first load, or the first row of [`super::machine::Machine::net_loads`].
    pub(super) first: u32,
    /// The second load, [`ALONE`], or [`ROWS`] and the number of rows.
    pub(super) second: u32,
}

/// No instance has a number as large as those from here on.
const ROWS: u32 = 0xFF00_0000;
const ALONE: u32 = u32::MAX;

impl Loads {
    /// The loads of a stretch of rows.
    pub(super) fn new(rows: &[Load], first: u32) -> Loads {
        let (first, second) = match *rows {
            [one] => (one.0, ALONE),
            [one, two] if two.0 < ROWS => (one.0, two.0),
            _ => (first, ROWS | row(rows.len())),
        };
        Loads { first, second }
    }

    /// One, two, or a stretch of rows.
    #[inline]
    pub(super) fn unpack(self) -> UnpackedLoads {
        match self.second {
            ALONE => UnpackedLoads::One(Load(self.first)),
            second if second < ROWS => UnpackedLoads::Two(Load(self.first), Load(second)),
            many => UnpackedLoads::Rows(self.first, many & !ROWS),
        }
    }
}

/// what is on it, unpacked.
#[derive(Clone, Copy, Debug)]
pub(super) enum UnpackedLoads {
    One(Load),
    Two(Load, Load),
    /// First row and number of rows.
    Rows(u32, u32),
}

/// How many drivers of a net give each level. Resolution does not ask in which order, so that this is all there is to
/// know, and one move costs the same however many drivers there are.
#[derive(Clone, Debug, Default)]
pub(super) struct DriverCounts {
    pub(super) of: [u32; 9],
}

impl DriverCounts {
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
            let mut counts = DriverCounts::default();
            drivers.iter().for_each(|&level| counts.add(level));
            for (driver, level) in moves {
                let (driver, level) = (driver % drivers.len(), Level::from_u8(level));
                counts.change(drivers[driver], level);
                drivers[driver] = level;
                let resolved = drivers.iter().fold(Level::Z, |all, &one| all.resolve(one));
                prop_assert_eq!(counts.level(), resolved);
            }
        }
    }

    #[test]
    fn a_listener_keeps_its_numbers() {
        let load = Load::new(70_000, 63, true);
        assert_eq!((load.instance(), load.bit()), (70_000, 63));
        assert!(load.is_data_only() && !Load::new(1, 5, false).is_data_only());
    }
}
