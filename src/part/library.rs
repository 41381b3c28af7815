//! The library: every part and family that a design can name, by name.
//!
//! The files of the folder `library/` are in the binary. One is parsed when its part is first asked for, because a
//! design uses few of them; the file's stem is the part's name. What a folder or a design adds stands in for a
//! built-in part of the same name.
//!
//! A [`Library`] also keeps the [`Sources`] of one run, so that a message can show a line of a design and a line of a
//! part in one breath.

use super::family::Estimate;
pub use super::not_found::NotFound;
use super::{Family, Part, Sheet};
use crate::diagnostic::{self, Diagnostic};
use crate::language::{ast, parse};
use crate::text::{FileKey, Sources};
use std::collections::BTreeMap;
use std::sync::{Arc, OnceLock};

/// Path and text of every file in `library/`, sorted by path.
const BUILT_IN: &[(&str, &str)] = &include!(concat!(env!("OUT_DIR"), "/library.rs"));

/// The family of a number that names none, as in 7400.
const PLAIN_FAMILY: &str = "TTL";

/// Parts and families by name, with the texts that they were read from.
#[derive(Clone, Debug, Default)]
pub struct Library {
    sources: Sources,
    parts: BTreeMap<String, Entry<Part>>,
    families: BTreeMap<String, Entry<Family>>,
    /// What there is to say about the parts and families that were added.
    remarks: Vec<Diagnostic>,
}

/// A part or family that is read when it is first asked for.
#[derive(Clone, Debug)]
struct Entry<T> {
    file: FileKey,
    loaded: OnceLock<Loaded<T>>,
}

/// What reading gave: nothing to use when its text is too damaged.
#[derive(Clone, Debug)]
struct Loaded<T> {
    item: Option<Arc<T>>,
    problems: Vec<Diagnostic>,
}

/// A part, as a number on a board names it.
#[derive(Clone, Debug)]
pub struct Found {
    /// The model.
    pub part: Arc<Part>,
    /// The row of [`Part::sheets`] that the number asks for; `None` for a part without sheets.
    pub sheet: Option<usize>,
    /// The logic family, when it is one.
    pub family: Option<String>,
}

impl Library {
    /// The parts and families that the binary carries.
    pub fn built_in() -> Library {
        Self::of_texts(BUILT_IN)
    }

    /// A library of texts that are read on demand; each file's stem is the name of the one thing in it.
    fn of_texts(texts: &[(&str, &str)]) -> Library {
        let mut library = Library::default();
        for &(path, text) in texts {
            let file = library.sources.add(path, text);
            let (folder, name) = path.rsplit_once('/').unwrap_or(("", path));
            let name = name.trim_end_matches(".part").to_owned();
            if folder.ends_with("families") {
                library.families.insert(name, Entry::unread(file));
            } else {
                library.parts.insert(name, Entry::unread(file));
            }
        }
        library
    }

    /// All texts of the run: those of the library, and those that were added.
    pub fn sources(&self) -> &Sources {
        &self.sources
    }

    /// Keeps a text for messages, without reading anything from it.
    pub fn add_source(&mut self, path: impl Into<String>, text: impl Into<String>) -> FileKey {
        self.sources.add(path, text)
    }

    /// Adds the parts and families of a text; they stand in for those of the same name. What is wrong with them, and a
    /// note for each that hides another, is among the [`Library::problems`].
    pub fn add_text(&mut self, path: &str, text: &str) {
        let file = self.sources.add(path, text);
        let (tree, problems) = parse(file, text);
        self.remarks.extend(problems);
        self.add(&tree);
    }

    /// Adds the parts and families of a syntax tree whose text is among the sources; as [`Library::add_text`].
    pub fn add(&mut self, tree: &ast::File) {
        for item in &tree.items {
            match item {
                ast::Item::Part(part) => {
                    let (item, problems) = Part::load(part);
                    self.remarks.extend(problems);
                    let entry = Entry::read(part.name.span.file, item);
                    let hidden = self.parts.insert(part.name.node.clone(), entry);
                    let note = hidden.map(|hidden| self.hides("part", &part.name, &hidden));
                    self.remarks.extend(note);
                }
                ast::Item::Family(family) => {
                    let entry = Entry::read(family.name.span.file, Some(Family::load(family)));
                    let hidden = self.families.insert(family.name.node.clone(), entry);
                    let note = hidden.map(|hidden| self.hides("family", &family.name, &hidden));
                    self.remarks.extend(note);
                }
                _ => {}
            }
        }
    }

