//! What goes to the terminal: answers to standard output, everything else to standard error.

use super::Colour;
use super::files::reason;
use crate::diagnostic::terminal::Terminal;
use crate::diagnostic::{Diagnostic, Look};
use crate::text::Sources;
use serde::Serialize;
use std::io::{IsTerminal, Write};
use terminal_size::{Height, Width, terminal_size_of};

/// The lines of an answer that goes to a file or to another program.
const WIDTH: usize = 110;

/// Standard output and standard error.
pub struct Output {
    colour: Colour,
    ended: Option<Ended>,
}

/// Why nothing more of the answer can be written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ended {
    /// The reader closed the pipe (`| head`): it has had what it wanted.
    ReaderGone,
    /// Anything else: the answer is not whole.
    Broken,
}

impl Output {
    /// Both streams.
    pub fn new(colour: Colour) -> Output {
        Output {
            colour,
            ended: None,
        }
    }

    /// An answer. When it cannot be written that is told once.
    pub fn answer(&mut self, text: &str) {
        if self.ended.is_some() {
            return;
        }
        let mut stream = std::io::stdout().lock();
        let written = stream.write_all(text.as_bytes());
        let Err(error) = written.and_then(|()| stream.flush()) else {
            return;
        };
        if error.kind() == std::io::ErrorKind::BrokenPipe {
            self.ended = Some(Ended::ReaderGone);
        } else {
            self.remark(&format!(
                "error: cannot write the answer: {}",
                reason(&error)
            ));
            self.ended = Some(Ended::Broken);
        }
    }

    /// An answer for a program.
    ///
    /// # Errors
    /// A sentence for a person when it has no such form.
    pub fn json(&mut self, answer: &impl Serialize) -> Result<(), String> {
        let text = serde_json::to_string_pretty(answer);
        let text =
            text.map_err(|error| format!("the answer cannot be written as JSON: {error}"))?;
        self.answer(&format!("{text}\n"));
        Ok(())
    }

    /// A remark that is not the answer.
    pub fn remark(&mut self, text: &str) {
        // When even standard error is gone there is nobody left to tell.
        let _ = writeln!(std::io::stderr().lock(), "{text}");
    }

    /// A line that takes the place of the last one, for a person who watches; an empty one takes it away.
    pub fn progress(&mut self, text: &str) {
        let mut stream = std::io::stderr().lock();
        let _ = write!(stream, "\r\x1b[K{text}").and_then(|()| stream.flush());
    }

    /// Diagnostics, to standard error.
    pub fn diagnostics(&mut self, sources: &Sources, diagnostics: &[Diagnostic]) {
        let stream = std::io::stderr();
        let width = columns(terminal_size_of(&stream));
        let text = self.rendered(sources, diagnostics, stream.is_terminal(), width);
        let _ = stream.lock().write_all(text.as_bytes());
    }

    /// Diagnostics as text, for standard output.
    pub fn rendered_answer(&self, sources: &Sources, diagnostics: &[Diagnostic]) -> String {
        let terminal = std::io::stdout().is_terminal();
        self.rendered(sources, diagnostics, terminal, self.width())
    }

    fn rendered(
        &self,
        sources: &Sources,
        diagnostics: &[Diagnostic],
        terminal: bool,
        width: usize,
    ) -> String {
        let no_colour = std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
        let colour = match self.colour {
            Colour::Always => true,
            Colour::Never => false,
            Colour::Auto => terminal && !no_colour,
        };
        Terminal { colour, width }.render(sources, diagnostics)
    }

    /// Characters in a line of an answer: as many as the terminal has, or 110 when there is none.
    pub fn width(&self) -> usize {
        columns(terminal_size_of(std::io::stdout()))
    }

    /// Why the answer could not be written to its end.
    pub fn ended(&self) -> Option<Ended> {
        self.ended
    }

    /// True when a person watches standard error.
    pub fn person_watches(&self) -> bool {
        std::io::stderr().is_terminal()
    }
}

/// The columns of a terminal, within what can be laid out well.
fn columns(size: Option<(Width, Height)>) -> usize {
    size.map_or(WIDTH, |(width, _)| usize::from(width.0).clamp(60, 160))
}
