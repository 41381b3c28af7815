//! The syntax tree: what was written, with the place of every piece, before any name means anything.
//!
//! Names are kept as [`Template`]s: text with bracketed indices in it. [`super::expand`] turns a template into the
//! flat names that it stands for.

mod assembly;
mod board;
mod contents;
mod effect;
mod family;
mod machine;
mod part;
mod program;
mod trial;

pub use assembly::*;
pub use board::*;
pub use contents::*;
pub use effect::*;
pub use family::*;
pub use machine::*;
pub use part::*;
pub use program::*;
pub use trial::*;

use crate::text::{Span, Spanned};

/// One source text.
#[derive(Clone, Debug, Default)]
pub struct File {
    /// Its items in order of writing.
    pub items: Vec<Item>,
}

/// A thing that a file declares at its top.
#[derive(Clone, Debug)]
pub enum Item {
    /// `use "other file"`.
    Use(Spanned<String>),
    /// A chip model.
    Part(Part),
    /// The electrical sheet of a logic family.
    Family(Family),
    /// A printed circuit board.
    Board(Board),
    /// Boards joined by cables.
    Assembly(Assembly),
    /// Stimulus and expectations.
    Trial(Trial),
    /// Steps with a name.
    Procedure(Procedure),
    /// Names of values.
    Names(NameList),
    /// The builder's own instruction set.
    Instructions(Instructions),
    /// A program in such instructions.
    Program(Program),
    /// What memories hold.
    Contents(Contents),
}

/// A whole word with its place.
pub type Word = Spanned<String>;

/// A name with indices: `Q[1..8]`, `/OE`, `[1..4]Y`, `phi`.
#[derive(Clone, Debug)]
pub struct Template {
    /// Text and brackets in order of writing.
    pub pieces: Vec<Piece>,
    /// Its place.
    pub span: Span,
}

/// A piece of a template.
#[derive(Clone, Debug)]
pub enum Piece {
    /// Plain characters.
    Text(String),
    /// One pair of brackets.
    Indices(Vec<Range>),
}

/// `3`, `0..7`, `i+1`, `A..D`.
#[derive(Clone, Debug)]
pub struct Range {
    /// First index.
    pub from: Index,
    /// Last index, inclusive; the range runs down when it is smaller.
    pub to: Option<Index>,
}

/// Index arithmetic.
#[derive(Clone, Debug)]
pub struct Index {
    /// The operation or leaf.
    pub kind: IndexKind,
    /// Its place.
    pub span: Span,
}

/// The forms of index arithmetic.
#[derive(Clone, Debug)]
pub enum IndexKind {
    /// A plain number.
    Number(i64),
    /// A loop variable, or a single capital letter that stands for itself; in a trial's values also a name of a value.
    Name(String),
    /// Two operands.
    Binary(Box<Index>, IndexOperator, Box<Index>),
}

/// Operators between indices.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum IndexOperator {
    /// Sum.
    Add,
    /// Difference.
    Subtract,
    /// Product.
    Multiply,
    /// Quotient, rounded down.
    Divide,
    /// Remainder, never negative.
    Remainder,
}

/// `FETCH`, or `steps.FETCH` with the list that it is from.
#[derive(Clone, Debug)]
pub struct Named {
    /// The list, when it is written.
    pub owner: Option<String>,
    /// The name.
    pub name: String,
    /// The whole place.
    pub span: Span,
}

/// `A.U1.Q3`: steps from the outermost board inwards.
#[derive(Clone, Debug)]
pub struct Path {
    /// The steps; a pin or connector pin number is text as well.
    pub steps: Vec<Template>,
    /// The whole place.
    pub span: Span,
}

/// `each i in 0..7 { ... }`.
#[derive(Clone, Debug)]
pub struct Each<T> {
    /// The loop variable.
    pub variable: Word,
    /// The values that it takes.
    pub ranges: Vec<Range>,
    /// What is repeated.
    pub body: Vec<T>,
    /// The place of the head.
    pub span: Span,
}
