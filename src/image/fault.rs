//! What is wrong with an image file.

use crate::diagnostic::Diagnostic;

/// One thing that is wrong with an image file.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct ImageFault {
    /// The line, counted from 1.
    pub line: usize,
    /// The column in characters, counted from 1.
    pub column: usize,
    /// What is wrong.
    pub message: String,
    /// What to do about it.
    pub help: String,
    /// The line, cut to 100 characters; empty when the file has no lines.
    pub text: String,
}

impl ImageFault {
    /// The fault as a diagnostic, whose message starts with the place in the file of that name.
    pub fn to_diagnostic(&self, name: &str) -> Diagnostic {
        let (line, column, message) = (self.line, self.column, &self.message);
        let diagnostic =
            Diagnostic::error("image", format!("{name}:{line}:{column}: {message}")).help(self.help.as_str());
        if self.text.is_empty() { diagnostic } else { diagnostic.note(format!("the line reads {}", self.text)) }
    }
}
