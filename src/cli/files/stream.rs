//! Files that are written: beside their place first, then moved there, so that nobody ever sees half of one.
//!
//! What a link points to is replaced, not the link. A file keeps its permissions and, where this is allowed, its owner and
//! group. One with several names (hard links) is written over from a copy that is whole already, so that all its names
//! go on meaning one file. A pipe or a device is written to as it stands.

use super::stale::{Names, folder_of};
use super::unfinished::{RegistryGuard, registry};
use super::{cannot_write, reason};
use std::fs::{self, File, Metadata, OpenOptions, Permissions};
use std::io::{self, BufWriter, ErrorKind, Write};
use std::path::{Path, PathBuf};

/// The longest chain of links that is followed.
const MOST_LINKS: usize = 40;

/// Writes a whole file.
///
/// # Errors
/// A sentence for a person when the disk refuses, or the file is read-only; the old file is still there.
pub(crate) fn write(path: &Path, bytes: &[u8]) -> Result<(), String> {
    let mut stream = Stream::create(path)?;
    stream.fill(bytes)?;
    stream.finish()
}

/// Writes several whole files, all of them or none.
///
/// # Errors
/// A sentence for a person. When it does not say which files are new already, none is.
pub(crate) fn write_all(files: &[(PathBuf, Vec<u8>)]) -> Result<(), String> {
    let mut streams = Vec::with_capacity(files.len());
    for (path, bytes) in files {
        let stream = Stream::create(path)?;
        let twin = |other: &&(Stream, &Vec<u8>)| other.0.is_file() && other.0.target == stream.target;
        if let Some((other, _)) = streams.iter().find(twin) {
            let (a, b) = (other.shown.display(), path.display());
            return Err(format!("{a} and {b} are one file: give each a file of its own"));
        }
        streams.push((stream, bytes));
    }
    // What goes to a pipe cannot be taken back, so that it goes last.
    streams.sort_by_key(|(stream, _)| !stream.is_file());
    for (stream, bytes) in &mut streams {
        stream.fill(bytes)?;
        stream.make_ready()?;
    }
    let mut registry = registry();
    for at in 0..streams.len() {
        if let Err(sentence) = streams[at].0.put_in_place(&mut registry) {
            let names = |streams: &[(Stream, _)]| {
                let names = streams.iter().map(|(stream, _)| stream.shown.display().to_string());
                names.collect::<Vec<_>>().join(", ")
            };
            drop(registry);
            return Err(match at {
                0 => sentence,
                _ => {
                    format!("{sentence}; new already: {}; as before: {}", names(&streams[..at]), names(&streams[at..]))
                }
            });
        }
    }
    Ok(())
}

/// A file that is written piece by piece, of any size. It is in its place once it is [finished](Stream::finish); when it
/// is dropped before, nothing has changed.
#[derive(Debug)]
pub(crate) struct Stream {
    /// As the person named it.
    shown: PathBuf,
    /// Where links lead.
    target: PathBuf,
    replacement: Replacement,
    /// Those of the file that is replaced; they come last, since writing takes some of them away.
    permissions: Option<Permissions>,
    file: BufWriter<File>,
}

/// How what was written comes to its place.
#[derive(Debug)]
enum Replacement {
    /// It is there: a pipe, a device.
    InPlace,
    /// The temporary file is moved there.
    Rename(PathBuf),
    /// The temporary file is copied over what is there.
    CopyOver(PathBuf),
    /// It has come to its place.
    Done,
}

impl Stream {
    /// Begins a file.
    ///
    /// # Errors
    /// A sentence for a person when the disk refuses, or the file is read-only.
    pub(crate) fn create(path: &Path) -> Result<Stream, String> {
        let cannot = |error: io::Error| cannot_write(path, &error);
        let found = fs::metadata(path).ok();
        if found.as_ref().is_some_and(Metadata::is_dir) {
            return Err(format!("{} is a folder: name a file", path.display()));
        }
        if found.as_ref().is_some_and(|found| !found.is_file()) {
            let file = OpenOptions::new().write(true).open(path).map_err(cannot)?;
            return Ok(Stream {
                shown: path.to_owned(),
                target: path.to_owned(),
                replacement: Replacement::InPlace,
                permissions: None,
                file: BufWriter::new(file),
            });
        }
        let target = target_of(path);
        if let Some(found) = &found {
            may_be_written(path, &target, found)?;
        }
        let names = Names::of(&target).ok_or_else(|| format!("{} is not a file name", path.display()))?;
        let mut registry = registry();
        names.remove_stale(&registry);
        let begun = begin(&names, found.as_ref(), &mut registry);
        drop(registry);
        let (file, temporary) = begun.map_err(|error| cannot_begin(path, &target, &error))?;
        let copied = found.as_ref().is_some_and(has_several_names);
        let replaced = found.filter(|_| !copied);
        if let Some(found) = &replaced {
            keep_owner(&file, found);
        }
        Ok(Stream {
            shown: path.to_owned(),
            target,
            replacement: if copied { Replacement::CopyOver(temporary) } else { Replacement::Rename(temporary) },
            permissions: replaced.map(|found| found.permissions()),
            file: BufWriter::new(file),
        })
    }

    /// Ends the file and puts it in its place.
    ///
    /// # Errors
    /// A sentence for a person when the disk refuses; the old file is still there, unless the sentence says otherwise.
    pub(crate) fn finish(mut self) -> Result<(), String> {
        self.make_ready()?;
        self.put_in_place(&mut registry())
    }

