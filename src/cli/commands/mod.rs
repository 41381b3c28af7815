//! One file a command: its arguments, its help, what it does.

pub mod check;
pub mod format;
pub mod reference;
pub mod rule;
pub mod run;
mod step;

use super::files::{Disk, part_files};
use super::output::Output;
use super::{Arguments, Exit};
use crate::part::Library;
use crate::project::Project;
use crate::text::Files;
use std::path::Path;

/// Opens a design with the built-in library and the folder that the person named; tells what is wrong with it.
fn open(path: &Path, arguments: &Arguments, output: &mut Output) -> Result<Project, Exit> {
    let mut library = Library::built_in();
    if let Some(folder) = &arguments.library {
        let texts = part_files(folder).and_then(|paths| {
            paths
                .into_iter()
                .map(|path| {
                    let bytes = Disk.read(&path)?;
                    let name = path.display().to_string();
                    String::from_utf8(bytes)
                        .map(|text| (name.clone(), text))
                        .map_err(|_| format!("{name} is no text"))
                })
                .collect::<Result<Vec<_>, String>>()
        });
        match texts {
            Ok(texts) => texts
                .into_iter()
                .for_each(|(path, text)| library.add_text(&path, &text)),
            Err(sentence) => {
                output.remark(&format!("error: {sentence}"));
                return Err(Exit::Unusable);
            }
        }
    }
    Ok(Project::open(&Disk, path, library))
}
