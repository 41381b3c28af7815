//! The language as a whole: the layout of every file, the examples of the reference, and texts that nobody would write.

use coldboard::diagnostic::Diagnostic;
use coldboard::language::ast::{self, Item, PartStatement};
use coldboard::language::expand::Scope;
use coldboard::language::{REFERENCE, format, parse};
use coldboard::text::{FileKey, Sources};
use proptest::prelude::*;
use proptest::test_runner::RngSeed;
use std::path::{Path, PathBuf};
use std::sync::LazyLock;
use std::time::{Duration, Instant};

/// Every `.part` and `.board` file that is shipped, with its text.
fn shipped() -> &'static [(PathBuf, String)] {
    static FILES: LazyLock<Vec<(PathBuf, String)>> = LazyLock::new(read_shipped);
    &FILES
}

fn read_shipped() -> Vec<(PathBuf, String)> {
    fn walk(folder: &Path, found: &mut Vec<(PathBuf, String)>) {
        let Ok(entries) = std::fs::read_dir(folder) else {
            return;
        };
        let mut paths: Vec<PathBuf> = entries.filter_map(|e| Some(e.ok()?.path())).collect();
        paths.sort();
        for path in paths {
            let extension = path.extension().and_then(|e| e.to_str());
            if path.is_dir() {
                walk(&path, found);
            } else if matches!(extension, Some("part" | "board")) {
                let text = std::fs::read_to_string(&path).expect("a shipped file is UTF-8");
                found.push((path, text));
            }
        }
    }
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut found = Vec::new();
    walk(&root.join("library"), &mut found);
    walk(&root.join("designs"), &mut found);
    assert!(found.len() > 50, "the library is there");
    found
}

