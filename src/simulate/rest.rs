//! Whether anything can still change.

use super::machine::{Machine, NEVER, Owner, own};
use crate::logic::{Level, Word};
use crate::part::function::{Drive, Held, Seen};
use crate::quantity::Time;

/// All that decides what comes next, as it is at one moment: two that are alike are followed by the same.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Outlook {
    levels: Vec<Level>,
    outs: Vec<[(Level, i64); 2]>,
    drives: Vec<Level>,
    cells: Vec<(Word, Seen, Held, Drive)>,
}

/// Swings that come together less often than this are not waited for.
const LONGEST_ROUND: i64 = 10_000_000_000;

impl Machine<'_> {
    /// All that decides what comes next, but for the hands on the machine.
    pub fn outlook(&self) -> Outlook {
        let wait = |due: i64| if due == NEVER { NEVER } else { due - self.time };
        let outs = self.outs.iter().zip(&self.afters).map(|(out, after)| {
            // What is not due does not come.
            let coming = |level: Level, due: i64| {
                if due == NEVER {
                    (Level::U, NEVER)
                } else {
                    (level, wait(due))
                }
            };
            [
                coming(out.next, out.due),
                if out.special & own::FOLLOWED != 0 {
                    coming(after.level, after.due)
                } else {
                    coming(Level::U, NEVER)
                },
            ]
        });
        let cells = self.cells.iter();
        Outlook {
            levels: self
                .circuit
                .nets
                .keys()
                .map(|net| self.level(net))
                .collect(),
            outs: outs.collect(),
            drives: self.outs.iter().map(|out| out.now).collect(),
            cells: cells
                .map(|cell| (cell.now, cell.seen(), cell.held.clone(), cell.wanted))
                .collect(),
        }
    }

    /// After how long everything that swings by itself is where it was; `None` when it is not known, or a timer runs.
    /// Zero when nothing swings.
    pub fn round(&self) -> Option<Time> {
        let mut round = 1i64;
        let mut any = false;
        for (at, out) in self.outs.iter().enumerate() {
            if out.special & own::SWINGS == 0 || out.due == NEVER {
                continue;
            }
            let period = match self.owners[at] {
                Owner::Oscillator(_, row) => self.oscillators[row as usize].period,
                Owner::Timer(..) => return None,
                _ => {
                    let clock = self.clocks.iter().find(|clock| clock.out as usize == at)?;
                    clock.high + clock.low
                }
            };
            round = round.checked_mul(period / common(round, period))?;
            any = true;
        }
        if round > LONGEST_ROUND {
            return None;
        }
        Some(if any {
            Time::from_ps(round)
        } else {
            Time::ZERO
        })
    }
}

/// The greatest common divisor.
fn common(a: i64, b: i64) -> i64 {
    if b == 0 { a.max(1) } else { common(b, a % b) }
}
