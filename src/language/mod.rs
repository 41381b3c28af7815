//! The language of parts, boards, assemblies and trials: text to syntax tree and back.
//!
//! One grammar serves `.part` and `.board` files. [`parse`] reads a text into an [`ast::File`] together with every
//! error of the text; [`expand`] says which flat names a template stands for; [`format()`] prints the canonical layout.
//! [`REFERENCE`] is the whole language for a person, and each example in it is parsed by a test.

pub mod ast;
mod characters;
pub mod expand;
pub mod format;
mod parse;

pub use format::format;
pub use parse::{keywords, parse};

/// The reference of the language, in Markdown.
pub const REFERENCE: &str = include_str!("reference.md");

/// The largest text that is parsed, in bytes; while it is, it takes some two hundred times its size.
pub const LARGEST_TEXT: usize = 8 << 20;

/// The deepest nesting of brackets that is read.
pub const DEEPEST: usize = 64;

/// The most operators in one formula; what walks a formula may recurse this deep.
pub const LONGEST_CHAIN: usize = 1000;

/// The most bytes of one name as it is written.
pub const LONGEST_NAME: usize = 255;

/// The most names that one template may stand for.
pub const MOST_NAMES: usize = 65_536;
