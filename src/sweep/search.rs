//! The highest clock rate at which all holds.

use crate::quantity::Frequency;
use serde::{Deserialize, Serialize};

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
    /// The highest rate that held, of those that were tried up to the lowest one that is known to fail above it; none
    /// when not even the lowest rate held.
    pub held: Option<String>,
    /// The lowest rate above it that was tried and did not hold; none when the whole range held.
    pub failed: Option<String>,
    /// Rates below the highest that were tried and did not hold: there is no telling where it holds between them.
    pub failed_below: Vec<String>,
    /// Lower rates that were tried and held.
    pub held_below: Vec<String>,
    /// What was wrong first at the rate that failed.
    pub limit: Option<String>,
}

impl Highest {
    /// True when a rate held, and every lower one that was tried did as well.
    pub fn is_good(&self) -> bool {
        self.held.is_some() && self.failed_below.is_empty()
    }
}

/// Looks for the highest rate that holds, by halving, and then tries `samples` lower ones.
///
/// `run` says whether a rate holds; it is asked once for each rate. The answer rests on the rates that were tried:
/// a fault may begin at some rate and be gone at a higher one.
pub fn highest(range: Range, samples: usize, run: &mut dyn FnMut(Frequency) -> bool) -> Highest {
    let (from, to) = (range.from.raw(), range.to.raw());
    let step = range.step.raw().max(1);
    let steps = (to - from + step - 1) / step;
    let rate =
        |index: i64| Frequency::from_raw(from.saturating_add(index.saturating_mul(step)).min(to));
    let mut tried: Vec<(i64, bool)> = Vec::new();
    let mut ask = |index: i64| -> bool {
        if let Some(&(_, held)) = tried.iter().find(|(other, _)| *other == index) {
            return held;
        }
        let held = run(rate(index));
        tried.push((index, held));
        held
    };
    let (mut low, mut high) = (0, steps);
    if !ask(low) {
        return Highest {
            held: None,
            failed: Some(rate(low).to_string()),
            failed_below: Vec::new(),
            held_below: Vec::new(),
            limit: None,
        };
    }
    let whole = ask(high);
    if whole {
        low = high;
    }
    while high - low > 1 {
        let middle = low + (high - low) / 2;
        if ask(middle) {
            low = middle;
        } else {
            high = middle;
        }
    }
    for sample in 1..=samples as i64 {
        ask(low * sample / (samples as i64 + 1));
    }
    tried.sort_unstable();
    let below = |wanted: bool| {
        let rates = tried
            .iter()
            .filter(|&&(index, held)| index < low && held == wanted);
        rates.map(|&(index, _)| rate(index).to_string()).collect()
    };
    Highest {
        held: Some(rate(low).to_string()),
        failed: (!whole).then(|| rate(high).to_string()),
        failed_below: below(false),
        held_below: below(true),
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
    fn halving_finds_the_last_rate_that_holds() {
        let mut runs = 0;
        let found = highest(RANGE, 4, &mut |rate| {
            runs += 1;
            rate <= mhz(37)
        });
        assert_eq!(found.held.as_deref(), Some("37 MHz"));
        assert_eq!(found.failed.as_deref(), Some("38 MHz"));
        assert!(found.is_good());
        // 99 steps: 2 ends, 7 halvings, 4 samples.
        assert!(runs <= 13, "{runs}");
        assert!(found.held_below.len() >= 4, "{found:?}");
    }

    #[test]
    fn the_ends_of_the_range_are_told_as_such() {
        let none = highest(RANGE, 4, &mut |_| false);
        assert_eq!(
            (none.held.as_deref(), none.failed.as_deref()),
            (None, Some("1 MHz"))
        );
        assert!(!none.is_good());
        let all = highest(RANGE, 4, &mut |_| true);
        assert_eq!(
            (all.held.as_deref(), all.failed.as_deref()),
            (Some("100 MHz"), None)
        );
    }

    #[test]
    fn a_hole_below_is_told() {
        let found = highest(RANGE, 8, &mut |rate| {
            rate <= mhz(90) && !(mhz(30)..mhz(45)).contains(&rate)
        });
        assert_eq!(found.held.as_deref(), Some("90 MHz"));
        assert!(!found.failed_below.is_empty(), "{found:?}");
        assert!(!found.is_good());
    }

    #[test]
    fn a_range_that_is_no_whole_number_of_steps_ends_at_its_end() {
        let range = Range {
            to: Frequency::from_raw(2_500_000_000),
            ..RANGE
        };
        let found = highest(range, 0, &mut |_| true);
        assert_eq!(found.held.as_deref(), Some("2.5 MHz"));
    }
}
