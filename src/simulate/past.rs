//! The past of a run: checkpoints at growing distance, and what was done to the machine in between.
//!
//! A run keeps no causes: that would take three times as long. It keeps its state now and then, and each action that was put
//! on it. When somebody asks why a net has its level, the short stretch that the answer lies in is run once more, with
//! causes kept. Both runs are the same to the picosecond.

use super::machine::Machine;
use super::past_log::{Action, CHECKPOINT_SPACING, End, KeptCheckpoint, Past};
use crate::quantity::Time;
use crate::run::NullSink;

/// A stretch that is so many times as long as it need be is divided before it is run again with causes.
const LONGEST_STRETCH: u64 = 2;
/// It is divided into no more pieces than this.
const MOST_PIECES: u64 = 256;

impl Machine<'_> {
    /// Keeps enough of what happens from here on to tell causes later: checkpoints that take at most so many bytes. Called
    /// before time begins to pass.
    pub fn keep_past(&mut self, bytes: usize) {
        self.keep_past_every(bytes, CHECKPOINT_SPACING);
    }

    /// The same, with checkpoints that are at least so many events apart: more of them than anybody needs, for tests.
    pub fn keep_past_every(&mut self, bytes: usize, events: u64) {
        self.past = Some(Box::new(Past::new(bytes, events.max(1))));
        self.next_checkpoint = 0;
    }

    /// Notes an action on the machine.
    pub(super) fn note_action(&mut self, action: Action) {
        if let Some(past) = &mut self.past {
            past.note(self.time, action);
        }
    }

    /// Says that the machine goes on after the actions that were put on it.
    pub(super) fn past_advanced(&mut self) {
        if let Some(past) = &mut self.past {
            past.advanced = true;
        }
    }

    /// Between two moments, after many events: keeps a checkpoint if one is due.
    pub(super) fn take_checkpoint_if_due(&mut self) {
        let spacing = self.past.as_ref().map_or(CHECKPOINT_SPACING, |past| past.spacing);
        self.next_checkpoint = self.counters.events + spacing;
        if let Some(mut past) = self.past.take() {
            past.pass(self.counters.events, || self.checkpoint());
            self.past = Some(past);
        }
    }

    /// Runs to a time, whoever is told of what on the way; false when a loop never settles.
    fn run_to(&mut self, time: Time) -> bool {
        loop {
            match self.advance(time, &mut NullSink) {
                crate::run::Pause::Reached => return true,
                crate::run::Pause::Changed | crate::run::Pause::Looked => {}
                crate::run::Pause::Oscillation(_) | crate::run::Pause::Refused(_) => return false,
            }
        }
    }

    fn apply(&mut self, action: &Action) {
        match action {
            Action::Set(net, level) => self.set(*net, *level),
            Action::Clock(net, low, high) => self.clock(*net, *low, *high),
            Action::Contact(discrete, position) => self.contact(*discrete, *position),
            Action::Load(load) => {
                let (chip, image, offset) = &**load;
                // It fitted the first time.
                let _ = self.load(*chip, image, *offset);
            }
            Action::Unload(chip) => self.unload(*chip),
            Action::Force(net) => self.force(*net),
        }
    }

    /// Comes to the end of a stretch of the past, from the checkpoint that the machine has been put back to.
    pub(super) fn replay(&mut self, past: &Past, from: &KeptCheckpoint, end: End) {
        for entry in past.entries_between(from, end) {
            if entry.advanced && !self.run_to(entry.time) {
                return;
            }
            self.time = self.time.max(entry.time);
            self.apply(&entry.action);
        }
        if !past.is_waiting(end) {
            self.run_to(end.time);
        }
    }

    /// Divides the stretch of the past before an end, when it is long, by checkpoints of its own. This twin of the machine
    /// runs through it; `now` is the number of events until the present.
    pub(super) fn divide(&mut self, past: &mut Past, end: End, now: u64) {
        let Some(from) = past.before(end.time).cloned() else {
            return;
        };
        let mut later = past.kept.range(from.events() + 1..);
        let to = later.next().map_or(now, |(&events, _)| events);
        let length = to.saturating_sub(from.events());
        if length < LONGEST_STRETCH * past.least {
            return;
        }
        past.kept.retain(|_, kept| !kept.fine || kept.events() == from.events());
        self.history = None;
        self.restore(&from.checkpoint);
        self.unwatch();
        let mut inner = Past::new(past.budget / 4, past.spacing);
        inner.interval = past.least.max(length / MOST_PIECES);
        inner.next = from.events() + inner.interval;
        // Its actions are counted from the beginning of the stretch.
        let begin = KeptCheckpoint { actions: 0, ..from.clone() };
        inner.kept.insert(from.events(), begin);
        self.past = Some(Box::new(inner));
        self.next_checkpoint = 0;
        self.replay(past, &from, end);
        for (events, kept) in self.past.take().map(|inner| inner.kept).unwrap_or_default() {
            past.kept.entry(events).or_insert(KeptCheckpoint {
                actions: from.actions + kept.actions,
                fine: true,
                ..kept
            });
        }
    }
}
