//! Memory arrays: words of up to 64 bits, each bit low, high or unknown.

use crate::logic::Word;
use std::sync::Arc;

/// How a memory is built.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MemoryShape {
    /// Its name in the part.
    pub name: String,
    /// Number of words, a power of two.
    pub words: u64,
    /// Bits a word.
    pub width: u32,
    /// What a word holds before it is loaded; unknown when `None`.
    pub blank: Option<u64>,
}

/// An address with more unknown bits than this reads as unknown, and writes over everything.
const MOST_UNKNOWN_ADDRESS_BITS: u32 = 4;

/// What a memory holds: two planes of bytes, a word in so many bytes as it needs. A copy shares the planes until one of
/// the two is written to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MemoryArray {
    bytes_a_word: usize,
    mask: u64,
    words: u64,
    value: Arc<[u8]>,
    unknown: Arc<[u8]>,
}

impl MemoryArray {
    /// A memory as it comes, before it is loaded or written.
    pub fn blank(shape: &MemoryShape) -> MemoryArray {
        let bytes_a_word = shape.width.div_ceil(8) as usize;
        let size = shape.words as usize * bytes_a_word;
        let mask = Word::mask(shape.width);
        let mut array =
            MemoryArray { bytes_a_word, mask, words: shape.words, value: Arc::from([]), unknown: Arc::from([]) };
        let word = shape.blank.map_or(Word::all_unknown(mask), |value| Word::known(value & mask));
        if bytes_a_word == 1 {
            array.value = vec![word.value as u8; size].into();
            array.unknown = vec![word.unknown as u8; size].into();
        } else {
            array.value = vec![0; size].into();
            array.unknown = vec![0; size].into();
            array.fill(word);
        }
        array
    }

    /// Stands for a memory of which nothing is known, be it blank or loaded.
    pub fn unknown(shape: &MemoryShape) -> MemoryArray {
        MemoryArray::blank(&MemoryShape { words: 1, blank: None, ..shape.clone() })
    }

    /// Puts one word everywhere.
    pub fn fill(&mut self, word: Word) {
        let mask = self.mask;
        for (plane, bits) in [(&mut self.value, word.value), (&mut self.unknown, word.unknown)] {
            let bytes = (bits & mask).to_le_bytes();
            for cell in Arc::make_mut(plane).chunks_exact_mut(self.bytes_a_word.max(1)) {
                cell.copy_from_slice(&bytes[..cell.len()]);
            }
        }
    }

    /// Number of words.
    pub fn len(&self) -> u64 {
        self.words
    }

    /// Bytes that it takes here.
    pub fn bytes(&self) -> usize {
        self.value.len() + self.unknown.len()
    }

    /// True when both still share what they hold, so that one of them takes no room.
    pub fn shares(&self, other: &MemoryArray) -> bool {
        Arc::ptr_eq(&self.value, &other.value) && Arc::ptr_eq(&self.unknown, &other.unknown)
    }

    /// True for a memory without words, which no part declares.
    pub fn is_empty(&self) -> bool {
        self.words == 0
    }

    /// The word of a known address; addresses beyond the end wrap, as the missing address pins do.
    #[inline]
    pub fn get(&self, address: u64) -> Word {
        let at = (address & (self.words - 1)) as usize * self.bytes_a_word;
        let gather = |plane: &[u8]| {
            let bytes = &plane[at..at + self.bytes_a_word];
            bytes.iter().rev().fold(0u64, |word, &byte| word << 8 | u64::from(byte))
        };
        if self.bytes_a_word == 1 {
            return Word { value: self.value[at].into(), unknown: self.unknown[at].into() };
        }
        Word { value: gather(&self.value), unknown: gather(&self.unknown) }
    }

    /// Puts a word at a known address.
    pub fn set(&mut self, address: u64, word: Word) {
        let at = (address & (self.words - 1)) as usize * self.bytes_a_word;
        let (value, unknown) = (word.value & self.mask, word.unknown & self.mask);
        for (plane, bits) in [(&mut self.value, value), (&mut self.unknown, unknown)] {
            let word = &mut Arc::make_mut(plane)[at..at + self.bytes_a_word];
            word.copy_from_slice(&bits.to_le_bytes()[..self.bytes_a_word]);
        }
    }

    /// Puts bytes at known addresses, one word each, from the first on.
    pub fn put(&mut self, first: u64, bytes: &[u8]) {
        let last = first.saturating_add(bytes.len() as u64);
        if self.bytes_a_word == 1 && last <= self.words {
            let stretch = first as usize..last as usize;
            let mask = self.mask as u8;
            let values = &mut Arc::make_mut(&mut self.value)[stretch.clone()];
            values.iter_mut().zip(bytes).for_each(|(value, byte)| *value = byte & mask);
            Arc::make_mut(&mut self.unknown)[stretch].fill(0);
            return;
        }
        for (address, &byte) in (first..).zip(bytes) {
            self.set(address, Word::known(byte.into()));
        }
    }

