//! Chains of causes: why a net has its level, read backwards from change to change.
//!
//! A machine that keeps its whole history answers at once. Any other runs the stretch that a change lies in once more
//! (`past`), with causes kept: first the one that ends at the moment asked for, then, for a change that is older,
//! the one in which that came. Each output knows when it moved last, so a cause of long ago is found in one step.

use super::driver::{LONG_AGO, NEVER, Owner};
use super::machine::Machine;
use super::past_log::{End, KeptCheckpoint, Past};
use super::records::{History, Intent, Record};
use crate::circuit::NetKey;
use crate::logic::Level;
use crate::quantity::Time;
use crate::run::Step;

/// The most steps of a chain that are told.
const LONGEST_CHAIN: usize = 64;

/// The records of so many windows are kept, in the order in which they were opened.
const MOST_WINDOWS: usize = 8;
/// So many stretches are looked through for one change.
const MOST_STRETCHES: usize = 256;

/// A stretch of a run with its causes.
struct Window {
    /// Where it begins; `None` for a history of the whole run.
    start: Option<KeptCheckpoint>,
    end: End,
    history: History,
    /// True once its records are dropped.
    is_dropped: bool,
}

/// A place among the records of a window: one of them, or all before it.
#[derive(Clone, Copy, Debug)]
struct Position {
    window: usize,
    record: usize,
}

struct Chain<'m, 'c> {
    machine: &'m Machine<'c>,
    replay: Option<Replay<'m, 'c>>,
    windows: Vec<Window>,
}

/// What runs through the past once more.
struct Replay<'m, 'c> {
    twin: Machine<'c>,
    past: &'m mut Past,
}

impl Machine<'_> {
    /// The chain of causes of a net's level at a time, the newest first. Needs [`crate::run::Settings::history`] or
    /// [`Machine::keep_past`]; without them nothing is known.
    pub fn why(&mut self, net: NetKey, time: Time) -> Vec<Step> {
        if let Some(history) = self.history.take() {
            let whole = Window { start: None, end: End::whole(time), history, is_dropped: false };
            let mut chain = Chain { machine: self, replay: None, windows: vec![whole] };
            let steps = chain.read(net, 0, time);
            let whole = chain.windows.pop();
            self.history = whole.map(|window| window.history);
            return steps;
        }
        let Some(mut past) = self.past.take() else {
            return Vec::new();
        };
        let end = past.until(time);
        let mut chain =
            Chain { machine: self, replay: Some(Replay { twin: self.clone(), past: &mut past }), windows: Vec::new() };
        let window = chain.open(end);
        let steps = window.map_or(Vec::new(), |window| chain.read(net, window, time));
        self.past = Some(past);
        steps
    }
}

impl Chain<'_, '_> {
    fn read(&mut self, net: NetKey, window: usize, time: Time) -> Vec<Step> {
        let records = &self.windows[window].history.records;
        let record = records.partition_point(|record| record.time <= time);
        // What follows its inputs at all times hangs on them as they are now; what stores looked at them once.
        let mut until = Position { window, record };
        let mut steps = Vec::new();
        let mut next = self.last(net, until);
        if next.is_none() {
            let step = self.unchanged(net, window);
            let is_later = step.time > time;
            steps.push(if is_later { self.forgotten(step, window, time) } else { step });
        }
        let mut visited: Vec<(u64, NetKey, bool)> = Vec::new();
        while let Some(found) = next {
            let (at, intent) = self.with_intent(found);
            let mut record = *self.record(at);
            let key = (record.events, record.net, record.same_level);
            let path = &self.machine.circuit.nets[record.net].path;
            let mut step = Step {
                time: record.time,
                net: path.clone(),
                level: record.level,
                text: "and so round in a loop that nothing has set".to_owned(),
            };
            if visited.contains(&key) {
                steps.push(step);
                break;
            }
            record.intent = intent.map(|(_, intent)| intent);
            let (text, end) = self.machine.cause_text(&record);
            step.text = if record.same_level { format!("goes on: {text}") } else { text };
            steps.push(step);
            if end || steps.len() >= LONGEST_CHAIN {
                break;
            }
            visited.push(key);
            let behind = self.machine.net_behind(&record);
            let window = intent.map_or(at.window, |(window, _)| window);
            next = self.parent(at, &record, window, behind);
            if next.is_none() {
                let pin = || self.machine.pin_behind(&record);
                let last = behind.map_or_else(pin, |net| Some(self.unchanged(net, window)));
                steps.extend(last);
            }
            if !self.machine.follows(record.source) {
                until = at;
            }
            next = next.map(|parent| self.lately(parent, until));
            let needed = next.map_or(until.window, |next| next.window);
            self.drop_records([until.window, needed]);
        }
        steps
    }

