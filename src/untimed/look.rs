//! Nets that somebody waits for or records.

use super::machine::Machine;
use super::place::{Note, PlaceKind};
use crate::circuit::NetKey;
use crate::logic::Level;
use crate::quantity::Time;

/// So many changes are kept before the run pauses for somebody to take them.
const MOST_CHANGES: usize = 100_000;

impl Machine<'_> {
    /// The level of a net.
    pub fn level(&self, net: NetKey) -> Level {
        self.level_now(net)
    }

    /// The level that a net had just before the present moment, when [`Machine::keep_before`] asked for it; else its
    /// level.
    pub fn level_before(&self, net: NetKey) -> Level {
        let kept = self.notes.iter().find(|note| note.net == net && note.keep);
        match kept {
            Some(note) if note.before.0 == self.time => note.before.1,
            _ => self.level(net),
        }
    }

    /// Pauses [`Machine::advance`] when a net changes.
    pub fn stop_at(&mut self, net: NetKey, on: bool) {
        self.note(net).stop = on;
        self.forget_idle();
    }

    /// Keeps what a net was before the moment of its last change, for [`Machine::level_before`].
    pub fn keep_before(&mut self, net: NetKey) {
        self.note(net).keep = true;
    }

    /// Keeps each change of a net for [`Machine::take_changes`].
    pub fn watch(&mut self, net: NetKey, on: bool) {
        self.note(net).watch = on;
        self.forget_idle();
    }

    /// The changes of watched nets since they were taken last, in order of time.
    pub fn take_changes(&mut self) -> Vec<(Time, NetKey, Level)> {
        std::mem::take(&mut self.changes)
    }

    fn note(&mut self, net: NetKey) -> &mut Note {
        let at = match self.notes.iter().position(|note| note.net == net) {
            Some(at) => at,
            None => {
                let place = self.places[net];
                self.signals[place.signal as usize].noted = true;
                self.notes_sleepers |= place.kind == PlaceKind::Own;
                self.notes.push(Note {
                    net,
                    stop: false,
                    watch: false,
                    keep: false,
                    level: self.level(net),
                    before: (-1, Level::U),
                });
                self.notes.len() - 1
            }
        };
        &mut self.notes[at]
    }

    fn forget_idle(&mut self) {
        self.notes.retain(|note| note.stop || note.watch || note.keep);
        self.notes_sleepers = self.notes.iter().any(|note| {
            let place = self.places[note.net];
            place.kind == PlaceKind::Own && self.sleeps[place.signal as usize]
        });
        if self.notes.is_empty() {
            self.signals.iter_mut().for_each(|signal| signal.noted = false);
        }
    }

    /// The levels from which changes are told.
    pub(super) fn first_notes(&mut self) {
        for at in 0..self.notes.len() {
            self.notes[at].level = Level::U;
        }
        self.follow_notes();
    }

    /// Looks whether a net that somebody looks at has changed.
    pub(super) fn follow_notes(&mut self) {
        self.note_moved = false;
        if self.notes_sleepers {
            self.settle_sleepers();
        }
        for at in 0..self.notes.len() {
            let level = self.level(self.notes[at].net);
            let note = &mut self.notes[at];
            if level == note.level {
                continue;
            }
            if note.before.0 != self.time {
                note.before = (self.time, note.level);
            }
            note.level = level;
            self.stop |= note.stop;
            if note.watch {
                let change = (Time::from_ps(self.time), note.net, level);
                self.changes.push(change);
                self.stop |= self.changes.len() > MOST_CHANGES;
            }
        }
    }
}
