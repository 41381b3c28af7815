//! How often, and how long, something went on at one place.

use crate::quantity::Time;

/// Stretches of time in which something goes on, as it is followed. One that ends in the picosecond in which it began
/// does not count: drivers that take a net over from each other in the same picosecond do not meet.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Intervals {
    since: Option<Time>,
    count: u64,
    first: Time,
    longest: Time,
    total: Time,
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
    pub(crate) fn begin(&mut self, time: Time) -> bool {
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
    pub(crate) fn end(&mut self, time: Time) {
        let Some(since) = self.since.take() else {
            return;
        };
        let length = time - since;
        if length > Time::ZERO {
            self.count += 1;
            self.longest = self.longest.max(length);
            self.total += length;
        }
    }

    /// What there has been until a time; `None` for nothing.
    pub(crate) fn totals(&self, now: Time) -> Option<Totals> {
        let running = self.since.map_or(Time::ZERO, |since| now - since);
        let lasting = running > Time::ZERO;
        (self.count > 0 || lasting).then(|| Totals {
            count: self.count + u64::from(lasting),
            first: self.first,
            longest: self.longest.max(running),
            total: self.total + running,
            lasting,
        })
    }
}

/// How often something came about that goes on until it ends.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Occurrences {
    goes_on: bool,
    pub(crate) count: u64,
    first: Time,
}

impl Occurrences {
    /// It goes on now, or does not.
    pub(crate) fn follow(&mut self, time: Time, goes_on: bool) {
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
        self.first
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_interval_of_no_length_does_not_count() {
        let mut intervals = Intervals::default();
        assert!(intervals.begin(Time::from_ps(5)));
        intervals.end(Time::from_ps(5));
        assert_eq!(intervals.totals(Time::from_ps(9)), None);
        // The first that counts begins at 7.
        assert!(intervals.begin(Time::from_ps(7)));
        assert!(!intervals.begin(Time::from_ps(8)));
        intervals.end(Time::from_ps(10));
        let totals = intervals.totals(Time::from_ps(20)).expect("one");
        assert_eq!((totals.count, totals.lasting), (1, false));
        assert_eq!((totals.first, totals.longest), (Time::from_ps(7), Time::from_ps(3)));
    }

    #[test]
    fn one_that_lasts_counts_until_now() {
        let mut intervals = Intervals::default();
        intervals.begin(Time::from_ps(0));
        intervals.end(Time::from_ps(4));
        assert!(!intervals.begin(Time::from_ps(10)));
        let totals = intervals.totals(Time::from_ps(16)).expect("two");
        assert_eq!((totals.count, totals.lasting), (2, true));
        assert_eq!((totals.longest, totals.total), (Time::from_ps(6), Time::from_ps(10)));
    }
}
