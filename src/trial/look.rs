//! How the value of a signal is shown, and the values that a name stands for.

use super::reading::Reading;
use crate::circuit::{NetKey, Signal};
use crate::contents::names::holds;
use crate::contents::{NameTable, Ranges};
use crate::language::ast::Radix;
use crate::logic::{Level, Word};
use std::sync::Arc;

/// How a value is shown.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Look {
    /// As a number.
    Radix(Radix),
    /// As characters, a byte each.
    Characters,
    /// By names; a value without one as a number.
    Names(Arc<NameTable>),
    /// As what a person reads on the bench.
    Reading(Arc<Reading>),
}

/// The values that a name stands for.
#[derive(Clone, Debug)]
pub(super) struct Wanted {
    pub(super) ranges: Ranges,
    /// As it is written: `0x2A`, `FETCH`.
    pub(super) text: String,
    /// The list that the name is from; empty for a number.
    pub(super) table: Arc<NameTable>,
}

impl Wanted {
    pub(super) fn has(&self, value: u64) -> bool {
        holds(&self.ranges, value)
    }

    /// How what is found beside it is shown.
    pub(super) fn look(&self) -> Look {
        if self.table.entries.is_empty() { Look::Radix(Radix::Hex) } else { Look::Names(self.table.clone()) }
    }
}

impl Look {
    /// The value of levels, the most significant first, where it is not shown as a number.
    pub fn word(&self, levels: &[Level]) -> Option<String> {
        let word = levels.iter().fold(Word::default(), |word, &level| {
            let bit = Word::from_level(level);
            Word { value: word.value << 1 | bit.value, unknown: word.unknown << 1 | bit.unknown }
        });
        match self {
            _ if word.unknown != 0 || levels.len() > 64 => None,
            Look::Radix(_) | Look::Reading(_) => None,
            Look::Characters => Some(characters(word, levels.len() as u32)),
            Look::Names(table) => table.word(word.value),
        }
    }
}

/// The bytes of a word as characters; `\\x0A` for one that cannot be printed, `?` for an unknown one.
fn characters(word: Word, width: u32) -> String {
    let mut text = String::new();
    for at in (0..width.div_ceil(8)).rev() {
        let byte = (word.value >> (8 * at)) as u8;
        if word.unknown >> (8 * at) & 0xFF != 0 {
            text.push('?');
        } else if byte.is_ascii_graphic() || byte == b' ' {
            text.push(byte as char);
        } else {
            text.push_str(&format!("\\x{byte:02X}"));
        }
    }
    text
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
pub(super) fn shown(levels: &Levels<'_>, signal: &Signal, look: &Look) -> String {
    if let Look::Reading(reading) = look {
        return reading.shown(levels);
    }
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
    let cell = cell(levels, signal, look);
    match look {
        _ if cell == "off" => cell,
        Look::Radix(Radix::Hex) => format!("0x{cell}"),
        Look::Radix(Radix::Binary) => format!("0b{cell}"),
        Look::Names(_) if !cell.starts_with("0x") => {
            let word = word(levels, signal);
            format!("0x{} ({cell})", word.hex(signal.nets.len() as u32))
        }
        _ => cell,
    }
}

/// One cell of a table: as short as can be.
pub(super) fn cell(levels: &Levels<'_>, signal: &Signal, look: &Look) -> String {
    if let Look::Reading(reading) = look {
        return reading.shown(levels);
    }
    let width = signal.nets.len() as u32;
    if signal.nets.iter().all(|&net| levels(net) == Level::Z) {
        return "off".to_owned();
    }
    let word = word(levels, signal);
    match look {
        Look::Radix(Radix::Hex) => word.hex(width),
        Look::Radix(Radix::Binary) => word.text(width),
        Look::Radix(radix) => number(word, width, *radix == Radix::Signed),
        Look::Characters => characters(word, width),
        Look::Reading(_) => String::new(),
        Look::Names(table) => {
            let name = (word.unknown == 0).then(|| table.word(word.value)).flatten();
            name.unwrap_or_else(|| format!("0x{}", word.hex(width)))
        }
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
