//! Texts in lines of a width.

use textwrap::{Options, WordSeparator, WordSplitter, WrapAlgorithm};

/// Lines of so many columns, ended at blanks alone: each word stands where it first fits. A word that is wider has a line
/// to itself; blanks that must not end a line are U+00A0.
pub fn filled<'a>(columns: usize) -> Options<'a> {
    Options::new(columns)
        .break_words(false)
        .word_separator(WordSeparator::AsciiSpace)
        .word_splitter(WordSplitter::NoHyphenation)
        .wrap_algorithm(WrapAlgorithm::FirstFit)
}
