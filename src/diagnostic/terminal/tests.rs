//! Pictures of diagnostics, as a person sees them.

use super::*;
use crate::text::Span;
use proptest::prelude::*;

const PLAIN: Terminal = Terminal { colour: false, width: 80 };

const BENCH: &str = "board bench {\n    U1 74HC574 { CLK = clk }\n    U2 74HC541 { A1 = q }\n}\n";

fn show(text: &str, start: u32, end: u32) -> String {
    let mut sources = Sources::new();
    let file = sources.add("a.board", text);
    let span = Span { file, start, end };
    PLAIN.render(&sources, &[Diagnostic::error("odd", "odd thing").at(span, "here")])
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
        Diagnostic::warning("runaway", "stopped after 10 ms").note("the trial has no end").help("give it one"),
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
        Diagnostic::error("a", "first").at(span(60, 62), "listens").at(span(18, 20), "drives"),
        Diagnostic::warning("b", "second"),
        Diagnostic::note_only("c", "third").help("do it"),
    ];
    let coloured = Terminal { colour: true, ..PLAIN };
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
    let expected = ["error[odd]: odd thing", "  --> a.board:10:1", "   |", "10 |  ", "   | ^ here", ""];
    assert_eq!(show(&lines, 27, 27), expected.join("\n"));
    let expected = ["error[odd]: odd thing", " --> a.board:1:1", "  |", "1 |  ", "  | ^ here", ""];
    assert_eq!(show("", 0, 0), expected.join("\n"));
}

#[test]
fn an_empty_place_in_the_first_line_of_two_digits_keeps_the_columns() {
    for (last, shown) in [("end", "10 | end"), ("", "10 |  ")] {
        let mut sources = Sources::new();
        let file = sources.add("a.board", "ab\n".repeat(9) + last);
        let span = |start, end| Span { file, start, end };
        let found = Diagnostic::error("odd", "odd thing").at(span(24, 26), "").at(span(27, 27), "here");
        let expected =
            ["error[odd]: odd thing", "  --> a.board:9:1", "   |", " 9 | ab", "   | ^^", shown, "   | - here", ""];
        assert_eq!(PLAIN.render(&sources, &[found]), expected.join("\n"));
    }
}

#[test]
fn a_place_of_many_lines_shows_its_ends() {
    let text = format!("board b {{\n{}}}\nboard c {{}}\n", "    U1 7400\n".repeat(20));
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
    let span = Span { file, start: 0, end: 1 };
    let found = Diagnostic::error("odd", "m\u{1b}[2J").at(span, "one\ntwo\u{7}").note("n\u{1b}[2J").help("h\u{1b}[2J");
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
