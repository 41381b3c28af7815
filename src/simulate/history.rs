//! Causes: why a net has its level.
//!
//! While a run keeps its history, each change of a net is recorded with the input that brought it about. A chain of
//! causes is then read backwards, to a stimulus, a stored value, a memory word, or a place where nobody drives.

use super::checks::sharp_edge;
use super::machine::{LONG_AGO, Machine, Owner};
use crate::circuit::{DiscreteKey, DiscreteKind, NetKey};
use crate::key::Key;
use crate::logic::{Level, Word};
use crate::part::function::{Held, Scratch, Seen};
use crate::quantity::Time;
use rustc_hash::FxHashMap;

/// The most steps of a chain that are told.
const LONGEST_CHAIN: usize = 64;
/// The most changes that are kept; older ones are not forgotten, newer ones are not recorded.
const MOST_RECORDS: usize = 50_000_000;

/// All changes of nets, in order of time.
#[derive(Clone, Debug, Default)]
pub struct History {
    records: Vec<Record>,
    last: FxHashMap<NetKey, u32>,
    intended: FxHashMap<u32, (Cause, Option<u32>)>,
}

/// One change.
#[derive(Clone, Copy, Debug)]
struct Record {
    time: Time,
    /// The driver that the net has its level from.
    source: u32,
    /// The driver that moved, when it is another.
    moved: Option<u32>,
    /// The driver that the source drives against.
    against: Option<u32>,
    net: NetKey,
    level: Level,
    /// True when the net has had this level from another driver until now.
    goes_on: bool,
    cause: Cause,
    parent: Option<u32>,
}

/// What made an output move.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Cause {
    /// The input that moved.
    moved: Option<u8>,
    /// The input to look behind: the one that moved, or the data that it let in.
    follow: Option<u8>,
    reason: Reason,
}

/// Where a level comes from.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
enum Reason {
    /// From the inputs.
    #[default]
    Inputs,
    /// From storage that nothing has defined.
    NeverDefined,
    /// From storage that was defined once, and was lost.
    Lost(Time),
    /// From a memory word that is known.
    Word,
    /// From one that is not.
    NoWord,
    /// From one that is not, of a memory in which words were lost, last at this time.
    NoWordLost(Time),
    /// From a timer that is over.
    Over,
}

/// What a chip was when it was evaluated.
#[derive(Clone, Copy, Debug)]
pub(super) struct Before {
    pub(super) was: Seen,
    pub(super) state: Word,
    /// Inputs that moved.
    pub(super) changed: u64,
    /// Inputs that have set off what moves by itself.
    pub(super) lead: u64,
    /// True at power-up, when a circuit comes to rest before anything happens.
    pub(super) at_rest: bool,
}

/// One step of a chain of causes.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize)]
pub struct Step {
    /// When the net changed.
    pub time: Time,
    /// The net.
    pub net: String,
    /// Its new level.
    pub level: Level,
    /// Who made it so, and why.
    pub text: String,
}

impl History {
    fn intend(&mut self, out: u32, cause: Cause, net: Option<NetKey>) {
        let parent = net.and_then(|net| self.last.get(&net).copied());
        self.intended.insert(out, (cause, parent));
    }

    fn record(&mut self, record: Record) {
        if self.records.len() < MOST_RECORDS {
            self.last.insert(record.net, self.records.len() as u32);
            self.records.push(record);
        }
    }

    /// The record that tells why a net is, before another one, as it is by an earlier one: unknown, or at the level of a
    /// driver that others have relieved since.
    fn lately(&self, record: usize, before: usize) -> usize {
        let old = &self.records[record];
        let later = self.records.get(record + 1..before).unwrap_or_default();
        let latest = later.iter().rposition(|record| record.net == old.net);
        let Some(latest) = latest.map(|at| record + 1 + at) else {
            return record;
        };
        let new = &self.records[latest];
        let both_unknown = !old.level.is_known() && !new.level.is_known();
        if both_unknown || new.level == old.level && new.goes_on {
            latest
        } else {
            record
        }
    }
}