/// The examples of the reference: fenced blocks of a language, with the line they start at.
fn examples() -> Vec<(usize, &'static str, String)> {
    let mut found = Vec::new();
    let mut open: Option<(usize, &'static str, String)> = None;
    for (number, line) in REFERENCE.lines().enumerate() {
        match (&mut open, line.strip_prefix("```")) {
            (None, Some(kind)) => open = Some((number + 2, kind, String::new())),
            (Some(_), Some(_)) => found.extend(open.take()),
            (Some((.., text)), None) => {
                text.push_str(line);
                text.push('\n');
            }
            (None, None) => {}
        }
    }
    assert!(open.is_none(), "a fence of the reference is not closed");
    found
}

fn key() -> FileKey {
    Sources::new().add("test", "")
}

/// The tree without its places.
fn without_spans(file: &ast::File) -> String {
    let text = format!("{file:?}");
    let mut rest = text.as_str();
    let mut kept = String::new();
    while let Some(at) = rest.find("Span {") {
        kept.push_str(&rest[..at]);
        let end = rest[at..].find('}').expect("a span ends");
        rest = &rest[at + end..];
    }
    kept + rest
}

/// Everything that is not a blank, comments apart.
fn tokens_and_comments(text: &str) -> (String, Vec<String>) {
    let mut tokens = String::new();
    let mut comments = Vec::new();
    for line in text.lines() {
        let mut quoted = false;
        let end = line.find(|c| {
            quoted ^= c == '"';
            c == '#' && !quoted
        });
        let (code, comment) = line.split_at(end.unwrap_or(line.len()));
        tokens.extend(
            code.chars()
                .filter(|c| !c.is_whitespace() && *c != '\u{feff}'),
        );
        if !comment.is_empty() {
            comments.push(comment.trim_end().to_owned());
        }
    }
    (tokens, comments)
}

/// What must hold for the layout of every text that parses.
fn check_layout(name: &str, text: &str) {
    let (tree, problems) = parse(key(), text);
    assert!(problems.is_empty(), "{name}: {problems:?}");
    let once = format(key(), text).expect("a text that parses can be laid out");
    assert_eq!(
        tokens_and_comments(text),
        tokens_and_comments(&once),
        "{name}"
    );
    let (again, problems) = parse(key(), &once);
    assert!(problems.is_empty(), "{name}: {problems:?}\n{once}");
    assert_eq!(
        without_spans(&tree),
        without_spans(&again),
        "{name}\n{once}"
    );
    assert_eq!(
        format(key(), &once).expect("parses"),
        once,
        "{name}: a second time changes something"
    );
    for line in once.lines() {
        assert_eq!(line, line.trim_end(), "{name}: blanks at the end of a line");
    }
}

/// What must hold for every text at all.
fn check_any(text: &str) -> Vec<Diagnostic> {
    let (tree, problems) = parse(key(), text);
    for problem in &problems {
        let label = problem.labels.first().expect("a problem has a place");
        let (start, end) = (label.span.start as usize, label.span.end as usize);
        assert!(
            start <= end && end <= text.len(),
            "{problem:?} outside {text:?}"
        );
        assert!(
            text.get(start..end).is_some(),
            "{problem:?} cuts a character of {text:?}"
        );
    }
    if problems.is_empty() {
        check_layout("text", text);
    } else {
        assert!(format(key(), text).is_err());
    }
    expand(&tree);
    problems
}

/// Expands the names of packages and repetitions; errors are fine, panics are not.
fn expand(tree: &ast::File) {
    fn statements(scope: &mut Scope, body: &[PartStatement]) {
        for statement in body {
            match statement {
                PartStatement::Package(package) => {
                    for pin in &package.pins {
                        let _ = scope.names(&pin.name);
                    }
                }
                PartStatement::State(names) => {
                    for name in names {
                        let _ = scope.vector(name);
                    }
                }
                PartStatement::Each(each) => {
                    let _ = scope.each(each, |scope, body| statements(scope, body));
                }
                _ => {}
            }
        }
    }
    for item in &tree.items {
        match item {
            Item::Part(part) => statements(&mut Scope::default(), &part.body),
            Item::Board(board) => {
                for statement in &board.body {
                    if let ast::BoardStatement::Component(component) = statement {
                        let _ = Scope::default().references(&component.refs);
                    }
                }
            }
            Item::Trial(trial) => {
                for statement in &trial.body {
                    if let ast::TrialStatement::Set(path, _) = &statement.node {
                        let _ = Scope::default().paths(path);
                    }
                }
            }
            _ => {}
        }
    }
}

// ---- layout -----------------------------------------------------------------------------------------------------

#[test]
fn every_shipped_file_keeps_its_meaning_in_the_canonical_layout() {
    for (path, text) in shipped() {
        check_layout(&path.display().to_string(), &text);
    }
}

#[test]
fn every_example_of_the_reference_parses_and_can_be_laid_out() {
    let examples = examples();
    for (line, kind, text) in &examples {
        if matches!(*kind, "board" | "part") {
            check_layout(&format!("reference.md:{line}"), text);
        }
    }
    let count = |wanted| {
        examples
            .iter()
            .filter(|(_, kind, _)| *kind == wanted)
            .count()
    };
    assert!(
        count("board") >= 10 && count("part") >= 5,
        "examples are missing"
    );
}

#[test]
fn every_keyword_stands_in_the_reference() {
    let grammar = include_str!("../../src/language/grammar.pest");
    for line in grammar.lines().filter(|line| line.starts_with("kw_")) {
        let word = line.split('"').nth(1).expect("a keyword is quoted");
        let is_edge = |c: Option<char>| !c.is_some_and(|c| c.is_alphanumeric() || c == '-');
        let stands = REFERENCE.match_indices(word).any(|(at, _)| {
            is_edge(REFERENCE[..at].chars().next_back())
                && is_edge(REFERENCE[at + word.len()..].chars().next())
        });
        assert!(stands, "`{word}` is not told");
    }
}

/// A text of which every blank may be widened, and every line end moved, without another meaning.
fn respaced(text: &str, seed: u64) -> String {
    let mut state = seed | 1;
    let mut next = |limit: u64| {
        state = state
            .wrapping_mul(6364136223846793005)
            .wrapping_add(1442695040888963407);
        (state >> 33) % limit
    };
    let mut result = String::new();
    let mut table = 0;
    for line in text.lines() {
        // The lines of a table mean something.
        if line.trim_start().starts_with("table") {
            table = 1;
        } else if line.trim_start().starts_with('}') {
            table = 0;
        }
        let mut quoted = false;
        for c in line.trim_start().chars() {
            quoted ^= c == '"';
            if c == '#' && !quoted {
                result.push_str(line[line.find('#').unwrap_or(0)..].trim_end());
                break;
            }
            result.push(c);
            if c == ' ' && !quoted {
                match next(12) {
                    0 if table == 0 => result.push('\n'),
                    1 if table == 0 => result.push_str("# why\n"),
                    2 if table == 0 => result.push_str("\n\n # own\n\n"),
                    3 => result.push_str(" \t "),
                    _ => {}
                }
            }
        }
        match next(6) {
            0 if table == 0 && !line.contains('#') => result.push(' '),
            1 => result.push_str("\n\n\n"),
            2 => result.push_str("  # more\n"),
            _ => result.push('\n'),
        }
    }
    result
}

// ---- texts that nobody would write ---------------------------------------------------------------------------------

/// Pieces that occur in the language, for texts that come near it.
const PIECES: &[&str] = &[
    "part",
    "board",
    "assembly",
    "trial",
    "family",
    "use",
    "each",
    "in",
    "package",
    "table",
    "on",
    "rise",
    "while",
    "at",
    "delay",
    "->",
    "=",
    "{",
    "}",
    "(",
    ")",
    "[",
    "]",
    "..",
    ",",
    ":",
    "|",
    "\"",
    "\"x\"",
    "#",
    "\n",
    " ",
    "1",
    "42",
    "0x2F",
    "-3",
    "5 V",
    "10 ns",
    "kohm",
    "U1",
    "D[1..8]",
    "/OE",
    "A.B.1",
    "not",
    "and",
    "when",
    "else",
    "connector",
    "cable",
    "supply",
    "expect",
    "run",
    "for",
    "until",
    "clocks",
    "state",
    "rail",
    "feed",
    "from",
    "é",
    "\u{a0}",
];

proptest! {
    // The same texts in every run; PROPTEST_RNG_SEED and PROPTEST_CASES try others.
    #![proptest_config(ProptestConfig {
        failure_persistence: None,
        rng_seed: match ProptestConfig::default().rng_seed {
            RngSeed::Random => RngSeed::Fixed(574),
            given => given,
        },
        ..ProptestConfig::default()
    })]

    #[test]
    fn any_text_is_read_without_a_panic(text in "\\PC{0,200}") {
        check_any(&text);
    }

    #[test]
    fn any_bytes_are_read_without_a_panic(bytes in proptest::collection::vec(any::<u8>(), 0..300)) {
        check_any(&String::from_utf8_lossy(&bytes));
    }

    #[test]
    fn pieces_of_the_language_are_read_without_a_panic(
        pieces in proptest::collection::vec(proptest::sample::select(PIECES), 0..80)
    ) {
        check_any(&pieces.join(" "));
        check_any(&pieces.concat());
    }

    #[test]
    fn other_blanks_and_comments_change_no_meaning(file in any::<proptest::sample::Index>(), seed in any::<u64>()) {
        let (path, text) = file.get(shipped());
        let other = respaced(text, seed);
        check_layout(&path.display().to_string(), &other);
    }

    #[test]
    fn damaged_files_get_an_answer(
        file in any::<proptest::sample::Index>(),
        damage in proptest::collection::vec((0..7u8, any::<proptest::sample::Index>(), any::<proptest::sample::Index>()), 1..4)
    ) {
        let mut text = file.get(shipped()).1.clone();
        for (kind, first, second) in damage {
            text = damaged(&text, kind, first, second);
        }
        let (_, problems) = parse(key(), &text);
        if !problems.is_empty() {
            prop_assert!(problems.len() <= 60);
        }
        check_any(&text);
    }
}

