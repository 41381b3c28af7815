//! What the names in a part's formulas stand for.

use crate::diagnostic::{Diagnostic, did_you_mean};
use crate::language::ast::{Piece, Template};
use crate::language::expand::{Scope, natural_order};
use rustc_hash::FxHashMap;

/// Where a bit stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Place {
    /// Bit of the input word.
    Input(usize),
    /// Bit of the output word.
    Output(usize),
    /// Bit of the state word.
    State(usize),
    /// Bit of the node word.
    Node(usize),
}

/// A vector of bits of one kind, the least significant first.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Bits {
    /// Their places.
    pub(super) places: Vec<Place>,
    /// True when the name is the asserted sense of an active-low pin.
    pub(super) inverted: bool,
}

/// The names of a part.
#[derive(Debug, Default)]
pub(super) struct Names {
    readable: FxHashMap<String, Place>,
    writable: FxHashMap<String, Place>,
    groups: FxHashMap<String, Vec<String>>,
    pub(super) memories: Vec<String>,
}

impl Names {
    pub(super) fn add_readable(&mut self, name: &str, place: Place) {
        self.readable.insert(name.to_owned(), place);
    }

    pub(super) fn add_writable(&mut self, name: &str, place: Place) {
        self.writable.insert(name.to_owned(), place);
    }

    pub(super) fn is_known(&self, name: &str) -> bool {
        self.readable.contains_key(name) || self.writable.contains_key(name)
    }

    /// Declares the vector of a template such as `D[1..8]`.
    pub(super) fn add_group(&mut self, stem: String, members: &[String]) {
        let group = self.groups.entry(stem).or_default();
        group.extend(members.iter().cloned());
        group.sort_by(|a, b| natural_order(a, b));
        group.dedup();
    }

    /// The bits that a formula reads under a name.
    pub(super) fn read(&self, template: &Template, scope: &Scope) -> Result<Bits, Diagnostic> {
        self.find(template, scope, &self.readable, "there is nothing to read under the name")
    }

    /// The bits that an assignment sets under a name.
    pub(super) fn write(&self, template: &Template, scope: &Scope) -> Result<Bits, Diagnostic> {
        self.find(template, scope, &self.writable, "there is nothing to assign under the name")
    }

    fn find(
        &self,
        template: &Template,
        scope: &Scope,
        map: &FxHashMap<String, Place>,
        complaint: &str,
    ) -> Result<Bits, Diagnostic> {
        let written = scope.vector(template)?;
        for inverted in [false, true] {
            let sensed = |name: &String| {
                if inverted { format!("/{name}") } else { name.clone() }
            };
            let exact: Vec<String> = written.iter().map(sensed).collect();
            if let Some(places) = places(&exact, map) {
                return Ok(Bits { places, inverted });
            }
            if let [single] = exact.as_slice()
                && let Some(places) = self.groups.get(single).and_then(|members| places(members, map))
            {
                return Ok(Bits { places, inverted });
            }
        }
        let unknown = written.iter().find(|name| !map.contains_key(*name)).unwrap_or(&written[0]);
        let mut names: Vec<&str> = map.keys().chain(self.groups.keys()).map(String::as_str).collect();
        names.sort_unstable();
        let help =
            did_you_mean(unknown, names).unwrap_or_else(|| "write a pin of the package, a state or a node".to_owned());
        Err(Diagnostic::error("unknown-name", format!("{complaint} `{unknown}`"))
            .at(template.span, "not known here")
            .help(help))
    }
}

fn places(names: &[String], map: &FxHashMap<String, Place>) -> Option<Vec<Place>> {
    names.iter().map(|name| map.get(name).copied()).collect()
}

/// The stem that names the whole of a template with one pair of brackets.
pub(super) fn stem(template: &Template) -> Option<String> {
    let brackets = template.pieces.iter().filter(|piece| matches!(piece, Piece::Indices(_))).count();
    let text: String = template
        .pieces
        .iter()
        .filter_map(|piece| match piece {
            Piece::Text(text) => Some(text.as_str()),
            Piece::Indices(_) => None,
        })
        .collect();
    (brackets == 1 && !text.is_empty() && text != "/").then_some(text)
}

/// The stem and the number of a name that ends in one: `D3` is of `D`.
pub(super) fn numbered(name: &str) -> Option<&str> {
    let stem = name.trim_end_matches(|c: char| c.is_ascii_digit());
    (stem.len() < name.len() && !stem.is_empty() && stem != "/").then_some(stem)
}
