//! The parts of `library/`: each one reads cleanly, does what is published, and is timed.

mod alu;
mod bench;
mod counters;
mod electrical;
mod estimates;
mod families;
mod gates;
mod memories;
mod memory_cycles;
mod registers;
mod rules;
mod shifters;
mod shortcuts;
mod soundness;
mod timing;

use coldboard::diagnostic::{Diagnostic, Look, terminal::Terminal};
use coldboard::language::ast::Item;
use coldboard::part::{Family, Part};
use coldboard::text::Sources;
use rand_chacha::ChaCha8Rng;
use rand_core::{Rng, SeedableRng};
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

/// One file of the library.
struct Entry {
    /// From the root of the project: `library/gates/00.part`.
    path: String,
    /// `gates`.
    room: String,
    /// `00`.
    stem: String,
    sources: Sources,
    parts: Vec<Part>,
    families: Vec<Family>,
    /// How many things of other kinds it declares.
    others: usize,
    problems: Vec<Diagnostic>,
}

impl Entry {
    fn read(path: &Path) -> Entry {
        let name = |path: Option<&Path>| {
            let name = path.and_then(Path::file_stem).and_then(|name| name.to_str());
            name.unwrap_or_default().to_owned()
        };
        let text = std::fs::read_to_string(path).expect("a library file is readable text");
        let shown = path.strip_prefix(root()).unwrap_or(path);
        let mut entry = Entry {
            path: shown.display().to_string(),
            room: name(path.parent()),
            stem: name(Some(path)),
            sources: Sources::new(),
            parts: Vec::new(),
            families: Vec::new(),
            others: 0,
            problems: Vec::new(),
        };
        let file = entry.sources.add(entry.path.clone(), text.clone());
        let (tree, problems) = coldboard::language::parse(file, &text);
        entry.problems = problems;
        for item in &tree.items {
            match item {
                Item::Part(tree) => {
                    let (part, problems) = Part::load(tree);
                    entry.parts.extend(part);
                    entry.problems.extend(problems);
                }
                Item::Family(tree) => entry.families.push(Family::load(tree)),
                _ => entry.others += 1,
            }
        }
        entry
    }

    /// The diagnostics as a person sees them.
    fn rendered(&self) -> String {
        let look = Terminal { colour: false, width: 120 };
        look.render(&self.sources, &self.problems)
    }
}

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Every file of the library, by rising path.
fn library() -> &'static [Entry] {
    static LIBRARY: OnceLock<Vec<Entry>> = OnceLock::new();
    LIBRARY.get_or_init(|| {
        let list = |folder: &Path| -> Vec<PathBuf> {
            let entries = std::fs::read_dir(folder).expect("the library is a folder of folders");
            let mut paths: Vec<PathBuf> = entries.map(|entry| entry.expect("an entry of the library").path()).collect();
            paths.sort();
            paths
        };
        let rooms = list(&root().join("library"));
        let files = rooms.iter().flat_map(|room| list(room));
        files.map(|file| Entry::read(&file)).collect()
    })
}

/// All parts, each with its file.
fn parts() -> impl Iterator<Item = (&'static Entry, &'static Part)> {
    library().iter().flat_map(|entry| entry.parts.iter().map(move |part| (entry, part)))
}

/// Random numbers, the same for the same seed.
fn random(seed: u64) -> impl FnMut() -> u64 {
    let mut generator = ChaCha8Rng::seed_from_u64(seed);
    move || generator.next_u64()
}

/// Fails with one line for each thing found.
fn none_of(found: Vec<String>) {
    assert!(found.is_empty(), "{} found:\n{}", found.len(), found.join("\n"));
}
