//! Arguments that all commands have.

use super::output::Colour;
use clap::Args;
use std::path::PathBuf;

// No documentation: it would stand in the help in place of the program's own.
#[allow(missing_docs)]
#[derive(Debug, Args)]
pub(crate) struct Shared {
    /// A folder of .part files that add to the built-in library or override it.
    #[arg(long, global = true, value_name = "FOLDER")]
    pub library: Option<PathBuf>,
    /// When to use colour; NO_COLOR is respected.
    #[arg(long, global = true, value_name = "WHEN", default_value = "auto")]
    pub colour: Colour,
}
