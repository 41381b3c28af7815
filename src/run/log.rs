//! What a run notes of each net on its way: contention, and that nothing drives it. `D` is how an engine names a driver.

use super::{Contention, Floating, Intervals};
use crate::circuit::NetKey;
use crate::quantity::Time;

/// Strong drivers of one net that give different levels.
#[derive(Clone, Copy, Debug)]
pub(crate) struct ContentionLog<D> {
    intervals: Intervals,
    /// Who drove low and high in the first one.
    first: Option<(D, D)>,
}

impl<D> Default for ContentionLog<D> {
    fn default() -> Self {
        ContentionLog { intervals: Intervals::default(), first: None }
    }
}

impl<D: Copy> ContentionLog<D> {
    /// It begins, or goes on; true when the drivers are to be named.
    #[must_use]
    pub(crate) fn begin(&mut self, time: Time) -> bool {
        self.intervals.begin(time)
    }

    /// Who drives low and who high, in the one that has just begun.
    pub(crate) fn name(&mut self, low: D, high: D) {
        self.first = Some((low, high));
    }

    /// It ends, if it goes on.
    #[inline]
    pub(crate) fn end(&mut self, time: Time) {
        self.intervals.end(time);
    }

    /// What is reported of it.
    pub(crate) fn finding(&self, net: NetKey, now: Time, path: impl Fn(D) -> String) -> Option<Contention> {
        let totals = self.intervals.totals(now)?;
        let (low, high) = self.first?;
        Some(Contention {
            net,
            low: path(low),
            high: path(high),
            count: totals.count,
            first: totals.first,
            longest: totals.longest,
            total: totals.total,
            lasting: totals.lasting,
        })
    }
}

/// Stretches in which nothing drives a net.
#[derive(Clone, Copy, Debug)]
pub(crate) struct FloatLog<D> {
    intervals: Intervals,
    last_driver: Option<D>,
}

impl<D> Default for FloatLog<D> {
    fn default() -> Self {
        FloatLog { intervals: Intervals::default(), last_driver: None }
    }
}

impl<D: Copy> FloatLog<D> {
    /// It begins, because a driver went high-impedance; at power-up there is none.
    pub(crate) fn begin(&mut self, time: Time, last_driver: Option<D>) {
        self.intervals.begin(time);
        self.last_driver = last_driver.or(self.last_driver);
    }

    /// Something drives the net again.
    pub(crate) fn end(&mut self, time: Time) {
        self.intervals.end(time);
    }

    /// What is reported of it; `input` is one of those on the net.
    pub(crate) fn finding(
        &self,
        net: NetKey,
        now: Time,
        input: impl FnOnce() -> Option<String>,
        path: impl Fn(D) -> String,
    ) -> Option<Floating> {
        let totals = self.intervals.totals(now)?;
        Some(Floating {
            net,
            listener: input()?,
            last_driver: self.last_driver.map(path),
            count: totals.count,
            first: totals.first,
            longest: totals.longest,
            lasting: totals.lasting,
        })
    }
}
