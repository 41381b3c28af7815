//! What a run keeps of its past: checkpoints, and what was done in between.

use super::state::Checkpoint;
use crate::circuit::ChipKey;
use crate::circuit::DiscreteKey;
use crate::circuit::NetKey;
use crate::image::Image;
use crate::logic::Level;
use crate::quantity::Time;
use std::collections::BTreeMap;
use std::collections::VecDeque;
use std::sync::Arc;
/// What was done to a machine from outside.
#[derive(Clone, Debug)]
pub(super) enum Action {
    Set(NetKey, Level),
    Clock(NetKey, Time, Time),
    Contact(DiscreteKey, u8),
    Load(Arc<(ChipKey, Image, i64)>),
    Unload(ChipKey),
    Force(NetKey),
}

#[derive(Clone, Debug)]
pub(super) struct Entry {
    pub(super) time: Time,
    /// True when the machine was advanced since the entry before: what that one set off comes first.
    pub(super) advanced: bool,
    pub(super) action: Action,
}

/// A checkpoint and its place among the actions.
#[derive(Clone, Debug)]
pub(super) struct KeptCheckpoint {
    pub(super) checkpoint: Arc<Checkpoint>,
    /// How many actions came before it, those that were forgotten with them.
    pub(super) actions: usize,
    /// Taken while a stretch was divided, to be dropped before the others.
    pub(super) fine: bool,
}

impl KeptCheckpoint {
    /// The number of events before it, by which it is known.
    pub(super) fn events(&self) -> u64 {
        self.checkpoint.counters.events
    }

    /// All that came before it.
    pub(super) fn end(&self) -> End {
        End { time: self.checkpoint.time, actions: self.actions }
    }
}

/// Where a stretch ends: all actions before a number, and all events until a time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct End {
    pub(super) time: Time,
    pub(super) actions: usize,
}

impl End {
    /// The end of a history that was kept all the time.
    pub(super) fn whole(time: Time) -> End {
        let actions = usize::MAX;
        End { time, actions }
    }

    /// The same end, but no later than a time.
    pub(super) fn until(self, time: Time) -> End {
        End { time, ..self }
    }

    /// True when what ends here has all that ends there.
    pub(super) fn covers(self, other: End) -> bool {
        self.time >= other.time && self.actions >= other.actions
    }
}

/// What a run keeps of its past.
#[derive(Clone, Debug)]
pub(super) struct Past {
    /// By the number of events before it; never empty once time has begun to pass.
    pub(super) kept: BTreeMap<u64, KeptCheckpoint>,
    pub(super) entries: VecDeque<Entry>,
    /// How many actions were forgotten.
    pub(super) forgotten: usize,
    pub(super) advanced: bool,
    /// Bytes that the checkpoints may take, and do take.
    pub(super) budget: usize,
    pub(super) taken: usize,
    /// Events from one look to the next.
    pub(super) spacing: u64,
    /// Events between two checkpoints, so that copying takes little time, and now, so that they have room.
    pub(super) least: u64,
    pub(super) interval: u64,
    pub(super) next: u64,
}

/// Events from one look at the past to the next: no checkpoints lie closer.
pub(super) const CHECKPOINT_SPACING: u64 = 1 << 12;

/// A checkpoint is taken after an event for so many bytes that it takes: copying stays below a hundredth of the work.
const BYTES_AN_EVENT: u64 = 2;

/// More checkpoints than this make nothing faster.
const MOST_CHECKPOINTS: usize = 1_024;

impl Past {
    pub(super) fn new(budget: usize, spacing: u64) -> Past {
        Past {
            kept: BTreeMap::new(),
            entries: VecDeque::new(),
            forgotten: 0,
            advanced: false,
            budget,
            taken: 0,
            spacing,
            least: spacing,
            interval: spacing,
            next: 0,
        }
    }

    /// Notes what was done. Before anything was kept it is part of the first checkpoint.
    pub(super) fn note(&mut self, time: Time, action: Action) {
        if self.kept.is_empty() {
            return;
        }
        let advanced = std::mem::take(&mut self.advanced);
        self.entries.push_back(Entry { time, advanced, action });
        // Hands without end (a trial of ten million pulses) must not take all the room: the oldest past goes first.
        while self.entries.len() * size_of::<Entry>() > self.budget / 2 && self.kept.len() > 2 {
            self.forget_first();
        }
    }

    /// Forgets all that was before the second checkpoint.
    pub(super) fn forget_first(&mut self) {
        self.taken -= self.taken / self.kept.len().max(1);
        self.kept.pop_first();
        if let Some(first) = self.kept.first_entry() {
            let gone = first.get().actions - self.forgotten;
            self.entries.drain(..gone);
            self.forgotten += gone;
        }
    }

    /// Notes a state between two moments when the last one is long enough ago.
    pub(super) fn pass(&mut self, events: u64, checkpoint: impl FnOnce() -> Checkpoint) {
        if events < self.next {
            return;
        }
        let checkpoint = checkpoint();
        let first = self.kept.values().next().map(|kept| &*kept.checkpoint);
        let bytes = checkpoint.bytes(first);
        self.least = self.least.max(bytes as u64 / BYTES_AN_EVENT);
        self.interval = self.interval.max(self.least);
        self.taken += bytes;
        let kept = KeptCheckpoint {
            checkpoint: Arc::new(checkpoint),
            actions: self.forgotten + self.entries.len(),
            fine: false,
        };
        self.kept.insert(events, kept);
        self.next = events + self.interval;
        if self.kept.len() > MOST_CHECKPOINTS || self.taken > self.budget && self.kept.len() > 2 {
            self.thin(bytes);
        }
    }

    /// Drops every second checkpoint, and keeps half as many from now on.
    pub(super) fn thin(&mut self, bytes: usize) {
        self.kept.retain(|_, kept| !kept.fine);
        let mut stays = false;
        self.kept.retain(|_, _| {
            stays = !stays;
            stays
        });
        self.interval *= 2;
        self.taken = bytes * self.kept.len();
    }

    /// All that has happened until a time.
    pub(super) fn until(&self, time: Time) -> End {
        let kept = self.entries.partition_point(|entry| entry.time <= time);
        let actions = self.forgotten + kept;
        End { time, actions }
    }

    /// True for the oldest checkpoint that there is.
    pub(super) fn is_first(&self, kept: &KeptCheckpoint) -> bool {
        self.kept.first_key_value().is_none_or(|(&events, _)| events >= kept.events())
    }

    /// The last checkpoint that is older than a time, or the first one.
    pub(super) fn before(&self, time: Time) -> Option<&KeptCheckpoint> {
        let mut older = self.kept.values().rev();
        let found = older.find(|kept| kept.checkpoint.time < time);
        found.or_else(|| self.kept.values().next())
    }

    /// The checkpoint before another one.
    pub(super) fn earlier(&self, than: &KeptCheckpoint) -> Option<&KeptCheckpoint> {
        self.kept.range(..than.events()).next_back().map(|(_, kept)| kept)
    }

    /// True for an end at which the machine has actions on it that it has not followed yet.
    pub(super) fn is_waiting(&self, end: End) -> bool {
        let last = self.entries.back();
        !self.advanced && last.is_some_and(|last| last.time == end.time)
    }

    /// What was done in a stretch, in order.
    pub(super) fn entries_between(&self, from: &KeptCheckpoint, end: End) -> impl Iterator<Item = &Entry> {
        let first = from.actions - self.forgotten;
        let last = (end.actions - self.forgotten).max(first);
        let entries = self.entries.range(first..last);
        entries.take_while(move |entry| entry.time <= end.time)
    }
}
