//! Reading a file of vectors that a trial names.

use super::Binder;
use crate::diagnostic::{Diagnostic, count};
use crate::image::Image;
use crate::language::ast::{Item, Path, Piece, Template, TrialStatement};
use crate::language::parse;
use crate::text::{Sources, Span, Spanned};
use crate::trial::vectors::{Cell, Column, Vectors};
use std::sync::Arc;

/// Bytes of a file.
const LARGEST: usize = 8 << 20;

/// Bytes of a line.
const LONGEST_LINE: usize = 16_384;

/// Columns of a file.
const MOST_COLUMNS: usize = 256;

/// Mistakes that are told of one file.
const MOST_PROBLEMS: usize = 20;

impl Binder<'_> {
    /// The vectors of a file that a trial names.
    pub(super) fn vectors(&mut self, file: &Spanned<String>) -> Option<Arc<Vectors>> {
        if let Some(known) = self.files.vectors.get(&file.span) {
            return Some(known.clone());
        }
        let image = match (self.images?)(file) {
            Ok(image) => image,
            Err(problems) => {
                self.problems.extend(problems);
                return None;
            }
        };
        let vectors = Arc::new(self.read_vectors(file, &image)?);
        Arc::make_mut(&mut self.files).vectors.insert(file.span, vectors.clone());
        Some(vectors)
    }

    fn read_vectors(&mut self, file: &Spanned<String>, image: &Image) -> Option<Vectors> {
        let known = self.problems.len();
        let mut reading = Reading { file: &file.node, span: file.span, problems: Vec::new() };
        let bytes: Vec<u8> = image.segments().flat_map(|(_, bytes)| bytes).copied().collect();
        let vectors = if bytes.len() > LARGEST {
            reading.tell(1, 1, format!("a file of vectors has {} MiB at most", LARGEST >> 20), "write several files");
            None
        } else {
            match std::str::from_utf8(&bytes) {
                Ok(text) => self.rows(&mut reading, text),
                Err(error) => {
                    let before = &bytes[..error.valid_up_to()];
                    let line = before.iter().filter(|&&byte| byte == b'\n').count() + 1;
                    let column = before.iter().rev().take_while(|&&byte| byte != b'\n').count() + 1;
                    reading.tell(line, column, "this is not a text in UTF-8".to_owned(), "save the file as plain text");
                    None
                }
            }
        };
        self.problems.append(&mut reading.problems);
        vectors.filter(|_| self.problems.len() == known)
    }

    fn rows(&mut self, reading: &mut Reading<'_>, text: &str) -> Option<Vectors> {
        let mut vectors =
            Vectors { file: reading.file.to_owned(), columns: Vec::new(), cells: Vec::new(), lines: Vec::new() };
        let mut heading = false;
        for (number, line) in text.trim_start_matches('\u{feff}').lines().enumerate() {
            let number = number + 1;
            if reading.problems.len() >= MOST_PROBLEMS {
                break;
            }
            if line.len() > LONGEST_LINE {
                let message = format!("this line has {} bytes, {LONGEST_LINE} are read", line.len());
                reading.tell(number, LONGEST_LINE + 1, message, "write a row on each line");
                return None;
            }
            if line.trim().is_empty() || line.trim_start().starts_with('#') {
                continue;
            }
            if heading {
                reading.row(number, line, &mut vectors);
            } else {
                self.heading(reading, number, line, &mut vectors)?;
                heading = true;
            }
        }
        if !heading {
            let help = "begin it with a heading such as `set a, set b, expect sum`";
            reading.tell(1, 1, "there are no vectors in this file".to_owned(), help);
        }
        Some(vectors)
    }

    fn heading(&mut self, reading: &mut Reading<'_>, line: usize, text: &str, vectors: &mut Vectors) -> Option<()> {
        let known = reading.problems.len();
        let cells = cells(text);
        if cells.len() > MOST_COLUMNS {
            let message = format!("more than {MOST_COLUMNS} columns");
            reading.tell(line, cells[MOST_COLUMNS].0, message, "take several signals as one row of bits, `m[0..7]`");
            return None;
        }
        for (column, cell) in cells {
            let (expected, name) = match cell.split_once([' ', '\t']) {
                Some(("set", name)) => (false, name.trim()),
                Some(("expect", name)) => (true, name.trim()),
                _ => {
                    let message = format!("`{}` does not say what its column is", shortened(cell));
                    reading.tell(line, column, message, "write `set NAME` for a stimulus, `expect NAME` for a result");
                    continue;
                }
            };
            let path = written_path(name, reading.span);
            let before = self.problems.len();
            let signal = if expected { self.signal(&path) } else { self.driven(&path) };
            let Some(signal) = signal else {
                // The place in the file says more than that of the statement.
                for problem in self.problems.drain(before..) {
                    let help = problem.help.unwrap_or_else(|| "name a net, a pin or a row of bits".to_owned());
                    reading.tell(line, column, problem.message, &help);
                }
                continue;
            };
            let twice = vectors.columns.iter().any(|other| other.expected == expected && other.signal == signal);
            if twice {
                reading.tell(line, column, format!("there are two columns `{cell}`"), "leave one of them out");
            }
            vectors.columns.push(Column { signal, expected });
        }
        (reading.problems.len() == known).then_some(())
    }
}

