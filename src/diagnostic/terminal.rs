//! Diagnostics for a person at a terminal: the message, the lines it speaks of, the reasons and the way out.
//!
//! The severity is always a word and the primary place is always marked `^`, the others `-`, so nothing is lost
//! without colour. The colours are told apart by people who do not see red or green.

use super::{Diagnostic, Label, Look, Severity};
use crate::text::escape::{escape, is_control};
use crate::text::{FileKey, Source, Sources};
use annotate_snippets::renderer::{AnsiColor, Effects, Style};
use annotate_snippets::{Annotation, AnnotationKind, Group, Level, Renderer, Snippet};
use std::ops::Range;

/// Places shown of one diagnostic; how many more there are is said in a note.
const MOST_PLACES: usize = 24;

/// Columns that are always used, however narrow the terminal says it is.
const LEAST_WIDTH: usize = 40;

/// The terminal look.
#[derive(Clone, Copy, Debug)]
pub struct Terminal {
    /// With ANSI colours.
    pub colour: bool,
    /// Columns of the terminal; longer source lines are cut around the places shown.
    pub width: usize,
}

impl Look for Terminal {
    /// Each diagnostic ends its last line; an empty line stands between two. Nothing gives an empty text.
    fn render(&self, sources: &Sources, diagnostics: &[Diagnostic]) -> String {
        let renderer = self.renderer();
        let texts: Vec<String> = diagnostics
            .iter()
            .map(|diagnostic| renderer.render(&[group(sources, diagnostic)]) + "\n")
            .collect();
        texts.join("\n")
    }
}

impl Terminal {
    fn renderer(&self) -> Renderer {
        let renderer = if self.colour {
            let bold = Style::new().effects(Effects::BOLD);
            Renderer::styled()
                .error(AnsiColor::Magenta.on_default().effects(Effects::BOLD))
                .warning(AnsiColor::Yellow.on_default())
                .note(AnsiColor::Cyan.on_default())
                .context(AnsiColor::Cyan.on_default())
                .help(bold)
                .emphasis(bold)
                .line_num(Style::new().effects(Effects::DIMMED))
        } else {
            Renderer::plain()
        };
        renderer.term_width(self.width.max(LEAST_WIDTH))
    }
}

/// How much was found, in words: `2 errors, 1 warning, 3 notes`, or `nothing found`.
pub fn summary(diagnostics: &[Diagnostic]) -> String {
    let counts: Vec<String> = [Severity::Error, Severity::Warning, Severity::Note]
        .into_iter()
        .filter_map(|severity| {
            let count = diagnostics
                .iter()
                .filter(|diagnostic| diagnostic.severity == severity)
                .count();
            let plural = if count == 1 { "" } else { "s" };
            (count > 0).then(|| format!("{count} {}{plural}", severity.word()))
        })
        .collect();
    if counts.is_empty() {
        "nothing found".to_string()
    } else {
        counts.join(", ")
    }
}

fn group<'a>(sources: &'a Sources, diagnostic: &'a Diagnostic) -> Group<'a> {
    let level = match diagnostic.severity {
        Severity::Error => Level::ERROR,
        Severity::Warning => Level::WARNING,
        Severity::Note => Level::NOTE,
    };
    let title = level
        .primary_title(escape(&diagnostic.message))
        .id(diagnostic.code);
    let mut group = Group::with_title(title);
    let shown = &diagnostic.labels[..diagnostic.labels.len().min(MOST_PLACES)];
    for (file, places) in by_file(shown) {
        group = group.element(snippet(sources.get(file), &places));
    }
    for note in &diagnostic.notes {
        group = group.element(Level::NOTE.message(escape(note)));
    }
    match diagnostic.labels.len() - shown.len() {
        0 => {}
        1 => group = group.element(Level::NOTE.message("1 more place is not shown")),
        more => {
            let text = format!("{more} more places are not shown");
            group = group.element(Level::NOTE.message(text));
        }
    }
    if let Some(help) = &diagnostic.help {
        group = group.element(Level::HELP.message(escape(help)));
    }
    group
}

