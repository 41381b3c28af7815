//! Where the bytes of contents come from.

use crate::text::Span;

/// A line of a listing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ListingLine {
    /// The address of the first byte of a program, or of the word of a table.
    pub address: u64,
    /// The bytes that the line makes; none for a label.
    pub bytes: Vec<u8>,
    /// What makes them.
    pub span: Span,
}
