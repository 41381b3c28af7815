//! Look-up tables of functions of few known bits.

/// Tables side by side. A row is unknown to them until it is set: whoever asks computes it then, so that no row is
/// computed that nobody asks for.
#[derive(Clone, Debug, Default)]
pub(crate) struct Lookups {
    /// One more than what each row holds; zero for rows that are not set.
    rows: Vec<u32>,
}

impl Lookups {
    /// What a row can hold at most.
    pub(crate) const MOST: u32 = u32::MAX - 1;

    /// Number of rows of all tables.
    pub(crate) fn len(&self) -> usize {
        self.rows.len()
    }

    /// Adds a table of some bits; returns its first row.
    pub(crate) fn add(&mut self, bits: u32) -> u32 {
        let first = self.rows.len();
        self.rows.resize(first + (1 << bits), 0);
        first as u32
    }

    /// What a row holds, if it is set.
    #[inline(always)]
    pub(crate) fn get(&self, first: u32, index: u64) -> Option<u32> {
        self.rows[first as usize + index as usize].checked_sub(1)
    }

    /// What a row holds; it is computed when it is not set.
    #[inline(always)]
    pub(crate) fn get_or(&mut self, first: u32, index: u64, compute: impl FnOnce() -> u32) -> u32 {
        let row = &mut self.rows[first as usize + index as usize];
        if *row == 0 {
            *row = compute().min(Self::MOST) + 1;
        }
        *row - 1
    }
}
