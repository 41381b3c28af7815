//! What goes to the terminal: answers to standard output, everything else to standard error.
//!
//! Nothing else in the program writes to either. Texts may hold what stands in files, in file names or on the command
//! line, so every text is escaped here; only colours of the program's own views pass.

use super::files::reason;
use crate::diagnostic::terminal::Terminal;
use crate::diagnostic::{Diagnostic, Look};
use crate::text::Sources;
use crate::text::escape::{escape, escape_all_but_colours, escape_json};
use clap::ValueEnum;
use serde::Serialize;
use std::io::{IsTerminal, Write};
use terminal_size::{Height, Width, terminal_size_of};

/// The lines of an answer that goes to a file or to another program.
const WIDTH: usize = 110;

/// When to use colour.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Colour {
    /// At a terminal.
    Auto,
    /// Always.
    Always,
    /// Never.
    Never,
}

/// Standard output and standard error.
pub(crate) struct Output {
    colour: Colour,
    ended: Option<Ended>,
}

/// Why nothing more of the answer can be written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Ended {
    /// The reader closed the pipe (`| head`): it has had what it wanted.
    ReaderGone,
    /// Anything else: the answer is not whole.
    Broken,
}

impl Output {
    /// Both streams.
    pub(crate) fn new(colour: Colour) -> Output {
        Output { colour, ended: None }
    }

    /// An answer. When it cannot be written that is told once.
    pub(crate) fn answer(&mut self, text: &str) {
        self.write(&escape(text));
    }

    /// To standard output, as it stands.
    fn write(&mut self, text: &str) {
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
            self.remark(&format!("error: cannot write the answer: {}", reason(&error)));
            self.ended = Some(Ended::Broken);
        }
    }

    /// An answer for a program.
    ///
    /// # Errors
    /// A sentence for a person when it has no such form.
    pub(crate) fn json(&mut self, answer: &impl Serialize) -> Result<(), String> {
        let text = serde_json::to_string_pretty(answer);
        let text = text.map_err(|error| format!("the answer cannot be written as JSON: {error}"))?;
        self.answer_json(&format!("{text}\n"));
        Ok(())
    }

    /// An answer that is JSON already.
    pub(crate) fn answer_json(&mut self, json: &str) {
        self.write(&escape_json(json));
    }

    /// A remark that is not the answer.
    pub(crate) fn remark(&mut self, text: &str) {
        // When even standard error is gone there is nobody left to tell.
        let _ = writeln!(std::io::stderr().lock(), "{}", escape(text));
    }

    /// A line that takes the place of the last one, for a person who watches; an empty one takes it away.
    pub(crate) fn progress(&mut self, text: &str) {
        let mut stream = std::io::stderr().lock();
        let text = escape(text);
        let _ = write!(stream, "\r\x1b[K{text}").and_then(|()| stream.flush());
    }

    /// Diagnostics, to standard error.
    pub(crate) fn diagnostics(&mut self, sources: &Sources, diagnostics: &[Diagnostic]) {
        let stream = std::io::stderr();
        let width = columns(terminal_size_of(&stream));
        let text = self.rendered(sources, diagnostics, stream.is_terminal(), width);
        let _ = stream.lock().write_all(text.as_bytes());
    }

    /// Diagnostics as an answer.
    pub(crate) fn answer_diagnostics(&mut self, sources: &Sources, diagnostics: &[Diagnostic]) {
        let terminal = std::io::stdout().is_terminal();
        let text = self.rendered(sources, diagnostics, terminal, self.width());
        self.write(&text);
    }

    /// Help, or what is wrong with the arguments; these must have been escaped before they came into the text.
    pub(crate) fn usage(&mut self, text: &clap::builder::StyledStr, is_answer: bool) {
        let terminal = if is_answer { std::io::stdout().is_terminal() } else { std::io::stderr().is_terminal() };
        let text = if self.colours(terminal) {
            escape_all_but_colours(&text.ansi().to_string()).into_owned()
        } else {
            escape(&text.to_string()).into_owned()
        };
        if is_answer {
            self.write(&text);
        } else {
            let _ = std::io::stderr().lock().write_all(text.as_bytes());
        }
    }

    fn colours(&self, terminal: bool) -> bool {
        let no_colour = std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
        match self.colour {
            Colour::Always => true,
            Colour::Never => false,
            Colour::Auto => terminal && !no_colour,
        }
    }

    fn rendered(&self, sources: &Sources, diagnostics: &[Diagnostic], terminal: bool, width: usize) -> String {
        let colour = self.colours(terminal);
        let text = Terminal { colour, width }.render(sources, diagnostics);
        if colour { escape_all_but_colours(&text).into_owned() } else { escape(&text).into_owned() }
    }

    /// Characters in a line of an answer: as many as the terminal has, or 110 when there is none.
    pub(crate) fn width(&self) -> usize {
        columns(terminal_size_of(std::io::stdout()))
    }

    /// Why the answer could not be written to its end.
    pub(crate) fn ended(&self) -> Option<Ended> {
        self.ended
    }

    /// True when a person watches standard error.
    pub(crate) fn is_interactive(&self) -> bool {
        std::io::stderr().is_terminal()
    }
}

/// The columns of a terminal, within what can be laid out well.
fn columns(size: Option<(Width, Height)>) -> usize {
    size.map_or(WIDTH, |(width, _)| usize::from(width.0).clamp(60, 160))
}
