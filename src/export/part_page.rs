//! The page of a part: all that its file says of it, as a builder wants to read it.
//!
//! [`Page::new`] gathers it; [`text()`] prints it, [`Page::json`] gives it to a program. What else can be told of a
//! library stands beside it: [`listing`] for the parts and their gaps, [`review`] for the author of a part.

pub mod electrical;
mod estimated;
pub mod grid;
pub mod listing;
pub mod review;
pub mod rows;
mod text;
pub mod used;

pub(crate) use estimated::SUPPLY;
pub use estimated::{Estimated, estimated};
pub use text::text;

use crate::language::ast::{self, Item, PartStatement};
use crate::language::parse;
use crate::part::{Library, Part, PinKind};
use crate::text::Sources;
use electrical::ElectricalPage;
use rows::SheetPage;
use serde::{Serialize, Serializer};
use std::sync::Arc;
use used::{Use, used_in};

#[derive(Clone, Debug, Serialize)]
pub struct Page {
    /// The model; in the JSON view, its pins.
    #[serde(flatten, serialize_with = "heading")]
    pub part: Arc<Part>,
    /// The file that it comes from.
    pub file: String,
    /// The function tables, cell by cell as they were written; the first line of each is its heading.
    pub tables: Vec<Vec<Line>>,
    /// Its families or grades.
    pub sheets: Vec<SheetPage>,
    /// The electrical figures of its families.
    pub electrical: Vec<ElectricalPage>,
    /// The example designs that use it.
    pub used_in: Vec<Use>,
}

/// One line of a function table.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Line {
    /// The cells before the bar.
    pub inputs: Vec<String>,
    /// The cells behind it.
    pub outputs: Vec<String>,
}

impl Page {
    /// The page of a part of the library, with all of its sheets or only one.
    pub fn new(library: &Library, part: Arc<Part>, only: Option<usize>) -> Page {
        let sources = library.sources();
        let (tables, mut sheets) = match tree(sources, &part) {
            Some(tree) => (tables(&tree), rows::sheets(sources, &tree, &part)),
            None => (Vec::new(), Vec::new()),
        };
        if let Some(only) = only.and_then(|only| part.sheets.get(only)) {
            sheets.retain(|sheet| sheet.name == only.name);
        }
        let families = sheets.iter().filter(|sheet| !sheet.grade);
        let electrical = families
            .filter_map(|sheet| {
                let family = library.family(&sheet.name)?;
                let mut own = part.sheets.iter();
                let own = own.find(|own| own.name == sheet.name && !own.grade);
                Some(own.map_or_else(|| (*family).clone(), |own| family.of_part(own)))
            })
            .map(|family| ElectricalPage::new(&family, &part))
            .collect();
        Page {
            file: sources.get(part.span.file).path.clone(),
            tables,
            sheets,
            electrical,
            used_in: used_in(library, &part, only),
            part,
        }
    }

    /// The page for a program, indented, with a newline at its end.
    pub fn json(&self) -> String {
        to_json(self)
    }
}

pub(crate) fn to_json(data: &impl Serialize) -> String {
    let mut text = serde_json::to_string_pretty(data).expect("texts and numbers always have a JSON form");
    text.push('\n');
    text
}

/// The syntax tree of a part: what its author wrote, and in which words.
pub(crate) fn tree(sources: &Sources, part: &Part) -> Option<ast::Part> {
    let (file, _) = parse(part.span.file, &sources.get(part.span.file).text);
    file.items.into_iter().find_map(|item| match item {
        Item::Part(tree) if tree.name.span == part.span => Some(tree),
        _ => None,
    })
}

fn tables(tree: &ast::Part) -> Vec<Vec<Line>> {
    let words = |cells: &[ast::Word]| cells.iter().map(|cell| cell.node.clone()).collect();
    let tables = tree.body.iter().filter_map(|statement| match statement {
        PartStatement::Table(table) => Some(table),
        _ => None,
    });
    tables
        .map(|table| {
            let lines =
                table.lines.iter().map(|line| Line { inputs: words(&line.inputs), outputs: words(&line.outputs) });
            lines.collect()
        })
        .collect()
}

/// What the JSON view says of the model itself.
fn heading<S: Serializer>(part: &Part, serializer: S) -> Result<S::Ok, S::Error> {
    #[derive(Serialize)]
    struct Heading<'a> {
        number: &'a str,
        title: &'a str,
        package: &'a str,
        pins: Vec<PinView<'a>>,
        notes: &'a [String],
    }
    #[derive(Serialize)]
    struct PinView<'a> {
        number: u32,
        name: &'a str,
        kind: PinKind,
        schmitt: bool,
    }
    let pins = part.pins.iter().map(|pin| PinView {
        number: pin.number,
        name: &pin.name,
        kind: pin.kind,
        schmitt: pin.schmitt,
    });
    Heading { number: &part.name, title: &part.title, package: &part.package, pins: pins.collect(), notes: &part.notes }
        .serialize(serializer)
}