    /// Drops the records of all windows but the last few, and those that are still needed.
    fn drop_records(&mut self, needed: [usize; 2]) {
        let old = self.windows.len().saturating_sub(MOST_WINDOWS);
        for (at, window) in self.windows[..old].iter_mut().enumerate() {
            if !needed.contains(&at) && !window.is_dropped {
                window.history = History::default();
                window.is_dropped = true;
            }
        }
    }

    /// The change that brought another one about: of the net behind it, before its driver was to move.
    fn parent(&mut self, at: Position, record: &Record, window: usize, behind: Option<NetKey>) -> Option<Position> {
        let intent = record.intent?;
        if let Some(parent) = intent.parent {
            let record = parent as usize;
            return Some(Position { window, record });
        }
        let net = behind?;
        let bound = intent.bound as usize;
        let found = self.last(net, Position { window, record: bound });
        if found.is_some() || record.time != Time::ZERO {
            return found;
        }
        // At power-up all nets take their levels together, in no order of causes.
        let records = self.windows[at.window].history.records.iter();
        let together = records.enumerate().take_while(|(_, record)| record.time == Time::ZERO);
        let found = together.filter(|&(other, record)| other != at.record && record.net == net).last();
        found.map(|(record, _)| Position { window: at.window, record })
    }

    fn record(&self, at: Position) -> &Record {
        &self.windows[at.window].history.records[at.record]
    }

    /// The record that tells why a net is, before a place, as it is by an earlier record: unknown, or at the level of a
    /// driver that others have relieved since.
    fn lately(&mut self, old: Position, until: Position) -> Position {
        let old_record = *self.record(old);
        let Some(latest) = self.last(old_record.net, until) else {
            return old;
        };
        let new = self.record(latest);
        let both_unknown = !old_record.level.is_known() && !new.level.is_known();
        let later = new.events >= old_record.events;
        if later && (both_unknown || new.level == old_record.level && new.same_level) { latest } else { old }
    }

    /// The last change of a net before a place.
    fn last(&mut self, net: NetKey, before: Position) -> Option<Position> {
        let found = self.last_in(net, before);
        if found.is_some() {
            return found;
        }
        let mut start = self.windows[before.window].start.clone()?;
        for _ in 0..MOST_STRETCHES {
            let changed = self.changed(net, &start);
            if changed == LONG_AGO || self.replay.as_ref()?.past.is_first(&start) {
                return None;
            }
            let end = start.end().until(changed);
            let windows = self.windows.len();
            let window = self.open(end)?;
            let records = &self.windows[window].history.records;
            let record = records.partition_point(|record| record.events <= start.events() && record.time <= end.time);
            let found = self.last_in(net, Position { window, record });
            if found.is_some() {
                return found;
            }
            start = self.windows[window].start.clone()?;
            self.windows.truncate(windows);
        }
        None
    }

    /// The last change of a net before a place, in the same window.
    fn last_in(&self, net: NetKey, Position { window, record }: Position) -> Option<Position> {
        let mut records = self.windows[window].history.records[..record].iter();
        let record = records.rposition(|record| record.net == net)?;
        Some(Position { window, record })
    }

    /// When a driver of a net moved last before a checkpoint, or took something unknown again: no later did the net change.
    fn changed(&self, net: NetKey, start: &KeptCheckpoint) -> Time {
        let (first, count) = start.checkpoint.drivers(net);
        let drivers = &self.machine.net_drivers[first as usize..(first + count) as usize];
        let changed = drivers.iter().map(|&driver| {
            let moved = start.checkpoint.drivers[driver as usize].changed;
            let instance = match self.machine.owners[driver as usize] {
                Owner::Chip(chip, _) => self.machine.instance_of[chip],
                _ => None,
            };
            let renewed = instance.map_or(LONG_AGO, |instance| start.checkpoint.cold_states[instance as usize].renewed);
            moved.max(renewed)
        });
        changed.max().unwrap_or(LONG_AGO)
    }

    /// A window that ends at a moment; one that is there already, if it has that moment.
    fn open(&mut self, end: End) -> Option<usize> {
        let Replay { twin, past } = self.replay.as_mut()?;
        let has = |window: &Window| {
            !window.is_dropped
                && window.end.covers(end)
                && window.start.as_ref().is_some_and(|start| start.checkpoint.time < end.time || past.is_first(start))
        };
        if let Some(found) = self.windows.iter().position(has) {
            return Some(found);
        }
        twin.adopt(self.machine);
        twin.divide(past, end, self.machine.counters.events);
        let start = past.before(end.time)?.clone();
        self.run(start, end)
    }

