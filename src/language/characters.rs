//! Characters that no text may hold, not even in a comment: an editor or a terminal acts on them instead of showing them,
//! so that a person would read something else than what is there.

use crate::diagnostic::Diagnostic;
use crate::text::escape::is_control;
use crate::text::{FileKey, Span};

/// Places that are pointed at.
const MOST_PLACES: usize = 8;

/// What is wrong with the characters of a text.
pub(super) fn check(file: FileKey, text: &str) -> Option<Diagnostic> {
    let odd = |&(at, c): &(usize, char)| is_control(c) && !(c == '\r' && ends_line(&text[at..]));
    let mut found = text.char_indices().filter(odd);
    let first = found.next()?;
    let message = format!("the character {} cannot stand in a text", number(first.1));
    let mut problem = Diagnostic::error("character", message);
    let mut more = 0_usize;
    for (place, (at, c)) in std::iter::once(first).chain(found).enumerate() {
        if place >= MOST_PLACES {
            more += 1;
            continue;
        }
        let span = Span { file, start: at as u32, end: (at + c.len_utf8()) as u32 };
        problem = problem.at(span, number(c));
    }
    if more > 0 {
        problem = problem.note(format!("there are {more} more such characters"));
    }
    Some(problem.help("take it out: of control characters a text may have tabs and line ends only"))
}

/// True where a carriage return is part of a line end.
fn ends_line(rest: &str) -> bool {
    let after = rest.trim_start_matches('\r');
    after.is_empty() || after.starts_with('\n')
}

/// As in the Unicode Standard: `U+001B`.
fn number(c: char) -> String {
    format!("U+{:04X}", c as u32)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::text::Sources;

    fn found(text: &str) -> Option<Diagnostic> {
        let mut sources = Sources::new();
        let file = sources.add("a.board", text);
        check(file, text)
    }

    #[test]
    fn tabs_and_line_ends_of_any_system_are_no_controls() {
        for fine in ["", "a\tb\n", "a\r\nb\r\n", "a\r\r\n", "a\r", "\u{feff}µ線 \u{200d}"] {
            assert_eq!(found(fine), None, "{fine:?}");
        }
    }

    #[test]
    fn each_control_is_told_at_its_place() {
        let problem = found("# \u{1b}[2J \u{202e}\nx\ry").expect("controls");
        assert!(problem.message.contains("U+001B"), "{problem:?}");
        let places: Vec<(u32, &str)> =
            problem.labels.iter().map(|label| (label.span.start, label.text.as_str())).collect();
        assert_eq!(places, [(2, "U+001B"), (7, "U+202E"), (12, "U+000D")]);
        let many = found(&"\u{9b}".repeat(20)).expect("controls");
        assert_eq!(many.labels.len(), 8);
        assert_eq!(many.notes, ["there are 12 more such characters"]);
    }
}