    fn hides<T>(&self, what: &str, name: &ast::Word, hidden: &Entry<T>) -> Diagnostic {
        let other = &self.sources.get(hidden.file).path;
        let message = format!("this {what} stands in for the `{}` of {other}", name.node);
        Diagnostic::note_only("hidden-part", message).at(name.span, "this one is used")
    }

    /// The names of all parts.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        self.parts.keys().map(String::as_str)
    }

    /// The names of all families.
    pub fn family_names(&self) -> impl Iterator<Item = &str> {
        self.families.keys().map(String::as_str)
    }

    /// The part of a name; `None` when there is none, or its text has errors.
    pub fn part(&self, name: &str) -> Option<Arc<Part>> {
        self.load_part(name, self.parts.get(name)?).item.clone()
    }

    /// The file of a part: `library/registers/574.part`.
    pub fn path_of(&self, name: &str) -> Option<&str> {
        let entry = self.parts.get(name)?;
        Some(&self.sources.get(entry.file).path)
    }

    /// The family of a name; `None` when there is none, or its text has errors.
    pub fn family(&self, name: &str) -> Option<Arc<Family>> {
        self.load_family(name, self.families.get(name)?).item.clone()
    }

    /// The electrical figures of a part in a family: those of the family, and in their place those that its sheet has of
    /// its own.
    pub fn electrical(&self, found: &Found) -> Option<Arc<Family>> {
        let family = self.family(found.family.as_deref()?)?;
        let sheet = found.sheet.map(|at| &found.part.sheets[at]);
        let own = sheet.filter(|sheet| sheet.name == family.name && !sheet.levels.is_empty());
        Some(own.map_or_else(|| family.clone(), |sheet| Arc::new(family.of_part(sheet))))
    }

    /// What there is to say about what was added, and then about the built-in texts that were read so far.
    pub fn problems(&self) -> Vec<Diagnostic> {
        let parts = self.parts.values().filter_map(|entry| entry.loaded.get());
        let families = self.families.values().filter_map(|entry| entry.loaded.get());
        let parts = parts.flat_map(|loaded| &loaded.problems);
        let built_in = parts.chain(families.flat_map(|loaded| &loaded.problems));
        self.remarks.iter().chain(built_in).cloned().collect()
    }

    /// The part that a number on a board names: a part's own name (`OSC14`), a name and a grade (`62256-70`), or 74
    /// (54), a family and a name (`74HC574`; `7400` is of the plain family TTL, unless a part has that whole name).
    ///
    /// # Errors
    /// When there is no such part, family or grade, or several would do.
    pub fn find(&self, number: &str) -> Result<Found, NotFound> {
        if self.parts.contains_key(number) {
            let part = self.usable(number, number)?;
            return match part.sheets.as_slice() {
                [] => Ok(Found { part, sheet: None, family: None }),
                [_] => Ok(Found::of(part, 0)),
                sheets => {
                    let choices = sheets.iter().map(|sheet| written(&part.name, sheet)).collect();
                    Err(NotFound::Which { number: number.to_owned(), choices })
                }
            };
        }
        // A plain part that differs from its families has a file of its own: 5476 is the 7476 as well.
        if let Some(plain) = number.strip_prefix("54").map(|name| format!("74{name}"))
            && self.parts.contains_key(&plain)
        {
            return self.find(&plain);
        }
        if let Some((name, grade)) = number.rsplit_once('-')
            && self.parts.contains_key(name)
        {
            let part = self.usable(name, number)?;
            return sheet_of(&part, grade, true).ok_or_else(|| NotFound::NoSuchGrade {
                number: number.to_owned(),
                part: name.to_owned(),
                grade: grade.to_owned(),
                known: sheet_names(&part, true),
            });
        }
        if let Some((family, name)) = family_and_name(number)
            && self.parts.contains_key(name)
        {
            let part = self.usable(name, number)?;
            return sheet_of(&part, family, false).ok_or_else(|| NotFound::NoSuchFamily {
                number: number.to_owned(),
                part: name.to_owned(),
                family: family.to_owned(),
                known: sheet_names(&part, false),
            });
        }
        Err(NotFound::Unknown { number: number.to_owned(), near: self.near(number) })
    }

    /// The part that a number names in a family that it has no sheet of, with the sheet of a family that this one has an
    /// estimate from.
    pub fn estimate(&self, number: &str) -> Option<(Found, Estimate)> {
        let (family, name) = family_and_name(number)?;
        let part = self.part(name)?;
        let family = self.family(family)?;
        family.estimates.iter().find_map(|estimate| {
            let base = sheet_of(&part, &estimate.base, false)?;
            let found = Found { family: Some(family.name.clone()), ..base };
            Some((found, estimate.clone()))
        })
    }

    fn usable(&self, name: &str, number: &str) -> Result<Arc<Part>, NotFound> {
        self.part(name).ok_or_else(|| NotFound::Damaged {
            number: number.to_owned(),
            path: self.path_of(name).unwrap_or_default().to_owned(),
        })
    }

    /// A number that would be found. Of numbers as short as 00 each is near to many, so nothing is offered for them.
    fn near(&self, number: &str) -> Option<String> {
        let upper = number.to_uppercase();
        if upper != number && self.find(&upper).is_ok() {
            return Some(upper);
        }
        if let Some((_, name)) = family_and_name(number) {
            let head = &number[..number.len() - name.len()];
            let near = diagnostic::nearest(name, self.names()).filter(|_| name.len() > 2);
            return near.map(|near| format!("{head}{near}"));
        }
        diagnostic::nearest(number, self.names()).map(str::to_owned)
    }

    fn load_part<'a>(&self, name: &str, entry: &'a Entry<Part>) -> &'a Loaded<Part> {
        entry.loaded.get_or_init(|| {
            let (tree, mut problems) = parse(entry.file, &self.sources.get(entry.file).text);
            let found = tree.items.iter().find_map(|item| match item {
                ast::Item::Part(part) if part.name.node == name => Some(part),
                _ => None,
            });
            let item = found.and_then(|part| {
                let (part, more) = Part::load(part);
                problems.extend(more);
                part.map(Arc::new)
            });
            Loaded { item, problems }
        })
    }

    fn load_family<'a>(&self, name: &str, entry: &'a Entry<Family>) -> &'a Loaded<Family> {
        entry.loaded.get_or_init(|| {
            let (tree, problems) = parse(entry.file, &self.sources.get(entry.file).text);
            let item = tree.items.iter().find_map(|item| match item {
                ast::Item::Family(family) if family.name.node == name => Some(Family::load(family)),
                _ => None,
            });
            Loaded { item: item.map(Arc::new), problems }
        })
    }
}

