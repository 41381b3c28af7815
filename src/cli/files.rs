//! Files on the disk: read with a bound, written whole or not at all.

mod read;
mod stale;
mod stream;
pub(super) mod unfinished;

pub use read::Disk;
pub(crate) use read::part_files;
pub(crate) use stream::Stream;
pub(crate) use stream::{write, write_all};

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

/// Refuses outputs that cannot be written, that would be written over each other, or over a file that is read, before
/// any work is done. Each goes with the option that names it. A pipe or a device takes several.
///
/// # Errors
/// A sentence for a person.
pub(crate) fn outputs<'p>(
    read: impl IntoIterator<Item = &'p Path>,
    written: &[(&str, Option<&Path>)],
) -> Result<(), String> {
    let sources = read.into_iter().map(|path| ("", place(path)));
    let mut seen: Vec<(&str, PathBuf)> = sources.collect();
    for &(option, path) in written {
        let Some(path) = path else { continue };
        let there = path.display();
        let place = place(path);
        match fs::metadata(&place) {
            Ok(found) if found.is_dir() => {
                return Err(format!("{there} is a folder: name a file for {option}"));
            }
            Ok(found) if !found.is_file() => continue,
            _ => {}
        }
        if !place.parent().is_none_or(Path::is_dir) {
            return Err(format!(
                "cannot write {there}: there is no folder {}",
                path.parent().unwrap_or(path).display()
            ));
        }
        match seen.iter().find(|(_, taken)| *taken == place) {
            None => seen.push((option, place)),
            Some(("", _)) => {
                return Err(format!("{option} would write over {there}, which is read: name another file"));
            }
            Some((other, _)) => {
                return Err(format!("{other} and {option} are one file, {there}: give each a file of its own"));
            }
        }
    }
    Ok(())
}

/// A name for one of several files: `waves.vcd` with `tune` is `waves-tune.vcd`.
pub(crate) fn suffixed(path: &Path, suffix: &str) -> PathBuf {
    let stem = path.file_stem().unwrap_or_default().to_string_lossy();
    let mut name = format!("{stem}-{suffix}");
    if let Some(ending) = path.extension() {
        name = format!("{name}.{}", ending.to_string_lossy());
    }
    path.with_file_name(name)
}

/// Where a path leads, whether or not there is a file yet.
fn place(path: &Path) -> PathBuf {
    let whole = fs::canonicalize(path).ok();
    let in_folder = || {
        let folder = path.parent().filter(|folder| *folder != Path::new(""));
        let folder = fs::canonicalize(folder.unwrap_or(Path::new("."))).ok()?;
        Some(folder.join(path.file_name()?))
    };
    whole.or_else(in_folder).unwrap_or_else(|| path.to_owned())
}

/// A file that grows line by line.
#[derive(Debug)]
pub(crate) struct Journal {
    path: PathBuf,
    file: fs::File,
}

impl Journal {
    /// Begins with whole lines, in place of what was there.
    ///
    /// # Errors
    /// A sentence for a person when the disk refuses.
    pub(crate) fn begin(path: &Path, lines: &str) -> Result<Journal, String> {
        write(path, lines.as_bytes())?;
        let file = fs::OpenOptions::new().append(true).open(path);
        let file = file.map_err(|error| cannot_write(path, &error))?;
        Ok(Journal { path: path.to_owned(), file })
    }

    /// Adds a line.
    ///
    /// # Errors
    /// A sentence for a person when the disk refuses.
    pub(crate) fn append(&mut self, line: &str) -> Result<(), String> {
        let written = self.file.write_all(line.as_bytes());
        written.map_err(|error| cannot_write(&self.path, &error))
    }
}

/// That a file cannot be written, and why.
pub(super) fn cannot_write(path: &Path, error: &std::io::Error) -> String {
    format!("cannot write {}: {}", path.display(), reason(error))
}

/// Why the disk, or a stream, refused.
pub(super) fn reason(error: &std::io::Error) -> String {
    match error.kind() {
        std::io::ErrorKind::NotFound => "there is no such file".to_owned(),
        std::io::ErrorKind::PermissionDenied => "permission denied".to_owned(),
        std::io::ErrorKind::NotADirectory => "it is not a folder".to_owned(),
        std::io::ErrorKind::IsADirectory => "it is a folder".to_owned(),
        std::io::ErrorKind::StorageFull => "the disk is full".to_owned(),
        std::io::ErrorKind::ReadOnlyFilesystem => "the disk is read-only".to_owned(),
        _ => error.to_string(),
    }
}

#[cfg(test)]
mod tests;
