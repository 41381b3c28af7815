//! The files that fuzzing begins with.

use super::{Target, root};
use std::fs;
use std::path::Path;

/// A file of the corpus.
#[derive(Clone, Debug)]
pub(crate) struct Seed {
    pub(crate) name: String,
    pub(crate) bytes: Vec<u8>,
}

impl Seed {
    /// True for an input that was a defect once, and need not be one that is accepted.
    pub(crate) fn was_found(&self) -> bool {
        self.name.starts_with("found")
    }
}

/// Larger files make slow inputs.
const LARGEST_SEED: u64 = 5000;

/// The corpus of a target; shipped files are mutated as well, but stand in their own folders.
pub(crate) fn seeds(target: &Target) -> (Vec<Seed>, Vec<Seed>) {
    let mut own = Vec::new();
    collect(&root().join("tests/corpus").join(target.name), &mut own);
    let mut shipped = Vec::new();
    match target.name {
        "language" => {
            for folder in ["designs/faulty", "designs/carillon", "designs/dunlin"] {
                collect(&root().join(folder), &mut shipped);
            }
            shipped.retain(|seed| seed.name.ends_with(".board"));
        }
        "parts" => {
            for folder in fs::read_dir(root().join("library")).expect("library").flatten() {
                collect(&folder.path(), &mut shipped);
            }
        }
        _ => {}
    }
    shipped.sort_by(|a, b| a.name.cmp(&b.name));
    (own, shipped)
}

fn collect(folder: &Path, seeds: &mut Vec<Seed>) {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).expect("a folder").flatten() {
        let about = entry.metadata().expect("a file");
        if about.is_file() && about.len() <= LARGEST_SEED {
            found.push(Seed {
                name: entry.file_name().to_string_lossy().into_owned(),
                bytes: fs::read(entry.path()).expect("a file"),
            });
        }
    }
    found.sort_by(|a, b| a.name.cmp(&b.name));
    seeds.append(&mut found);
}
