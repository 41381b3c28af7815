//! Bytes at addresses.

use std::collections::BTreeMap;

/// The address after the last one that an image can hold.
pub(crate) const ADDRESS_END: u64 = 1 << 32;

/// Bytes at 32-bit addresses, with gaps where nothing was given.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Image {
    /// Each segment by its start; none is empty, and none touches the next.
    segments: BTreeMap<u64, Vec<u8>>,
}

impl Image {
    /// An image without bytes.
    pub fn new() -> Self {
        Self::default()
    }

    /// The stretches without gaps, each with its first address, in order of the addresses.
    pub fn segments(&self) -> impl Iterator<Item = (u64, &[u8])> {
        self.segments.iter().map(|(&start, bytes)| (start, bytes.as_slice()))
    }

    /// The byte at an address, if one was given.
    pub fn get(&self, address: u64) -> Option<u8> {
        let (start, bytes) = self.segments.range(..=address).next_back()?;
        let at = usize::try_from(address - start).ok()?;
        bytes.get(at).copied()
    }

    /// Puts a byte at an address, in place of one that was there. False, and nothing done, when the address does not
    /// fit 32 bits.
    pub fn insert(&mut self, address: u64, byte: u8) -> bool {
        if address >= ADDRESS_END {
            return false;
        }
        let mut joined = None;
        if let Some((start, bytes)) = self.segments.range_mut(..=address).next_back() {
            let at = (address - start) as usize;
            if let Some(place) = bytes.get_mut(at) {
                *place = byte;
                return true;
            }
            joined = (at == bytes.len()).then_some(*start);
        }
        let next = self.segments.remove(&(address + 1)).unwrap_or_default();
        let segment = self.segments.entry(joined.unwrap_or(address)).or_default();
        segment.push(byte);
        segment.extend(next);
        true
    }

    /// Number of bytes given.
    pub fn len(&self) -> usize {
        self.segments.values().map(Vec::len).sum()
    }

    /// True when there is no byte.
    pub fn is_empty(&self) -> bool {
        self.segments.is_empty()
    }

    /// The highest address that has a byte.
    pub fn highest(&self) -> Option<u64> {
        let (start, bytes) = self.segments.last_key_value()?;
        Some(start + bytes.len() as u64 - 1)
    }

    /// Adds a segment that touches no other and ends below [`ADDRESS_END`]; an empty one is left out.
    pub(super) fn add_segment(&mut self, start: u64, bytes: Vec<u8>) {
        if !bytes.is_empty() {
            self.segments.insert(start, bytes);
        }
    }

    /// The bytes in rows of 16 at most that end where the address is a multiple of 16, as files are written.
    pub(super) fn rows(&self) -> impl Iterator<Item = (u64, &[u8])> {
        self.segments().flat_map(|(start, bytes)| {
            let first = (16 - start as usize % 16).min(bytes.len());
            let (head, tail) = bytes.split_at(first);
            let rest = (start + first as u64..).step_by(16);
            std::iter::once((start, head)).chain(rest.zip(tail.chunks(16)))
        })
    }
}