    fn fill(&mut self, bytes: &[u8]) -> Result<(), String> {
        let written = self.file.write_all(bytes);
        written.map_err(|error| cannot_write(&self.shown, &error))
    }

    fn is_file(&self) -> bool {
        !matches!(self.replacement, Replacement::InPlace)
    }

    /// Brings all that was written to the disk.
    fn make_ready(&mut self) -> Result<(), String> {
        let ready = self.file.flush().and_then(|()| {
            let file = self.file.get_ref();
            if let Some(permissions) = self.permissions.take() {
                file.set_permissions(permissions)?;
            }
            match self.replacement {
                Replacement::InPlace => Ok(()),
                _ => file.sync_all(),
            }
        });
        ready.map_err(|error| cannot_write(&self.shown, &error))
    }

    fn put_in_place(&mut self, registry: &mut RegistryGuard) -> Result<(), String> {
        let temporary = match &self.replacement {
            Replacement::InPlace | Replacement::Done => return Ok(()),
            Replacement::Rename(temporary) => {
                let moved = fs::rename(temporary, &self.target);
                moved.map_err(|error| cannot_write(&self.shown, &error))?;
                temporary
            }
            Replacement::CopyOver(temporary) => {
                let opened = OpenOptions::new().write(true).open(&self.target);
                let mut file = opened.map_err(|error| cannot_write(&self.shown, &error))?;
                if let Err(error) = copy_over(temporary, &mut file) {
                    let sentence = format!(
                        "{}; what is there now is damaged, but {} holds all that was to be written",
                        cannot_write(&self.shown, &error),
                        temporary.display()
                    );
                    registry.remove(temporary);
                    self.replacement = Replacement::Done;
                    return Err(sentence);
                }
                let _ = fs::remove_file(temporary);
                temporary
            }
        };
        registry.remove(temporary);
        self.replacement = Replacement::Done;
        keep_name(&self.target);
        Ok(())
    }
}

impl Write for Stream {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.file.write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.flush()
    }
}

impl Drop for Stream {
    fn drop(&mut self) {
        if let Replacement::Rename(temporary) | Replacement::CopyOver(temporary) = &self.replacement {
            let mut registry = registry();
            // That it may be gone already is no new problem.
            let _ = fs::remove_file(temporary);
            registry.remove(temporary);
        }
    }
}

/// Where a path leads, also when there is nothing yet.
fn target_of(path: &Path) -> PathBuf {
    if let Ok(target) = fs::canonicalize(path) {
        return target;
    }
    let mut target = path.to_owned();
    for _ in 0..MOST_LINKS {
        match fs::read_link(&target) {
            Ok(next) => target = folder_of(&target).join(next),
            Err(_) => break,
        }
    }
    target
}

/// Refuses what a move would replace though its owner wants it kept.
fn may_be_written(path: &Path, target: &Path, found: &Metadata) -> Result<(), String> {
    let opened = match found.permissions().readonly() {
        true => Err(io::Error::from(ErrorKind::PermissionDenied)),
        false => OpenOptions::new().write(true).open(target).map(drop),
    };
    opened.map_err(|error| match error.kind() {
        ErrorKind::PermissionDenied => format!(
            "cannot write {0}: it is read-only; allow writing to it (chmod u+w {0}), or name another file",
            path.display()
        ),
        _ => cannot_write(path, &error),
    })
}

/// Makes a temporary file that nobody else has; private as long as it stands in for one that is there.
fn begin(names: &Names, replaced: Option<&Metadata>, registry: &mut RegistryGuard) -> io::Result<(File, PathBuf)> {
    let mut options = OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    if replaced.is_some() {
        std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    }
    #[cfg(not(unix))]
    let _ = replaced;
    let mut number = 1;
    let mut path = names.nth(number);
    while registry.contains(&path) {
        number += 1;
        path = names.nth(number);
    }
    let file = options.open(&path)?;
    registry.insert(path.clone());
    Ok((file, path))
}

fn cannot_begin(path: &Path, target: &Path, error: &io::Error) -> String {
    match error.kind() {
        ErrorKind::PermissionDenied | ErrorKind::ReadOnlyFilesystem => format!(
            "cannot write {}: the folder {} takes no new files: {}",
            path.display(),
            folder_of(target).display(),
            reason(error)
        ),
        _ => cannot_write(path, error),
    }
}

fn copy_over(temporary: &Path, file: &mut File) -> io::Result<()> {
    let length = io::copy(&mut File::open(temporary)?, file)?;
    file.set_len(length)?;
    file.sync_all()
}

#[cfg(unix)]
fn has_several_names(found: &Metadata) -> bool {
    std::os::unix::fs::MetadataExt::nlink(found) > 1
}

#[cfg(not(unix))]
fn has_several_names(_: &Metadata) -> bool {
    false
}

/// Gives the owner and the group of the old file, or at least the group, as far as that is allowed.
#[cfg(unix)]
fn keep_owner(file: &File, found: &Metadata) {
    use std::os::unix::fs::{MetadataExt, fchown};
    let (owner, group) = (Some(found.uid()), Some(found.gid()));
    if fchown(file, owner, group).is_err() {
        let _ = fchown(file, None, group);
    }
}

#[cfg(not(unix))]
fn keep_owner(_: &File, _: &Metadata) {}

/// Brings the new name to the disk as well, where a folder can be asked for that.
#[cfg(unix)]
fn keep_name(target: &Path) {
    let _ = File::open(folder_of(target)).and_then(|folder| folder.sync_all());
}

#[cfg(not(unix))]
fn keep_name(_: &Path) {}
