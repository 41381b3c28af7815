//! Every error of a text in one run.
//!
//! The parser stops at the first mistake. So the text is read block by block: the rest of the innermost open block is
//! parsed; on a mistake it is told, and reading goes on at the next line, in the block that is open there. A block
//! whose kind cannot be told is passed over in silence, so that one mistake is not told twice.

#[cfg(test)]
mod agreement;
mod blocks;
mod causes;
mod examples;
#[cfg(test)]
mod hints;
mod mistake;
mod places;
mod statements;
#[cfg(test)]
mod tests;
mod wording;
mod words;

use crate::diagnostic::Diagnostic;
use crate::text::FileKey;
use blocks::{Open, Walk};
use mistake::{Mistake, Resume, read};
pub(super) use places::marks;
use places::{blanks, line_end, line_start};
pub(super) use words::keyword;

/// No person mends more than this at once.
pub(super) const MOST_ERRORS: usize = 50;

/// All syntax errors of a text that is known to have one.
pub(super) fn all_errors(file: FileKey, text: &str) -> Vec<Diagnostic> {
    let mut problems = Vec::new();
    let mut walk = Walk::new(text);
    while problems.len() < MOST_ERRORS {
        let Some(rule) = walk.innermost().block.rest() else {
            walk.leave(walk.end_of_innermost());
            continue;
        };
        let start = walk.at;
        match read(rule, &text[start..]) {
            Ok(_) if walk.open.len() == 1 => break,
            Ok(length) => walk.leave(start + length),
            Err(mut failure) => {
                failure.at += start;
                walk.go_to(failure.at);
                let mistake = Mistake::new(file, text, &walk, start, failure);
                let (told, resume) = mistake.tell();
                problems.extend(told);
                match resume {
                    Resume::At(at) => walk.go_to(at),
                    Resume::Inside { block, head, brace, at } => {
                        let indent = blanks(&text[line_start(text, head)..head]);
                        walk.go_to(at);
                        walk.open.push(Open { block, head, brace, indent });
                    }
                    Resume::NextLine => {
                        let end = line_end(text, walk.at);
                        if end == text.len() {
                            break;
                        }
                        walk.go_to(end + 1);
                    }
                    Resume::Outside { open, at } => {
                        walk.leave(at);
                        walk.open.truncate(open);
                    }
                    Resume::Never => break,
                }
            }
        }
    }
    problems
}
