//! Temporary files that a process which was killed has left behind.

use super::unfinished::RegistryGuard;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime};

/// The longest beginning of a file's name that stands in the name of its temporary file, in bytes; file systems allow 255.
const LONGEST: usize = 200;

/// Names of a folder that are looked at.
const MOST_NAMES: usize = 100_000;

/// Where it cannot be asked whether a process lives, its file is given up after this time without a change.
const GIVEN_UP: Duration = Duration::from_secs(600);

/// The names of temporary files for a target: `.NAME.PID.new`, with a number when a process has several.
pub(super) struct Names {
    folder: PathBuf,
    /// `.NAME.`
    head: String,
}

const TAIL: &str = ".new";

impl Names {
    /// For a target that has a file name.
    pub(super) fn of(target: &Path) -> Option<Names> {
        let name = target.file_name()?.to_string_lossy();
        let mut length = name.len().min(LONGEST);
        while !name.is_char_boundary(length) {
            length -= 1;
        }
        Some(Names { folder: folder_of(target).to_owned(), head: format!(".{}.", &name[..length]) })
    }

    /// The nth name of this process, from 1.
    pub(super) fn nth(&self, number: usize) -> PathBuf {
        let process = std::process::id();
        let number = match number {
            1 => String::new(),
            more => format!("-{more}"),
        };
        self.folder.join(format!("{}{process}{number}{TAIL}", self.head))
    }

    /// Removes what processes that live no more have left; what cannot be removed stays.
    pub(super) fn remove_stale(&self, registry: &RegistryGuard) {
        let Ok(entries) = fs::read_dir(&self.folder) else {
            return;
        };
        for entry in entries.flatten().take(MOST_NAMES) {
            let name = entry.file_name();
            let Some(process) = name.to_str().and_then(|name| self.process(name)) else {
                continue;
            };
            let path = self.folder.join(&name);
            let is_file = entry.file_type().is_ok_and(|kind| kind.is_file());
            let stale = match process == std::process::id() {
                true => !registry.contains(&path),
                false => !lives(process, &path),
            };
            if is_file && stale {
                let _ = fs::remove_file(path);
            }
        }
    }

    /// The process that a name speaks of, when it is that of a temporary file for this target.
    fn process(&self, name: &str) -> Option<u32> {
        let middle = name.strip_prefix(&self.head)?.strip_suffix(TAIL)?;
        let (process, number) = middle.split_once('-').unwrap_or((middle, "2"));
        number.parse::<usize>().ok()?;
        process.parse().ok()
    }
}

/// The folder that a file is in.
pub(super) fn folder_of(path: &Path) -> &Path {
    let folder = path.parent().filter(|folder| *folder != Path::new(""));
    folder.unwrap_or(Path::new("."))
}

/// True when a process may still be writing its file.
fn lives(process: u32, path: &Path) -> bool {
    if Path::new("/proc/self").exists() {
        return Path::new(&format!("/proc/{process}")).exists();
    }
    let changed = fs::metadata(path).and_then(|found| found.modified());
    let age = changed.map(|changed| SystemTime::now().duration_since(changed));
    !matches!(age, Ok(Ok(age)) if age > GIVEN_UP)
}
