//! Files that are read: within a bound, and never waited for without end.

use super::reason;
use crate::diagnostic::did_you_mean;
use crate::text::{Files, LARGEST_SOURCE};
use std::fs;
use std::io::Read;
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
        // Opening could wait already, so what it is comes first.
        if let Some(sentence) = no_file(path, &fs::metadata(path).map_err(cannot)?) {
            return Err(sentence);
        }
        let file = fs::File::open(path).map_err(cannot)?;
        let mut bytes = Vec::new();
        file.take(LARGEST_SOURCE as u64 + 1).read_to_end(&mut bytes).map_err(cannot)?;
        if bytes.len() > LARGEST_SOURCE {
            return Err(format!("{} is larger than {} MiB", path.display(), LARGEST_SOURCE >> 20));
        }
        Ok(bytes)
    }
}

/// Names of a folder that are compared with one that is not there.
const MOST_NAMES: usize = 1000;

/// The file that was probably meant: the same with its ending, or one with a similar name.
fn near(path: &Path) -> Option<String> {
    let name = path.file_name()?.to_string_lossy();
    let folder = path.parent().filter(|folder| *folder != Path::new(""));
    let entries = fs::read_dir(folder.unwrap_or(Path::new("."))).ok()?;
    let entries = entries.flatten().take(MOST_NAMES);
    let mut names: Vec<String> = entries.map(|entry| entry.file_name().to_string_lossy().into_owned()).collect();
    names.sort();
    let whole = names.iter().find(|other| **other == format!("{name}.board"));
    match whole {
        Some(whole) => Some(format!("did you mean `{whole}`?")),
        None => did_you_mean(&name, names.iter().map(String::as_str)),
    }
}

/// Why something that is no file is not read. A pipe is, when somebody has opened it already: what `<(...)` names, and
/// standard input.
fn no_file(path: &Path, found: &fs::Metadata) -> Option<String> {
    let there = path.display();
    if found.is_file() {
        None
    } else if found.is_dir() {
        Some(format!("{there} is a folder, not a file"))
    } else if is_pipe(found) {
        let open = ["/dev/stdin", "/dev/fd", "/proc/self/fd"];
        let named = !open.iter().any(|place| path.starts_with(place));
        named.then(|| {
            format!("{there} is a named pipe, for whose writer one could wait for ever: name a file, or /dev/stdin")
        })
    } else {
        Some(format!("{there} is a device or a socket, not a file"))
    }
}

#[cfg(unix)]
fn is_pipe(found: &fs::Metadata) -> bool {
    use std::os::unix::fs::FileTypeExt;
    found.file_type().is_fifo()
}

#[cfg(not(unix))]
fn is_pipe(_: &fs::Metadata) -> bool {
    false
}

/// The `.part` files of a folder and its folders, in order of their paths.
///
/// # Errors
/// A sentence for a person when the folder cannot be read.
pub(crate) fn part_files(folder: &Path) -> Result<Vec<PathBuf>, String> {
    let mut found = Vec::new();
    let mut folders = vec![(folder.to_owned(), 0)];
    while let Some((folder, depth)) = folders.pop() {
        let entries = fs::read_dir(&folder)
            .map_err(|error| format!("cannot read the folder {}: {}", folder.display(), reason(&error)))?;
        for entry in entries.flatten() {
            let path = entry.path();
            if path.is_dir() && depth < 8 {
                folders.push((path, depth + 1));
            } else if path.extension().is_some_and(|extension| extension == "part") {
                found.push(path);
            }
        }
    }
    found.sort();
    Ok(found)
}