impl<T> Entry<T> {
    fn unread(file: FileKey) -> Self {
        Entry { file, loaded: OnceLock::new() }
    }

    fn read(file: FileKey, item: Option<T>) -> Self {
        let loaded = Loaded { item: item.map(Arc::new), problems: Vec::new() };
        Entry { file, loaded: OnceLock::from(loaded) }
    }
}

impl Found {
    fn of(part: Arc<Part>, sheet: usize) -> Self {
        let row = &part.sheets[sheet];
        let family = (!row.grade).then(|| row.name.clone());
        Found { part, sheet: Some(sheet), family }
    }
}

/// The sheet of a family or grade.
fn sheet_of(part: &Arc<Part>, name: &str, grade: bool) -> Option<Found> {
    let mut sheets = part.sheets.iter();
    let sheet = sheets.position(|sheet| sheet.grade == grade && sheet.name == name)?;
    Some(Found::of(part.clone(), sheet))
}

fn sheet_names(part: &Part, grade: bool) -> Vec<String> {
    let sheets = part.sheets.iter().filter(|sheet| sheet.grade == grade);
    sheets.map(|sheet| sheet.name.clone()).collect()
}

/// The number that asks for a sheet.
fn written(part: &str, sheet: &Sheet) -> String {
    match sheet.name.as_str() {
        grade if sheet.grade => format!("{part}-{grade}"),
        PLAIN_FAMILY => format!("74{part}"),
        family => format!("74{family}{part}"),
    }
}

/// `74HC574` is the 574 of HC, `7400` the 00 of the plain family.
fn family_and_name(number: &str) -> Option<(&str, &str)> {
    let rest = number.strip_prefix("74").or_else(|| number.strip_prefix("54"))?;
    let letters = rest.bytes().take_while(u8::is_ascii_uppercase).count();
    let (family, name) = rest.split_at(letters);
    let family = if family.is_empty() { PLAIN_FAMILY } else { family };
    (!name.is_empty()).then_some((family, name))
}

#[cfg(test)]
mod tests;