    /// Runs through a stretch once more, with causes kept.
    fn run(&mut self, start: KeptCheckpoint, end: End) -> Option<usize> {
        let Replay { twin, past } = self.replay.as_mut()?;
        twin.adopt(self.machine);
        twin.restore(&start.checkpoint);
        twin.keep_history();
        twin.replay(past, &start, end);
        let history = twin.history.take().unwrap_or_default();
        self.windows.push(Window { start: Some(start), end, history, is_dropped: false });
        Some(self.windows.len() - 1)
    }

    /// Why the driver of a change moved, with the window that tells it, and the place of the change in a window. What was
    /// decided before a window began is found in one that begins earlier.
    fn with_intent(&mut self, at: Position) -> (Position, Option<(usize, Intent)>) {
        let mut at = at;
        let mut back = 1;
        loop {
            let record = *self.record(at);
            if let Some(intent) = record.intent {
                return (at, Some((at.window, intent)));
            }
            let Some(start) = self.windows[at.window].start.clone() else {
                return (at, None);
            };
            let driver = self.machine.driver_to_explain(&record);
            let state = &start.checkpoint.drivers[driver as usize];
            let moves_now = driver == record.moved.unwrap_or(record.source);
            if !moves_now && state.due == NEVER {
                return (at, self.old_intent(driver, &start));
            }
            let Some(wider) = self.widen(at, back) else {
                return (at, None);
            };
            (at, back) = (wider, back * 2);
        }
    }

    /// Why an output made its last move before a checkpoint, which was long ago.
    fn old_intent(&mut self, driver: u32, start: &KeptCheckpoint) -> Option<(usize, Intent)> {
        let changed = start.checkpoint.drivers[driver as usize].changed;
        let Replay { twin, past } = self.replay.as_mut()?;
        if changed == LONG_AGO || past.is_first(start) {
            return None;
        }
        let end = start.end().until(changed);
        twin.adopt(self.machine);
        twin.divide(past, end, self.machine.counters.events);
        let mut from = past.before(end.time)?.clone();
        for _ in 0..MOST_STRETCHES {
            let window = self.run(from.clone(), end)?;
            if let Some(intent) = self.windows[window].history.intent(driver) {
                return Some((window, intent));
            }
            self.windows.truncate(window);
            from = self.replay.as_ref()?.past.earlier(&from)?.clone();
        }
        None
    }

    /// The same change in a window that begins so many checkpoints earlier; `None` when there are none.
    fn widen(&mut self, at: Position, back: usize) -> Option<Position> {
        let window = &self.windows[at.window];
        let end = window.end;
        let past = &self.replay.as_ref()?.past;
        let mut start = past.earlier(window.start.as_ref()?)?;
        for _ in 1..back {
            start = past.earlier(start).unwrap_or(start);
        }
        let record = *self.record(at);
        let start = start.clone();
        let window = self.run(start, end)?;
        let records = &self.windows[window].history.records;
        let first = records.partition_point(|other| other.events < record.events);
        let found =
            records[first..].iter().position(|other| other.net == record.net && other.same_level == record.same_level);
        found.map(|found| Position { window, record: first + found })
    }

    /// A net at a time before the oldest past that is kept, which has moved since.
    fn forgotten(&self, step: Step, window: usize, time: Time) -> Step {
        let start = self.windows[window].start.as_ref();
        let kept = start.map_or(Time::ZERO, |start| start.checkpoint.time());
        Step {
            time,
            level: Level::X,
            text: format!("what it was then is too long ago: nothing before {kept} is kept (more --memory keeps more)"),
            ..step
        }
    }

    /// A net that has not changed since the beginning, or since the oldest past that is kept.
    fn unchanged(&self, net: NetKey, window: usize) -> Step {
        let window = &self.windows[window];
        let level = window.history.first_level(net);
        let step = self.machine.never_changed(net, level);
        match &window.start {
            Some(start) if self.changed(net, start) != LONG_AGO => {
                let since = self.changed(net, start);
                Step {
                    time: since,
                    text: format!(
                        "so since {since} at the latest: what brought it about is too long ago (more --memory keeps more)"
                    ),
                    ..step
                }
            }
            _ => step,
        }
    }
}
