//! The delays of all chips, packed: nearly every one fits two bytes, and in a large machine each event reads other ones.

use super::number::row;

/// Where the delays of a chip begin, and how they are written: in pairs of words when one is longer than 65 ns.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct DelayOffset(u32);

/// In [`DelayOffset`]: two words a delay.
const WIDE: u32 = 1 << 31;

/// The delays of one chip.
#[derive(Clone, Copy, Debug)]
pub(super) struct PackedDelays<'a> {
    words: &'a [u16],
    wide: bool,
}

impl DelayOffset {
    /// Appends the delays of a chip, in picoseconds.
    pub(super) fn append(delays: &[u32], words: &mut Vec<u16>) -> DelayOffset {
        let first = row(words.len());
        let narrow: Option<Vec<u16>> = delays.iter().map(|&delay| u16::try_from(delay).ok()).collect();
        match narrow {
            Some(narrow) => {
                words.extend(narrow);
                DelayOffset(first)
            }
            None => {
                let halves = |delay: &u32| {
                    let [a, b, c, d] = delay.to_le_bytes();
                    [u16::from_le_bytes([a, b]), u16::from_le_bytes([c, d])]
                };
                words.extend(delays.iter().flat_map(halves));
                DelayOffset(first | WIDE)
            }
        }
    }

    /// The delays that begin here, with those of later chips behind them.
    #[inline(always)]
    pub(super) fn of(self, words: &[u16]) -> PackedDelays<'_> {
        PackedDelays { words: &words[(self.0 & !WIDE) as usize..], wide: self.0 & WIDE != 0 }
    }
}

impl PackedDelays<'_> {
    /// The delay at a place, in picoseconds.
    #[inline(always)]
    pub(super) fn get(self, at: usize) -> u32 {
        if self.wide {
            u32::from(self.words[2 * at]) | u32::from(self.words[2 * at + 1]) << u16::BITS
        } else {
            self.words[at].into()
        }
    }

    /// A word near a place, wherever that is: to have it near by.
    #[inline(always)]
    pub(super) fn prefetch(self, at: usize) -> u16 {
        let at = if self.wide { 2 * at } else { at };
        self.words.get(at).copied().unwrap_or(0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn short_and_long_delays_come_back_as_they_were() {
        let chips: [&[u32]; 4] = [&[0, 65_535, 7], &[], &[65_536, 3, u32::MAX], &[9]];
        let mut words = Vec::new();
        let firsts = chips.map(|delays| DelayOffset::append(delays, &mut words));
        for (delays, first) in chips.into_iter().zip(firsts) {
            let packed = first.of(&words);
            for (at, &delay) in delays.iter().enumerate() {
                assert_eq!(packed.get(at), delay);
            }
        }
        assert_eq!(words.len(), 3 + 6 + 1);
    }
}
