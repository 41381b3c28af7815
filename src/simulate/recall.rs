//! What chips of one kind lately made of their inputs. While data is on its way, the same few patterns of unknown levels
//! come again and again, and no table of a part has room for them.

use crate::logic::Word;
use crate::part::function::Drive;

/// Results that are kept.
const ROWS: usize = 256;

/// Results of a function without storage, each kept until another one takes its place.
#[derive(Clone, Debug, Default)]
pub(super) struct Recall {
    rows: Vec<Option<(Word, Drive)>>,
}

impl Recall {
    /// The outputs for these inputs, which are computed when they are not kept.
    #[inline]
    pub(super) fn drive(&mut self, inputs: Word, compute: impl FnOnce() -> Drive) -> Drive {
        if self.rows.is_empty() {
            self.rows.resize(ROWS, None);
        }
        let row = &mut self.rows[place(inputs)];
        match row {
            Some((kept, drive)) if *kept == inputs => *drive,
            _ => row.insert((inputs, compute())).1,
        }
    }
}

/// Multiplicative hashing: the high bits of a product hang on all bits.
#[inline]
fn place(inputs: Word) -> usize {
    const ODD: u64 = 0x9E37_79B9_7F4A_7C15;
    let mixed = (inputs.value ^ inputs.unknown.rotate_left(29)).wrapping_mul(ODD);
    (mixed >> (u64::BITS - ROWS.ilog2())) as usize
}
