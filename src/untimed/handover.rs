//! A line of a bus before a clock, clear or enable: when one driver lets go of it as another takes it, the line may float
//! or be fought for in between, and that may be a pulse.

use super::bus::{BusDriver, Drive};
use super::machine::Machine;
use super::pieces::bits;
use crate::hazard::turnaround::{Pulls, may_pulse};
/// More drivers of one line than so many at once are not tried in all orders.
const MOST_MOVED: usize = 6;

/// What a driver makes of one line.
fn pulls(drive: Drive, line: u32) -> Pulls {
    let has = |lines: u64| lines >> line & 1 == 1;
    Pulls { one: has(drive.one), zero: has(drive.zero), blur: has(drive.blur) }
}

impl Machine<'_> {
    /// Keeps what a unit drove before this wave, as it begins to drive something else.
    pub(super) fn keep_given(&mut self, drive: u32) {
        let given = &mut self.given[drive as usize];
        if given.wave != self.wave {
            given.wave = self.wave;
            given.before = self.drives[drive as usize];
        }
    }

    /// What a unit drove before this wave, if it has begun to drive something else in it.
    pub(super) fn given_before(&self, drive: u32) -> Option<Drive> {
        let given = self.given[drive as usize];
        (given.wave == self.wave).then_some(given.before)
    }

    /// Looks whether a line that somebody is clocked by is handed over in this wave.
    pub(super) fn watch_for_handover(&mut self, number: u32) {
        let bus = &self.buses[number as usize];
        let (signal, weak) = (bus.signal, bus.weak);
        let rows = bus.drivers.0 as usize..bus.drivers.1 as usize;
        let both = |driver: &BusDriver| {
            let now = self.drives[driver.drive as usize];
            let before = self.given_before(driver.drive).unwrap_or(now);
            [before, now].map(|drive| drive.on_bus(driver))
        };
        let (mut once, mut twice) = (0, 0);
        for driver in &self.bus_drivers[rows.clone()] {
            let [before, now] = both(driver);
            let moved = before.differs(now) & bus.watched;
            twice |= once & moved;
            once |= moved;
        }
        let mut pulses = 0;
        for line in bits(twice) {
            let (mut moved, mut rest) = (Vec::new(), Pulls::default());
            for driver in &self.bus_drivers[rows.clone()] {
                let pulls = both(driver).map(|drive| pulls(drive, line));
                if pulls[0] == pulls[1] {
                    rest = rest.with(pulls[0]);
                } else {
                    moved.push(pulls);
                }
            }
            if moved.len() > MOST_MOVED || may_pulse(&moved, rest, pulls(weak, line)) {
                pulses |= 1 << line;
            }
        }
        let direct = pulses & self.signals[signal as usize].controls;
        if direct != 0 {
            return self.refuse_handover(signal, direct.trailing_zeros());
        }
        for line in bits(pulses) {
            self.mark_glitch(signal, line);
        }
    }
}
