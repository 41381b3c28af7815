//! How often, and how long, something went on at one place.

use crate::quantity::Time;

/// Stretches of time in which something goes on, as it is followed. One that ends in the picosecond in which it began
/// does not count: drivers that take a net over from each other in the same picosecond do not meet.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Intervals {
    since: Option<i64>,
    count: u64,
    first: i64,
    longest: i64,
    total: i64,
}

/// What intervals come to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Totals {
    pub(crate) count: u64,
    pub(crate) first: Time,
    pub(crate) longest: Time,
    pub(crate) total: Time,
    /// True when the last one still goes on.
    pub(crate) lasting: bool,
}

impl Intervals {
    /// One begins, unless one goes on already; true when none that counts came before it.
    pub(crate) fn begin(&mut self, time: i64) -> bool {
        if self.since.is_some() {
            return false;
        }
        self.since = Some(time);
        if self.count == 0 {
            self.first = time;
        }
        self.count == 0
    }

    /// The one that goes on, if any, ends.
    pub(crate) fn end(&mut self, time: i64) {
        let Some(since) = self.since.take() else {
            return;
        };
        let length = time - since;
        if length > 0 {
            self.count += 1;
            self.longest = self.longest.max(length);
            self.total += length;
        }
    }

    /// What there has been until a time; `None` for nothing.
    pub(crate) fn totals(&self, now: i64) -> Option<Totals> {
        let running = self.since.map_or(0, |since| now - since);
        let lasting = running > 0;
        (self.count > 0 || lasting).then(|| Totals {
            count: self.count + u64::from(lasting),
            first: Time::from_ps(self.first),
            longest: Time::from_ps(self.longest.max(running)),
            total: Time::from_ps(self.total + running),
            lasting,
        })
    }
}

/// How often something came about that goes on until it ends.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Occurrences {
    goes_on: bool,
    pub(crate) count: u64,
    first: i64,
}

impl Occurrences {
    /// It goes on now, or does not.
    pub(crate) fn follow(&mut self, time: i64, goes_on: bool) {
        if goes_on && !self.goes_on {
            self.count += 1;
            if self.count == 1 {
                self.first = time;
            }
        }
        self.goes_on = goes_on;
    }

    /// When it came about first.
    pub(crate) fn first(&self) -> Time {
        Time::from_ps(self.first)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_interval_of_no_length_does_not_count() {
        let mut intervals = Intervals::default();
        assert!(intervals.begin(5));
        intervals.end(5);
        assert_eq!(intervals.totals(9), None);
        // The first that counts begins at 7.
        assert!(intervals.begin(7));
        assert!(!intervals.begin(8));
        intervals.end(10);
        let totals = intervals.totals(20).expect("one");
        assert_eq!((totals.count, totals.lasting), (1, false));
        assert_eq!((totals.first, totals.longest), (Time::from_ps(7), Time::from_ps(3)));
    }

    #[test]
    fn one_that_lasts_counts_until_now() {
        let mut intervals = Intervals::default();
        intervals.begin(0);
        intervals.end(4);
        assert!(!intervals.begin(10));
        let totals = intervals.totals(16).expect("two");
        assert_eq!((totals.count, totals.lasting), (2, true));
        assert_eq!((totals.longest, totals.total), (Time::from_ps(6), Time::from_ps(10)));
    }
}
