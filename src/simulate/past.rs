//! The past of a run: checkpoints at growing distance, and what was done to the machine in between.
//!
//! A run keeps no causes: that would take three times as long. It keeps its state now and then, and each hand that was put
//! on it. When somebody asks why a net has its level, the short stretch that the answer lies in is run once more, with
//! causes kept. Both runs are the same to the picosecond.

use super::checkpoint::Checkpoint;
use super::machine::Machine;
use crate::circuit::{ChipKey, DiscreteKey, NetKey};
use crate::image::Image;
use crate::logic::Level;
use crate::quantity::Time;
use crate::run::NullSink;
use std::collections::{BTreeMap, VecDeque};
use std::sync::Arc;

/// Events from one look at the past to the next: no checkpoints lie closer.
pub(super) const LOOK: u64 = 1 << 12;
/// A checkpoint is taken after so many events for each byte that it takes: copying stays below a hundredth of the work.
const EVENTS_A_BYTE: f64 = 0.5;
/// More checkpoints than this make nothing faster.
const MOST_CHECKPOINTS: usize = 1_024;
/// A stretch that is so many times as long as it need be is divided before it is run again with causes.
const LONGEST_STRETCH: u64 = 2;
/// It is divided into no more pieces than this.
const MOST_PIECES: u64 = 256;

/// What was done to a machine from outside.
#[derive(Clone, Debug)]
pub(super) enum Hand {
    Set(NetKey, Level),
    Clock(NetKey, Time, Time),
    Contact(DiscreteKey, u8),
    Load(Arc<(ChipKey, Image, i64)>),
    Unload(ChipKey),
    Attach(NetKey),
}

#[derive(Clone, Debug)]
struct Entry {
    time: i64,
    /// True when the machine was advanced since the entry before: what that one set off comes first.
    advanced: bool,
    hand: Hand,
}

/// A checkpoint and its place among the hands.
#[derive(Clone, Debug)]
pub(super) struct Kept {
    pub(super) checkpoint: Arc<Checkpoint>,
    /// How many hands came before it, those that were forgotten with them.
    hands: usize,
    /// Taken while a stretch was divided, to be dropped before the others.
    fine: bool,
}

impl Kept {
    /// The number of events before it, by which it is known.
    pub(super) fn events(&self) -> u64 {
        self.checkpoint.counters.events
    }

    /// All that came before it.
    pub(super) fn end(&self) -> End {
        End {
            time: self.checkpoint.time,
            hands: self.hands,
        }
    }
}

/// Where a stretch ends: all hands before a number, and all events until a time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct End {
    pub(super) time: i64,
    hands: usize,
}

impl End {
    /// The end of a history that was kept all the time.
    pub(super) fn whole(time: i64) -> End {
        let hands = usize::MAX;
        End { time, hands }
    }

    /// The same end, but no later than a time.
    pub(super) fn until(self, time: i64) -> End {
        End { time, ..self }
    }

    /// True when what ends here has all that ends there.
    pub(super) fn covers(self, other: End) -> bool {
        self.time >= other.time && self.hands >= other.hands
    }
}

/// What a run keeps of its past.
#[derive(Clone, Debug)]
pub(super) struct Past {
    /// By the number of events before it; never empty once time has begun to pass.
    kept: BTreeMap<u64, Kept>,
    entries: VecDeque<Entry>,
    /// How many hands were forgotten.
    forgotten: usize,
    advanced: bool,
    /// Bytes that the checkpoints may take, and do take.
    budget: usize,
    taken: usize,
    /// Events from one look to the next.
    look: u64,
    /// Events between two checkpoints, so that copying takes little time, and now, so that they have room.
    least: u64,
    interval: u64,
    next: u64,
}

impl Past {
    fn new(budget: usize, look: u64) -> Past {
        Past {
            kept: BTreeMap::new(),
            entries: VecDeque::new(),
            forgotten: 0,
            advanced: false,
            budget,
            taken: 0,
            look,
            least: look,
            interval: look,
            next: 0,
        }
    }

    /// Notes what was done. Before anything was kept it is part of the first checkpoint.
    fn note(&mut self, time: i64, hand: Hand) {
        if self.kept.is_empty() {
            return;
        }
        let advanced = std::mem::take(&mut self.advanced);
        self.entries.push_back(Entry {
            time,
            advanced,
            hand,
        });
        // Hands without end (a trial of ten million pulses) must not take all the room: the oldest past goes first.
        while self.entries.len() * size_of::<Entry>() > self.budget / 2 && self.kept.len() > 2 {
            self.forget_first();
        }
    }

    /// Forgets all that was before the second checkpoint.
    fn forget_first(&mut self) {
        self.taken -= self.taken / self.kept.len().max(1);
        self.kept.pop_first();
        if let Some(first) = self.kept.first_entry() {
            let gone = first.get().hands - self.forgotten;
            self.entries.drain(..gone);
            self.forgotten += gone;
        }
    }

    /// Notes a state between two moments when the last one is long enough ago.
    fn pass(&mut self, machine: &Machine<'_>) {
        let events = machine.counters.events;
        if events < self.next {
            return;
        }
        let checkpoint = machine.checkpoint();
        let first = self.kept.values().next().map(|kept| &*kept.checkpoint);
        let bytes = checkpoint.bytes(first);
        self.least = self.least.max((bytes as f64 * EVENTS_A_BYTE) as u64);
        self.interval = self.interval.max(self.least);
        self.taken += bytes;
        let kept = Kept {
            checkpoint: Arc::new(checkpoint),
            hands: self.forgotten + self.entries.len(),
            fine: false,
        };
        self.kept.insert(events, kept);
        self.next = events + self.interval;
        if self.kept.len() > MOST_CHECKPOINTS || self.taken > self.budget && self.kept.len() > 2 {
            self.thin(bytes);
        }
    }

