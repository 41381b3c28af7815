//! What chips of one kind lately made of their inputs.

use super::Lookups;
use crate::logic::Word;
use crate::part::function::{Drive, Function};

/// More inputs than this make the table larger than what it saves: 4096 rows of four bytes.
const MOST_INPUTS: usize = 12;
/// Outputs that fit a row: the levels in its low half, those that are high-impedance in its high half.
const MOST_OUTPUTS: u32 = 16;
/// Results that are kept of unknown inputs, and of functions that are too large for a table.
const ROWS: usize = 256;

/// Outputs of a function without storage: of few known inputs all that were ever asked for, of others the last ones.
/// While data is on its way, the same few patterns of unknown levels come again and again.
#[derive(Clone, Debug)]
pub(crate) struct Memo {
    known: Option<Lookups>,
    recent: Vec<Option<(Word, Drive)>>,
}

impl Memo {
    pub(crate) fn new(function: &Function) -> Memo {
        let inputs = function.inputs.len();
        let small = inputs <= MOST_INPUTS && function.outputs.len() <= MOST_OUTPUTS as usize;
        Memo {
            known: small.then(|| {
                let mut table = Lookups::default();
                table.add(inputs as u32);
                table
            }),
            recent: vec![None; ROWS],
        }
    }

    /// The outputs for these inputs, which are computed when they are not kept.
    #[inline]
    pub(crate) fn drive(&mut self, inputs: Word, compute: impl FnOnce() -> Drive) -> Drive {
        if inputs.unknown == 0
            && let Some(table) = &self.known
            && let Some(row) = table.get(0, inputs.value)
        {
            return Drive {
                value: Word::known(u64::from(row) & Word::mask(MOST_OUTPUTS)),
                off: Word::known(u64::from(row) >> MOST_OUTPUTS),
            };
        }
        let row = &mut self.recent[place(inputs)];
        if let Some((kept, drive)) = row
            && *kept == inputs
        {
            return *drive;
        }
        let drive = compute();
        let is_known = inputs.unknown | drive.value.unknown | drive.off.unknown == 0;
        let packed = (drive.value.value | drive.off.value << MOST_OUTPUTS) as u32;
        match &mut self.known {
            Some(table) if is_known && packed <= Lookups::MOST => {
                table.get_or(0, inputs.value, || packed);
            }
            _ => *row = Some((inputs, drive)),
        }
        drive
    }
}

/// Multiplicative hashing: the high bits of a product depend on all bits.
#[inline]
fn place(inputs: Word) -> usize {
    const ODD: u64 = 0x9E37_79B9_7F4A_7C15;
    let mixed = (inputs.value ^ inputs.unknown.rotate_left(29)).wrapping_mul(ODD);
    (mixed >> (u64::BITS - ROWS.ilog2())) as usize
}
