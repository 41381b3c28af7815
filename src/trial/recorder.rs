//! A sink that keeps the changes of watched nets, within a bound, and passes them on.

use crate::circuit::{Circuit, NetKey, Signal};
use crate::key::{Key, KeyVec};
use crate::logic::Level;
use crate::quantity::Time;
use crate::run::Sink;
use crate::run::wave::{Bit, Wave, Waves};

/// What of a run is kept when not all of it has room.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Keep {
    /// Its end.
    #[default]
    Last,
    /// Its beginning.
    First,
}

/// What is to be kept of a run.
#[derive(Clone, Debug, Default)]
pub struct Record {
    /// The signals.
    pub signals: Vec<Signal>,
    /// Nothing before this time.
    pub from: Option<Time>,
    /// Nothing after this time.
    pub to: Option<Time>,
    /// What goes when there is too much of it.
    pub keep: Keep,
}

impl From<Vec<Signal>> for Record {
    /// The whole run, or its end.
    fn from(signals: Vec<Signal>) -> Record {
        Record { signals, ..Record::default() }
    }
}

/// Changes of watched nets.
pub(super) struct Recorder<'s> {
    changes: KeyVec<NetKey, Option<Vec<(Time, Level)>>>,
    count: usize,
    most: usize,
    keep: Keep,
    from: Time,
    to: Time,
    /// Set when there was too much: nothing after it was kept.
    ended: Option<Time>,
    stream: Option<&'s mut dyn Sink>,
}

impl<'s> Recorder<'s> {
    /// A recorder that keeps so many bytes, and passes all that it hears on to a stream.
    pub(super) fn new(
        circuit: &Circuit,
        record: &Record,
        bytes: usize,
        stream: Option<&'s mut dyn Sink>,
    ) -> Recorder<'s> {
        let mut changes = KeyVec::filled(circuit.nets.len(), None);
        for net in nets_of(&record.signals) {
            changes[net] = Some(Vec::new());
        }
        Recorder {
            changes,
            count: 0,
            most: (bytes / size_of::<(Time, Level)>()).max(1_000),
            keep: record.keep,
            from: record.from.unwrap_or(Time::ZERO),
            to: record.to.unwrap_or(Time::MAX),
            ended: None,
            stream,
        }
    }

    /// The recorded signals.
    pub(super) fn waves(&mut self, circuit: &Circuit, signals: &[Signal], end: Time) -> Waves {
        let changes = &self.changes;
        let bit = |&net: &NetKey| Bit {
            name: circuit.nets[net].path.clone(),
            changes: changes[net].clone().unwrap_or_default(),
        };
        let wave = |signal: &Signal| Wave { name: signal.path.clone(), bits: signal.nets.iter().map(bit).collect() };
        let end = end.min(self.to);
        Waves {
            start: self.from.min(end),
            end: self.ended.map_or(end, |ended| ended.min(end)),
            signals: signals.iter().map(wave).collect(),
            marks: Vec::new(),
        }
    }

    /// Makes room.
    fn shed(&mut self, now: Time) {
        if self.keep == Keep::First {
            self.ended = Some(now);
            return;
        }
        while self.count > self.most / 2 && self.from < now {
            let step = (now.ps() - self.from.ps() + 1) / 2;
            self.from = Time::from_ps(self.from.ps() + step);
            let from = self.from;
            self.count = 0;
            for changes in self.changes.values_mut().flatten() {
                // What stands at the new beginning came before it.
                let gone = changes.partition_point(|&(time, _)| time <= from);
                changes.drain(..gone.saturating_sub(1));
                changes.shrink_to(changes.len() * 2);
                if let Some((time, _)) = changes.first_mut() {
                    *time = (*time).max(from);
                }
                self.count += changes.len();
            }
        }
    }
}

impl Sink for Recorder<'_> {
    fn change(&mut self, time: Time, net: NetKey, level: Level) {
        if let Some(stream) = &mut self.stream {
            stream.change(time, net, level);
        }
        let Some(changes) = &mut self.changes[net] else {
            return;
        };
        if time > self.to || self.ended.is_some() {
            return;
        }
        let time = time.max(self.from);
        match changes.last_mut() {
            // Of several levels in one moment only the last was ever there.
            Some((last, old)) if *last == time => *old = level,
            _ => {
                changes.push((time, level));
                self.count += 1;
                if self.count > self.most {
                    self.shed(time);
                }
            }
        }
    }
}

/// The nets of several signals, each once.
pub fn nets_of<'s>(signals: impl IntoIterator<Item = &'s Signal>) -> Vec<NetKey> {
    let signals = signals.into_iter();
    let mut nets: Vec<NetKey> = signals.flat_map(|signal| signal.nets.iter().copied()).collect();
    nets.sort_by_key(|net| net.index());
    nets.dedup();
    nets
}
