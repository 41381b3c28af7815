//! What memories hold from the beginning, and the names by which values are read.
//!
//! Contents come from image files, from tables of equations, and from programs in the builder's own instructions. They
//! are computed once, when a design is opened: a [`Filling`] is bytes at addresses, and a listing that says where each
//! of them comes from. A chip takes one byte lane of a filling, and of that a window of addresses.

mod audit;
pub mod behaviour;
mod bits;
mod formula;
mod instructions;
mod limits;
mod listing;
mod name_table;
pub mod names;
mod program;
mod symbols;
mod table;

pub(crate) use audit::CODE as AUDIT;
pub use listing::ListingLine;
pub use names::{NameTable, Names, Ranges};

use crate::diagnostic::{Diagnostic, did_you_mean};
use crate::image::Image;
use crate::language::ast::{self, ContentsLine, Item, Word};
use crate::text::{Span, Spanned};
use behaviour::Behaviour;
use instructions::InstructionSet;
use limits::{HIGHEST_ADDRESS, MOST_LANES};
use std::collections::BTreeMap;
use std::sync::Arc;

/// What a memory, or several side by side, can hold.
#[derive(Clone, Debug)]
pub struct Filling {
    /// What it is called.
    pub name: String,
    /// In words.
    pub title: String,
    /// Where its name is written.
    pub span: Span,
    /// Bytes of a word: chips side by side.
    pub lanes: u32,
    /// The bytes; byte `lane` of word `w` is at `w * lanes + lane`.
    pub image: Image,
    /// Where the bytes come from, in order of writing; empty for files.
    pub listing: Vec<ListingLine>,
    /// The labels of programs, by the address of their byte.
    pub labels: Vec<(u64, String)>,
    /// What is wrong with the control words of a microprogram: two sources on one bus, instructions that never end.
    pub audit: Arc<[Diagnostic]>,
}

/// All contents and names of a design.
#[derive(Clone, Debug, Default)]
pub struct Contents {
    /// The names of values.
    pub names: Names,
    fillings: Vec<Filling>,
}

/// How image files come in.
pub type Images<'a> = dyn Fn(&Spanned<String>) -> Result<Image, Vec<Diagnostic>> + 'a;

impl Filling {
    /// Labels at the addresses of a chip whose address 0 is the word `first`.
    pub(crate) fn labels_from(&self, first: u64) -> Arc<[(u64, String)]> {
        let lanes = u64::from(self.lanes.max(1));
        let labels = self.labels.iter().filter_map(|(at, name)| Some(((at / lanes).checked_sub(first)?, name.clone())));
        labels.collect()
    }

    /// What a chip of one lane holds, whose address 0 is the address `first` of the words. With a `last` address, what
    /// lies outside of the window is for other chips.
    ///
    /// # Errors
    /// Without a `last` address: the address of a word that lies before the first one.
    pub fn chip(&self, lane: u32, first: u64, last: Option<u64>) -> Result<Image, u64> {
        let lanes = u64::from(self.lanes.max(1));
        let mut image = Image::new();
        for (start, bytes) in self.image.segments() {
            for (address, &byte) in (start..).zip(bytes) {
                let word = address / lanes;
                if address % lanes != u64::from(lane) {
                    continue;
                }
                match last {
                    None if word < first => return Err(word),
                    Some(last) if word < first || word > last => continue,
                    _ => image.insert(word - first, byte),
                };
            }
        }
        Ok(image)
    }
}

impl Contents {
    /// All fillings, in order of writing.
    pub fn fillings(&self) -> &[Filling] {
        &self.fillings
    }

    /// The filling of a name.
    pub fn filling(&self, name: &str) -> Option<&Filling> {
        self.fillings.iter().find(|filling| filling.name == name)
    }

