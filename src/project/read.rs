//! Reading: the files of a design, each once, and the images that it names.

use crate::diagnostic::Diagnostic;
use crate::image::{self, Format, Image};
use crate::language::ast::{self, ContentsLine, Item, TrialStatement};
use crate::language::parse;
use crate::part::Library;
use crate::text::{Files, Sources, Spanned};
use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::path::{Component, Path, PathBuf};

/// The most files of a design, and the most images.
const MOST_FILES: usize = 1000;

/// The images by their paths, or what is wrong with them.
pub(super) type Images = BTreeMap<PathBuf, Result<Image, Vec<Diagnostic>>>;

/// Reads a design.
pub(super) struct Reader<'a> {
    files: &'a dyn Files,
    pub(super) library: Library,
    pub(super) trees: Vec<ast::File>,
    pub(super) problems: Vec<Diagnostic>,
    /// The design files that were asked for.
    pub(super) paths: BTreeSet<PathBuf>,
}

impl<'a> Reader<'a> {
    pub(super) fn new(files: &'a dyn Files, library: Library) -> Self {
        Reader { files, library, trees: Vec::new(), problems: Vec::new(), paths: BTreeSet::new() }
    }

    /// Reads a file and all that it uses. Files may use each other: each is read once.
    pub(super) fn design(&mut self, path: &Path) {
        let mut waiting: VecDeque<(PathBuf, Option<Spanned<String>>)> = VecDeque::new();
        self.paths.insert(tidy(path));
        waiting.push_back((path.to_owned(), None));
        while let Some((path, used)) = waiting.pop_front() {
            let text = match self.text(&path) {
                Ok(text) => text,
                Err(problem) => {
                    let place = used.map(|used| (used.span, "used here"));
                    self.problems.push(place.into_iter().fold(problem, |problem, (span, text)| problem.at(span, text)));
                    continue;
                }
            };
            let file = self.library.add_source(path.display().to_string(), text);
            let (tree, problems) = parse(file, &self.library.sources().get(file).text);
            self.problems.extend(problems);
            for item in &tree.items {
                let Item::Use(used) = item else { continue };
                let path = beside(self.library.sources(), used);
                if self.paths.contains(&path) {
                    continue;
                }
                if self.paths.len() == MOST_FILES {
                    self.problems.push(
                        Diagnostic::error("too-large", format!("a design has {MOST_FILES} files at most"))
                            .at(used.span, "this is one too many")
                            .help("put several boards into one file"),
                    );
                    break;
                }
                self.paths.insert(path.clone());
                waiting.push_back((path, Some(used.clone())));
            }
            self.trees.push(tree);
        }
    }

    fn text(&self, path: &Path) -> Result<String, Diagnostic> {
        let bytes = self.files.read(path).map_err(|sentence| Diagnostic::error("unreadable", sentence))?;
        String::from_utf8(bytes).map_err(|error| {
            let at = error.utf8_error().valid_up_to();
            let message = format!("{} is not a text: byte {at} is not UTF-8", path.display());
            Diagnostic::error("unreadable", message).help("save the design as UTF-8 text")
        })
    }

    /// Reads the images that contents and trials name.
    pub(super) fn images(&self, trials: &[ast::Trial]) -> Images {
        let mut images = Images::new();
        let mut loads = Vec::new();
        let mut vectors = Vec::new();
        let procedures = trials.first().map_or(&[][..], |trial| &trial.procedures);
        let bodies = trials.iter().map(|trial| &trial.body).chain(procedures.iter().map(|procedure| &procedure.body));
        bodies.for_each(|body| {
            ast::each_step(body, &mut |step| match step {
                TrialStatement::Load { file, .. } => loads.push(file),
                TrialStatement::Vectors { file, .. } => vectors.push(file),
                _ => {}
            });
        });
        let items = self.trees.iter().flat_map(|tree| &tree.items);
        let contents = items.filter_map(|item| match item {
            Item::Contents(contents) => Some(&contents.body),
            _ => None,
        });
        let held = contents.flatten().filter_map(|line| match line {
            ContentsLine::File(file, _) => Some(file),
            _ => None,
        });
        for file in held.chain(loads) {
            let path = beside(self.library.sources(), file);
            if images.len() < MOST_FILES && !images.contains_key(&path) {
                let image = self.image(&path);
                images.insert(path, image);
            }
        }
        for file in vectors {
            let path = beside(self.library.sources(), file);
            if images.len() < MOST_FILES && !images.contains_key(&path) {
                let image = self.bytes(&path);
                images.insert(path, image);
            }
        }
        images
    }

    /// A file as it is.
    fn bytes(&self, path: &Path) -> Result<Image, Vec<Diagnostic>> {
        let bytes = self.files.read(path).map_err(|sentence| vec![Diagnostic::error("unreadable", sentence)])?;
        let mut image = Image::new();
        for (address, byte) in (0..).zip(bytes) {
            image.insert(address, byte);
        }
        Ok(image)
    }

    fn image(&self, path: &Path) -> Result<Image, Vec<Diagnostic>> {
        let read = self.files.read(path);
        let bytes = read.map_err(|sentence| vec![Diagnostic::error("unreadable", sentence)])?;
        let name = path.display().to_string();
        image::read(Format::guess(&name, &bytes), &name, &bytes)
            .map_err(|faults| faults.iter().map(|fault| fault.to_diagnostic(&name)).collect())
    }
}

/// The path that a file names, which is meant from the folder of that file.
pub(super) fn beside(sources: &Sources, named: &Spanned<String>) -> PathBuf {
    let from = Path::new(&sources.get(named.span.file).path);
    tidy(&from.parent().unwrap_or(Path::new("")).join(&named.node))
}

/// The path without steps that lead nowhere, so that two ways to one file look the same.
fn tidy(path: &Path) -> PathBuf {
    let mut tidy = PathBuf::new();
    for step in path.components() {
        match step {
            Component::CurDir => {}
            Component::ParentDir if matches!(tidy.components().next_back(), Some(Component::Normal(_))) => {
                tidy.pop();
            }
            step => tidy.push(step),
        }
    }
    tidy
}
