//! A line of a bus before a clock, clear or enable: when one driver lets go of it as another takes it, the line may float
//! or be fought for in between, and that may be a pulse.

use super::bus::{BusDriver, Drive};
use super::machine::Machine;
use super::pieces::bits;
/// More drivers of one line than so many at once are not tried in all orders.
const MOST_MOVED: usize = 6;

/// What drivers and pulls make of one line.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct Pulls {
    one: bool,
    zero: bool,
    blur: bool,
}

impl Pulls {
    fn of(drive: Drive, line: u32) -> Pulls {
        let has = |lines: u64| lines >> line & 1 == 1;
        Pulls {
            one: has(drive.one),
            zero: has(drive.zero),
            blur: has(drive.blur),
        }
    }

    fn with(self, other: Pulls) -> Pulls {
        Pulls {
            one: self.one | other.one,
            zero: self.zero | other.zero,
            blur: self.blur | other.blur,
        }
    }

    /// The level, when it is known; `weak` pulls where nobody drives.
    fn level(self, weak: Pulls) -> Option<bool> {
        match (self.one, self.zero, self.blur) {
            (true, false, false) => Some(true),
            (false, true, false) => Some(false),
            (false, false, false) => (weak.one != weak.zero).then_some(weak.one),
            _ => None,
        }
    }
}

/// True when a line may give a pulse while some drivers go from one drive to another, in any order; `rest` stay.
fn may_pulse(moved: &[[Pulls; 2]], rest: Pulls, weak: Pulls) -> bool {
    let level = |done: usize| {
        let drivers = moved.iter().enumerate();
        let all = drivers.fold(rest, |all, (at, drive)| all.with(drive[done >> at & 1]));
        all.level(weak)
    };
    let every = (1 << moved.len()) - 1;
    let (Some(from), Some(to)) = (level(0), level(every)) else {
        // What is unknown before or behind is passed on as that.
        return false;
    };
    (0..=every).any(|done| match level(done) {
        None => true,
        // Back again, though it had been there.
        Some(here) if from != to && here == to => (0..moved.len())
            .filter(|at| done >> at & 1 == 0)
            .any(|at| level(done | 1 << at) == Some(from)),
        Some(here) => here != from && here != to,
    })
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
                let pulls = both(driver).map(|drive| Pulls::of(drive, line));
                if pulls[0] == pulls[1] {
                    rest = rest.with(pulls[0]);
                } else {
                    moved.push(pulls);
                }
            }
            if moved.len() > MOST_MOVED || may_pulse(&moved, rest, Pulls::of(weak, line)) {
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