    /// The filling of a name that is written somewhere.
    ///
    /// # Errors
    /// When there is none.
    pub fn named(&self, word: &Word) -> Result<&Filling, Diagnostic> {
        self.filling(&word.node).ok_or_else(|| {
            let message = format!("there are no contents and no program {}", word.node);
            let names = self.fillings.iter().map(|filling| filling.name.as_str());
            let help = did_you_mean(&word.node, names)
                .unwrap_or_else(|| format!("describe them: `contents {} {{ ... }}`", word.node));
            Diagnostic::error("unknown-contents", message).at(word.span, "not in the design").help(help)
        })
    }
}

/// Computes all contents and names of a design, and tells everything that is wrong with them.
pub fn read(files: &[ast::File], images: &Images<'_>) -> (Contents, Vec<Diagnostic>) {
    let mut contents = Contents::default();
    let mut problems = Vec::new();
    let mut sets: Vec<InstructionSet> = Vec::new();
    let items = || files.iter().flat_map(|file| &file.items);
    for item in items() {
        match item {
            Item::Names(list) => contents.names.push(names::read(list, &mut problems)),
            Item::Instructions(declared) => {
                let (set, table, forms) = instructions::read(declared, &mut problems);
                let behaviour = Behaviour::new(declared, &set, &forms, &mut problems);
                sets.push(set);
                contents.names.push(table);
                contents.names.push_behaviour(behaviour);
            }
            _ => {}
        }
    }
    for item in items() {
        if let Item::Program(program) = item {
            let filling = assembled(program, &sets, &contents.names, &mut problems);
            contents.fillings.push(filling);
        }
    }
    let programs: BTreeMap<String, Filling> =
        contents.fillings.iter().map(|filling| (filling.name.clone(), filling.clone())).collect();
    for item in items() {
        if let Item::Contents(written) = item {
            let filling = filled(written, &programs, &contents.names, images, &mut problems);
            contents.fillings.push(filling);
        }
    }
    (contents, problems)
}

fn assembled(
    program: &ast::Program,
    sets: &[InstructionSet],
    names: &Names,
    problems: &mut Vec<Diagnostic>,
) -> Filling {
    let mut filling = empty(&program.name, &program.title);
    let set = sets.iter().find(|set| set.name == program.instructions.node);
    let Some(set) = set else {
        let name = &program.instructions.node;
        let near = did_you_mean(name, sets.iter().map(|set| set.name.as_str()));
        problems.push(
            Diagnostic::error("unknown-instructions", format!("there are no instructions {name}"))
                .at(program.instructions.span, "not in the design")
                .help(near.unwrap_or_else(|| format!("declare them: `instructions {name} {{ ... }}`"))),
        );
        return filling;
    };
    let before = problems.len();
    let assembled = program::assemble(program, set, names, problems);
    filling.image = assembled.image;
    filling.listing = assembled.listing;
    filling.labels = assembled.labels;
    if filling.image.is_empty() && problems.len() == before {
        problems.push(holds_nothing(&program.name, "write an instruction, or `bytes`"));
    }
    filling
}

