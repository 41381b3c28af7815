//! Exit codes.

use std::process::ExitCode;

/// How the program ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Exit {
    /// All passed.
    Good,
    /// An expectation, a data-sheet limit or a rule failed.
    Failed,
    /// The input cannot be used.
    Unusable,
    /// A person interrupted it before there was a verdict.
    Interrupted,
}

impl From<Exit> for ExitCode {
    fn from(exit: Exit) -> ExitCode {
        ExitCode::from(match exit {
            Exit::Good => 0,
            Exit::Failed => 1,
            Exit::Unusable => 2,
            // As a shell says of a command that SIGINT has ended: 128 and its number.
            Exit::Interrupted => 130,
        })
    }
}