/// A text with one word or some bytes deleted, doubled, swapped, flipped or cut off.
fn damaged(
    text: &str,
    kind: u8,
    first: proptest::sample::Index,
    second: proptest::sample::Index,
) -> String {
    let mut words: Vec<&str> = text.split_inclusive([' ', '\n']).collect();
    if words.is_empty() {
        return String::new();
    }
    let (a, b) = (first.index(words.len()), second.index(words.len()));
    match kind {
        0 => drop(words.remove(a)),
        1 => words.insert(a, words[a]),
        2 => words.swap(a, b),
        3 => words.truncate(a),
        4 => drop(words.drain(..a)),
        5 => {
            let mut bytes = text.as_bytes().to_vec();
            let at = first.index(bytes.len());
            bytes[at] ^= 1 << second.index(8);
            return String::from_utf8_lossy(&bytes).into_owned();
        }
        _ => {
            // A single mark, where most of the trouble comes from.
            let marks: Vec<usize> = text
                .match_indices(['{', '}', '[', ']', '(', ')', '"', ',', '=', '|', '.'])
                .map(|(at, _)| at)
                .collect();
            if !marks.is_empty() {
                let mut text = text.to_owned();
                text.remove(marks[first.index(marks.len())]);
                return text;
            }
        }
    }
    words.concat()
}

