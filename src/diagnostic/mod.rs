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
        Self { code, severity, message: message.into(), labels: Vec::new(), notes: Vec::new(), help: None }
    }

    /// Adds a place; the first one added is the primary.
    #[must_use]
    pub fn at(mut self, span: Span, text: impl Into<String>) -> Self {
        self.labels.push(Label { span, text: text.into() });
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
    diagnostics.sort_by(|a, b| (place(a), a.severity, &a.message).cmp(&(place(b), b.severity, &b.message)));
    diagnostics.dedup();
}

/// Nobody types a longer name by hand.
const LONGEST_WORD: usize = 200;

/// The name that a person most likely meant: the nearest of `names` within a third of the word's length.
pub fn nearest<'a>(word: &str, names: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let length = word.chars().count();
    if length > LONGEST_WORD {
        return None;
    }
    let limit = length.div_ceil(3);
    let mut edits = Edits::of(word);
    let mut best: Option<(usize, &str)> = None;
    for name in names {
        // Words of very different length are not near, and need not be compared.
        if name.chars().count().abs_diff(length) > limit {
            continue;
        }
        let most = best.map_or(limit, |(distance, _)| distance);
        if let Some(distance) = edits.to(name, most)
            && distance < length
            && best.is_none_or(|best| (distance, name) < best)
        {
            best = Some((distance, name));
        }
    }
    best.map(|(_, name)| name)
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

/// Edits (insert, delete, replace, swap of neighbours) between a word and others, letter case aside.
struct Edits {
    word: Vec<char>,
    other: Vec<char>,
    /// Distances of the beginnings of both words; the last three rows of a table, by turns.
    rows: [Vec<usize>; 3],
}

impl Edits {
    fn of(word: &str) -> Edits {
        let mut small = Vec::new();
        small_letters(word, &mut small);
        Edits { word: small, other: Vec::new(), rows: Default::default() }
    }

    /// The edits to another word, when `most` of them are enough.
    fn to(&mut self, other: &str, most: usize) -> Option<usize> {
        small_letters(other, &mut self.other);
        let (a, b) = (&self.word, &self.other);
        // An edit brings or takes one kind of letter at the most.
        let (mine, its) = (letters(a), letters(b));
        if (mine & !its).count_ones().max((its & !mine).count_ones()) as usize > most {
            return None;
        }
        let [last, now, next] = &mut self.rows;
        now.clear();
        now.extend(0..=b.len());
        let mut least = 0;
        for i in 1..=a.len() {
            next.clear();
            next.push(i);
            for j in 1..=b.len() {
                let replace = now[j - 1] + usize::from(a[i - 1] != b[j - 1]);
                let mut best = replace.min(now[j] + 1).min(next[j - 1] + 1);
                if i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] {
                    best = best.min(last[j - 2] + 1);
                }
                next.push(best);
            }
            // No way leads around two rows.
            let lowest = next.iter().copied().min().unwrap_or(0);
            if lowest.min(least) > most {
                return None;
            }
            least = lowest;
            std::mem::swap(last, now);
            std::mem::swap(now, next);
        }
        now.last().copied().filter(|&distance| distance <= most)
    }
}

fn small_letters(word: &str, into: &mut Vec<char>) {
    into.clear();
    if word.is_ascii() {
        into.extend(word.bytes().map(|byte| char::from(byte.to_ascii_lowercase())));
    } else {
        into.extend(word.to_lowercase().chars());
    }
}

/// Which kinds of letters a word has; some kinds count as one.
fn letters(word: &[char]) -> u64 {
    word.iter().fold(0, |letters, &letter| letters | 1 << (letter as u32 % 64))
}

/// True when one of the diagnostics is an error.
pub fn any_error(diagnostics: &[Diagnostic]) -> bool {
    diagnostics.iter().any(|diagnostic| diagnostic.severity == Severity::Error)
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

    #[test]
    fn edits_are_counted_as_the_whole_table_counts_them() {
        // The recurrence of the distance with swaps of neighbours, from memory, with nothing left out.
        fn count(a: &[char], b: &[char]) -> usize {
            let ([.., x], [.., y]) = (a, b) else {
                return a.len() + b.len();
            };
            let (short_a, short_b) = (&a[..a.len() - 1], &b[..b.len() - 1]);
            let mut best =
                (count(short_a, short_b) + usize::from(x != y)).min(count(short_a, b) + 1).min(count(a, short_b) + 1);
            if let ([.., p, q], [.., r, s]) = (a, b)
                && p == s
                && q == r
            {
                best = best.min(count(&a[..a.len() - 2], &b[..b.len() - 2]) + 1);
            }
            best
        }
        let words = ["", "a", "ab", "ba", "abc", "cab", "bcad", "abdc", "dcba", "s1_2", "ÄB", "äb"];
        for a in words {
            for b in words {
                let chars = |word: &str| word.to_lowercase().chars().collect::<Vec<char>>();
                let wanted = count(&chars(a), &chars(b));
                for most in 0..5 {
                    let found = Edits::of(a).to(b, most);
                    assert_eq!(found, (wanted <= most).then_some(wanted), "{a} {b} {most}");
                }
            }
        }
    }
}
