//! The language as a whole: the layout of every file, the examples of the reference, and texts that nobody would write.

mod reference;
mod robustness;
mod size;

use coldboard::diagnostic::Diagnostic;
use coldboard::language::ast::{self, Item, PartStatement};
use coldboard::language::expand::Scope;
use coldboard::language::{REFERENCE, format, parse};
use coldboard::text::{FileKey, Sources};
use std::path::{Path, PathBuf};
use std::sync::LazyLock;

/// Every `.part` and `.board` file that is shipped, with its text.
fn shipped() -> &'static [(PathBuf, String)] {
    static FILES: LazyLock<Vec<(PathBuf, String)>> = LazyLock::new(read_shipped);
    &FILES
}

/// The shipped files and the examples of the reference: together they have every statement.
fn samples() -> &'static [(PathBuf, String)] {
    static SAMPLES: LazyLock<Vec<(PathBuf, String)>> = LazyLock::new(|| {
        // As many examples as files, so that either is taken as often.
        let mut samples: Vec<(PathBuf, String)> = Vec::new();
        for (line, _, text) in examples() {
            let name = PathBuf::from(format!("reference.md:{line}"));
            samples.extend(std::iter::repeat_n((name, text), 6));
        }
        samples.extend(shipped().iter().cloned());
        samples
    });
    &SAMPLES
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
        tokens.extend(code.chars().filter(|c| !c.is_whitespace() && *c != '\u{feff}'));
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
    assert_eq!(tokens_and_comments(text), tokens_and_comments(&once), "{name}");
    let (again, problems) = parse(key(), &once);
    assert!(problems.is_empty(), "{name}: {problems:?}\n{once}");
    assert_eq!(without_spans(&tree), without_spans(&again), "{name}\n{once}");
    assert_eq!(format(key(), &once).expect("parses"), once, "{name}: a second time changes something");
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
        assert!(start <= end && end <= text.len(), "{problem:?} outside {text:?}");
        assert!(text.get(start..end).is_some(), "{problem:?} cuts a character of {text:?}");
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
                    let _ = scope.each(each, statements);
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

#[test]
fn every_shipped_file_keeps_its_meaning_in_the_canonical_layout() {
    for (path, text) in shipped() {
        check_layout(&path.display().to_string(), text);
    }
}
