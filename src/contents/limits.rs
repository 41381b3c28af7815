//! How large contents can be.

/// The highest address of a byte of a program or of contents.
pub(crate) const HIGHEST_ADDRESS: u64 = (1 << 24) - 1;

/// The most bytes of one program.
pub(crate) const MOST_BYTES: usize = 1 << 20;

/// The most lanes of contents.
pub(crate) const MOST_LANES: u32 = 8;

/// More errors in one program or table help nobody.
pub(super) const MOST_PROBLEMS: usize = 50;
