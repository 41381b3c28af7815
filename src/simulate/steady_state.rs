//! Whether anything can still change.

use super::driver::{NEVER, Owner, driver_flag};
use super::machine::Machine;
use crate::logic::Level;
use crate::quantity::Time;
use crate::run::{Snapshot, common_period};

impl Machine<'_> {
    /// All that decides what comes next, but for the actions on the machine.
    pub(super) fn snapshot(&self) -> Snapshot {
        let wait = |due: Time| if due == NEVER { NEVER } else { due - self.time };
        let drivers = self.drivers.iter().zip(&self.later_transitions).map(|(driver, after)| {
            // What is not due does not come.
            let coming = |level: Level, due: Time| {
                if due == NEVER { (Level::U, NEVER) } else { (level, wait(due)) }
            };
            [
                coming(driver.next, driver.due),
                if driver.flags & driver_flag::FOLLOWED != 0 {
                    coming(after.level, after.due)
                } else {
                    coming(Level::U, NEVER)
                },
            ]
        });
        let levels = self.circuit.nets.keys().map(|net| self.level(net));
        let drives = self.drivers.iter().map(|driver| driver.now);
        let instances = self.instances.iter();
        Snapshot {
            levels: levels.chain(drives).collect(),
            coming: drivers.flatten().collect(),
            cells: instances
                .map(|instance| (instance.now, instance.sampled(), instance.stored.clone(), instance.wanted))
                .collect(),
        }
    }

    /// After how long everything that oscillates is where it was; `None` when it is not known, or a timer runs.
    /// Zero when nothing oscillates.
    pub(super) fn period(&self) -> Option<Time> {
        let mut periods = Vec::new();
        for (at, driver) in self.drivers.iter().enumerate() {
            if driver.flags & driver_flag::SELF_TIMED == 0 || driver.due == NEVER {
                continue;
            }
            periods.push(match self.owners[at] {
                Owner::Oscillator(_, row) => self.oscillators[row as usize].period,
                Owner::Timer(..) => return None,
                _ => {
                    let clock = self.clocks.iter().find(|clock| clock.driver as usize == at)?;
                    clock.high + clock.low
                }
            });
        }
        common_period(periods)
    }
}
