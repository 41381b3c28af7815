//! Conditions of a trial, with their names looked up.

use super::look::{Levels, Look, Wanted, shown, word};
use super::reading::{Claim, Reading};
use crate::circuit::{NetKey, Signal};
use crate::language::ast::{Radix, Status};
use crate::logic::Level;
use std::sync::Arc;

/// A condition that is ready to be asked.
#[derive(Clone, Debug)]
pub(super) struct Ready {
    pub(super) form: Form,
    /// As it was written.
    pub(super) text: String,
}

#[derive(Clone, Debug)]
pub(super) enum Form {
    Is(Signal, Status),
    Equals(Signal, u64, bool),
    /// One of some values has a name (true), or none of them.
    Among(Signal, Wanted, bool),
    /// What is read from voltages and currents, which the nets of the signal decide.
    Reads(Signal, Arc<Reading>, Claim),
    Not(Box<Form>),
    And(Vec<Form>),
    Or(Vec<Form>),
}

impl Form {
    /// True when it is certainly true.
    pub(super) fn is_true(&self, levels: &Levels<'_>) -> bool {
        self.truth(levels) == Some(true)
    }

    /// Whether it is true; `None` when that depends on an unknown level.
    pub(super) fn truth(&self, levels: &Levels<'_>) -> Option<bool> {
        match self {
            Form::Is(signal, status) => {
                let all =
                    |test: &dyn Fn(Level) -> Option<bool>| every(signal.nets.iter().map(|&net| test(levels(net))));
                let known = |level: Level| level.is_known();
                match status {
                    Status::High => all(&|level| known(level).then(|| level.is_high())),
                    Status::Low => all(&|level| known(level).then(|| level.is_low())),
                    Status::Known => all(&|level| Some(known(level))),
                    Status::Unknown => all(&|level| Some(known(level))).map(|known| !known),
                    Status::Off => all(&|level| Some(level == Level::Z)),
                    // Those are readings.
                    Status::Lit | Status::Dark => None,
                }
            }
            Form::Equals(signal, value, equal) => {
                let word = word(levels, signal);
                let same = if (word.value ^ value) & !word.unknown != 0 {
                    Some(false)
                } else {
                    (word.unknown == 0).then_some(true)
                };
                same.map(|same| same == *equal)
            }
            Form::Among(signal, wanted, equal) => {
                let word = word(levels, signal);
                (word.unknown == 0).then(|| wanted.has(word.value) == *equal)
            }
            Form::Reads(_, reading, claim) => reading.truth(*claim, levels),
            Form::Not(inner) => inner.truth(levels).map(|truth| !truth),
            Form::And(members) => every(members.iter().map(|member| member.truth(levels))),
            Form::Or(members) => {
                let none = every(members.iter().map(|member| member.truth(levels).map(|truth| !truth)));
                none.map(|none| !none)
            }
        }
    }

    pub(super) fn signals(&self) -> Vec<&Signal> {
        match self {
            Form::Is(signal, _) | Form::Equals(signal, ..) | Form::Among(signal, ..) | Form::Reads(signal, ..) => {
                vec![signal]
            }
            Form::Not(inner) => inner.signals(),
            Form::And(members) | Form::Or(members) => members.iter().flat_map(Form::signals).collect(),
        }
    }

    pub(super) fn nets(&self) -> Vec<NetKey> {
        self.signals().into_iter().flat_map(|signal| signal.nets.iter().copied()).collect()
    }

    /// What its signals are now.
    pub(super) fn found(&self, levels: &Levels<'_>) -> String {
        let mut parts: Vec<String> = Vec::new();
        for (signal, look) in self.looks() {
            let shown = shown(levels, signal, &look);
            let part = format!("{} is {shown}", signal.path);
            if !parts.contains(&part) {
                parts.push(part);
            }
        }
        parts.join(", ")
    }

    /// The signals, and how each is shown: by the names that it is compared with.
    fn looks(&self) -> Vec<(&Signal, Look)> {
        match self {
            Form::Is(signal, _) | Form::Equals(signal, ..) => {
                vec![(signal, Look::Radix(Radix::Hex))]
            }
            Form::Among(signal, wanted, _) => vec![(signal, Look::Names(wanted.table.clone()))],
            Form::Reads(signal, reading, _) => vec![(signal, Look::Reading(reading.clone()))],
            Form::Not(inner) => inner.looks(),
            Form::And(members) | Form::Or(members) => members.iter().flat_map(Form::looks).collect(),
        }
    }

    /// The net to look behind when it is not true: the first unknown one, else the first.
    pub(super) fn culprit(&self, levels: &Levels<'_>) -> Option<NetKey> {
        let nets = self.nets();
        nets.iter().copied().find(|&net| !levels(net).is_known()).or_else(|| {
            let value = match self {
                Form::Equals(signal, value, true) => Some((signal, *value)),
                Form::Among(signal, wanted, true) => wanted.ranges.first().map(|&(first, _)| (signal, first)),
                _ => None,
            };
            if let Some((signal, value)) = value {
                let bit = |at: usize| value >> (signal.nets.len() - 1 - at) & 1 == 1;
                let wrong = |&(at, &net): &(usize, &NetKey)| levels(net).is_high() != bit(at);
                return signal.nets.iter().enumerate().find(wrong).map(|(_, &net)| net);
            }
            nets.first().copied()
        })
    }
}

/// False when one is false, else unknown when one is unknown.
fn every(truths: impl Iterator<Item = Option<bool>>) -> Option<bool> {
    let mut all = Some(true);
    for truth in truths {
        match truth {
            Some(false) => return Some(false),
            Some(true) => {}
            None => all = None,
        }
    }
    all
}
