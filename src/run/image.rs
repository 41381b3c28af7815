//! Images on their way into the memories of chips.

use crate::circuit::{ChipKey, Circuit};
use crate::image::Image;
use crate::part::Part;
use crate::part::function::ChipState;
use crate::part::function::memory::MemoryArray;

/// Why an image could not be loaded.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum LoadFault {
    /// The chip has no memory.
    NoMemory,
    /// The chip is not fed.
    NotFed,
    /// Its words are wider than a byte.
    Width(u32),
    /// The image reaches beyond the last word.
    TooLong {
        /// The address that does not exist.
        address: i64,
        /// Number of words.
        words: u64,
    },
    /// The image holds nothing.
    Empty,
}

impl LoadFault {
    /// Looks whether an image fits the memory of a part, with `offset` added to its addresses.
    ///
    /// # Errors
    /// When it does not.
    pub fn check(part: &Part, image: &Image, offset: i64) -> Result<(), LoadFault> {
        let shape = part.function.memories.first().ok_or(LoadFault::NoMemory)?;
        if shape.width > 8 {
            return Err(LoadFault::Width(shape.width));
        }
        let mut any = false;
        for (start, bytes) in image.segments() {
            let first = (start as i64).saturating_add(offset);
            let last = first.saturating_add(bytes.len() as i64 - 1);
            let fits = |address: i64| u64::try_from(address).is_ok_and(|at| at < shape.words);
            if let Some(address) = [first, last].into_iter().find(|&address| !fits(address)) {
                // The first one that does not exist.
                let address = if address < 0 { address } else { address.min(first.max(shape.words as i64)) };
                return Err(LoadFault::TooLong { address, words: shape.words });
            }
            any |= !bytes.is_empty();
        }
        if any { Ok(()) } else { Err(LoadFault::Empty) }
    }

    /// What is wrong, in one sentence about the chip of a path.
    pub fn sentence(&self, path: &str) -> String {
        match self {
            LoadFault::NoMemory => format!("{path} has no memory to load"),
            LoadFault::NotFed => format!("{path} is not fed, so nothing can be loaded for it"),
            LoadFault::Width(width) => {
                format!("the words of {path} have {width} bits; images hold bytes")
            }
            LoadFault::TooLong { address, .. } if *address < 0 => {
                format!("the image begins at address {address} with this offset, but {path} begins at 0")
            }
            LoadFault::TooLong { address, words } => {
                format!("the image reaches address {address:#X}, but {path} has {words} words")
            }
            LoadFault::Empty => "the image holds nothing".to_owned(),
        }
    }
}

/// Puts the bytes of an image that fits into a memory; `offset` is added to its addresses.
pub(crate) fn put(memory: &mut MemoryArray, image: &Image, offset: i64) {
    for (start, bytes) in image.segments() {
        memory.put((start as i64 + offset) as u64, bytes);
    }
}

/// Takes away what the memory of a chip holds from the beginning; false when it holds nothing.
pub(crate) fn blank(circuit: &Circuit, chip: ChipKey, stored: &mut ChipState) -> bool {
    let row = &circuit.chips[chip];
    let shape = row.part.function.memories.first();
    match (&row.initial_contents, shape, stored.memories.first_mut()) {
        (Some(_), Some(shape), Some(memory)) => {
            *memory = MemoryArray::blank(shape);
            true
        }
        _ => false,
    }
}