    /// Drops every second checkpoint, and keeps half as many from now on.
    fn thin(&mut self, bytes: usize) {
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
    pub(super) fn until(&self, time: i64) -> End {
        let kept = self.entries.partition_point(|entry| entry.time <= time);
        let hands = self.forgotten + kept;
        End { time, hands }
    }

    /// True for the oldest checkpoint that there is.
    pub(super) fn is_first(&self, kept: &Kept) -> bool {
        self.kept
            .first_key_value()
            .is_none_or(|(&events, _)| events >= kept.events())
    }

    /// The last checkpoint that is older than a time, or the first one.
    pub(super) fn before(&self, time: i64) -> Option<&Kept> {
        let mut older = self.kept.values().rev();
        let found = older.find(|kept| kept.checkpoint.time < time);
        found.or_else(|| self.kept.values().next())
    }

    /// The checkpoint before another one.
    pub(super) fn earlier(&self, than: &Kept) -> Option<&Kept> {
        self.kept
            .range(..than.events())
            .next_back()
            .map(|(_, kept)| kept)
    }

    /// Lets a machine, which has been put back to a checkpoint, come to the end of a stretch.
    pub(super) fn replay(&self, machine: &mut Machine<'_>, from: &Kept, end: End) {
        let first = from.hands - self.forgotten;
        let last = (end.hands - self.forgotten).max(first);
        for entry in self.entries.range(first..last) {
            if entry.time > end.time {
                break;
            }
            if entry.advanced && !machine.run_to(entry.time) {
                return;
            }
            machine.time = machine.time.max(entry.time);
            machine.lay(&entry.hand);
        }
        if !self.is_waiting(end) {
            machine.run_to(end.time);
        }
    }

    /// True for an end at which the machine has hands on it that it has not followed yet.
    fn is_waiting(&self, end: End) -> bool {
        let last = self.entries.back();
        !self.advanced && last.is_some_and(|last| last.time == end.time)
    }

    /// Divides the stretch before an end, when it is long, by checkpoints of its own. A twin of the machine runs through
    /// it; `now` is the number of events until the present.
    pub(super) fn divide(&mut self, twin: &mut Machine<'_>, end: End, now: u64) {
        let Some(from) = self.before(end.time).cloned() else {
            return;
        };
        let mut later = self.kept.range(from.events() + 1..);
        let to = later.next().map_or(now, |(&events, _)| events);
        let length = to.saturating_sub(from.events());
        if length < LONGEST_STRETCH * self.least {
            return;
        }
        self.kept
            .retain(|_, kept| !kept.fine || kept.events() == from.events());
        twin.history = None;
        twin.restore(&from.checkpoint);
        twin.unwatch();
        let mut past = Past::new(self.budget / 4, self.look);
        past.interval = self.least.max(length / MOST_PIECES);
        past.next = from.events() + past.interval;
        // Its hands are counted from the beginning of the stretch.
        let begin = Kept {
            hands: 0,
            ..from.clone()
        };
        past.kept.insert(from.events(), begin);
        twin.past = Some(Box::new(past));
        twin.next_look = 0;
        self.replay(twin, &from, end);
        for (events, kept) in twin.past.take().map(|past| past.kept).unwrap_or_default() {
            self.kept.entry(events).or_insert(Kept {
                hands: from.hands + kept.hands,
                fine: true,
                ..kept
            });
        }
    }
}

impl Machine<'_> {
    /// Keeps enough of what happens from here on to tell causes later: checkpoints that take at most so many bytes. Called
    /// before time begins to pass.
    pub fn keep_past(&mut self, bytes: usize) {
        self.keep_past_every(bytes, LOOK);
    }

    /// The same, with checkpoints that are at least so many events apart: more of them than anybody needs, for tests.
    pub fn keep_past_every(&mut self, bytes: usize, events: u64) {
        self.past = Some(Box::new(Past::new(bytes, events.max(1))));
        self.next_look = 0;
    }

    /// Notes a hand on the machine.
    pub(super) fn note_hand(&mut self, hand: Hand) {
        if let Some(past) = &mut self.past {
            past.note(self.time, hand);
        }
    }

    /// Says that the machine goes on after the hands that were put on it.
    pub(super) fn past_goes_on(&mut self) {
        if let Some(past) = &mut self.past {
            past.advanced = true;
        }
    }

    /// Between two moments, after many events: keeps a checkpoint if one is due.
    pub(super) fn look(&mut self) {
        let look = self.past.as_ref().map_or(LOOK, |past| past.look);
        self.next_look = self.counters.events + look;
        if let Some(mut past) = self.past.take() {
            past.pass(self);
            self.past = Some(past);
        }
    }

    /// Runs to a time, whoever is told of what on the way; false when a loop never settles.
    fn run_to(&mut self, time: i64) -> bool {
        loop {
            match self.advance(Time::from_ps(time), &mut NullSink) {
                crate::run::Pause::Reached => return true,
                crate::run::Pause::Changed | crate::run::Pause::Looked => {}
                crate::run::Pause::Oscillation(_) | crate::run::Pause::Refused(_) => return false,
            }
        }
    }

    fn lay(&mut self, hand: &Hand) {
        match hand {
            Hand::Set(net, level) => self.set(*net, *level),
            Hand::Clock(net, low, high) => self.clock(*net, *low, *high),
            Hand::Contact(discrete, position) => self.contact(*discrete, *position),
            Hand::Load(load) => {
                let (chip, image, offset) = &**load;
                // It fitted the first time.
                let _ = self.load(*chip, image, *offset);
            }
            Hand::Unload(chip) => self.unload(*chip),
            Hand::Attach(net) => self.attach(*net),
        }
    }
}
