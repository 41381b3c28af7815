//! Source texts: where a character stands, and how files come in.
//!
//! Nothing below the command line touches the disk. Files come in through [`Files`]; a [`Sources`] keeps their text
//! so that every later message can show the line it speaks of.

pub mod escape;
mod lines;

pub use lines::filled;

use crate::key::KeyVec;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

crate::key_type!(
    /// One source text of a [`Sources`].
    FileKey, "file"
);

/// The largest source text that is read, in bytes.
pub const LARGEST_SOURCE: usize = 64 << 20;

/// The widest column of a table, in characters: what is wider stands as it is, and nothing is set to its width. `format!`
/// panics on widths beyond 16 bits.
pub const WIDEST_COLUMN: usize = 60_000;

/// A stretch of one source text, in bytes: `start` inclusive, `end` exclusive.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Span {
    /// The text.
    pub file: FileKey,
    /// First byte.
    pub start: u32,
    /// Byte after the last.
    pub end: u32,
}

impl Span {
    /// The stretch from the start of `self` to the end of `other`, both in one file.
    pub fn to(self, other: Span) -> Span {
        Span { file: self.file, start: self.start, end: other.end.max(self.end) }
    }
}

/// A value and the place where it was written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Spanned<T> {
    /// The value.
    pub node: T,
    /// Its place.
    pub span: Span,
}

/// One source text.
#[derive(Clone, Debug)]
pub struct Source {
    /// The path as it was asked for, or a name such as `library/gates/00.part`.
    pub path: String,
    /// The whole text.
    pub text: String,
    line_starts: Vec<u32>,
}

impl Source {
    /// Line and column of a byte, both counted from 1, the column in characters.
    pub fn line_column(&self, byte: u32) -> (usize, usize) {
        let line = self.line_starts.partition_point(|&start| start <= byte).max(1);
        let start = self.line_starts[line - 1] as usize;
        let end = (byte as usize).min(self.text.len());
        let column = self.text.get(start..end).map_or(end - start, |before| before.chars().count());
        (line, column + 1)
    }
}

/// All source texts of one run.
#[derive(Clone, Debug, Default)]
pub struct Sources {
    files: KeyVec<FileKey, Source>,
}

impl Sources {
    /// An empty collection.
    pub fn new() -> Self {
        Self::default()
    }

    /// Keeps a text and returns its key.
    pub fn add(&mut self, path: impl Into<String>, text: impl Into<String>) -> FileKey {
        let text = text.into();
        let newlines = text.bytes().enumerate().filter(|&(_, byte)| byte == b'\n');
        let line_starts =
            std::iter::once(0).chain(newlines.map(|(at, _)| u32::try_from(at + 1).unwrap_or(u32::MAX))).collect();
        self.files.push(Source { path: path.into(), text, line_starts })
    }

    /// The text of a key.
    pub fn get(&self, file: FileKey) -> &Source {
        &self.files[file]
    }

    /// Every text, in the order of their coming.
    pub fn iter(&self) -> impl Iterator<Item = &Source> {
        self.files.values()
    }

    /// The characters of a span.
    pub fn slice(&self, span: Span) -> &str {
        self.files[span.file].text.get(span.start as usize..span.end as usize).unwrap_or("")
    }

    /// `path:line:column` of a span's start.
    pub fn place(&self, span: Span) -> String {
        let source = &self.files[span.file];
        let (line, column) = source.line_column(span.start);
        format!("{}:{line}:{column}", source.path)
    }

    /// The file of a path that was added before.
    pub fn find(&self, path: &str) -> Option<FileKey> {
        self.files.iter().find(|(_, source)| source.path == path).map(|(key, _)| key)
    }
}

/// How bytes come in: from the disk in the program, from memory in tests.
pub trait Files {
    /// The bytes of a file.
    ///
    /// # Errors
    /// A sentence for a person when the file cannot be had.
    fn read(&self, path: &Path) -> Result<Vec<u8>, String>;
}

/// Files that live in memory.
#[derive(Clone, Debug, Default)]
pub struct MemoryFiles {
    files: BTreeMap<PathBuf, Vec<u8>>,
}

impl MemoryFiles {
    /// Adds a file, replacing an earlier one of that path.
    pub fn with(mut self, path: &str, bytes: impl Into<Vec<u8>>) -> Self {
        self.files.insert(PathBuf::from(path), bytes.into());
        self
    }
}

impl Files for MemoryFiles {
    fn read(&self, path: &Path) -> Result<Vec<u8>, String> {
        self.files.get(path).cloned().ok_or_else(|| format!("there is no file {}", path.display()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_count_characters_from_one() {
        let mut sources = Sources::new();
        let file = sources.add("a.board", "µ x\ny");
        let span = |start, end| Span { file, start, end };
        assert_eq!(sources.place(span(3, 4)), "a.board:1:3");
        assert_eq!(sources.place(span(5, 6)), "a.board:2:1");
        assert_eq!(sources.slice(span(5, 6)), "y");
        assert_eq!(sources.get(file).line_column(99).0, 2);
    }
}
