//! The one diagnostic type: what the language, the checks and the runs have to say.
//!
//! A diagnostic says what is wrong, where, why it matters, and what to do. Its looks stand in files of their own:
//! [`terminal`] for a person, [`json`] for a program.

pub mod json;
pub mod terminal;

use crate::text::{Sources, Span};
use serde::Serialize;

/// How bad it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Severity {
    /// The design cannot be used, or will not work.
    Error,
    /// It may not work, or not for long.
    Warning,
    /// Worth knowing.
    Note,
}

impl Severity {
    /// The word that messages use.
    pub fn word(self) -> &'static str {
        match self {
            Severity::Error => "error",
            Severity::Warning => "warning",
            Severity::Note => "note",
        }
    }
}

/// A place that a diagnostic points at.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Label {
    /// Where.
    pub span: Span,
    /// What is there; may be empty.
    pub text: String,
}

/// One thing that a person should know.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Diagnostic {
    /// The rule or kind that found it, such as `unknown-net`.
    pub code: &'static str,
    /// How bad it is.
    pub severity: Severity,
    /// One short sentence: what is wrong.
    pub message: String,
    /// The places: the first is the primary one. May be empty.
    pub labels: Vec<Label>,
    /// Why it matters; what else is known.
    pub notes: Vec<String>,
    /// What to do about it.
    pub help: Option<String>,
}

impl Diagnostic {
    /// A new error.
    pub fn error(code: &'static str, message: impl Into<String>) -> Self {
        Self::new(Severity::Error, code, message)
    }

    /// A new warning.
    pub fn warning(code: &'static str, message: impl Into<String>) -> Self {
        Self::new(Severity::Warning, code, message)
    }

    /// A new note.
    pub fn note_only(code: &'static str, message: impl Into<String>) -> Self {
        Self::new(Severity::Note, code, message)
    }

    /// A diagnostic without places yet.
    pub fn new(severity: Severity, code: &'static str, message: impl Into<String>) -> Self {
        Self {
            code,
            severity,
            message: message.into(),
            labels: Vec::new(),
            notes: Vec::new(),
            help: None,
        }
    }

    /// Adds a place; the first one added is the primary.
    #[must_use]
    pub fn at(mut self, span: Span, text: impl Into<String>) -> Self {
        self.labels.push(Label {
            span,
            text: text.into(),
        });
        self
    }

    /// Adds a note.
    #[must_use]
    pub fn note(mut self, text: impl Into<String>) -> Self {
        self.notes.push(text.into());
        self
    }

    /// Says what to do.
    #[must_use]
    pub fn help(mut self, text: impl Into<String>) -> Self {
        self.help = Some(text.into());
        self
    }
}

/// Orders diagnostics by place, then by severity, then by text, and drops exact repeats.
pub fn sort(diagnostics: &mut Vec<Diagnostic>) {
    let place = |diagnostic: &Diagnostic| diagnostic.labels.first().map(|label| label.span);
    diagnostics.sort_by(|a, b| {
        (place(a), a.severity, &a.message).cmp(&(place(b), b.severity, &b.message))
    });
    diagnostics.dedup();
}

/// Nobody types a longer name by hand.
const LONGEST_WORD: usize = 200;

/// The name that a person most likely meant: the nearest of `names` within a third of the word's length.
pub fn nearest<'a>(word: &str, names: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let length = word.chars().count();
    let limit = length.div_ceil(3);
    names
        .into_iter()
        // Words of very different length are not near, and need not be compared.
        .filter(|name| name.chars().count().abs_diff(length) <= limit && length <= LONGEST_WORD)
        .map(|name| (edit_distance(word, name), name))
        .filter(|&(distance, _)| distance <= limit && distance < length)
        .min()
        .map(|(_, name)| name)
}

/// `1 pin`, `2 pins`.
pub fn count(number: usize, what: &str) -> String {
    let plural = if number == 1 { "" } else { "s" };
    format!("{number} {what}{plural}")
}

/// `did you mean ...?` for the nearest name, when one is near.
pub fn did_you_mean<'a>(word: &str, names: impl IntoIterator<Item = &'a str>) -> Option<String> {
    nearest(word, names).map(|name| format!("did you mean `{name}`?"))
}

/// Edits (insert, delete, replace, swap of neighbours) between two words, letter case aside.
fn edit_distance(a: &str, b: &str) -> usize {
    let a: Vec<char> = a.to_lowercase().chars().collect();
    let b: Vec<char> = b.to_lowercase().chars().collect();
    let mut rows = vec![vec![0; b.len() + 1]; a.len() + 1];
    for i in 0..=a.len() {
        for j in 0..=b.len() {
            rows[i][j] = if i == 0 || j == 0 {
                i + j
            } else {
                let replace = rows[i - 1][j - 1] + usize::from(a[i - 1] != b[j - 1]);
                let mut best = replace.min(rows[i - 1][j] + 1).min(rows[i][j - 1] + 1);
                if i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] {
                    best = best.min(rows[i - 2][j - 2] + 1);
                }
                best
            };
        }
    }
    rows[a.len()][b.len()]
}

/// True when one of the diagnostics is an error.
pub fn any_error(diagnostics: &[Diagnostic]) -> bool {
    diagnostics
        .iter()
        .any(|diagnostic| diagnostic.severity == Severity::Error)
}

/// What both looks need: the sources, and the list in order.
pub trait Look {
    /// The whole list as text.
    fn render(&self, sources: &Sources, diagnostics: &[Diagnostic]) -> String;
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn near_names_are_offered_and_far_ones_are_not() {
        assert_eq!(nearest("CLOK", ["CLK", "CLR", "D1"]), Some("CLK"));
        assert_eq!(nearest("conut", ["count", "clock"]), Some("count"));
        assert_eq!(nearest("x", ["y"]), None);
        assert_eq!(nearest("strobe", ["reset", "phi"]), None);
    }
}
