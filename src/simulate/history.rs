//! Causes: why a net has its level.
//!
//! While a run keeps its history, each change of a net is recorded with the input that brought it about. A chain of
//! causes is then read backwards, to a stimulus, a stored value, a memory word, or a place where nobody drives.

use super::machine::{Machine, Owner};
use crate::circuit::NetKey;
use crate::key::Key;
use crate::logic::{Level, Word};
use crate::part::function::Function;
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
    out: u32,
    net: NetKey,
    level: Level,
    cause: Cause,
    parent: Option<u32>,
}

/// Which inputs made an output move.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Cause {
    /// The input that moved.
    pub(super) moved: Option<u8>,
    /// The input to look behind: the one that moved, or the data that it let in.
    pub(super) follow: Option<usize>,
}

impl Cause {
    /// For an unknown level the first unknown input that feeds the output; else the input that moved, or the only data
    /// input behind it.
    pub(super) fn choose(
        now: Word,
        causes: u64,
        function: &Function,
        out: usize,
        to: Level,
    ) -> Cause {
        let lowest = |mask: u64| (mask != 0).then(|| mask.trailing_zeros() as usize);
        let moved = lowest(causes);
        let data = function.data[out];
        let follow = if to.is_known() || to == Level::Z {
            let let_in = data & !function.arcs[out];
            if let_in.count_ones() == 1 && causes & !data != 0 {
                lowest(let_in)
            } else {
                moved
            }
        } else {
            let unknown = now.unknown & (function.arcs[out] | data);
            lowest(unknown & causes)
                .or(lowest(unknown & function.arcs[out]))
                .or(lowest(unknown))
                .or(moved)
        };
        Cause {
            moved: moved.map(|bit| bit as u8),
            follow,
        }
    }
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
    pub(super) fn intend(&mut self, out: u32, cause: Cause, net: Option<NetKey>) {
        let parent = net.and_then(|net| self.last.get(&net).copied());
        self.intended.insert(out, (cause, parent));
    }

    pub(super) fn record(&mut self, time: Time, out: u32, net: NetKey, level: Level) {
        if self.records.len() >= MOST_RECORDS {
            return;
        }
        let (cause, parent) = self.intended.get(&out).copied().unwrap_or_default();
        self.last.insert(net, self.records.len() as u32);
        self.records.push(Record {
            time,
            out,
            net,
            level,
            cause,
            parent,
        });
    }
}

impl Machine<'_> {
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
        while let Some(at) = next {
            let record = &history.records[at];
            let (text, end) = self.told(record);
            steps.push(Step {
                time: record.time,
                net: self.circuit.nets[record.net].path.clone(),
                level: record.level,
                text,
            });
            if end || steps.len() >= LONGEST_CHAIN {
                break;
            }
            next = record.parent.map(|parent| parent as usize);
            if next.is_none() {
                steps.extend(self.behind(record));
            }
        }
        steps
    }

    /// What one change says, and whether the chain ends with it.
    fn told(&self, record: &Record) -> (String, bool) {
        let owner = self.owner_path(record.out);
        let (chip, pin) = match self.owners[record.out as usize] {
            Owner::Stimulus(_) => return (owner, true),
            Owner::Link(_) => return (format!("through {owner}"), true),
            Owner::Oscillator(_) => return (format!("{owner} swings"), true),
            Owner::Chip(chip, pin) => (chip, pin),
        };
        let part = &self.circuit.chips[chip].part;
        let function = &part.function;
        let number = &self.circuit.chips[chip].number;
        let name = |bit: usize| part.pins[function.inputs[bit]].name.as_str();
        let Some(out) = function.outputs.iter().position(|&other| other == pin) else {
            return (owner, true);
        };
        let moved = record.cause.moved.map(|bit| name(bit.into()));
        let by = moved.map_or(String::new(), |moved| format!(", moved by {moved}"));
        if !function.memories.is_empty() && record.level.is_known() {
            return (format!("{owner} ({number}) reads a memory word{by}"), true);
        }
        if function.arcs[out] == 0 {
            return (format!("{owner} ({number}) by itself"), true);
        }
        let stored = function.data[out] != 0 || !function.states.is_empty();
        match record.cause.follow {
            Some(follow) if Some(name(follow)) != moved => (
                format!("{owner} ({number}){by}, from {}", name(follow)),
                false,
            ),
            Some(_)
                if !record.level.is_known()
                    && record.level != Level::Z
                    && record.parent.is_none()
                    && stored =>
            {
                (
                    format!("{owner} ({number}){by}: what it stores has never been defined"),
                    true,
                )
            }
            _ => (format!("{owner} ({number}){by}"), false),
        }
    }

    /// What stands behind the oldest change of a chain.
    fn behind(&self, record: &Record) -> Option<Step> {
        let Owner::Chip(chip, _) = self.owners[record.out as usize] else {
            return None;
        };
        let chip = &self.circuit.chips[chip];
        let pin = chip.part.function.inputs[record.cause.follow?];
        match chip.nets[pin] {
            Some(net) => Some(self.never_changed(net)),
            None => Some(Step {
                time: Time::ZERO,
                net: format!("{}.{}", chip.path, chip.part.pins[pin].name),
                level: Level::Z,
                text: "not connected".to_owned(),
            }),
        }
    }

    fn never_changed(&self, net: NetKey) -> Step {
        let state = self.nets[net.index()];
        let text = match (state.level, state.drivers.1) {
            (_, 0)
                if self.circuit.nets[net]
                    .rail
                    .is_some_and(|rail| rail.fed.is_some()) =>
            {
                "a rail"
            }
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
