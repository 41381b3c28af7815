//! `coldboard format`

use crate::cli::exit::Exit;
use crate::cli::files::{Disk, write};
use crate::cli::output::Output;
use crate::language::format::{format, format_updated};
use crate::text::{Files, Sources};
use std::path::PathBuf;

/// Print design or part files in their canonical layout.
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    /// The files.
    #[arg(required = true)]
    pub files: Vec<PathBuf>,
    /// Print nothing; end with 1 and name the files that are laid out otherwise.
    #[arg(long, conflicts_with = "write")]
    pub check: bool,
    /// Put the layout into the files instead of printing it.
    #[arg(long)]
    pub write: bool,
    /// Replace spellings of earlier versions of the language by the present ones.
    #[arg(long)]
    pub update: bool,
}

/// Formats each file.
pub(crate) fn run(arguments: &Arguments, output: &mut Output) -> Exit {
    let mut exit = Exit::Good;
    for path in &arguments.files {
        let name = path.display().to_string();
        let text = match Disk
            .read(path)
            .and_then(|bytes| String::from_utf8(bytes).map_err(|_| format!("{name} is not a text in UTF-8")))
        {
            Ok(text) => text,
            Err(sentence) => {
                output.remark(&format!("error: {sentence}"));
                exit = Exit::Unusable;
                continue;
            }
        };
        let mut sources = Sources::new();
        let file = sources.add(name.clone(), text.clone());
        let layout = if arguments.update { format_updated } else { format };
        match layout(file, &text) {
            Err(problems) => {
                output.diagnostics(&sources, &problems);
                exit = Exit::Unusable;
            }
            Ok(laid_out) if arguments.check => {
                if laid_out != text {
                    output.answer(&format!("{name}\n"));
                    if exit == Exit::Good {
                        exit = Exit::Failed;
                    }
                }
            }
            Ok(laid_out) if arguments.write => {
                if laid_out != text
                    && let Err(sentence) = write(path, laid_out.as_bytes())
                {
                    output.remark(&format!("error: {sentence}"));
                    exit = Exit::Unusable;
                }
            }
            Ok(laid_out) => output.answer(&laid_out),
        }
    }
    exit
}
