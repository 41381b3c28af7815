//! The highest clock rate at which all passes.

use crate::quantity::Frequency;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Where the highest rate is looked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Range {
    /// The lowest rate that is tried.
    pub from: Frequency,
    /// The highest rate that is tried.
    pub to: Frequency,
    /// The resolution: the rates that are tried lie whole steps above the lowest one, or at the end of the range.
    pub step: Frequency,
}

/// What a search found.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Highest {
    /// The highest rate that passed, with every lower one that was tried; none when not even the lowest rate did.
    pub passed: Option<String>,
    /// The lowest rate that was tried and failed; none when the whole range passed.
    pub failed: Option<String>,
    /// Lower rates that were tried and passed.
    pub passed_below: Vec<String>,
    /// Rates above one that failed, at which all passed again: a machine may come out right by being one clock late.
    pub passed_above: Vec<String>,
    /// What was wrong first at the rate that failed.
    pub limit: Option<String>,
}

impl Highest {
    /// True when a rate passed.
    pub fn is_good(&self) -> bool {
        self.passed.is_some()
    }
}

/// Looks for the highest rate that passes, by halving, and then tries `samples` lower ones. When one of these fails,
/// the search continues below it.
///
/// `run` says whether a rate passes; it is asked once for each rate. The answer rests on the rates that were tried:
/// a fault may begin at some rate and be gone at a higher one.
pub fn highest(range: Range, samples: usize, run: &mut dyn FnMut(Frequency) -> bool) -> Highest {
    let (from, to) = (range.from.raw(), range.to.raw());
    let step = range.step.raw().max(1);
    let steps = (to - from + step - 1) / step;
    let rate = |index: i64| Frequency::from_raw(from.saturating_add(index.saturating_mul(step)).min(to));
    let mut tried: BTreeMap<i64, bool> = BTreeMap::new();
    let mut ask = |index: i64| -> bool { *tried.entry(index).or_insert_with(|| run(rate(index))) };
    let samples = i64::try_from(samples).unwrap_or(i64::MAX - 1);
    let (mut low, mut high) = (0, steps);
    if ask(low) && ask(high) {
        low = high;
    }
    while ask(low) {
        while high - low > 1 {
            let middle = low + (high - low) / 2;
            if ask(middle) {
                low = middle;
            } else {
                high = middle;
            }
        }
        let lower = (1..=samples).map(|sample| low * sample / (samples + 1));
        let Some(failed) = lower.filter(|&index| !ask(index)).min() else {
            break;
        };
        // Sought again from the lowest rate, which passes, up to the lowest one that fails.
        (low, high) = (0, failed);
    }
    let failed = tried.iter().find(|&(_, &passed)| !passed).map(|(&index, _)| index);
    let passed = failed.unwrap_or(i64::MAX);
    let passed = tried.range(..passed).next_back().map(|(&index, _)| index);
    let text = |index: i64| rate(index).to_string();
    let others = |wanted: &dyn Fn(i64) -> bool| {
        let rates = tried.iter().filter(|&(&index, &passed)| passed && wanted(index));
        rates.map(|(&index, _)| text(index)).collect()
    };
    Highest {
        passed: passed.map(text),
        failed: failed.map(text),
        passed_below: others(&|index| passed.is_some_and(|passed| index < passed)),
        passed_above: others(&|index| failed.is_some_and(|failed| index > failed)),
        limit: None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mhz(count: i64) -> Frequency {
        Frequency::from_raw(count * 1_000_000_000)
    }

    const RANGE: Range = Range {
        from: Frequency::from_raw(1_000_000_000),
        to: Frequency::from_raw(100_000_000_000),
        step: Frequency::from_raw(1_000_000_000),
    };

    #[test]
    fn halving_finds_the_last_rate_that_passes() {
        let mut runs = 0;
        let found = highest(RANGE, 4, &mut |rate| {
            runs += 1;
            rate <= mhz(37)
        });
        assert_eq!(found.passed.as_deref(), Some("37 MHz"));
        assert_eq!(found.failed.as_deref(), Some("38 MHz"));
        assert!(found.is_good());
        // 99 steps: 2 ends, 7 halvings, 4 samples.
        assert!(runs <= 13, "{runs}");
        assert!(found.passed_below.len() >= 4, "{found:?}");
    }

    #[test]
    fn the_ends_of_the_range_are_told_as_such() {
        let none = highest(RANGE, 4, &mut |_| false);
        assert_eq!((none.passed.as_deref(), none.failed.as_deref()), (None, Some("1 MHz")));
        assert!(!none.is_good());
        let all = highest(RANGE, 4, &mut |_| true);
        assert_eq!((all.passed.as_deref(), all.failed.as_deref()), (Some("100 MHz"), None));
    }

    #[test]
    fn a_rate_above_one_that_fails_is_no_answer() {
        let found = highest(RANGE, 8, &mut |rate| rate <= mhz(90) && !(mhz(30)..mhz(45)).contains(&rate));
        assert_eq!(found.passed.as_deref(), Some("29 MHz"));
        assert_eq!(found.failed.as_deref(), Some("30 MHz"));
        assert!(found.passed_above.contains(&"90 MHz".to_owned()), "{found:?}");
        assert!(!found.passed_below.is_empty());
    }

    #[test]
    fn a_range_that_is_no_whole_number_of_steps_ends_at_its_end() {
        let range = Range { to: Frequency::from_raw(2_500_000_000), ..RANGE };
        let found = highest(range, 0, &mut |_| true);
        assert_eq!(found.passed.as_deref(), Some("2.5 MHz"));
    }
}
