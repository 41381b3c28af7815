//! From bytes back to instructions.

use super::compile::fields;
use super::{Behaviour, Memory};
use crate::contents::instructions::{Form, InstructionSet, Piece};
use crate::diagnostic::Diagnostic;
use crate::language::ast::{Whole, WholeKind, WholeUnary};
use std::collections::BTreeMap;

/// An instruction as it was found in memory.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Decoded {
    pub(super) form: usize,
    /// The values of its operands; a relative one counts from its end.
    pub(super) fields: Vec<i64>,
    /// In bytes.
    pub length: u64,
}

/// How a byte of an encoding tells operands.
#[derive(Clone, Debug)]
enum Reading {
    /// All of an operand of eight bits, or its low or high byte: the place of the operand, and the shift.
    Byte(usize, u32),
    /// Each value that the byte may have, with the operands that go with it.
    Values(BTreeMap<u8, Vec<(usize, i64)>>),
}

/// The readings of every byte of every form.
#[derive(Clone, Debug, Default)]
pub(super) struct Decoder {
    readings: Vec<Vec<Reading>>,
    /// By first byte: the forms that begin with it.
    first: BTreeMap<u8, Vec<usize>>,
}

impl Decoder {
    pub(super) fn new(set: &InstructionSet, problems: &mut Vec<Diagnostic>) -> Decoder {
        let mut decoder = Decoder::default();
        for (number, form) in set.forms.iter().enumerate() {
            let mut readings = Vec::new();
            for byte in &form.encoding {
                readings.push(match reading(set, form, byte) {
                    Ok(reading) => reading,
                    Err(problem) => {
                        problems.push(*problem);
                        Reading::Values(BTreeMap::new())
                    }
                });
            }
            let firsts: Vec<u8> = match readings.first() {
                Some(Reading::Values(values)) => values.keys().copied().collect(),
                Some(Reading::Byte(..)) => (0..=u8::MAX).collect(),
                None => Vec::new(),
            };
            for byte in firsts {
                decoder.first.entry(byte).or_default().push(number);
            }
            decoder.readings.push(readings);
        }
        decoder
    }
}

fn reading(set: &InstructionSet, form: &Form, byte: &Whole) -> Result<Reading, Box<Diagnostic>> {
    let place = |whole: &Whole| match &whole.kind {
        WholeKind::Name(named) => fields(form).position(|piece| piece.name() == named.name),
        _ => None,
    };
    let is_wide = |place: usize| match fields(form).nth(place) {
        Some(Piece::Number(_, first, last)) => last.abs_diff(*first) > 0xFF,
        _ => false,
    };
    match &byte.kind {
        WholeKind::Unary(WholeUnary::Low, inner) if place(inner).is_some() => {
            Ok(Reading::Byte(place(inner).unwrap_or(0), 0))
        }
        WholeKind::Unary(WholeUnary::High, inner) if place(inner).is_some() => {
            Ok(Reading::Byte(place(inner).unwrap_or(0), 8))
        }
        _ if place(byte).is_some_and(is_wide) => Ok(Reading::Byte(place(byte).unwrap_or(0), 0)),
        _ => {
            let mut values: BTreeMap<u8, Vec<(usize, i64)>> = BTreeMap::new();
            for (code, operands) in set.byte_values(form, byte)? {
                let operands = operands.into_iter().filter_map(|(name, value)| {
                    let place = fields(form).position(|piece| piece.name() == name)?;
                    Some((place, value))
                });
                // Of the values that give one byte, the last one: -1 and 255 are 255.
                values.insert(code, operands.collect());
            }
            Ok(Reading::Values(values))
        }
    }
}

impl Behaviour {
    /// The instruction at an address; `None` where the bytes are none.
    pub fn decode(&self, memory: &mut dyn Memory, address: u64) -> Option<Decoded> {
        let first = memory.read(address)?;
        let forms = self.decoder.first.get(&first)?;
        forms.iter().find_map(|&form| self.as_form(form, memory, address))
    }

    fn as_form(&self, form: usize, memory: &mut dyn Memory, address: u64) -> Option<Decoded> {
        let mut found = vec![None; fields(&self.forms[form]).count()];
        for (at, reading) in (address..).zip(&self.decoder.readings[form]) {
            let byte = memory.read(at)?;
            match reading {
                Reading::Byte(place, shift) => {
                    found[*place] = Some(found[*place].unwrap_or(0) | i64::from(byte) << shift);
                }
                Reading::Values(values) => {
                    for &(place, value) in values.get(&byte)? {
                        if found[place].is_some_and(|other| other != value) {
                            return None;
                        }
                        found[place] = Some(value);
                    }
                }
            }
        }
        let length = self.decoder.readings[form].len() as u64;
        Some(Decoded { form, fields: found.into_iter().map(|value| value.unwrap_or(0)).collect(), length })
    }

    /// Every first byte of the instructions whose mnemonics are wanted, each once, in order.
    pub fn first_bytes(&self, wanted: impl Fn(&str) -> bool) -> Vec<u8> {
        let first = self.decoder.first.iter();
        let fitting = first.filter(|(_, forms)| forms.iter().all(|&form| wanted(&self.forms[form].mnemonic)));
        fitting.map(|(byte, _)| *byte).collect()
    }

    /// The mnemonics of all forms.
    pub fn mnemonics(&self) -> impl Iterator<Item = &str> {
        self.forms.iter().map(|form| form.mnemonic.as_str())
    }

    /// An instruction as a program writes it; `address` is where it stands.
    pub fn text(&self, decoded: &Decoded, address: u64) -> String {
        let form = &self.forms[decoded.form];
        let mut values = decoded.fields.iter();
        let operands = form.operands.iter().map(|(bracketed, pieces)| {
            let pieces = pieces.iter().map(|piece| match piece {
                Piece::Fixed(word) => word.clone(),
                Piece::Register(_, kind) => {
                    let number = values.next().copied().unwrap_or(0);
                    self.kinds[*kind].get(&number).map_or_else(|| "?".to_owned(), |(name, _)| name.clone())
                }
                Piece::Relative(_) => {
                    let distance = values.next().copied().unwrap_or(0);
                    number(address.wrapping_add(decoded.length).wrapping_add_signed(distance) as i64)
                }
                Piece::Number(..) => number(values.next().copied().unwrap_or(0)),
            });
            let pieces = pieces.collect::<Vec<_>>().join(", ");
            if *bracketed { format!("[{pieces}]") } else { pieces }
        });
        let operands: Vec<String> = operands.collect();
        format!("{} {}", form.mnemonic, operands.join(", ")).trim_end().to_owned()
    }
}

fn number(value: i64) -> String {
    if (-9..=9).contains(&value) { value.to_string() } else { format!("0x{value:X}") }
}
