//! What several commands do first: open a library and a design, read a number, refuse.

use crate::cli::exit::Exit;
use crate::cli::files::{Disk, part_files};
use crate::cli::output::Output;
use crate::cli::shared::Shared;
use crate::diagnostic::any_error;
use crate::part::Library;
use crate::project::Project;
use crate::text::Files;
use std::ops::RangeInclusive;
use std::path::Path;

/// Opens a design with the library; tells what is wrong with the library's folder.
pub(super) fn open(path: &Path, shared: &Shared, output: &mut Output) -> Result<Project, Exit> {
    let library = library(shared, output)?;
    Ok(Project::open(&Disk, path, library))
}

/// Opens a design and tells what there is to say about its files.
///
/// # Errors
/// When something in them is wrong.
pub(super) fn read(path: &Path, shared: &Shared, output: &mut Output) -> Result<Project, Exit> {
    let project = open(path, shared, output)?;
    output.diagnostics(project.sources(), project.diagnostics());
    if any_error(project.diagnostics()) {
        return Err(Exit::Unusable);
    }
    Ok(project)
}

/// Reads a whole number within a range, for an option.
pub(super) fn whole(range: RangeInclusive<u16>) -> impl Fn(&str) -> Result<u16, String> + Clone {
    move |text| {
        let number = text.trim().parse().ok();
        number
            .filter(|number| range.contains(number))
            .ok_or_else(|| format!("write a whole number from {} to {}", range.start(), range.end()))
    }
}

/// Tells why nothing can be done.
pub(super) fn unusable(output: &mut Output, sentence: &str) -> Exit {
    output.remark(&format!("error: {sentence}"));
    Exit::Unusable
}

/// The built-in library with the folder that the person named; tells when that cannot be read.
pub(super) fn library(shared: &Shared, output: &mut Output) -> Result<Library, Exit> {
    let mut library = Library::built_in();
    if let Some(folder) = &shared.library {
        let texts = part_files(folder).and_then(|paths| {
            paths
                .into_iter()
                .map(|path| {
                    let bytes = Disk.read(&path)?;
                    let name = path.display().to_string();
                    String::from_utf8(bytes).map(|text| (name.clone(), text)).map_err(|_| format!("{name} is no text"))
                })
                .collect::<Result<Vec<_>, String>>()
        });
        match texts {
            Ok(texts) => texts.into_iter().for_each(|(path, text)| library.add_text(&path, &text)),
            Err(sentence) => {
                return Err(unusable(output, &sentence));
            }
        }
    }
    Ok(library)
}