/// What is read, and what is wrong with it.
struct Reading<'t> {
    file: &'t str,
    /// Where the trial names it.
    span: Span,
    problems: Vec<Diagnostic>,
}

impl Reading<'_> {
    fn tell(&mut self, line: usize, column: usize, message: String, help: &str) {
        let message = format!("{}:{line}:{column}: {message}", self.file);
        self.problems.push(Diagnostic::error("vectors", message).at(self.span, "this file").help(help));
    }

    fn row(&mut self, line: usize, text: &str, vectors: &mut Vectors) {
        let cells = cells(text);
        if cells.len() != vectors.columns.len() {
            let wanted = count(vectors.columns.len(), "column");
            let message = format!("{} here, but the heading has {wanted}", count(cells.len(), "cell"));
            let column = cells.get(vectors.columns.len()).or(cells.last()).map_or(1, |(column, _)| *column);
            return self.tell(line, column, message, "write a cell for each column, `-` for what does not matter");
        }
        for ((column, cell), head) in cells.into_iter().zip(&vectors.columns) {
            match Cell::read(cell, head.signal.nets.len() as u32) {
                Ok(cell) => vectors.cells.push(cell),
                Err(message) => {
                    let help = format!("the column is `{}`", head.signal.path);
                    self.tell(line, column, message, &help);
                    vectors.cells.push(Cell::default());
                }
            }
        }
        vectors.lines.push(line as u32);
    }
}

/// The cells of a line, each with its column, counted from 1.
fn cells(line: &str) -> Vec<(usize, &str)> {
    let mut column = 1;
    let cells = line.split(',').map(|cell| {
        let blanks = cell.chars().take_while(|c| c.is_whitespace()).count();
        let here = column + blanks;
        column += cell.chars().count() + 1;
        (here, cell.trim())
    });
    cells.collect()
}

fn shortened(text: &str) -> String {
    text.chars().take(40).collect()
}

/// A name as it is written in a trial: `A.m`, or a row of bits such as `A.m[0..3]`. What is no path stays one name, which
/// nothing has.
fn written_path(name: &str, span: Span) -> Path {
    let step = |text: &str| Template { pieces: vec![Piece::Text(text.to_owned())], span };
    let plain = || Path { steps: name.split('.').map(step).collect(), span };
    if !name.contains('[') || name.contains(|c: char| c.is_control() || matches!(c, '{' | '}' | '#' | '"')) {
        return plain();
    }
    let trial = format!("trial asked on it {{ show now: {name} }}");
    let (tree, problems) = parse(Sources::new().add("", trial.as_str()), &trial);
    let statements = tree.items.into_iter().filter_map(|item| match item {
        Item::Trial(trial) if problems.is_empty() => Some(trial.body),
        _ => None,
    });
    let mut fields = statements.flatten().filter_map(|statement| match statement.node {
        TrialStatement::Show(_, fields) => Some(fields),
        _ => None,
    });
    let mut fields = fields.next().unwrap_or_default().into_iter();
    match (fields.next(), fields.next()) {
        (Some(field), None) => Path { span, ..field.path },
        _ => plain(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_know_their_columns() {
        assert_eq!(cells("1,  0x2A,X"), [(1, "1"), (5, "0x2A"), (10, "X")]);
    }
}
