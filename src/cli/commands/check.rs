//! `coldboard check`

use super::open;
use crate::check::{Checked, checked};
use crate::cli::output::Output;
use crate::cli::{Arguments as All, Exit};
use crate::diagnostic::terminal::summary;
use crate::diagnostic::{Diagnostic, any_error};
use std::path::PathBuf;

/// Find what is electrically wrong with a board or an assembly.
///
/// Ends with 0 when no error stands, 1 when one does, 2 when the design cannot be read.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// The design file.
    pub file: PathBuf,
    /// The board or assembly; the assembly of the file when none is named.
    pub name: Option<String>,
    /// Print the findings as JSON.
    #[arg(long)]
    pub json: bool,
}

/// Checks a design.
pub fn run(arguments: &Arguments, all: &All, output: &mut Output) -> Exit {
    let mut project = match open(&arguments.file, all, output) {
        Ok(project) => project,
        Err(exit) => return exit,
    };
    output.diagnostics(project.sources(), project.diagnostics());
    if any_error(project.diagnostics()) {
        return Exit::Unusable;
    }
    let (circuit, problems) = project.circuit(arguments.name.as_deref());
    output.diagnostics(project.sources(), &problems);
    let Some(circuit) = circuit else {
        return Exit::Unusable;
    };
    let Checked { findings, accepted } = checked(&circuit);
    let diagnostics: Vec<Diagnostic> = findings
        .iter()
        .map(|finding| finding.diagnostic.clone())
        .collect();
    if arguments.json {
        output.answer(&crate::check::json(project.sources(), &findings));
    } else {
        let text = output.rendered_answer(project.sources(), &diagnostics);
        output.answer(&text);
        output.answer(&format!("{}: {}\n", circuit.name, summary(&diagnostics)));
    }
    if any_error(&diagnostics) || any_error(&problems) {
        Exit::Failed
    } else {
        Exit::Good
    }
}