/// A label, and whether it is the primary place or context.
type Place<'a> = (AnnotationKind, &'a Label);

/// The labels of each file, in the order in which the files are first named.
fn by_file(labels: &[Label]) -> Vec<(FileKey, Vec<Place<'_>>)> {
    let mut files: Vec<(FileKey, Vec<Place<'_>>)> = Vec::new();
    for (index, label) in labels.iter().enumerate() {
        let kind = if index == 0 {
            AnnotationKind::Primary
        } else {
            AnnotationKind::Context
        };
        match files.iter_mut().find(|(file, _)| *file == label.span.file) {
            Some((_, places)) => places.push((kind, label)),
            None => files.push((label.span.file, vec![(kind, label)])),
        }
    }
    files
}

/// The lines from the first to the last place of one file, with the places marked. Only these are handed on: the
/// renderer walks through all that it gets.
fn snippet<'a>(source: &Source, places: &[Place<'a>]) -> Snippet<'a, Annotation<'a>> {
    let text = source.text.as_str();
    let ranges: Vec<_> = places
        .iter()
        .map(|(_, label)| visible(text, label.span.start, label.span.end))
        .collect();
    let first = ranges.iter().map(|range| range.start).min().unwrap_or(0);
    let last = ranges.iter().map(|range| range.end).max().unwrap_or(0);
    let from = text[..first].rfind('\n').map_or(0, |at| at + 1);
    let to = text[last..].find('\n').map_or(text.len(), |at| last + at);
    let lines = &text[from..to];
    let mut excerpt = lines.strip_suffix('\r').unwrap_or(lines).to_string();
    // The renderer does not count a last line without any character.
    if excerpt.is_empty() || excerpt.ends_with('\n') {
        excerpt.push(' ');
    }
    let (excerpt, grown) = harmless(excerpt);
    let annotations: Vec<_> = places
        .iter()
        .zip(ranges)
        .map(|(&(kind, label), range)| {
            let [start, end] = [range.start, range.end].map(|at| at - from + grown(at - from));
            let range = widened(&excerpt, start..end);
            let text = one_line(&label.text);
            kind.span(range).label((!text.is_empty()).then_some(text))
        })
        .collect();
    let first_byte = u32::try_from(first).unwrap_or(u32::MAX);
    Snippet::source(excerpt)
        .path(one_line(&source.path))
        .line_start(source.line_column(first_byte).0)
        .annotations(annotations)
}

/// The bytes from `start` to `end`, drawn in to the text and out to whole characters, without the line break at
/// their end.
fn visible(text: &str, start: u32, end: u32) -> Range<usize> {
    let mut start = text.len().min(start as usize);
    while !text.is_char_boundary(start) {
        start -= 1;
    }
    let mut end = text.len().min(end as usize).max(start);
    while !text.is_char_boundary(end) {
        end += 1;
    }
    start..start + text[start..end].trim_end_matches(['\r', '\n']).len()
}

/// The range within `excerpt`, an empty one widened to the character that follows on its line: the renderer makes
/// room for line numbers by what stands before the end of a range, and would miss a line that only begins there.
fn widened(excerpt: &str, range: Range<usize>) -> Range<usize> {
    let start = range.start.min(excerpt.len());
    let end = range.end.min(excerpt.len());
    let next = excerpt[start..].chars().next();
    match next.filter(|&next| start == end && next != '\n') {
        Some(next) => start..end + next.len_utf8(),
        None => start..end,
    }
}

/// The text with a sign in place of each control that the renderer would let through (it has signs for those of ASCII), and
/// by how many bytes that moves a place. A sign stands for one character, so that columns stay.
fn harmless(text: String) -> (String, impl Fn(usize) -> usize) {
    let strange = |c: char| is_control(c) && !c.is_ascii();
    let growth = |c: char| char::REPLACEMENT_CHARACTER.len_utf8() - c.len_utf8();
    let controls = text.char_indices().filter(|&(_, c)| strange(c));
    let grown: Vec<(usize, usize)> = controls.map(|(at, c)| (at, growth(c))).collect();
    let moved = move |to: usize| {
        let before = grown.iter().take_while(|(at, _)| *at < to);
        before.map(|(_, growth)| growth).sum()
    };
    (text.replace(strange, "\u{fffd}"), moved)
}

