//! What goes to the terminal: answers to standard output, everything else to standard error.

use super::Colour;
use crate::diagnostic::terminal::Terminal;
use crate::diagnostic::{Diagnostic, Look};
use crate::text::Sources;
use std::io::{IsTerminal, Write};

/// The lines of an answer that goes to a file or to another program.
const WIDTH: usize = 110;

/// Standard output and standard error.
pub struct Output {
    colour: Colour,
    gone: bool,
}

impl Output {
    /// Both streams.
    pub fn new(colour: Colour) -> Output {
        Output {
            colour,
            gone: false,
        }
    }

    /// An answer.
    pub fn answer(&mut self, text: &str) {
        let mut stream = std::io::stdout().lock();
        if stream
            .write_all(text.as_bytes())
            .and_then(|()| stream.flush())
            .is_err()
        {
            self.gone = true;
        }
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
        let text = self.rendered(sources, diagnostics, std::io::stderr().is_terminal());
        let _ = std::io::stderr().lock().write_all(text.as_bytes());
    }

    /// Diagnostics as text, for standard output.
    pub fn rendered_answer(&self, sources: &Sources, diagnostics: &[Diagnostic]) -> String {
        self.rendered(sources, diagnostics, std::io::stdout().is_terminal())
    }

    fn rendered(&self, sources: &Sources, diagnostics: &[Diagnostic], terminal: bool) -> String {
        let no_colour = std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
        let colour = match self.colour {
            Colour::Always => true,
            Colour::Never => false,
            Colour::Auto => terminal && !no_colour,
        };
        Terminal { colour, width: 110 }.render(sources, diagnostics)
    }

    /// Characters in a line of an answer: as many as the terminal has, or 110 when there is none.
    pub fn width(&self) -> usize {
        let terminal = terminal_size::terminal_size_of(std::io::stdout());
        terminal.map_or(WIDTH, |(width, _)| usize::from(width.0).clamp(60, 160))
    }

    /// True when the reader of the answer closed the pipe.
    pub fn reader_is_gone(&self) -> bool {
        self.gone
    }

    /// True when a person watches standard error.
    pub fn person_watches(&self) -> bool {
        std::io::stderr().is_terminal()
    }
}
