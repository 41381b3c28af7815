//! Files on the disk: read with a bound, written whole or not at all.

use crate::diagnostic::did_you_mean;
use crate::text::{Files, LARGEST_SOURCE};
use std::fs;
use std::io::{Read, Write};
use std::path::{Path, PathBuf};

/// The disk.
#[derive(Clone, Copy, Debug, Default)]
pub struct Disk;

impl Files for Disk {
    fn read(&self, path: &Path) -> Result<Vec<u8>, String> {
        let cannot = |error: std::io::Error| {
            let near = match error.kind() {
                std::io::ErrorKind::NotFound => near(path),
                _ => None,
            };
            let near = near.map_or_else(String::new, |near| format!("; {near}"));
            format!("cannot read {}: {}{near}", path.display(), reason(&error))
        };
        let file = fs::File::open(path).map_err(cannot)?;
        if file.metadata().map_err(cannot)?.is_dir() {
            return Err(format!("{} is a folder, not a file", path.display()));
        }
        let mut bytes = Vec::new();
        file.take(LARGEST_SOURCE as u64 + 1)
            .read_to_end(&mut bytes)
            .map_err(cannot)?;
        if bytes.len() > LARGEST_SOURCE {
            return Err(format!(
                "{} is larger than {} MiB",
                path.display(),
                LARGEST_SOURCE >> 20
            ));
        }
        Ok(bytes)
    }
}

/// Writes a whole file beside its place and moves it there, so that nobody ever sees half of it. What a link points to
/// is replaced, not the link; a pipe or a device is written to as it stands.
///
/// # Errors
/// A sentence for a person when the disk refuses.
pub fn write(path: &Path, bytes: &[u8]) -> Result<(), String> {
    let cannot = |error: std::io::Error| cannot_write(path, &error);
    let target = fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
    if fs::metadata(&target).is_ok_and(|found| !found.is_file() && !found.is_dir()) {
        let opened = fs::OpenOptions::new().write(true).open(&target);
        return opened
            .and_then(|mut file| file.write_all(bytes))
            .map_err(cannot);
    }
    let path = target.as_path();
    let mut beside: PathBuf = path.to_owned();
    let name = path
        .file_name()
        .ok_or_else(|| format!("{} is not a file name", path.display()))?;
    beside.set_file_name(format!(
        ".{}.{}.new",
        name.to_string_lossy(),
        std::process::id()
    ));
    let result = fs::File::create(&beside)
        .and_then(|mut file| file.write_all(bytes).and_then(|()| file.sync_all()))
        .and_then(|()| fs::rename(&beside, path));
    result.map_err(|error| {
        // The half-written file is of no use; that it may be gone already is no new problem.
        let _ = fs::remove_file(&beside);
        cannot(error)
    })
}

/// Names of a folder that are compared with one that is not there.
const MOST_NAMES: usize = 1000;

/// The file that was probably meant: the same with its ending, or one with a similar name.
fn near(path: &Path) -> Option<String> {
    let name = path.file_name()?.to_string_lossy();
    let folder = path.parent().filter(|folder| *folder != Path::new(""));
    let entries = fs::read_dir(folder.unwrap_or(Path::new("."))).ok()?;
    let entries = entries.flatten().take(MOST_NAMES);
    let mut names: Vec<String> = entries
        .map(|entry| entry.file_name().to_string_lossy().into_owned())
        .collect();
    names.sort();
    let whole = names
        .iter()
        .find(|other| **other == format!("{name}.board"));
    match whole {
        Some(whole) => Some(format!("did you mean `{whole}`?")),
        None => did_you_mean(&name, names.iter().map(String::as_str)),
    }
}

/// Refuses outputs that cannot be written, that would be written over each other, or over a file that is read, before
/// any work is done. Each goes with the option that names it. A pipe or a device takes several.
///
/// # Errors
/// A sentence for a person.
pub fn outputs<'p>(
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
                return Err(format!(
                    "{option} would write over {there}, which is read: name another file"
                ));
            }
            Some((other, _)) => {
                return Err(format!(
                    "{other} and {option} are one file, {there}: give each a file of its own"
                ));
            }
        }
    }
    Ok(())
}

/// A name for one of several files: `waves.vcd` with `tune` is `waves-tune.vcd`.
pub fn suffixed(path: &Path, suffix: &str) -> PathBuf {
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
pub struct Journal {
    path: PathBuf,
    file: fs::File,
}

impl Journal {
    /// Begins with whole lines, in place of what was there.
    ///
    /// # Errors
    /// A sentence for a person when the disk refuses.
    pub fn begin(path: &Path, lines: &str) -> Result<Journal, String> {
        write(path, lines.as_bytes())?;
        let file = fs::OpenOptions::new().append(true).open(path);
        let file = file.map_err(|error| cannot_write(path, &error))?;
        Ok(Journal {
            path: path.to_owned(),
            file,
        })
    }

    /// Adds a line.
    ///
    /// # Errors
    /// A sentence for a person when the disk refuses.
    pub fn append(&mut self, line: &str) -> Result<(), String> {
        let written = self.file.write_all(line.as_bytes());
        written.map_err(|error| cannot_write(&self.path, &error))
    }
}

/// Stand-in.
pub struct Stream {
    file: std::io::BufWriter<fs::File>,
}
impl Stream {
    pub fn create(path: &Path) -> Result<Stream, String> {
        let file = fs::File::create(path).map_err(|error| cannot_write(path, &error))?;
        Ok(Stream {
            file: std::io::BufWriter::new(file),
        })
    }
    pub fn finish(mut self) -> Result<(), String> {
        self.file.flush().map_err(|e| e.to_string())
    }
}
impl Write for Stream {
    fn write(&mut self, b: &[u8]) -> std::io::Result<usize> {
        self.file.write(b)
    }
    fn flush(&mut self) -> std::io::Result<()> {
        self.file.flush()
    }
}

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
        _ => error.to_string(),
    }
}

/// The `.part` files of a folder and its folders, in order of their paths.
///
/// # Errors
/// A sentence for a person when the folder cannot be read.
pub fn part_files(folder: &Path) -> Result<Vec<PathBuf>, String> {
    let mut found = Vec::new();
    let mut folders = vec![(folder.to_owned(), 0)];
    while let Some((folder, depth)) = folders.pop() {
        let entries = fs::read_dir(&folder).map_err(|error| {
            format!(
                "cannot read the folder {}: {}",
                folder.display(),
                reason(&error)
            )
        })?;
        for entry in entries.flatten() {
            let path = entry.path();
            if path.is_dir() && depth < 8 {
                folders.push((path, depth + 1));
            } else if path
                .extension()
                .is_some_and(|extension| extension == "part")
            {
                found.push(path);
            }
        }
    }
    found.sort();
    Ok(found)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_replaced_whole() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("a.txt");
        write(&path, b"first").expect("written");
        write(&path, b"second").expect("written");
        assert_eq!(fs::read(&path).expect("read"), b"second");
        assert_eq!(
            fs::read_dir(folder.path()).expect("listed").count(),
            1,
            "nothing is left beside it"
        );
        let nowhere = folder.path().join("no/such/a.txt");
        assert!(
            write(&nowhere, b"x")
                .expect_err("refused")
                .contains("there is no such file")
        );
    }
}