fn filled(
    written: &ast::Contents,
    programs: &BTreeMap<String, Filling>,
    names: &Names,
    images: &Images<'_>,
    problems: &mut Vec<Diagnostic>,
) -> Filling {
    let mut filling = empty(&written.name, &written.title);
    let before = problems.len();
    let is_table = |line: &ContentsLine| {
        matches!(
            line,
            ContentsLine::Address(_)
                | ContentsLine::Data(_)
                | ContentsLine::When(..)
                | ContentsLine::Else(..)
                | ContentsLine::Each(_)
                | ContentsLine::Sequence(..)
                | ContentsLine::Drivers(..)
        )
    };
    let table = written.body.iter().any(is_table);
    if table {
        let computed = table::compute(written, names, problems);
        filling.image = computed.image;
        filling.listing = computed.listing;
        filling.lanes = computed.lanes.max(1);
        filling.audit = computed.audit.into();
    }
    let mut lanes: Option<Spanned<u32>> = None;
    for line in &written.body {
        let (found, offset, span) = match line {
            ContentsLine::File(file, offset) => (images(file), *offset, file.span),
            ContentsLine::Program(name, offset) => {
                let program = programs.get(&name.node);
                let labels = program.into_iter().flat_map(|program| &program.labels);
                filling
                    .labels
                    .extend(labels.filter_map(|(at, label)| Some((at.checked_add_signed(*offset)?, label.clone()))));
                let found = program.map(|program| program.image.clone()).ok_or_else(|| {
                    let near = did_you_mean(&name.node, programs.keys().map(String::as_str));
                    let message = format!("there is no program {}", name.node);
                    vec![Diagnostic::error("unknown-contents", message).at(name.span, "not in the design").help(
                        near.unwrap_or_else(|| format!("write it: `program {} for INSTRUCTIONS {{ ... }}`", name.node)),
                    )]
                });
                (found, *offset, name.span)
            }
            ContentsLine::Lanes(count) => {
                if !(1..=MOST_LANES).contains(&count.node) {
                    problems.push(
                        Diagnostic::error("range", format!("a word has 1 to {MOST_LANES} lanes"))
                            .at(count.span, "")
                            .help("write how many bytes a word has"),
                    );
                }
                lanes = Some(*count);
                continue;
            }
            _ => continue,
        };
        if table {
            problems.push(
                Diagnostic::error("two-sources", "a table computes every word itself")
                    .at(span, "there is no room for this")
                    .help("give it contents of its own"),
            );
            continue;
        }
        match found {
            Ok(image) => put(&mut filling.image, &image, offset, span, problems),
            Err(faults) => problems.extend(faults),
        }
    }
    match lanes {
        Some(lanes) if table && lanes.node != filling.lanes => problems.push(
            Diagnostic::error("lanes", format!("the data bits of this table fill {} lanes", filling.lanes))
                .at(lanes.span, "not so many")
                .help("leave the line out: a table knows its lanes"),
        ),
        Some(lanes) => filling.lanes = lanes.node.clamp(1, MOST_LANES),
        None => {}
    }
    if filling.image.is_empty() && problems.len() == before {
        problems.push(holds_nothing(&written.name, "name a `file`, a `program`, or write a table"));
    }
    filling
}

fn empty(name: &Word, title: &str) -> Filling {
    Filling {
        name: name.node.clone(),
        title: title.to_owned(),
        span: name.span,
        lanes: 1,
        image: Image::new(),
        listing: Vec::new(),
        labels: Vec::new(),
        audit: Arc::default(),
    }
}

fn holds_nothing(name: &Word, help: &str) -> Diagnostic {
    Diagnostic::error("empty", format!("{} holds nothing", name.node)).at(name.span, "no byte in it").help(help)
}

/// Puts an image to what is there; tells the first byte that has no room.
fn put(whole: &mut Image, image: &Image, offset: i64, span: Span, problems: &mut Vec<Diagnostic>) {
    for (start, bytes) in image.segments() {
        for (address, &byte) in (start as i64..).zip(bytes) {
            let place = address
                .checked_add(offset)
                .and_then(|place| u64::try_from(place).ok())
                .filter(|&place| place <= HIGHEST_ADDRESS);
            let Some(place) = place else {
                problems.push(
                    Diagnostic::error("range", format!("address {address:#X} of this goes nowhere"))
                        .at(span, format!("with the offset {offset}"))
                        .note(format!("addresses are 0 to {HIGHEST_ADDRESS:#X}"))
                        .help("mend the offset"),
                );
                return;
            };
            if whole.get(place).is_some() {
                problems.push(
                    Diagnostic::error("overlap", format!("something is at address {place:#X} already"))
                        .at(span, "this has a byte for it as well")
                        .help("mend the offset of one of the two"),
                );
                return;
            }
            whole.insert(place, byte);
        }
    }
}
