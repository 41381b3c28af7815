//! `coldboard picture`

use super::open::{read, unusable};
use crate::cli::exit::Exit;
use crate::cli::files::{outputs, write};
use crate::cli::output::Output;
use crate::cli::shared::Shared;
use crate::export::blocks::blocks;
use std::path::PathBuf;

/// Draw the boards of a design, their connectors and the cables between them (SVG).
///
/// Ends with 0 when the picture is there, 2 when the design cannot be read or the file not be written.
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    /// The design file.
    pub file: PathBuf,
    /// The board or assembly; the assembly of the file when none is named.
    pub name: Option<String>,
    /// Where the picture goes, instead of standard output.
    #[arg(long, value_name = "FILE")]
    pub svg: Option<PathBuf>,
}

/// Draws a design.
pub(crate) fn run(arguments: &Arguments, all: &Shared, output: &mut Output) -> Exit {
    let mut project = match read(&arguments.file, all, output) {
        Ok(project) => project,
        Err(exit) => return exit,
    };
    if let Err(sentence) = outputs(project.paths(), &[("--svg", arguments.svg.as_deref())]) {
        return unusable(output, &sentence);
    }
    let (circuit, problems) = project.circuit(arguments.name.as_deref());
    output.diagnostics(project.sources(), &problems);
    let Some(circuit) = circuit else {
        return Exit::Unusable;
    };
    let picture = blocks(&circuit);
    match &arguments.svg {
        None => output.answer(&picture),
        Some(path) => {
            if let Err(sentence) = write(path, picture.as_bytes()) {
                return unusable(output, &sentence);
            }
        }
    }
    Exit::Good
}
