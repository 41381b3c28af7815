//! Numbers of rows, bits and inputs in as few bytes as they need, so that more of a table lies in the cache.

/// The number of a row of a table.
///
/// # Panics
/// For more than 2^32 rows, which take more memory than a machine has: a chip takes kilobytes beside its rows.
#[inline]
pub(super) fn row(index: usize) -> u32 {
    u32::try_from(index).expect("a table with fewer rows than 2^32")
}

/// The number of a bit of a word, which has 64.
#[inline(always)]
pub(super) fn bit(index: usize) -> u32 {
    (index.to_le_bytes()[0] & 63).into()
}

/// The number of an input or an output of a part, which has 64 of each at most.
#[inline(always)]
pub(super) fn pin(index: usize) -> u8 {
    index.to_le_bytes()[0] & 63
}
