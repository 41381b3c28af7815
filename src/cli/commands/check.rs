//! `coldboard check`

use super::open::read;
use crate::check::{Checked, Finding, checked};
use crate::cli::exit::Exit;
use crate::cli::output::Output;
use crate::cli::shared::Shared;
use crate::diagnostic::terminal::summary;
use crate::diagnostic::{Diagnostic, Severity, any_error};
use std::path::PathBuf;

/// Find what is electrically wrong with a board or an assembly.
///
/// The board with the worst findings comes first. What a design accepts is counted, not shown.
///
/// Ends with 0 when no error stands, 1 when one does, 2 when the design cannot be read.
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    /// The design file.
    pub file: PathBuf,
    /// The board or assembly; the assembly of the file when none is named.
    pub name: Option<String>,
    /// Print the findings as JSON.
    #[arg(long)]
    pub json: bool,
}

/// Checks a design.
pub(crate) fn run(arguments: &Arguments, all: &Shared, output: &mut Output) -> Exit {
    let mut project = match read(&arguments.file, all, output) {
        Ok(project) => project,
        Err(exit) => return exit,
    };
    let (circuit, problems) = project.circuit(arguments.name.as_deref());
    output.diagnostics(project.sources(), &problems);
    let Some(circuit) = circuit else {
        return Exit::Unusable;
    };
    let checked = checked(&circuit);
    let Checked { findings, waived } = &checked;
    let diagnostics: Vec<Diagnostic> = findings.iter().map(|finding| finding.diagnostic.clone()).collect();
    if arguments.json {
        output.answer_json(&crate::check::json(project.sources(), &checked));
    } else {
        for group in by_board(findings) {
            let reported: Vec<Diagnostic> = group.iter().map(|finding| finding.diagnostic.clone()).collect();
            if circuit.assembly {
                let board = &group[0].board;
                output.answer(&format!("{board}: {}\n\n", summary(&reported)));
            }
            output.answer_diagnostics(project.sources(), &reported);
            if circuit.assembly {
                output.answer("\n");
            }
        }
        let accepted = match waived.len() {
            0 => String::new(),
            count => format!(", {count} accepted"),
        };
        let all: Vec<Diagnostic> = problems.iter().chain(&diagnostics).cloned().collect();
        output.answer(&format!("{}: {}{accepted}\n", circuit.name, summary(&all)));
    }
    if any_error(&diagnostics) || any_error(&problems) { Exit::Failed } else { Exit::Good }
}

/// The findings of each board, the board with the worst ones first.
fn by_board(findings: &[Finding]) -> Vec<&[Finding]> {
    let mut groups: Vec<&[Finding]> = findings.chunk_by(|a, b| a.board == b.board).collect();
    groups.sort_by_key(|group| {
        let count = |severity| {
            let alike = group.iter().filter(|finding| finding.diagnostic.severity == severity);
            std::cmp::Reverse(alike.count())
        };
        [Severity::Error, Severity::Warning, Severity::Note].map(count)
    });
    groups
}
