//! Contents of memories: image files, programs, and tables of equations.

use super::{Each, Index, Named, PinNumbers, Template, Word};
use crate::text::{Span, Spanned};

/// `contents control { ... }`.
#[derive(Clone, Debug)]
pub struct Contents {
    /// Its name.
    pub name: Word,
    /// In words.
    pub title: String,
    /// The body.
    pub body: Vec<ContentsLine>,
}

/// A statement of contents.
#[derive(Clone, Debug)]
pub enum ContentsLine {
    /// An image file, and what is added to its addresses.
    File(Spanned<String>, i64),
    /// A program, and what is added to its addresses.
    Program(Word, i64),
    /// The bytes of a word.
    Lanes(Spanned<u32>),
    /// The names of address bits.
    Address(Vec<BitLine>),
    /// The names of data bits.
    Data(Vec<BitLine>),
    /// What is asserted where something is so.
    When(Match, Vec<Output>, Span),
    /// What is asserted where no `when` is so.
    Else(Vec<Output>, Span),
    /// Repetition.
    Each(Each<ContentsLine>),
    /// The field that chooses the instruction, the field that counts its steps, and what a word asserts that ends it.
    Sequence(Template, Template, Match, Span),
    /// A bus, and what a word asserts to make each source drive it.
    Drivers(Template, Vec<Match>, Span),
    /// A remark.
    Note,
}

/// `0..7 opcode[0..7]`: bits and their names.
#[derive(Clone, Debug)]
pub struct BitLine {
    /// The bits.
    pub bits: PinNumbers,
    /// Their names in the same order.
    pub name: Template,
}

/// `sum_out`, `alu = 3`: an output that is asserted.
#[derive(Clone, Debug)]
pub struct Output {
    /// The output.
    pub name: Template,
    /// Its value.
    pub value: Option<Choice>,
    /// The whole place.
    pub span: Span,
}

/// A value, or several.
#[derive(Clone, Debug)]
pub enum Choice {
    /// From one number to another.
    Range(Index, Index),
    /// A name of values, or a variable.
    Named(Named),
}

/// A condition on the address.
#[derive(Clone, Debug)]
pub struct Match {
    /// Its form.
    pub kind: MatchKind,
    /// Its place.
    pub span: Span,
}

/// The forms of a condition on the address.
#[derive(Clone, Debug)]
pub enum MatchKind {
    /// A bit is asserted.
    Bit(Template),
    /// `opcode = ADD, 5..7` (true), `opcode != ADD`.
    Equals(Template, Vec<Choice>, bool),
    /// Not.
    Not(Box<Match>),
    /// All of them.
    And(Vec<Match>),
    /// One of them.
    Or(Vec<Match>),
}