// ---- size --------------------------------------------------------------------------------------------------------

/// Reads a large text, and checks that it does not take forever.
fn timed(name: &str, text: &str) -> Vec<Diagnostic> {
    let start = Instant::now();
    let problems = check_any(text);
    let taken = start.elapsed();
    assert!(taken < Duration::from_secs(20), "{name} took {taken:?}");
    problems
}

#[test]
fn deep_nesting_is_refused() {
    for (open, inner, close) in [
        ("part 1 { Y = ", "(", ")"),
        ("part 1 { Y = A", "[(", ")]"),
        ("part 1 { ", "each i in 0..1 { ", "}"),
        ("board b { ", "each i in 0..1 { ", "}"),
        ("assembly b { ", "each i in 0..1 { ", "}"),
        ("trial t on b { expect ", "(", ")"),
        ("part 1 { Y = ", "not (", ")"),
        ("board b { U1 x { ", "each i in 0..1 { ", "}"),
    ] {
        for depth in [65, 1000, 100_000] {
            let text = format!("{open}{}{}", inner.repeat(depth), close.repeat(depth));
            let problems = timed(open, &text);
            assert_eq!(problems.len(), 1, "{open} {depth}");
            assert_eq!(problems[0].code, "too-deep", "{open} {depth}");
        }
    }
}

#[test]
fn nesting_as_deep_as_allowed_is_read() {
    for (open, inner, middle, close, end) in [
        ("part 1 { Y = ", "(", "A", ")", "}"),
        ("part 1 { Y = ", "not (B when ", "A", " else C)", "}"),
        ("part 1 { Y = A[", "(", "1", ")", "]}"),
        ("part 1 {", "each i in 0..0 {", "Y = A", "}", "}"),
        ("board b {", "each i in 0..0 {", "rail V", "}", "}"),
        ("assembly b {", "each i in 0..0 {", "A: b", "}", "}"),
        (
            "part 1 { on rise C {",
            "each i in 0..0 {",
            "Y = A",
            "}",
            "} }",
        ),
        ("trial t on b { expect ", "not (", "a = 1", ")", "}"),
    ] {
        let depth = 60;
        let text = format!(
            "{open}{}{middle}{}{end}",
            inner.repeat(depth),
            close.repeat(depth)
        );
        let problems = timed(open, &text);
        assert!(problems.is_empty(), "{open}: {problems:?}");
    }
}

