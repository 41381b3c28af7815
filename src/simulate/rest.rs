//! Whether anything can still change.

use super::machine::Machine;
use super::out::{NEVER, Owner, own};
use crate::logic::Level;
use crate::quantity::Time;
use crate::run::{Snapshot, common_period};

impl Machine<'_> {
    /// All that decides what comes next, but for the hands on the machine.
    pub(super) fn snapshot(&self) -> Snapshot {
        let wait = |due: i64| if due == NEVER { NEVER } else { due - self.time };
        let outs = self.outs.iter().zip(&self.afters).map(|(out, after)| {
            // What is not due does not come.
            let coming = |level: Level, due: i64| {
                if due == NEVER { (Level::U, NEVER) } else { (level, wait(due)) }
            };
            [
                coming(out.next, out.due),
                if out.special & own::FOLLOWED != 0 { coming(after.level, after.due) } else { coming(Level::U, NEVER) },
            ]
        });
        let levels = self.circuit.nets.keys().map(|net| self.level(net));
        let drives = self.outs.iter().map(|out| out.now);
        let cells = self.cells.iter();
        Snapshot {
            levels: levels.chain(drives).collect(),
            coming: outs.flatten().collect(),
            cells: cells.map(|cell| (cell.now, cell.seen(), cell.held.clone(), cell.wanted)).collect(),
        }
    }

    /// After how long everything that swings by itself is where it was; `None` when it is not known, or a timer runs.
    /// Zero when nothing swings.
    pub(super) fn period(&self) -> Option<Time> {
        let mut periods = Vec::new();
        for (at, out) in self.outs.iter().enumerate() {
            if out.special & own::SWINGS == 0 || out.due == NEVER {
                continue;
            }
            periods.push(match self.owners[at] {
                Owner::Oscillator(_, row) => self.oscillators[row as usize].period,
                Owner::Timer(..) => return None,
                _ => {
                    let clock = self.clocks.iter().find(|clock| clock.out as usize == at)?;
                    clock.high + clock.low
                }
            });
        }
        common_period(periods)
    }
}
