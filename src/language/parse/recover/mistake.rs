//! A mistake with what stands around it.

use super::blocks::{Block, Open, Walk};
use super::places::{blanks, line_end, line_start, token_at, token_before, word_at};
use crate::diagnostic::Diagnostic;
use crate::language::parse::grammar::{Grammar, Rule};
use crate::text::{FileKey, Span};
use pest::Parser;
use pest::error::{ErrorVariant, InputLocation};

/// Where reading goes on.
pub(super) enum Resume {
    /// At a byte.
    At(usize),
    /// Behind the line of the mistake.
    NextLine,
    /// At a byte, in a block that was opened without its brace.
    Inside { block: Block, head: usize, brace: usize, at: usize },
    /// At a byte, with only so many blocks open.
    Outside { open: usize, at: usize },
    /// The text is at its end.
    Never,
}

/// A mistake and its surroundings.
pub(super) struct Mistake<'t, 'w> {
    pub(super) file: FileKey,
    pub(super) text: &'t str,
    pub(super) walk: &'w Walk<'t>,
    /// Where reading started.
    pub(super) start: usize,
    /// Where it failed.
    pub(super) at: usize,
    pub(super) expected: Vec<Rule>,
    /// The block of the mistake.
    pub(super) block: Block,
    /// The bytes of what was found.
    pub(super) found: std::ops::Range<usize>,
    /// The bytes of the token before it.
    pub(super) before: Option<std::ops::Range<usize>>,
}

impl<'t, 'w> Mistake<'t, 'w> {
    pub(super) fn new(file: FileKey, text: &'t str, walk: &'w Walk<'t>, start: usize, failure: Failure) -> Self {
        let at = failure.at;
        Mistake {
            file,
            text,
            walk,
            start,
            at,
            expected: failure.expected,
            block: walk.innermost().block,
            found: token_at(text, at),
            before: token_before(text, at),
        }
    }

    pub(super) fn span(&self, bytes: std::ops::Range<usize>) -> Span {
        Span { file: self.file, start: bytes.start as u32, end: bytes.end as u32 }
    }

    pub(super) fn error(
        &self,
        message: impl Into<String>,
        bytes: std::ops::Range<usize>,
        label: impl Into<String>,
    ) -> Diagnostic {
        Diagnostic::error("syntax", message).at(self.span(bytes), label)
    }

    pub(super) fn begins_here(&self, word: &str) -> bool {
        self.block.begins_with(word)
    }

    pub(super) fn between_statements(&self) -> bool {
        between_statements(&self.expected)
    }

    /// True when the token before stands on an earlier line, in the same block.
    pub(super) fn line_ended(&self) -> bool {
        let Some(before) = &self.before else {
            return false;
        };
        self.text[before.end..self.at].contains('\n') && before.start > self.walk.innermost().brace
    }

    pub(super) fn first_on_its_line(&self) -> bool {
        let line = line_start(self.text, self.at);
        self.text[line..self.at].trim_start().is_empty()
    }

    /// Where reading goes on behind an unfinished line: at the next one, when that begins a statement.
    pub(super) fn after_a_line_that_ended(&self) -> Resume {
        let line = line_start(self.text, self.at);
        let begins_something = || {
            let text = &self.text[line..line_end(self.text, self.at)];
            let first = text.len() - text.trim_start().len();
            let rest = self.block.rest().map(|rule| read(rule, text));
            matches!(rest, Some(Err(failure)) if failure.at > first)
        };
        if self.line_ended() && line > self.start && begins_something() { Resume::At(line) } else { Resume::NextLine }
    }

    /// True when the rest of the line at a byte makes sense in a block.
    pub(super) fn reads_on(&self, block: Block, at: usize) -> bool {
        reads_all(block, &self.text[at..line_end(self.text, self.at)])
    }

    pub(super) fn indent_of_body(&self, open: Open) -> Option<usize> {
        let first = line_end(self.text, open.brace) + 1;
        let lines = self.text.get(first..self.at)?.lines();
        lines.filter(|line| !line.trim().is_empty()).map(blanks).next()
    }

    /// True when a word stands before the mistake in its statement.
    pub(super) fn statement_holds(&self, word: &str) -> bool {
        let (start, _) = self.statement_start();
        let mut words = self.text[start..self.at.max(start)].split_whitespace();
        words.any(|other| other == word)
    }

    /// The first word of the statement of the mistake, as far as its line tells.
    pub(super) fn statement_start(&self) -> (usize, &'t str) {
        let line = line_start(self.text, self.before.as_ref().map_or(self.at, |b| b.start).min(self.at));
        let open = self.walk.innermost().body(self.text);
        let line = if self.walk.open.len() > 1 { line.max(open) } else { line };
        let code = &self.text[line..self.at.max(line)];
        let first = line + code.len() - code.trim_start().len();
        (first, word_at(self.text, first))
    }
}

/// Where the parser could not go on, and which rules it tried there.
pub(super) struct Failure {
    pub(super) at: usize,
    pub(super) expected: Vec<Rule>,
}

/// Reads a text with one rule: the bytes that were read, or the failure.
pub(super) fn read(rule: Rule, text: &str) -> Result<usize, Failure> {
    match Grammar::parse(rule, text) {
        Ok(pairs) => Ok(pairs.as_str().len()),
        Err(error) => Err(Failure {
            at: match error.location {
                InputLocation::Pos(at) | InputLocation::Span((at, _)) => at,
            },
            expected: match error.variant {
                ErrorVariant::ParsingError { positives, .. } => positives,
                ErrorVariant::CustomError { .. } => Vec::new(),
            },
        }),
    }
}

/// True when a new statement, or the end of the block, could have stood there.
pub(super) fn between_statements(expected: &[Rule]) -> bool {
    expected.iter().any(|rule| {
        matches!(rule, Rule::close_brace | Rule::EOI) || (Rule::rest_of_file..=Rule::rest_of_trial).contains(rule)
    })
}

/// True when a text is the beginning of what may stand in a block.
pub(super) fn reads_all(block: Block, text: &str) -> bool {
    let text = text.trim_end();
    match block.rest().map(|rule| read(rule, text)) {
        Some(Ok(_)) => true,
        Some(Err(failure)) => failure.at >= text.len() && !text.trim_start().is_empty(),
        None => false,
    }
}
