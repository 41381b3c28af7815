//! Diagnostics for a program: a JSON array, one object per diagnostic, every field always there.
//!
//! Lines and columns count from 1, columns in characters. The end of a place is the character after its last one,
//! so an empty place ends where it starts.

use super::{Diagnostic, Label, Look, Severity};
use crate::text::Sources;
use serde::Serialize;

/// The JSON look.
#[derive(Clone, Copy, Debug, Default)]
pub struct Json;

impl Look for Json {
    /// The array, indented, with a newline at its end; `[]` when there is nothing.
    fn render(&self, sources: &Sources, diagnostics: &[Diagnostic]) -> String {
        let entries: Vec<Entry<'_>> = diagnostics
            .iter()
            .map(|diagnostic| Entry {
                code: diagnostic.code,
                severity: diagnostic.severity,
                message: &diagnostic.message,
                places: diagnostic.labels.iter().map(|label| place(sources, label)).collect(),
                notes: &diagnostic.notes,
                help: diagnostic.help.as_deref(),
            })
            .collect();
        let mut text = serde_json::to_string_pretty(&entries).expect("texts and numbers always have a JSON form");
        text.push('\n');
        text
    }
}

#[derive(Serialize)]
struct Entry<'a> {
    code: &'a str,
    severity: Severity,
    message: &'a str,
    places: Vec<Place<'a>>,
    notes: &'a [String],
    help: Option<&'a str>,
}

#[derive(Serialize)]
struct Place<'a> {
    file: &'a str,
    line: usize,
    column: usize,
    end_line: usize,
    end_column: usize,
    text: &'a str,
}

fn place<'a>(sources: &'a Sources, label: &'a Label) -> Place<'a> {
    let source = sources.get(label.span.file);
    let (line, column) = source.line_column(label.span.start);
    let (end_line, end_column) = source.line_column(label.span.end.max(label.span.start));
    Place { file: &source.path, line, column, end_line, end_column, text: &label.text }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::text::Span;
    use proptest::prelude::*;

    #[test]
    fn every_field_is_written() {
        let mut sources = Sources::new();
        let board = sources.add("a.board", "µ\tU1 {\n}\n");
        let part = sources.add("b.part", "Q out\n");
        let span = |file, start, end| Span { file, start, end };
        let found = Diagnostic::error("unknown-net", "no net \"q\"")
            .at(span(board, 3, 9), "used here")
            .at(span(part, 0, 1), "")
            .note("nets are made by their first use")
            .help("did you mean `r`?");
        let expected = r#"[
  {
    "code": "unknown-net",
    "severity": "error",
    "message": "no net \"q\"",
    "places": [
      {
        "file": "a.board",
        "line": 1,
        "column": 3,
        "end_line": 2,
        "end_column": 2,
        "text": "used here"
      },
      {
        "file": "b.part",
        "line": 1,
        "column": 1,
        "end_line": 1,
        "end_column": 2,
        "text": ""
      }
    ],
    "notes": [
      "nets are made by their first use"
    ],
    "help": "did you mean `r`?"
  }
]
"#;
        assert_eq!(Json.render(&sources, &[found]), expected);
    }

    #[test]
    fn nothing_is_an_empty_array_and_missing_parts_are_null() {
        let sources = Sources::new();
        assert_eq!(Json.render(&sources, &[]), "[]\n");
        let expected = r#"[
  {
    "code": "runaway",
    "severity": "warning",
    "message": "stopped",
    "places": [],
    "notes": [],
    "help": null
  }
]
"#;
        let found = Diagnostic::warning("runaway", "stopped");
        assert_eq!(Json.render(&sources, &[found]), expected);
    }

    #[test]
    fn the_end_of_the_text_is_a_place() {
        let mut sources = Sources::new();
        let file = sources.add("a.board", "ab\n");
        for (start, end) in [(3, 3), (3, 99)] {
            let span = Span { file, start, end };
            let text = Json.render(&sources, &[Diagnostic::note_only("end", "end").at(span, "")]);
            let value: serde_json::Value = serde_json::from_str(&text).expect("JSON");
            let place = &value[0]["places"][0];
            assert_eq!((&place["line"], &place["column"]), (&2.into(), &1.into()));
            assert_eq!(place["end_line"], 2);
            assert_eq!(place["end_column"], 1);
            assert_eq!(value[0]["severity"], "note");
        }
    }

    proptest! {
        #[test]
        fn any_span_gives_one_readable_place(text in any::<String>(), start in 0u32..60, end in 0u32..60) {
            let mut sources = Sources::new();
            let file = sources.add("a.board", text);
            let span = Span { file, start, end };
            let found = Diagnostic::error("any", "any").at(span, "here");
            let value: serde_json::Value =
                serde_json::from_str(&Json.render(&sources, &[found])).expect("JSON");
            let place = &value[0]["places"][0];
            let number = |key: &str| place[key].as_u64().expect("a number");
            let from = (number("line"), number("column"));
            prop_assert!(from.0 >= 1 && from.1 >= 1);
            prop_assert!(number("end_line") >= from.0);
        }
    }
}
