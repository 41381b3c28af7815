//! Time that passes in a trial: until it is over, until something is true, until a clock has risen so often.

use super::{Goal, Observer, Runner};
use crate::circuit::NetKey;
use crate::quantity::Time;
use crate::run::{Pause, Snapshot};
use crate::text::Span;
use crate::trial::condition::Ready;
use crate::trial::prepare::{Wait, When};
use crate::trial::report::Finding;

/// A clock that does not move for so long stands still.
const STANDSTILL: Time = Time::from_ps(1_000_000_000_000);

/// When it has not moved for so long, it is looked whether anything can still move it; and again after twice as long.
const FIRST_LOOK: Time = Time::from_ps(100_000_000);

/// How a stretch of time ended.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Outcome {
    /// The time is over.
    Over,
    /// What was waited for has come.
    Met,
    /// The clock stands still.
    Still,
    /// The run cannot go on, or the observer has had enough.
    Ended,
}

/// What a stretch of time is watched for.
#[derive(Clone, Copy)]
pub(super) enum Until<'r> {
    Nothing,
    True(&'r Ready),
    False(&'r Ready),
}

impl Runner<'_> {
    /// Lets time pass, whatever happens in it.
    pub(super) fn pass(&mut self, wait: &Wait, span: Span, observer: &mut dyn Observer) {
        if self.go(wait, Until::Nothing, observer) == Outcome::Still {
            self.stands_still(span);
        }
    }

    pub(super) fn go(&mut self, wait: &Wait, until: Until<'_>, observer: &mut dyn Observer) -> Outcome {
        if self.ended {
            return Outcome::Ended;
        }
        let watched = match until {
            Until::Nothing => Vec::new(),
            Until::True(ready) | Until::False(ready) => ready.form.nets(),
        };
        watched.iter().for_each(|&net| self.machine.stop_at(net, true));
        let outcome = self.go_watched(wait, until, observer);
        self.unfilled.look(self.circuit, &*self.machine);
        for net in watched {
            if !self.is_needed(net) {
                self.machine.stop_at(net, false);
            }
        }
        outcome
    }

    /// Lets what was set in this very moment take effect; false when the run cannot go on.
    pub(super) fn moment(&mut self, observer: &mut dyn Observer) -> bool {
        while !self.ended {
            let now = self.machine.now();
            match self.machine.advance(now, &mut self.recorder) {
                Pause::Reached => return true,
                Pause::Changed => self.ended |= !self.observe(observer),
                Pause::Looked => self.progress(Goal::Time(now), observer),
                pause => self.end_on(pause),
            }
        }
        false
    }

    /// As [`Runner::moment`], once time has begun to pass: what is set before it is there from the beginning.
    pub(super) fn begun(&mut self, observer: &mut dyn Observer) -> bool {
        self.machine.has_begun() && self.moment(observer)
    }

    /// True when what a stretch of time is watched for is so now.
    fn has_come(&self, until: Until<'_>) -> bool {
        let is_true = |ready: &Ready| ready.form.is_true(&|net| self.machine.level(net));
        match until {
            Until::Nothing => false,
            Until::True(ready) => is_true(ready),
            Until::False(ready) => !is_true(ready),
        }
    }

    fn go_watched(&mut self, wait: &Wait, until: Until<'_>, observer: &mut dyn Observer) -> Outcome {
        let end = match wait {
            Wait::Time(time) | Wait::First(time, _) => Some(self.machine.now() + *time),
            Wait::Clocks(_) => None,
        };
        let goal = match (wait, &self.clock) {
            (Wait::Clocks(count) | Wait::First(_, count), Some(clock)) => clock.rises.saturating_add(*count),
            _ => u64::MAX,
        };
        if let Some(clock) = &mut self.clock {
            clock.moved = self.machine.now();
        }
        if !self.moment(observer) {
            return Outcome::Ended;
        }
        self.watch_nevers();
        let mut look = FIRST_LOOK;
        // Since when everything has to come again as it is, and when it would have.
        let mut round: Option<(Time, Snapshot)> = None;
        loop {
            if self.has_come(until) {
                return Outcome::Met;
            }
            let moved = self.clock.as_ref().map_or(Time::ZERO, |clock| clock.moved);
            if self.clock.as_ref().is_some_and(|clock| clock.rises >= goal && !clock.level.is_high()) {
                return Outcome::Over;
            }
            let limit = end.unwrap_or(moved + STANDSTILL.max(self.longest_clock));
            let next_show = self.shows.iter().map(|show| show.next).min().unwrap_or(Time::MAX);
            let look_at = match (&round, end) {
                (_, Some(_)) => Time::MAX,
                (Some((again, _)), None) => *again,
                (None, None) => moved + look,
            };
            let stop = limit.min(next_show).min(look_at);
            if end.is_none() && self.machine.next_event().is_none() {
                return Outcome::Still;
            }
            let pause = self.machine.advance(stop, &mut self.recorder);
            match pause {
                Pause::Oscillation(_) | Pause::Refused(_) => {
                    self.end_on(pause);
                    return Outcome::Ended;
                }
                Pause::Changed => {
                    round = None;
                    self.unfilled.look(self.circuit, &*self.machine);
                    if !self.observe(observer) {
                        self.ended = true;
                        return Outcome::Ended;
                    }
                }
                Pause::Looked => {
                    let goal = match wait {
                        Wait::Clocks(_) => Goal::Clocks(goal),
                        Wait::Time(_) | Wait::First(..) => Goal::Time(limit),
                    };
                    self.progress(goal, observer);
                    if self.ended {
                        return Outcome::Ended;
                    }
                }
                Pause::Reached if stop == look_at && stop < limit => {
                    self.timed_rows();
                    round = match round.take() {
                        Some((_, before)) if self.machine.snapshot() == before => {
                            return Outcome::Still;
                        }
                        Some(_) => None,
                        None => {
                            let now = self.machine.now();
                            let period = self.machine.period();
                            period.map(|period| (now + period, self.machine.snapshot()))
                        }
                    };
                    look = look * 2;
                    if round.is_some() {
                        continue;
                    }
                    let since = self.machine.now() - moved;
                    while look <= since && look < Time::MAX {
                        look = look * 2;
                    }
                }
                Pause::Reached if self.machine.now() >= limit => {
                    self.timed_rows();
                    return match (self.has_come(until), end) {
                        (true, _) => Outcome::Met,
                        (false, Some(_)) => Outcome::Over,
                        (false, None) => Outcome::Still,
                    };
                }
                Pause::Reached => self.timed_rows(),
            }
        }
    }

    /// True when something else than the present step wants to hear of a net.
    fn is_needed(&self, net: NetKey) -> bool {
        self.clock.as_ref().is_some_and(|clock| clock.net == net)
            || self.sequences.iter().any(|sequence| sequence.strobe.net == Some(net))
            || self.shows.iter().any(|show| show.strobe.net == Some(net))
            || self.follower.is_needed(net)
            || self.nevers.iter().any(|never| never.ready.form.nets().contains(&net))
    }

    /// Looks at everything that waits for a change; false when the observer has had enough.
    fn observe(&mut self, observer: &mut dyn Observer) -> bool {
        self.watch_nevers();
        for at in 0..self.sequences.len() {
            let wanted = self.sequences[at].edge;
            if self.sequences[at].strobe.edge(&*self.machine) == Some(wanted) {
                self.next_in_sequence(at);
            }
        }
        for at in 0..self.shows.len() {
            if let When::On(wanted, _) = self.shows[at].when
                && self.shows[at].strobe.edge(&*self.machine) == Some(wanted)
            {
                self.row(at);
            }
        }
        if !self.follow_instructions() {
            return false;
        }
        let Some(clock) = &mut self.clock else {
            return true;
        };
        let level = self.machine.level(clock.net);
        let rose = level.is_high() && clock.level.is_low();
        if level != clock.level {
            clock.moved = self.machine.now();
            clock.level = level;
        }
        clock.rises += u64::from(rose);
        let rises = clock.rises;
        if rose {
            self.compare_awaited();
            for at in 0..self.shows.len() {
                if matches!(self.shows[at].when, When::Clock) {
                    self.row(at);
                }
            }
            return observer.clock(&mut *self.machine, rises);
        }
        true
    }

    pub(super) fn stands_still(&mut self, span: Span) {
        let path = self.clock.as_ref().map_or("", |clock| &self.circuit.nets[clock.net].path);
        let moved = self.clock.as_ref().map_or(Time::ZERO, |clock| clock.moved);
        let found = if self.machine.now() - moved < STANDSTILL {
            format!("the clock on {path} stands still, and nothing can move it any more")
        } else {
            format!("the clock on {path} stands still: no edge for {STANDSTILL}")
        };
        let net = self.clock.as_ref().map(|clock| clock.net);
        self.fail(span, found, net);
        self.ended = true;
    }

    /// The run cannot go on.
    fn end_on(&mut self, pause: Pause) {
        self.ended = true;
        let finding = match pause {
            Pause::Oscillation(loop_) => Finding {
                kind: "oscillation",
                place: loop_.around.first().cloned().unwrap_or_default(),
                text: loop_.sentence(),
                count: 1,
                first: Some(loop_.time),
            },
            Pause::Refused(refusal) => Finding {
                kind: "needs delays",
                place: refusal.place,
                text: format!("{}; run it with delays", refusal.sentence),
                count: 1,
                first: Some(refusal.time),
            },
            Pause::Reached | Pause::Changed | Pause::Looked => return,
        };
        self.report.faults.push(finding);
    }
}
