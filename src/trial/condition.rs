//! Conditions of a trial, with their names looked up.

use crate::circuit::{NetKey, Signal};
use crate::language::ast::{Radix, Status};
use crate::logic::{Level, Word};
use crate::simulate::Machine;

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
    Not(Box<Form>),
    And(Vec<Form>),
    Or(Vec<Form>),
}

impl Form {
    pub(super) fn holds(&self, machine: &Machine<'_>) -> bool {
        match self {
            Form::Is(signal, status) => {
                let all = |test: fn(Level) -> bool| {
                    signal.nets.iter().all(|&net| test(machine.level(net)))
                };
                match status {
                    Status::High => all(Level::is_high),
                    Status::Low => all(Level::is_low),
                    Status::Known => all(Level::is_known),
                    Status::Unknown => !all(Level::is_known),
                    Status::Off => all(|level| level == Level::Z),
                }
            }
            // What is unknown is neither equal nor different: it holds in neither case.
            Form::Equals(signal, value, equal) => {
                let word = machine.word(&signal.nets);
                word.unknown == 0 && (word.value == *value) == *equal
            }
            Form::Not(inner) => !inner.holds(machine),
            Form::And(members) => members.iter().all(|member| member.holds(machine)),
            Form::Or(members) => members.iter().any(|member| member.holds(machine)),
        }
    }

    pub(super) fn signals(&self) -> Vec<&Signal> {
        match self {
            Form::Is(signal, _) | Form::Equals(signal, ..) => vec![signal],
            Form::Not(inner) => inner.signals(),
            Form::And(members) | Form::Or(members) => {
                members.iter().flat_map(Form::signals).collect()
            }
        }
    }

    pub(super) fn nets(&self) -> Vec<NetKey> {
        self.signals()
            .into_iter()
            .flat_map(|signal| signal.nets.iter().copied())
            .collect()
    }

    /// What its signals are now.
    pub(super) fn found(&self, machine: &Machine<'_>) -> String {
        let mut parts: Vec<String> = Vec::new();
        for signal in self.signals() {
            let part = format!("{} is {}", signal.path, shown(machine, signal, Radix::Hex));
            if !parts.contains(&part) {
                parts.push(part);
            }
        }
        parts.join(", ")
    }

    /// The net to look behind when it does not hold: the first unknown one, else the first.
    pub(super) fn culprit(&self, machine: &Machine<'_>) -> Option<NetKey> {
        let nets = self.nets();
        nets.iter()
            .copied()
            .find(|&net| !machine.level(net).is_known())
            .or_else(|| {
                if let Form::Equals(signal, value, true) = self {
                    let bit = |at: usize| value >> (signal.nets.len() - 1 - at) & 1 == 1;
                    let wrong =
                        |&(at, &net): &(usize, &NetKey)| machine.level(net).is_high() != bit(at);
                    return signal
                        .nets
                        .iter()
                        .enumerate()
                        .find(wrong)
                        .map(|(_, &net)| net);
                }
                nets.first().copied()
            })
    }
}

/// A signal's value for a person: `high`, `off`, `0x2A`, `0b1?01`.
pub(super) fn shown(machine: &Machine<'_>, signal: &Signal, radix: Radix) -> String {
    if let [net] = signal.nets.as_slice() {
        return match machine.level(*net) {
            Level::One => "high".to_owned(),
            Level::Zero => "low".to_owned(),
            Level::H => "high (pulled)".to_owned(),
            Level::L => "low (pulled)".to_owned(),
            Level::Z => "off".to_owned(),
            Level::U => "unknown, never driven".to_owned(),
            _ => "unknown".to_owned(),
        };
    }
    if signal
        .nets
        .iter()
        .all(|&net| machine.level(net) == Level::Z)
    {
        return "off".to_owned();
    }
    let width = signal.nets.len() as u32;
    match radix {
        Radix::Hex => format!("0x{}", machine.word(&signal.nets).hex(width)),
        Radix::Binary => format!("0b{}", machine.word(&signal.nets).text(width)),
        Radix::Decimal | Radix::Signed => {
            number(machine.word(&signal.nets), width, radix == Radix::Signed)
        }
    }
}

/// One cell of a table: as short as can be.
pub(super) fn cell(machine: &Machine<'_>, signal: &Signal, radix: Radix) -> String {
    let width = signal.nets.len() as u32;
    if signal
        .nets
        .iter()
        .all(|&net| machine.level(net) == Level::Z)
    {
        return "off".to_owned();
    }
    let word = machine.word(&signal.nets);
    match radix {
        Radix::Hex => word.hex(width),
        Radix::Binary => word.text(width),
        Radix::Decimal | Radix::Signed => number(word, width, radix == Radix::Signed),
    }
}

fn number(word: Word, width: u32, signed: bool) -> String {
    if word.unknown != 0 {
        return "?".to_owned();
    }
    if signed && width < 64 && word.value >> (width - 1) & 1 == 1 {
        return format!("{}", word.value as i64 - (1i64 << width));
    }
    word.value.to_string()
}