/// The text without line breaks and control characters.
fn one_line(text: &str) -> String {
    escape(&text.replace(['\r', '\n'], " ")).into_owned()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::text::Span;
    use proptest::prelude::*;

    const PLAIN: Terminal = Terminal {
        colour: false,
        width: 80,
    };

    const BENCH: &str =
        "board bench {\n    U1 74HC574 { CLK = clk }\n    U2 74HC541 { A1 = q }\n}\n";

    fn show(text: &str, start: u32, end: u32) -> String {
        let mut sources = Sources::new();
        let file = sources.add("a.board", text);
        let span = Span { file, start, end };
        PLAIN.render(
            &sources,
            &[Diagnostic::error("odd", "odd thing").at(span, "here")],
        )
    }

    #[test]
    fn places_in_two_files_then_notes_then_help() {
        let mut sources = Sources::new();
        let bench = sources.add("bench.board", BENCH);
        let part = sources.add("buffers/541.part", "part 541 {\n\tA1 in\n}\n");
        let span = |file, start, end| Span { file, start, end };
        let found = [
            Diagnostic::error("floating", "nothing drives U2.A1")
                .at(span(bench, 60, 62), "listens here")
                .at(span(part, 12, 14), "an input")
                .at(span(bench, 18, 20), "")
                .note("an open CMOS input drifts\nand may oscillate")
                .help("tie it to GND"),
            Diagnostic::warning("runaway", "stopped after 10 ms")
                .note("the trial has no end")
                .help("give it one"),
            Diagnostic::note_only("spare", "U1 has 6 spare gates"),
        ];
        let expected = "\
error[floating]: nothing drives U2.A1
 --> bench.board:3:18
  |
2 |     U1 74HC574 { CLK = clk }
  |     --
3 |     U2 74HC541 { A1 = q }
  |                  ^^ listens here
  |
 ::: buffers/541.part:2:2
  |
2 |     A1 in
  |     -- an input
  |
  = note: an open CMOS input drifts
          and may oscillate
  = help: tie it to GND

warning[runaway]: stopped after 10 ms
 |
 = note: the trial has no end
 = help: give it one

note[spare]: U1 has 6 spare gates
";
        assert_eq!(PLAIN.render(&sources, &found), expected);
        assert_eq!(PLAIN.render(&sources, &[]), "");
    }

    #[test]
    fn colour_only_adds_to_the_words() {
        let mut sources = Sources::new();
        let file = sources.add("bench.board", BENCH);
        let span = |start, end| Span { file, start, end };
        let found = [
            Diagnostic::error("a", "first")
                .at(span(60, 62), "listens")
                .at(span(18, 20), "drives"),
            Diagnostic::warning("b", "second"),
            Diagnostic::note_only("c", "third").help("do it"),
        ];
        let coloured = Terminal {
            colour: true,
            ..PLAIN
        };
        let text = coloured.render(&sources, &found);
        // SGR codes of ECMA-48: 1 bold, 33 yellow, 35 magenta, 36 cyan.
        for piece in [
            "\u{1b}[1m\u{1b}[35merror[a]\u{1b}[0m",
            "\u{1b}[1m\u{1b}[35m^^\u{1b}[0m",
            "\u{1b}[36m--\u{1b}[0m",
            "\u{1b}[33mwarning[b]\u{1b}[0m",
            "\u{1b}[36mnote[c]\u{1b}[0m",
        ] {
            assert!(text.contains(piece), "{piece:?} is not in {text:?}");
        }
        let plain = text
            .split('\u{1b}')
            .map(|piece| match piece.split_once('m') {
                Some((code, rest)) if code.starts_with('[') => rest,
                _ => piece,
            })
            .collect::<String>();
        assert_eq!(plain, PLAIN.render(&sources, &found));
    }

    #[test]
    fn tabs_and_wide_characters_keep_the_mark_in_place() {
        // A tab is four columns wide, µ one and two bytes long, 線 two (Unicode Standard Annex 11, class W).
        let expected = "\
error[odd]: odd thing
 --> a.board:1:5
  |
1 |     µ線 = clk    # clock
  |         ^ here
";
        assert_eq!(show("\tµ線 = clk\t# clock\n", 7, 8), expected);
        // A span that cuts characters is drawn out to whole ones.
        let expected = "\
error[odd]: odd thing
 --> a.board:1:2
  |
1 |     µ線 = clk
  |     ^^^ here
";
        assert_eq!(show("\tµ線 = clk\n", 2, 4), expected);
    }

    #[test]
    fn the_end_of_the_text_can_be_pointed_at() {
        // Without a line break at the end: behind the last character.
        let expected = "\
error[odd]: odd thing
 --> a.board:1:3
  |
1 | ab
  |   ^ here
";
        for (start, end) in [(2, 2), (2, 3), (9, 9), (9, 1)] {
            assert_eq!(show("ab", start, end), expected, "{start}..{end}");
        }
        assert_eq!(show("ab\n", 2, 3), expected, "the line break itself");
        assert_eq!(show("ab\r\n", 2, 4), expected, "both of its characters");
        // With one: the empty line that follows, numbered in the same columns.
        let lines = "ab\n".repeat(9);
        let expected = [
            "error[odd]: odd thing",
            "  --> a.board:10:1",
            "   |",
            "10 |  ",
            "   | ^ here",
            "",
        ];
        assert_eq!(show(&lines, 27, 27), expected.join("\n"));
        let expected = [
            "error[odd]: odd thing",
            " --> a.board:1:1",
            "  |",
            "1 |  ",
            "  | ^ here",
            "",
        ];
        assert_eq!(show("", 0, 0), expected.join("\n"));
    }

    #[test]
    fn an_empty_place_in_the_first_line_of_two_digits_keeps_the_columns() {
        for (last, shown) in [("end", "10 | end"), ("", "10 |  ")] {
            let mut sources = Sources::new();
            let file = sources.add("a.board", "ab\n".repeat(9) + last);
            let span = |start, end| Span { file, start, end };
            let found = Diagnostic::error("odd", "odd thing")
                .at(span(24, 26), "")
                .at(span(27, 27), "here");
            let expected = [
                "error[odd]: odd thing",
                "  --> a.board:9:1",
                "   |",
                " 9 | ab",
                "   | ^^",
                shown,
                "   | - here",
                "",
            ];
            assert_eq!(PLAIN.render(&sources, &[found]), expected.join("\n"));
        }
    }

    #[test]
    fn a_place_of_many_lines_shows_its_ends() {
        let text = format!(
            "board b {{\n{}}}\nboard c {{}}\n",
            "    U1 7400\n".repeat(20)
        );
        let expected = "\
error[odd]: odd thing
  --> a.board:1:1
   |
 1 | / board b {
 2 | |     U1 7400
 3 | |     U1 7400
 4 | |     U1 7400
...  |
21 | |     U1 7400
22 | | }
   | |_^ here
";
        // 10 bytes of the first line, 20 times 12, the brace and its line break.
        assert_eq!(show(&text, 0, 252), expected);
    }

    #[test]
    fn long_lines_are_cut_around_the_place() {
        let line = format!("{}net{}", "wire ".repeat(60), " = x".repeat(60));
        let expected = "\
error[odd]: odd thing
 --> a.board:1:301
  |
1 | ... wire wire wire wire wire wire net = x = x = x = x = x = x = x = x = x...
  |                                   ^^^ here
";
        assert_eq!(show(&line, 300, 303), expected);
        let whole = show(&line, 0, line.len() as u32);
        assert!(whole.lines().all(|line| line.len() <= 80), "{whole}");
    }

    #[test]
    fn control_characters_do_not_reach_the_terminal() {
        let mut sources = Sources::new();
        let file = sources.add("a\u{1b}.board", "x\u{1b}[2Jy");
        let span = Span {
            file,
            start: 0,
            end: 1,
        };
        let found = Diagnostic::error("odd", "m\u{1b}[2J")
            .at(span, "one\ntwo\u{7}")
            .note("n\u{1b}[2J")
            .help("h\u{1b}[2J");
        let expected = "\
error[odd]: m\\u{1b}[2J
 --> a\\u{1b}.board:1:1
  |
1 | x␛[2Jy
  | ^ one two\\u{7}
  |
  = note: n\\u{1b}[2J
  = help: h\\u{1b}[2J
";
        assert_eq!(PLAIN.render(&sources, &[found]), expected);
        // C1 and direction controls, of two and of three bytes; the marks stay under their characters.
        let expected = "\
error[odd]: odd thing
 --> a.board:1:4
  |
1 | \u{fffd}\u{fffd}x = y\u{fffd}
  |    ^^^ here
";
        assert_eq!(show("\u{9b}\u{202e}x = y\u{2028}\n", 6, 9), expected);
    }

    #[test]
    fn a_crowd_of_places_is_bounded() {
        let mut sources = Sources::new();
        let file = sources.add("a.board", "x\n".repeat(100));
        let crowd = |count: u32| {
            let found = (0..count).fold(Diagnostic::error("odd", "m"), |found, line| {
                let (start, end) = (2 * line, 2 * line + 1);
                found.at(Span { file, start, end }, "here")
            });
            PLAIN.render(&sources, &[found])
        };
        let text = crowd(100);
        assert_eq!(text.matches("here").count(), MOST_PLACES);
        assert!(text.ends_with("= note: 76 more places are not shown\n"));
        assert!(crowd(25).ends_with("= note: 1 more place is not shown\n"));
        assert!(!crowd(24).contains("not shown"));
    }

    #[test]
    fn summaries_count_in_words() {
        let error = Diagnostic::error("a", "");
        let warning = Diagnostic::warning("b", "");
        let note = Diagnostic::note_only("c", "");
        assert_eq!(summary(&[]), "nothing found");
        assert_eq!(summary(std::slice::from_ref(&warning)), "1 warning");
        let notes = vec![note; 3];
        let found = [vec![error.clone(), warning, error], notes].concat();
        assert_eq!(summary(&found), "2 errors, 1 warning, 3 notes");
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(1000))]
        #[test]
        fn any_spans_are_shown_without_a_panic(
            texts in prop::collection::vec(r"([ -~]|[\t\r\nµ線é\u{301}\u{200d}]|[\x00-\x1f]|\PC){0,200}", 1..3),
            spans in prop::collection::vec((any::<prop::sample::Index>(), 0u32..500, 0u32..500, "\\PC{0,9}"), 0..8),
            colour in any::<bool>(),
            width in 0usize..120,
        ) {
            let mut sources = Sources::new();
            let files: Vec<_> = texts.iter().map(|text| sources.add("a.board", text.as_str())).collect();
            let found = spans.iter().fold(Diagnostic::error("odd", "odd thing"), |found, (file, start, end, text)| {
                let file = *file.get(&files);
                found.at(Span { file, start: *start, end: *end }, text.as_str())
            });
            let text = Terminal { colour, width }.render(&sources, &[found]);
            prop_assert!(text.contains("odd thing") && text.ends_with('\n'));
            if let Some((file, start, ..)) = spans.first() {
                // The heading says the same place as every other message does, carriage returns aside.
                let file = *file.get(&files);
                let source = sources.get(file);
                let start = visible(&source.text, *start, *start).start as u32;
                let (line, column) = source.line_column(start);
                let place = format!("a.board:{line}:{column}\n");
                let plain = Terminal { colour: false, width }.render(
                    &sources,
                    &[Diagnostic::error("odd", "odd").at(Span { file, start, end: start }, "")],
                );
                prop_assert!(plain.contains(&place) || source.text.contains('\r'), "{place} is not in {plain}");
            }
        }
    }
}
