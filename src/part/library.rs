//! The library: every part and family that a design can name, by name.
//!
//! The files of the folder `library/` are in the binary. One is parsed when its part is first asked for, because a
//! design uses few of them; the file's stem is the part's name. What a folder or a design adds stands in for a
//! built-in part of the same name.
//!
//! A [`Library`] also keeps the [`Sources`] of one run, so that a message can show a line of a design and a line of a
//! part in one breath.

use super::family::Estimate;
use super::{Family, Part, Sheet};
use crate::diagnostic::{self, Diagnostic};
use crate::language::{ast, parse};
use crate::text::{FileKey, Sources};
use std::collections::BTreeMap;
use std::fmt;
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

/// Why a number names no part.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum NotFound {
    /// No part of that name.
    Unknown {
        /// The number as it was written.
        number: String,
        /// The number that was probably meant.
        near: Option<String>,
    },
    /// The part is there, but without a sheet of that family.
    NoSuchFamily {
        /// The number as it was written.
        number: String,
        /// The part's name.
        part: String,
        /// The family that was asked for.
        family: String,
        /// The families that there are.
        known: Vec<String>,
    },
    /// The part is there, but without a sheet of that grade.
    NoSuchGrade {
        /// The number as it was written.
        number: String,
        /// The part's name.
        part: String,
        /// The grade that was asked for.
        grade: String,
        /// The grades that there are.
        known: Vec<String>,
    },
    /// The part has several sheets, and the number does not say which.
    Which {
        /// The number as it was written.
        number: String,
        /// Numbers that do say it.
        choices: Vec<String>,
    },
    /// The part is there, but its text has errors.
    Damaged {
        /// The number as it was written.
        number: String,
        /// The file of the part.
        path: String,
    },
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
        self.load_family(name, self.families.get(name)?)
            .item
            .clone()
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
        let families = self
            .families
            .values()
            .filter_map(|entry| entry.loaded.get());
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
                [] => Ok(Found {
                    part,
                    sheet: None,
                    family: None,
                }),
                [_] => Ok(Found::of(part, 0)),
                sheets => {
                    let choices = sheets
                        .iter()
                        .map(|sheet| written(&part.name, sheet))
                        .collect();
                    Err(NotFound::Which {
                        number: number.to_owned(),
                        choices,
                    })
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
        Err(NotFound::Unknown {
            number: number.to_owned(),
            near: self.near(number),
        })
    }

    /// The part that a number names in a family that it has no sheet of, with the sheet of a family that this one has an
    /// estimate from.
    pub fn estimate(&self, number: &str) -> Option<(Found, Estimate)> {
        let (family, name) = family_and_name(number)?;
        let part = self.part(name)?;
        let family = self.family(family)?;
        family.estimates.iter().find_map(|estimate| {
            let base = sheet_of(&part, &estimate.base, false)?;
            let found = Found {
                family: Some(family.name.clone()),
                ..base
            };
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
            Loaded {
                item: item.map(Arc::new),
                problems,
            }
        })
    }
}

impl<T> Entry<T> {
    fn unread(file: FileKey) -> Self {
        Entry {
            file,
            loaded: OnceLock::new(),
        }
    }

    fn read(file: FileKey, item: Option<T>) -> Self {
        let loaded = Loaded {
            item: item.map(Arc::new),
            problems: Vec::new(),
        };
        Entry {
            file,
            loaded: OnceLock::from(loaded),
        }
    }
}

impl Found {
    fn of(part: Arc<Part>, sheet: usize) -> Self {
        let row = &part.sheets[sheet];
        let family = (!row.grade).then(|| row.name.clone());
        Found {
            part,
            sheet: Some(sheet),
            family,
        }
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
    let rest = number
        .strip_prefix("74")
        .or_else(|| number.strip_prefix("54"))?;
    let letters = rest.bytes().take_while(u8::is_ascii_uppercase).count();
    let (family, name) = rest.split_at(letters);
    let family = if family.is_empty() {
        PLAIN_FAMILY
    } else {
        family
    };
    (!name.is_empty()).then_some((family, name))
}

impl fmt::Display for NotFound {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            NotFound::Unknown { number, .. } => {
                write!(
                    f,
                    "there is no part `{number}` in the library or the design"
                )
            }
            NotFound::NoSuchFamily {
                number,
                part,
                family,
                known,
            } => {
                write!(
                    f,
                    "{number}: the library has no {family} sheet for the {part}; it has "
                )?;
                f.write_str(&list_or_none(known))
            }
            NotFound::NoSuchGrade {
                number,
                part,
                grade,
                known,
            } => {
                write!(
                    f,
                    "{number}: the library has no grade {grade} of the {part}; it has "
                )?;
                f.write_str(&list_or_none(known))
            }
            NotFound::Which { number, choices } => {
                write!(f, "{number} may be any of {}", choices.join(", "))
            }
            NotFound::Damaged { number, path } => {
                write!(f, "{number} cannot be used: its model in {path} has errors")
            }
        }
    }
}

fn list_or_none(names: &[String]) -> String {
    if names.is_empty() {
        "none".to_owned()
    } else {
        names.join(", ")
    }
}

impl std::error::Error for NotFound {}

