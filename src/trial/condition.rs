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
    /// True when it certainly holds.
    pub(super) fn holds(&self, machine: &Machine<'_>) -> bool {
        self.truth(machine) == Some(true)
    }

    /// Whether it holds; `None` when that hangs on an unknown level.
    fn truth(&self, machine: &Machine<'_>) -> Option<bool> {
        match self {
            Form::Is(signal, status) => {
                let all = |test: &dyn Fn(Level) -> Option<bool>| {
                    every(signal.nets.iter().map(|&net| test(machine.level(net))))
                };
                let known = |level: Level| level.is_known();
                match status {
                    Status::High => all(&|level| known(level).then(|| level.is_high())),
                    Status::Low => all(&|level| known(level).then(|| level.is_low())),
                    Status::Known => all(&|level| Some(known(level))),
                    Status::Unknown => all(&|level| Some(known(level))).map(|known| !known),
                    Status::Off => all(&|level| Some(level == Level::Z)),
                }
            }
            Form::Equals(signal, value, equal) => {
                let word = machine.word(&signal.nets);
                let same = if (word.value ^ value) & !word.unknown != 0 {
                    Some(false)
                } else {
                    (word.unknown == 0).then_some(true)
                };
                same.map(|same| same == *equal)
            }
            Form::Not(inner) => inner.truth(machine).map(|truth| !truth),
            Form::And(members) => every(members.iter().map(|member| member.truth(machine))),
            Form::Or(members) => {
                let none = every(
                    members
                        .iter()
                        .map(|member| member.truth(machine).map(|truth| !truth)),
                );
                none.map(|none| !none)
            }
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
            let shown = shown(&|net| machine.level(net), signal, Radix::Hex);
            let part = format!("{} is {shown}", signal.path);
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

/// The level of each net, now or a moment ago.
pub(super) type Levels<'a> = dyn Fn(NetKey) -> Level + 'a;

/// The levels of a signal as a word.
pub(super) fn word(levels: &Levels<'_>, signal: &Signal) -> Word {
    let bits = signal.nets.iter().map(|&net| Word::from_level(levels(net)));
    bits.fold(Word::default(), |word, bit| Word {
        value: word.value << 1 | bit.value,
        unknown: word.unknown << 1 | bit.unknown,
    })
}

/// A signal's value for a person: `high`, `off`, `0x2A`, `0b1?01`.
pub(super) fn shown(levels: &Levels<'_>, signal: &Signal, radix: Radix) -> String {
    if let [net] = signal.nets.as_slice() {
        return match levels(*net) {
            Level::One => "high".to_owned(),
            Level::Zero => "low".to_owned(),
            Level::H => "high (pulled)".to_owned(),
            Level::L => "low (pulled)".to_owned(),
            Level::Z => "off".to_owned(),
            Level::U => "unknown, never driven".to_owned(),
            _ => "unknown".to_owned(),
        };
    }
    let cell = cell(levels, signal, radix);
    match radix {
        _ if cell == "off" => cell,
        Radix::Hex => format!("0x{cell}"),
        Radix::Binary => format!("0b{cell}"),
        Radix::Decimal | Radix::Signed => cell,
    }
}

/// One cell of a table: as short as can be.
pub(super) fn cell(levels: &Levels<'_>, signal: &Signal, radix: Radix) -> String {
    let width = signal.nets.len() as u32;
    if signal.nets.iter().all(|&net| levels(net) == Level::Z) {
        return "off".to_owned();
    }
    let word = word(levels, signal);
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
    if signed {
        let unused = 64 - width.clamp(1, 64);
        return ((word.value << unused) as i64 >> unused).to_string();
    }
    word.value.to_string()
}
