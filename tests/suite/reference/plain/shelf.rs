//! The parts of the library, each read once from its file.

use super::description::Description;
use coldboard::language::ast::{File, Item};
use coldboard::language::parse;
use coldboard::part::Library;
use coldboard::text::Sources;
use std::collections::BTreeMap;
use std::rc::Rc;

/// The syntax tree of the file of a part.
pub(crate) fn tree(part: &str) -> File {
    let library = Library::built_in();
    let path = library.path_of(part).expect("a part of the library");
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(folder.join(path)).expect("a file of the library");
    let file = Sources::new().add(path, text.as_str());
    let (tree, problems) = parse(file, &text);
    assert!(problems.is_empty(), "{path}: {problems:?}");
    tree
}

#[derive(Default)]
pub(crate) struct Shelf {
    known: BTreeMap<String, Rc<Description>>,
}

impl Shelf {
    pub(crate) fn description(&mut self, part: &str) -> Rc<Description> {
        if let Some(known) = self.known.get(part) {
            return Rc::clone(known);
        }
        let tree = tree(part);
        let mut parts = tree.items.iter().filter_map(|item| match item {
            Item::Part(part) => Some(Rc::new(Description::new(part))),
            _ => None,
        });
        let made = parts.next_back().expect("a part in its file");
        self.known.insert(part.to_owned(), Rc::clone(&made));
        made
    }
}
