//! From bytes back to instructions.

use super::memory::Memory;
use super::reading::{Decoded, Reading, fields};
use super::set::Behaviour;
use crate::contents::instructions::Piece;

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
