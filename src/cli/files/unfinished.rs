//! The temporary files that this process is writing, so that a signal can remove them.

use std::collections::BTreeSet;
use std::fs;
use std::path::PathBuf;
use std::sync::{Mutex, MutexGuard, PoisonError};

static UNFINISHED: Mutex<BTreeSet<PathBuf>> = Mutex::new(BTreeSet::new());

/// The list. While it is held nothing is begun, put in its place, or removed by a signal.
pub(in crate::cli) type RegistryGuard = MutexGuard<'static, BTreeSet<PathBuf>>;

/// Takes hold of the list.
pub(super) fn registry() -> RegistryGuard {
    // A list of paths is whole after a panic, too.
    UNFINISHED.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Removes them all; as long as what this returns is kept, no new ones come.
pub(in crate::cli) fn remove_all() -> RegistryGuard {
    let registry = registry();
    for path in registry.iter() {
        // One that is gone already is no problem.
        let _ = fs::remove_file(path);
    }
    registry
}