impl NotFound {
    /// What to do about it.
    pub fn help(&self) -> String {
        match self {
            NotFound::Unknown { near: Some(near), .. } => format!("did you mean `{near}`?"),
            NotFound::Unknown { .. } => {
                "write a number such as 74HC574, or describe the part in the design: `part NAME { ... }`".to_owned()
            }
            NotFound::NoSuchFamily { known, .. } if known.is_empty() => {
                "write the part's own name".to_owned()
            }
            NotFound::NoSuchFamily { .. } => "take a family that there is a sheet for".to_owned(),
            NotFound::NoSuchGrade { known, .. } if known.is_empty() => {
                "write the number without a grade".to_owned()
            }
            NotFound::NoSuchGrade { .. } => "take a grade that there is a sheet for".to_owned(),
            NotFound::Which { choices, .. } => match choices.first() {
                Some(first) => format!("write the whole number, such as {first}"),
                None => "write the whole number".to_owned(),
            },
            NotFound::Damaged { .. } => "mend the errors of that file first".to_owned(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    const INVERTER: &str = r#"part 04 "inverter" {
        package DIP14 { 1 A in  2 Y out  7 GND ground  14 VCC power }
        Y = not A
        family HC { source "test"  columns limit 25 C  at 4.5 V 50 pF { delay A -> Y 19 ns } }
        family TTL { source "test"  columns limit 25 C  at 5 V 15 pF { delay A -> Y 22 ns } }
    }"#;
    const MEMORY: &str = r#"part 8x1 "memory" {
        package DIP14 { 1 A in  2 Y out  7 GND ground  14 VCC power }
        Y = A
        grade 70 { source "test"  columns limit 25 C  at 5 V { delay A -> Y 70 ns } }
    }"#;
    const FAMILY: &str = r#"family HC "high-speed CMOS" { source "test"  supply 2..6 V }"#;

    fn library() -> Library {
        Library::of_texts(&[
            ("library/families/HC.part", FAMILY),
            ("library/gates/04.part", INVERTER),
            ("library/memories/8x1.part", MEMORY),
            ("library/broken/99.part", "part 99 { package }"),
        ])
    }

    fn message(library: &Library, number: &str) -> String {
        let problem = library.find(number).expect_err(number);
        format!("{problem} / {}", problem.help())
    }

    #[test]
    fn a_number_is_a_name_or_a_name_and_a_sheet() {
        let library = library();
        let found = |number: &str| {
            let found = library.find(number).expect(number);
            let sheet = found
                .sheet
                .map(|sheet| found.part.sheets[sheet].name.clone());
            (
                found.part.name.clone(),
                sheet.unwrap_or_default(),
                found.family.unwrap_or_default(),
            )
        };
        let row = |a: &str, b: &str, c: &str| (a.to_owned(), b.to_owned(), c.to_owned());
        assert_eq!(found("74HC04"), row("04", "HC", "HC"));
        assert_eq!(found("54HC04"), row("04", "HC", "HC"));
        assert_eq!(found("7404"), row("04", "TTL", "TTL"));
        assert_eq!(found("8x1-70"), row("8x1", "70", ""));
        assert_eq!(found("8x1"), row("8x1", "70", ""));
    }

    #[test]
    fn what_is_not_found_says_what_there_is() {
        let library = library();
        for (number, expected) in [
            (
                "74LS04",
                "74LS04: the library has no LS sheet for the 04; it has HC, TTL / take a family that there is a sheet for",
            ),
            (
                "04",
                "04 may be any of 74HC04, 7404 / write the whole number, such as 74HC04",
            ),
            (
                "8x1-55",
                "8x1-55: the library has no grade 55 of the 8x1; it has 70 / take a grade that there is a sheet for",
            ),
            (
                "74hc04",
                "there is no part `74hc04` in the library or the design / did you mean `74HC04`?",
            ),
            (
                "74HC81",
                "there is no part `74HC81` in the library or the design / \
                 write a number such as 74HC574, or describe the part in the design: `part NAME { ... }`",
            ),
            (
                "99",
                "99 cannot be used: its model in library/broken/99.part has errors / mend the errors of that file first",
            ),
        ] {
            assert_eq!(message(&library, number), expected);
        }
        assert!(
            !library.problems().is_empty(),
            "the damage of 99.part is told"
        );
    }

    #[test]
    fn an_added_part_stands_in_for_a_built_in_one() {
        let mut library = library();
        let own = r#"part 04 { package DIP8 { 1 A in  2 Y out  4 GND ground  8 VCC power }  Y = A }
                     part OSC { package DIP8 { 1 Y out  4 GND ground  8 VCC power }  Y = 1 }"#;
        library.add_text("own.part", own);
        let notes = library.problems();
        let messages: Vec<&str> = notes.iter().map(|note| note.message.as_str()).collect();
        assert_eq!(
            messages,
            ["this part stands in for the `04` of library/gates/04.part"]
        );
        assert_eq!(library.sources().slice(notes[0].labels[0].span), "04");
        assert_eq!(library.find("04").expect("found").part.package, "DIP8");
        assert_eq!(library.find("OSC").expect("found").sheet, None);
        assert_eq!(library.path_of("04"), Some("own.part"));
    }

    #[test]
    fn families_are_read_on_demand() {
        let library = library();
        assert_eq!(
            library.family("HC").expect("there").title,
            "high-speed CMOS"
        );
        assert!(library.family("LS").is_none());
        assert_eq!(library.family_names().collect::<Vec<_>>(), ["HC"]);
    }

    #[test]
    fn every_built_in_file_has_a_stem_of_its_own() {
        let names: BTreeSet<&str> = BUILT_IN
            .iter()
            .map(|(path, _)| path.rsplit_once('/').expect("a folder").1)
            .collect();
        assert_eq!(names.len(), BUILT_IN.len());
        assert!(BUILT_IN.is_sorted_by_key(|(path, _)| path));
        assert!(Library::built_in().find("74HC574").is_ok());
    }
}
