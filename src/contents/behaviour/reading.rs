//! How the bytes of instructions tell their operands.

use crate::contents::instructions::{Form, InstructionSet, Piece};
use crate::diagnostic::Diagnostic;
use crate::language::ast::{Whole, WholeKind, WholeUnary};
use std::collections::BTreeMap;

/// The operands of a form that have values.
pub(super) fn fields(form: &Form) -> impl Iterator<Item = &Piece> {
    let pieces = form.operands.iter().flat_map(|(_, pieces)| pieces);
    pieces.filter(|piece| !matches!(piece, Piece::Fixed(_)))
}

/// An instruction as it was found in memory.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Decoded {
    pub(super) form: usize,
    /// The values of its operands; a relative one counts from its end.
    pub(super) fields: Vec<i64>,
    /// In bytes.
    pub length: u64,
}

impl Decoded {
    /// The form that it is of, by its place in the set.
    pub fn form(&self) -> usize {
        self.form
    }
}

/// How a byte of an encoding tells operands.
#[derive(Clone, Debug)]
pub(super) enum Reading {
    /// All of an operand of eight bits, or its low or high byte: the place of the operand, and the shift.
    Byte(usize, u32),
    /// Each value that the byte may have, with the operands that go with it.
    Values(BTreeMap<u8, Vec<(usize, i64)>>),
}

/// The readings of every byte of every form.
#[derive(Clone, Debug, Default)]
pub(super) struct Decoder {
    pub(super) readings: Vec<Vec<Reading>>,
    /// By first byte: the forms that begin with it.
    pub(super) first: BTreeMap<u8, Vec<usize>>,
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
