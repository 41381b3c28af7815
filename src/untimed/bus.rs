//! Lines that several outputs may drive.

use crate::circuit::NetKey;
use crate::logic::Level;

/// What a unit drives on nets that it shares.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Drive {
    pub(super) one: u64,
    pub(super) zero: u64,
    pub(super) blur: u64,
}

/// Lines that the same outputs drive.
#[derive(Clone, Debug)]
pub(super) struct Bus {
    pub(super) signal: u32,
    /// Rows of [`Machine::bus_drivers`].
    pub(super) drivers: (u32, u32),
    pub(super) width: u64,
    /// What pull resistors make of it when nobody drives.
    pub(super) weak: Drive,
    pub(super) drive: Drive,
    pub(super) fight: u64,
    /// The fights and floats that are told, and whether they may have changed.
    pub(super) told: (u64, u64),
    pub(super) unsettled: bool,
    /// Lines that some chip listens to.
    pub(super) heard: u64,
    /// Lines that clock, clear or enable something, or lead to what does.
    pub(super) watched: u64,
    pub(super) floats: u64,
    pub(super) nets: Vec<NetKey>,
}

/// Bits of one unit's drive on a bus.
#[derive(Clone, Copy, Debug)]
pub(super) struct BusDriver {
    pub(super) drive: u32,
    pub(super) turn: u32,
    pub(super) mask: u64,
}

/// What a driver gave to its lines before a wave, and the wave.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Given {
    pub(super) wave: u64,
    pub(super) before: Drive,
}

impl Drive {
    pub(super) fn differs(self, other: Drive) -> u64 {
        (self.one ^ other.one) | (self.zero ^ other.zero) | (self.blur ^ other.blur)
    }

    /// On the lines of a bus.
    pub(super) fn on_bus(self, driver: &BusDriver) -> Drive {
        let lines = |bits: u64| bits.rotate_left(driver.turn) & driver.mask;
        Drive { one: lines(self.one), zero: lines(self.zero), blur: lines(self.blur) }
    }
}

impl Drive {
    /// The level of one bit.
    pub(super) fn level(&self, bit: u32) -> Level {
        let has = |mask: u64| mask >> bit & 1 == 1;
        match (has(self.one), has(self.zero), has(self.blur)) {
            (_, _, true) | (true, true, _) => Level::X,
            (true, ..) => Level::One,
            (_, true, _) => Level::Zero,
            _ => Level::Z,
        }
    }
}

impl Drive {
    /// Outputs that drive.
    pub(super) fn driven(self) -> u64 {
        self.one | self.zero | self.blur
    }
}
