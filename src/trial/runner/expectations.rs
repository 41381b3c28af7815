//! What must come of a trial: each expectation, and what is told of one that failed.

use super::Observer;
use super::Runner;
use super::waiting::{Outcome, Until};
use super::watched::Never;
use crate::circuit::NetKey;
use crate::diagnostic::count;
use crate::language::ast::Radix;
use crate::text::Span;
use crate::trial::condition::Ready;
use crate::trial::look::{Look, shown, word};
use crate::trial::prepare::Wait;
use crate::trial::report::Failure;

/// Failures that are told.
const MOST_FAILURES: usize = 50;

impl Runner<'_> {
    /// It is true at this moment.
    pub(super) fn expect(&mut self, ready: &Ready, span: Span, observer: &mut dyn Observer) {
        if !self.moment(observer) {
            return;
        }
        if ready.form.is_true(&|net| self.machine.level(net)) {
            self.report.expectations_passed += 1;
        } else {
            self.fail_on(span, ready, ready.form.found(&|net| self.machine.level(net)));
        }
    }

    /// It becomes true in some time; says whether it did, or the run is over anyway.
    pub(super) fn expect_within(
        &mut self,
        ready: &Ready,
        wait: &Wait,
        span: Span,
        observer: &mut dyn Observer,
    ) -> bool {
        match self.go(wait, Until::True(ready), observer) {
            Outcome::Met => self.report.expectations_passed += 1,
            Outcome::Over => {
                let found = format!("{} at the end of the time", ready.form.found(&|net| self.machine.level(net)));
                self.fail_on(span, ready, found);
                return false;
            }
            Outcome::Still => self.stands_still(span),
            Outcome::Ended => {}
        }
        true
    }

    /// It is true now and all the time.
    pub(super) fn expect_throughout(&mut self, ready: &Ready, wait: &Wait, span: Span, observer: &mut dyn Observer) {
        match self.go(wait, Until::False(ready), observer) {
            Outcome::Met => self.fail_on(span, ready, ready.form.found(&|net| self.machine.level(net))),
            Outcome::Over => self.report.expectations_passed += 1,
            Outcome::Still => self.stands_still(span),
            Outcome::Ended => {}
        }
    }

    /// From here on it is at no moment true.
    pub(super) fn expect_never(&mut self, ready: &Ready, span: Span, observer: &mut dyn Observer) {
        for net in ready.form.nets() {
            self.machine.stop_at(net, true);
        }
        self.nevers.push(Never { ready: ready.clone(), tripped: false, span });
        if self.begun(observer) {
            self.watch_nevers();
        }
    }

    pub(super) fn watch_nevers(&mut self) {
        for at in 0..self.nevers.len() {
            let never = &self.nevers[at];
            if !never.tripped && never.ready.form.is_true(&|net| self.machine.level(net)) {
                let found = never.ready.form.found(&|net| self.machine.level(net));
                let (span, net) = (never.span, never.ready.form.culprit(&|net| self.machine.level(net)));
                self.nevers[at].tripped = true;
                self.fail(span, found, net);
            }
        }
    }

    pub(super) fn next_in_sequence(&mut self, at: usize) {
        let sequence = &mut self.sequences[at];
        if sequence.failed {
            return;
        }
        let number = sequence.next + 1;
        let levels = |net| self.machine.level_before(net);
        let Some(wanted) = sequence.values.get(sequence.next) else {
            if !sequence.more {
                sequence.failed = true;
                let found = format!(
                    "a strobe more than the {} that were expected; {} is {}",
                    sequence.values.len(),
                    sequence.signal.path,
                    shown(&levels, &sequence.signal, &Look::Radix(Radix::Hex))
                );
                let (span, net) = (sequence.span, sequence.strobe.net);
                self.fail(span, found, net);
            }
            return;
        };
        sequence.next += 1;
        let word = word(&levels, &sequence.signal);
        if word.unknown == 0 && wanted.has(word.value) {
            self.report.expectations_passed += 1;
            return;
        }
        sequence.failed = true;
        let found = format!(
            "at strobe {number} {} is {}, expected {}",
            sequence.signal.path,
            shown(&levels, &sequence.signal, &wanted.look()),
            wanted.text
        );
        let width = sequence.signal.nets.len();
        let wanted = wanted.ranges.first().map_or(0, |&(first, _)| first);
        let wrong = sequence.signal.nets.iter().enumerate().find(|&(bit, &net)| {
            let level = levels(net);
            !level.is_known() || level.is_high() != (wanted >> (width - 1 - bit) & 1 == 1)
        });
        let (span, net) = (sequence.span, wrong.map(|(_, &net)| net));
        self.fail(span, found, net);
    }

    /// What has not come by the end, and what has never been.
    pub(super) fn close_expectations(&mut self) {
        for at in 0..self.sequences.len() {
            let sequence = &self.sequences[at];
            if !sequence.failed && sequence.next < sequence.values.len() {
                let strobes = count(sequence.values.len(), "strobe");
                let found = format!("{} of {strobes} came", sequence.next);
                let (span, net) = (sequence.span, sequence.strobe.net);
                self.fail(span, found, net);
            }
        }
        self.report.expectations_passed += self.nevers.iter().filter(|never| !never.tripped).count() as u64;
    }

    pub(super) fn fail_on(&mut self, span: Span, ready: &Ready, found: String) {
        let net = ready.form.culprit(&|net| self.machine.level(net));
        let found = format!("{found} (wanted: {})", ready.text);
        self.fail(span, found, net);
    }

    pub(super) fn fail(&mut self, span: Span, found: String, net: Option<NetKey>) {
        if self.report.failures.len() >= MOST_FAILURES {
            return;
        }
        let time = self.machine.now();
        let causes = net.map_or(Vec::new(), |net| self.machine.why(net, time));
        if let Some(net) = net {
            self.marks.push((time, net, "expectation failed".to_owned()));
        }
        let expectation = self.sources.slice(span).split_whitespace().collect::<Vec<_>>().join(" ");
        self.report.failures.push(Failure { place: self.sources.place(span), expectation, found, time, causes });
    }
}