#[test]
fn long_chains_are_refused_in_time() {
    let many = 100_000;
    for (name, open, inner, end) in [
        ("or", "part 1 { Y = A", " or A", " }"),
        ("xor", "part 1 { Y = A", " xor A", " }"),
        ("sum", "part 1 { Y = A", " + A", " }"),
        ("not", "part 1 { Y = ", "not ", "A }"),
        ("decode", "part 1 { Y = ", "decode ", "A }"),
        ("when", "part 1 { Y = A", " when A else A", " }"),
        ("index", "part 1 { Y = A[1", " + 1", "] }"),
        ("pins", "part 1 { package P { 1", ", 1..1000", " A in } }"),
        ("name", "part 1 { Y = A", "aaaaaaaaaa", " }"),
        ("brackets", "part 1 { state q", "[0..9]", " }"),
    ] {
        let text = format!("{open}{}{end}", inner.repeat(many));
        let problems = timed(name, &text);
        assert_eq!(problems.len(), 1, "{name}: {problems:?}");
        let message = &problems[0].message;
        assert!(
            message.contains("more than") || message.contains("characters"),
            "{name}: {message}"
        );
    }
}

#[test]
fn long_nested_chains_do_not_outgrow_the_stack() {
    let mut formula = "A".to_owned();
    for _ in 0..60 {
        formula = format!(
            "({formula}{}{}{})",
            " + A".repeat(900),
            " and A".repeat(900),
            " or A".repeat(900)
        );
    }
    let problems = timed("nested", &format!("part 1 {{ Y = {formula} }}"));
    assert_eq!(problems.len(), 1);
}

#[test]
fn long_lines_and_lists_are_read_in_time() {
    let many = 20_000;
    for (name, open, inner, end) in [
        (
            "columns",
            "part 1 { family HC { columns typ 25 C",
            ", typ 25 C",
            " } }",
        ),
        ("connections", "board b { U1 x { ", "A = b ", "} }"),
        ("components", "board b { ", "U1 x ", "}"),
        ("blocks", "board b { ", "U1 x { A = b } ", "}"),
        (
            "conditions",
            "trial t on b { expect a = 1",
            " or a = 1",
            " }",
        ),
        (
            "values",
            "trial t on b { expect on rise s: v = 1",
            ", 1",
            " }",
        ),
        ("cells", "part 1 { table { ", "L H ", "| Y } }"),
        ("rows", "part 1 { table { ", "L | H\n", "} }"),
        ("texts", "board b { ", "note \"a\" ", "}"),
        ("comments", "board b { ", "# a\n", "}"),
        ("states", "part 1 { state q", ", q", " }"),
    ] {
        let text = format!("{open}{}{end}", inner.repeat(many));
        let problems = timed(name, &text);
        assert!(problems.is_empty(), "{name}: {problems:?}");
    }
}

#[test]
fn long_lines_with_mistakes_are_answered_in_time() {
    let many = 20_000;
    for (name, open, inner, end) in [
        ("braces", "", "}", ""),
        ("opened", "", "board b {\n", ""),
        ("on one line", "board b { ", "U1 x { A b } ", "}"),
        ("in lines", "board b {\n", "U1 x { A b }\n", "}"),
        ("texts", "board b { ", "note \"a\" ", "note \"}"),
        ("quotes", "board b { ", "\" ", ""),
        ("unknown blocks", "part 1 {\n", "q { w { ", ""),
        ("end", "board b { ", "U1 x { A = b } ", ""),
        ("shifted", "part 1 {\n", "  on rise C {\n}\n", ""),
        ("formula", "part 1 { Y = A", " or A", " or }"),
    ] {
        let text = format!("{open}{}{end}", inner.repeat(many));
        let problems = timed(name, &text);
        assert!(!problems.is_empty(), "{name}");
    }
}