    /// The word of an address that may be unknown in some bits.
    #[inline]
    pub fn read(&self, address: Word) -> Word {
        if address.unknown == 0 {
            return self.get(address.value);
        }
        match self.candidates(address) {
            Some(mut addresses) => {
                let first = addresses.next().map_or(Word::all_unknown(self.mask), |address| self.get(address));
                addresses.fold(first, |word, address| word.merge(self.get(address)))
            }
            None => Word::all_unknown(self.mask),
        }
    }

    /// Writes a word; with an unknown address, or when it is not certain that the write happens, every word that may
    /// be hit keeps only the bits that are the same either way.
    pub fn write(&mut self, address: Word, data: Word, certain: bool) {
        self.write_stretch(address, 1, data, certain);
    }

    /// Writes one word all over the stretch of so many words, a power of two, that an address lies in; as
    /// [`MemoryArray::write`].
    pub(crate) fn write_stretch(&mut self, address: Word, words: u64, data: Word, certain: bool) {
        let start = Word { value: address.value & !(words - 1), unknown: address.unknown & !(words - 1) };
        if certain && start.unknown == 0 {
            (0..words).for_each(|at| self.set(start.value + at, data));
            return;
        }
        match self.candidates(start).map(Iterator::collect::<Vec<_>>) {
            Some(starts) => {
                for address in starts.into_iter().flat_map(|start| start..start + words) {
                    let merged = self.get(address).merge(data);
                    self.set(address, merged);
                }
            }
            None => self.fill(Word::all_unknown(self.mask)),
        }
    }

    /// Makes every word unknown in the stretches of so many words that an address may name.
    pub(crate) fn make_unknown(&mut self, address: Word, words: u64) {
        self.write_stretch(address, words, Word::all_unknown(self.mask), true);
    }

    fn candidates(&self, address: Word) -> Option<impl Iterator<Item = u64> + use<>> {
        let unknown = address.unknown & (self.words - 1);
        if unknown.count_ones() > MOST_UNKNOWN_ADDRESS_BITS {
            return None;
        }
        let value = address.value;
        let mut part = 0u64;
        let mut done = false;
        Some(std::iter::from_fn(move || {
            if done {
                return None;
            }
            let result = value | part;
            // Steps through all subsets of the unknown bits.
            part = part.wrapping_sub(unknown) & unknown;
            done = part == 0;
            Some(result)
        }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn memory() -> MemoryArray {
        let shape = MemoryShape { name: "cells".into(), words: 16, width: 8, blank: Some(0xFF) };
        let mut memory = MemoryArray::blank(&shape);
        (0..8).for_each(|address| memory.set(address, Word::known(0x40 + address)));
        memory
    }

    #[test]
    fn an_unknown_address_bit_reads_what_both_words_share() {
        let memory = memory();
        assert_eq!(memory.read(Word::known(5)), Word::known(0x45));
        assert_eq!(memory.read(Word::new(4, 1)), Word::new(0x44, 1));
        assert_eq!(memory.read(Word::known(21)), Word::known(0x45), "missing address pins wrap");
    }

    #[test]
    fn an_unknown_write_address_spoils_only_what_it_may_hit() {
        let mut memory = memory();
        memory.write(Word::new(2, 1), Word::known(0x43), true);
        assert_eq!(memory.get(1), Word::known(0x41));
        assert_eq!(memory.get(2), Word::new(0x42, 1));
        assert_eq!(memory.get(3), Word::known(0x43));
        memory.write(Word::all_unknown(0b11111), Word::known(0), true);
        assert_eq!(memory.get(9), Word::known(0xFF).merge(Word::known(0)));
    }

    #[test]
    fn a_stretch_is_written_from_its_first_word_to_its_last() {
        let mut memory = memory();
        memory.write_stretch(Word::known(6), 4, Word::known(0), true);
        let words: Vec<u64> = (0..16).map(|address| memory.get(address).value).collect();
        assert_eq!(words, [0x40, 0x41, 0x42, 0x43, 0, 0, 0, 0, 255, 255, 255, 255, 255, 255, 255, 255]);
        memory.write_stretch(Word::new(0, 0b1011), 4, Word::known(0x40), true);
        assert_eq!(memory.get(1), Word::new(0x40, 0x01));
        assert_eq!(memory.get(9), Word::new(0x40, 0xBF));
        assert_eq!(memory.get(5), Word::known(0));
    }

    #[test]
    fn words_wider_than_a_byte_keep_their_bits() {
        let shape = MemoryShape { name: "wide".into(), words: 4, width: 12, blank: None };
        let mut memory = MemoryArray::blank(&shape);
        assert_eq!(memory.get(0), Word::all_unknown(0xFFF));
        memory.set(3, Word::new(0xA05, 0x0F0));
        assert_eq!(memory.get(3), Word::new(0xA05, 0x0F0));
    }
}