impl Machine<'_> {
    /// Keeps why an output is going to move.
    #[inline]
    pub(super) fn remember_cause(&mut self, index: usize, out: u32, to: Level, before: Before) {
        if self.history.is_some() {
            self.keep_cause(index, out, to, before);
        }
    }

    fn keep_cause(&mut self, index: usize, out: u32, to: Level, before: Before) {
        let bit = (out - self.cells[index].first_out) as usize;
        let cause = self.cause(index, bit, to, before);
        let function = self.function(index);
        let chip = &self.circuit.chips[self.cells[index].chip];
        let net = cause
            .follow
            .and_then(|input| chip.nets[function.inputs[usize::from(input)]]);
        if let Some(history) = &mut self.history {
            history.intend(out, cause, net);
        }
    }

    /// Keeps that outputs stay unknown although a clock has come: because of what it let in.
    #[inline]
    pub(super) fn remember_clocked(&mut self, index: usize, before: Before) {
        if self.history.is_some() {
            self.keep_clocked(index, before);
        }
    }

    fn keep_clocked(&mut self, index: usize, before: Before) {
        let seen = self.cells[index].seen();
        let ticks = |(signal, edge)| sharp_edge(&before.was, &seen, signal) == Some(edge);
        if !self.function(index).triggers().any(ticks) {
            return;
        }
        for bit in 0..self.function(index).outputs.len() {
            let cell = &self.cells[index];
            let out = cell.first_out + bit as u32;
            let state = &self.outs[out as usize];
            let unknown = cell.wanted.value.unknown >> bit & 1 == 1;
            let net = self.places[out as usize].net;
            if !unknown || state.now != Level::X || net == u32::MAX {
                continue;
            }
            let cause = self.cause(index, bit, Level::X, before);
            if cause.reason == Reason::Inputs && cause.follow.is_some() {
                self.remember_cause(index, out, Level::X, before);
                self.record_change(out, NetKey::from_index(net as usize), Level::X);
            }
        }
    }

    /// Why an output bit of a chip goes to a level.
    fn cause(&self, index: usize, bit: usize, to: Level, before: Before) -> Cause {
        let cell = &self.cells[index];
        let function = self.function(index);
        let (arc, data) = (function.arcs[bit], function.data[bit]);
        let lowest = |mask: u64| (mask != 0).then(|| mask.trailing_zeros() as u8);
        let causes = before.changed & arc;
        let moved = lowest(causes);
        let mut cause = Cause {
            moved,
            follow: moved,
            reason: Reason::Inputs,
        };
        if before.changed == 0 && before.lead != 0 {
            cause.moved = lowest(before.lead & arc);
            cause.follow = None;
            cause.reason = Reason::Over;
            return cause;
        }
        if to.is_known() || to == Level::Z {
            let let_in = data & !arc;
            if let_in.count_ones() == 1 && causes & !data != 0 {
                cause.follow = lowest(let_in);
            }
            if to != Level::Z && !function.memories.is_empty() {
                cause.reason = Reason::Word;
            }
            return cause;
        }
        let unknown = (cell.now.unknown | before.was.inputs.unknown) & (arc | data);
        let stores = !function.is_combinational();
        if stores
            && (self.asides[index].lost == self.time
                || self.is_unknown_with(index, bit, before, unknown))
        {
            cause.follow = None;
            cause.moved = moved.filter(|_| !before.at_rest);
            cause.reason = match self.asides[index].lost {
                LONG_AGO if !function.memories.is_empty() => Reason::NoWord,
                time if !function.memories.is_empty() => Reason::NoWordLost(Time::from_ps(time)),
                LONG_AGO => Reason::NeverDefined,
                time => Reason::Lost(Time::from_ps(time)),
            };
            return cause;
        }
        // The first unknown input without which the level would be known; those that moved before those that stand.
        let in_order = [unknown & causes, unknown & arc, unknown];
        let mut candidates = Vec::new();
        for mask in in_order {
            super::chips::for_each_bit(mask, |input| {
                if !candidates.contains(&input) {
                    candidates.push(input);
                }
            });
        }
        let alone = candidates
            .iter()
            .find(|&&input| !self.is_unknown_with(index, bit, before, 1 << input));
        cause.follow = alone
            .or(candidates.first())
            .map(|&input| input as u8)
            .or(moved);
        cause
    }

    /// True when an output bit would be unknown even if these inputs were known, low.
    fn is_unknown_with(&self, index: usize, bit: usize, before: Before, inputs: u64) -> bool {
        let scratch = &mut Scratch::default();
        let cell = &self.cells[index];
        let function = self.function(index);
        let low = |word: Word| Word {
            value: word.value & !inputs,
            unknown: word.unknown & !inputs,
        };
        let drive = if function.memories.is_empty() {
            let mut held = Held {
                state: before.state,
                memories: Vec::new(),
            };
            let was = Seen {
                inputs: low(before.was.inputs),
                nodes: function.nodes(low(before.was.inputs), &held, scratch),
            };
            let seen = function.step(was, low(cell.now), &mut held, scratch);
            function.drive(seen, &held, scratch)
        } else {
            let seen = Seen {
                inputs: low(cell.now),
                nodes: function.nodes(low(cell.now), &cell.held, scratch),
            };
            function.drive(seen, &cell.held, scratch)
        };
        (drive.value.unknown | drive.off.unknown) >> bit & 1 == 1
    }

    /// Records the new level of a net after a driver has moved.
    pub(super) fn record_change(&mut self, moved: u32, net: NetKey, level: Level) {
        self.record_level(moved, net, level, false);
    }

    fn record_level(&mut self, moved: u32, net: NetKey, level: Level, goes_on: bool) {
        let Some(history) = &self.history else {
            return;
        };
        let now = |out: u32| self.outs[out as usize].now;
        let state = self.nets[net.index()];
        let rows = state.drivers.0 as usize..(state.drivers.0 + state.drivers.1) as usize;
        let drivers = &self.net_drivers[rows];
        // The net has its level from the driver that has it too, if there is one.
        let same = drivers.iter().copied().find(|&out| now(out) == level);
        let source = if now(moved) == level {
            moved
        } else {
            same.unwrap_or(moved)
        };
        let opposite = |out: &&u32| {
            let (a, b) = (now(source), now(**out));
            a.is_known() && b.is_known() && a.is_high() != b.is_high() && a.resolve(b) == level
        };
        let against = drivers
            .iter()
            .find(opposite)
            .copied()
            .filter(|_| now(source) != level);
        let look_at = self.driver_behind(source, moved);
        let (cause, parent) = match self.owners[look_at as usize] {
            Owner::Link(discrete) => {
                let behind = self.behind_link(discrete, net);
                let parent = behind.and_then(|net| history.last.get(&net).copied());
                (Cause::default(), parent)
            }
            _ => history.intended.get(&look_at).copied().unwrap_or_default(),
        };
        let record = Record {
            time: Time::from_ps(self.time),
            source,
            moved: (source != moved).then_some(moved),
            against,
            net,
            level,
            goes_on,
            cause,
            parent,
        };
        if let Some(history) = &mut self.history {
            history.record(record);
        }
    }

    /// Records that a net keeps its level, but has it from another driver than before.
    pub(super) fn record_handover(&mut self, moved: u32, net: NetKey, level: Level) {
        let Some(history) = &self.history else {
            return;
        };
        let Some(&last) = history.last.get(&net) else {
            return;
        };
        let source = history.records[last as usize].source;
        if self.outs[source as usize].now != level {
            self.record_level(moved, net, level, true);
        }
    }

    /// The driver whose cause is that of a change: the source, unless that is a pull that shows since another one moved.
    fn driver_behind(&self, source: u32, moved: u32) -> u32 {
        match self.owners[source as usize] {
            Owner::Link(_) => moved,
            _ => source,
        }
    }

    fn looked_at(&self, record: &Record) -> u32 {
        self.driver_behind(record.source, record.moved.unwrap_or(record.source))
    }

    /// The net at the other end of a link.
    fn behind_link(&self, discrete: DiscreteKey, net: NetKey) -> Option<NetKey> {
        let nets = &self.circuit.discretes[discrete].nets;
        nets.iter().flatten().copied().find(|&other| other != net)
    }

    /// The chain of causes of a net's level at a time, the newest first. Needs [`super::Settings::history`].
    pub fn why(&self, net: NetKey, time: Time) -> Vec<Step> {
        let Some(history) = &self.history else {
            return Vec::new();
        };
        let before = history
            .records
            .partition_point(|record| record.time <= time);
        let mut next = history.records[..before]
            .iter()
            .rposition(|record| record.net == net);
        let mut steps = Vec::new();
        if next.is_none() {
            steps.push(self.never_changed(net));
        }
        let mut visited = Vec::new();
        // What follows its inputs at all times hangs on them as they are now; what stores looked at them once.
        let mut until = before;
        while let Some(at) = next {
            let record = &history.records[at];
            if visited.contains(&at) {
                steps.push(Step {
                    time: record.time,
                    net: self.circuit.nets[record.net].path.clone(),
                    level: record.level,
                    text: "and so round in a loop that nothing has set".to_owned(),
                });
                break;
            }
            let (text, end) = self.told(record);
            let text = if record.goes_on {
                format!("goes on: {text}")
            } else {
                text
            };
            steps.push(Step {
                time: record.time,
                net: self.circuit.nets[record.net].path.clone(),
                level: record.level,
                text,
            });
            if end || steps.len() >= LONGEST_CHAIN {
                break;
            }
            visited.push(at);
            next = record.parent.map(|parent| parent as usize);
            if next.is_none() {
                let net = self.net_behind(record);
                // At power-up all nets take their levels together, in no order of causes.
                let together = history.records[..before]
                    .iter()
                    .take_while(|record| record.time == Time::ZERO)
                    .enumerate();
                next = together
                    .filter(|(other, record)| *other != at && Some(record.net) == net)
                    .map(|(other, _)| other)
                    .last()
                    .filter(|_| record.time == Time::ZERO);
            }
            if next.is_none() {
                steps.extend(self.behind(record));
            }
            if !self.follows(record.source) {
                until = at;
            }
            next = next.map(|parent| history.lately(parent, until));
        }
        steps
    }

    /// True for a driver that follows what it hangs on at all times.
    fn follows(&self, out: u32) -> bool {
        match self.owners[out as usize] {
            Owner::Chip(chip, _) => self.circuit.chips[chip].part.function.is_combinational(),
            Owner::Link(_) => true,
            _ => false,
        }
    }

    /// What one change says, and whether the chain ends with it.
    fn told(&self, record: &Record) -> (String, bool) {
        let (text, end) = match self.owners[record.source as usize] {
            Owner::Link(discrete) => self.told_link(discrete, record),
            Owner::Stimulus(_) | Owner::Oscillator(..) | Owner::Timer(..) => {
                (self.owner_path(record.source), true)
            }
            Owner::Chip(..) => self.told_chip(record.source, record),
        };
        match record
            .moved
            .map(|moved| (moved, self.owners[moved as usize]))
        {
            // A pull shows because an output has let go: that is what to look behind.
            Some((moved, Owner::Chip(..)))
                if matches!(self.owners[record.source as usize], Owner::Link(_)) =>
            {
                let (since, end) = self.told_chip(moved, record);
                (format!("{text}; {since}"), end)
            }
            Some((moved, Owner::Stimulus(_))) => {
                (format!("{text}; {} lets go", self.owner_path(moved)), end)
            }
            _ => (text, end),
        }
    }

    fn told_link(&self, discrete: DiscreteKey, record: &Record) -> (String, bool) {
        let path = &self.circuit.discretes[discrete].path;
        let Some(behind) = self.behind_link(discrete, record.net) else {
            return (path.clone(), true);
        };
        let (behind, is_rail) = (&self.circuit.nets[behind].path, self.is_rail(behind));
        let text = match self.circuit.discretes[discrete].kind {
            _ if record.level == Level::Z => format!("{path} opens"),
            DiscreteKind::Resistor(_) | DiscreteKind::Network(..) if is_rail => {
                format!("{path} pulls it to {behind}")
            }
            _ => format!("{path} joins it to {behind}"),
        };
        (text, is_rail || record.level == Level::Z)
    }

    fn told_chip(&self, out: u32, record: &Record) -> (String, bool) {
        let owner = self.owner_path(out);
        let Owner::Chip(chip, pin) = self.owners[out as usize] else {
            return (owner, true);
        };
        let part = &self.circuit.chips[chip].part;
        let function = &part.function;
        let who = format!("{owner} ({})", self.circuit.chips[chip].number);
        let name = |bit: u8| part.pins[function.inputs[usize::from(bit)]].name.as_str();
        let lets_go = record.level == Level::Z || record.source != out;
        let who = match record.against {
            Some(other) => format!("{who} drives against {}", self.owner_path(other)),
            None if lets_go => format!("{who} lets go"),
            None => who,
        };
        let moved = record.cause.moved.map(name);
        let by = moved.map_or(String::new(), |moved| format!(", moved by {moved}"));
        let Some(bit) = function.outputs.iter().position(|&other| other == pin) else {
            return (who, true);
        };
        match record.cause.reason {
            Reason::NeverDefined => (
                format!("{who}{by}: what it stores has never been defined"),
                true,
            ),
            Reason::Lost(time) => (
                format!(
                    "{who}{by}: what it stores was lost at {time}, when a requirement was not met"
                ),
                true,
            ),
            Reason::Word if record.against.is_some() => {
                (format!("{who} with a memory word{by}"), true)
            }
            Reason::Word if record.level.is_known() => {
                (format!("{who} reads a memory word{by}"), true)
            }
            Reason::Word => (format!("{who} is on its way to a memory word{by}"), false),
            Reason::NoWord => (
                format!("{who} reads a memory word that nothing has defined{by}"),
                true,
            ),
            Reason::NoWordLost(time) => (
                format!(
                    "{who} reads a memory word{by}: nothing has defined it, or it was lost when a requirement was not met, last at {time}"
                ),
                true,
            ),
            Reason::Over => {
                let by = moved.map_or(String::new(), |moved| format!(", started by {moved}"));
                (format!("{who}: its time is over{by}"), true)
            }
            Reason::Inputs if function.arcs[bit] == 0 => (format!("{who} by itself"), true),
            Reason::Inputs => {
                let from = record
                    .cause
                    .follow
                    .map(name)
                    .filter(|from| Some(*from) != moved);
                let from = from.map_or(String::new(), |from| format!(", from {from}"));
                (format!("{who}{by}{from}"), false)
            }
        }
    }

    /// The net that a change came from.
    fn net_behind(&self, record: &Record) -> Option<NetKey> {
        match self.owners[self.looked_at(record) as usize] {
            Owner::Chip(chip, _) => {
                let chip = &self.circuit.chips[chip];
                chip.nets[chip.part.function.inputs[usize::from(record.cause.follow?)]]
            }
            Owner::Link(discrete) => self.behind_link(discrete, record.net),
            _ => None,
        }
    }

    /// What stands behind the oldest change of a chain.
    fn behind(&self, record: &Record) -> Option<Step> {
        if let Some(net) = self.net_behind(record) {
            return Some(self.never_changed(net));
        }
        let Owner::Chip(chip, _) = self.owners[self.looked_at(record) as usize] else {
            return None;
        };
        let chip = &self.circuit.chips[chip];
        let pin = chip.part.function.inputs[usize::from(record.cause.follow?)];
        Some(Step {
            time: Time::ZERO,
            net: format!("{}.{}", chip.path, chip.part.pins[pin].name),
            level: Level::Z,
            text: "not connected".to_owned(),
        })
    }

    fn is_rail(&self, net: NetKey) -> bool {
        let rail = self.circuit.nets[net].rail;
        rail.is_some_and(|rail| rail.fed.is_some())
    }

    fn never_changed(&self, net: NetKey) -> Step {
        let state = self.nets[net.index()];
        let text = match (state.level, state.drivers.1) {
            _ if self.is_rail(net) => "a rail",
            (_, 0) => "nobody drives it",
            (Level::Z, _) => "everybody who could drive it has let go since power-up",
            (Level::U | Level::X, _) => "unknown since power-up",
            _ => "so since power-up",
        };
        Step {
            time: Time::ZERO,
            net: self.circuit.nets[net].path.clone(),
            level: state.level,
            text: text.to_owned(),
        }
    }
}
