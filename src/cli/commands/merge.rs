//! `coldboard merge`

use super::open::unusable;
use super::sweep::{Views, damaged, read_journal};
use crate::cli::exit::Exit;
use crate::cli::files::{outputs, write};
use crate::cli::output::Output;
use crate::sweep::journal;
use std::path::PathBuf;

/// Put the journals of the slices of a sweep together.
///
/// Every point must be there once, and all journals must be of one design and one grid. Ends as `coldboard sweep` does.
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    /// The journals, in any order.
    #[arg(required = true)]
    pub files: Vec<PathBuf>,
    /// Write the whole as one journal.
    #[arg(long, value_name = "FILE")]
    pub journal: Option<PathBuf>,
    /// How the results are shown.
    #[command(flatten)]
    pub views: Views,
}

/// Puts them together.
pub(crate) fn run(arguments: &Arguments, output: &mut Output) -> Exit {
    let [csv, svg] = arguments.views.files();
    let journal = ("--journal", arguments.journal.as_deref());
    let read = arguments.files.iter().map(PathBuf::as_path);
    if let Err(sentence) = outputs(read, &[journal, csv, svg]) {
        return unusable(output, &sentence);
    }
    let mut journals = Vec::new();
    for path in &arguments.files {
        match read_journal(path) {
            Ok(journal) => journals.push((path.display().to_string(), journal)),
            Err(sentence) => return unusable(output, &sentence),
        }
    }
    let damaged: Vec<String> = journals.iter().flat_map(|(name, journal)| damaged(name, journal)).collect();
    if let Some(first) = damaged.first() {
        let more = match damaged.len() - 1 {
            0 => String::new(),
            1 => "; so is 1 more line".to_owned(),
            more => format!("; so are {more} more lines"),
        };
        let cure = "run `coldboard sweep --continue` on that journal";
        return unusable(output, &format!("{first}{more}: {cure}"));
    }
    let sweep = match journal::merge(journals) {
        Ok(sweep) => sweep,
        Err(problems) => {
            return unusable(output, &problems.join("\n       "));
        }
    };
    let written = match &arguments.journal {
        Some(path) => write(path, journal::whole(&sweep.header, &sweep.rows).as_bytes()),
        None => Ok(()),
    };
    match written.and_then(|()| arguments.views.show(&sweep, output)) {
        Ok(()) if sweep.is_good() => Exit::Good,
        Ok(()) => Exit::Failed,
        Err(sentence) => unusable(output, &sentence),
    }
}
