//! Names of values: the lists that a design declares, and the first bytes of its instructions.

use super::behaviour::Behaviour;
pub use super::name_table::{NameTable, Ranges, holds};
use crate::diagnostic::{Diagnostic, did_you_mean};
use crate::language::ast::{Index, NameList, Named, Word};
use crate::language::expand::{Scope, computed};
use crate::text::Span;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// All lists of a design.
#[derive(Clone, Debug, Default)]
pub struct Names {
    tables: Vec<Arc<NameTable>>,
    behaviours: Vec<Arc<Behaviour>>,
}

impl Names {
    pub(super) fn push(&mut self, table: NameTable) {
        self.tables.push(Arc::new(table));
    }

    pub(super) fn push_behaviour(&mut self, behaviour: Behaviour) {
        self.behaviours.push(Arc::new(behaviour));
    }

    /// What the instructions of a set do.
    ///
    /// # Errors
    /// When there is no such set.
    pub fn behaviour(&self, word: &Word) -> Result<&Arc<Behaviour>, Diagnostic> {
        let found = self.behaviours.iter().find(|behaviour| behaviour.name == word.node);
        found.ok_or_else(|| {
            let names = self.behaviours.iter().map(|behaviour| behaviour.name.as_str());
            let help = did_you_mean(&word.node, names)
                .unwrap_or_else(|| format!("declare them: `instructions {} {{ ... }}`", word.node));
            let message = format!("there are no instructions {}", word.node);
            Diagnostic::error("unknown-instructions", message).at(word.span, "not in the design").help(help)
        })
    }

    /// The list of a name.
    ///
    /// # Errors
    /// When there is none.
    pub fn table(&self, word: &Word) -> Result<&Arc<NameTable>, Diagnostic> {
        let found = self.tables.iter().find(|table| table.name == word.node);
        found.ok_or_else(|| {
            let message = format!("there are no names or instructions called {}", word.node);
            let names = self.tables.iter().map(|table| table.name.as_str());
            let help = did_you_mean(&word.node, names)
                .unwrap_or_else(|| format!("declare them: `names {} {{ ... }}`", word.node));
            Diagnostic::error("unknown-name", message).at(word.span, "not in the design").help(help)
        })
    }

    /// The values of a name, and the list that it is from.
    ///
    /// # Errors
    /// When no list has it, or several with different values.
    pub fn find(&self, named: &Named) -> Result<(&Arc<NameTable>, &Ranges), Diagnostic> {
        let (name, span) = (named.name.as_str(), named.span);
        if let Some(owner) = &named.owner {
            let word = Word { node: owner.clone(), span };
            let table = self.table(&word)?;
            return table
                .get(name)
                .map(|ranges| (table, ranges))
                .ok_or_else(|| self.unknown(named, std::slice::from_ref(table)));
        }
        let mut found = self.tables.iter().filter_map(|table| Some((table, table.get(name)?)));
        let Some(first) = found.next() else {
            return Err(self.unknown(named, &self.tables));
        };
        match found.find(|(_, ranges)| *ranges != first.1) {
            None => Ok(first),
            Some((other, _)) => {
                let message = format!("{name} is not the same value everywhere");
                let note = format!("{} and {} have that name", first.0.name, other.name);
                Err(Diagnostic::error("ambiguous-name", message)
                    .at(span, "which one?")
                    .note(note)
                    .help(format!("write the list as well: `{}.{name}`", first.0.name)))
            }
        }
    }

    /// The result of arithmetic over numbers, variables and names of single values.
    ///
    /// # Errors
    /// Names that are not known or stand for several values, and arithmetic without a result.
    pub fn number(&self, index: &Index, scope: &Scope) -> Result<i64, Diagnostic> {
        computed(index, &mut |name, span| {
            if let Some(value) = scope.variable(name) {
                return Ok(value);
            }
            let (owner, plain) = match name.split_once('.') {
                Some((owner, plain)) => (Some(owner.trim().to_owned()), plain.trim()),
                None => (None, name),
            };
            let named = Named { owner, name: plain.to_owned(), span };
            let (_, ranges) = self.find(&named)?;
            let single = match ranges.as_slice() {
                &[(first, last)] if first == last => i64::try_from(first).ok(),
                _ => None,
            };
            single.ok_or_else(|| several_values(name, span))
        })
    }

    fn unknown(&self, named: &Named, tables: &[Arc<NameTable>]) -> Diagnostic {
        let names = tables.iter().flat_map(|table| table.entries.iter().map(|(name, _)| name.as_str()));
        let help = did_you_mean(&named.name, names)
            .unwrap_or_else(|| format!("write a number, or declare it: `names LIST {{ {} = 0 }}`", named.name));
        let message = format!("nothing in the design names a value {}", named.name);
        Diagnostic::error("unknown-name", message).at(named.span, "not known").help(help)
    }
}

/// The refusal of a name that is to be one number.
pub fn several_values(name: &str, span: Span) -> Diagnostic {
    Diagnostic::error("several-values", format!("{name} stands for several values"))
        .at(span, "one is wanted")
        .help("write the number")
}

/// Reads a declared list.
pub(super) fn read(list: &NameList, problems: &mut Vec<Diagnostic>) -> NameTable {
    let mut table = NameTable { name: list.name.node.clone(), entries: Vec::new() };
    let mut names: BTreeSet<&str> = BTreeSet::new();
    // No two of these overlap: the first value, the last one, and the name.
    let mut values: BTreeMap<u64, (u64, &str)> = BTreeMap::new();
    for (name, first, last) in &list.values {
        let last = last.unwrap_or(*first);
        let (from, to) = (u64::try_from(first.node), u64::try_from(last.node));
        let (Ok(from), Ok(to)) = (from, to) else {
            problems.push(
                Diagnostic::error("range", "a name stands for a number that is not negative")
                    .at(first.span.to(last.span), "negative")
                    .help("write it as bits: in two's complement -1 is 0xFF for a byte"),
            );
            continue;
        };
        if from > to {
            problems.push(
                Diagnostic::error("range", "this range runs down")
                    .at(first.span.to(last.span), "the first number is the larger one")
                    .help("write the smaller number first"),
            );
        } else if names.contains(name.node.as_str()) {
            problems.push(
                Diagnostic::error("name-twice", format!("{} is named twice", name.node))
                    .at(name.span, "the second time")
                    .help("rename one, or write a range as in `IDLE = 0..3`"),
            );
        } else {
            // What begins last before the end of this one overlaps it, or nothing does.
            let before = values.range(..=to).next_back();
            let rival = before.filter(|(_, (last, _))| from <= *last);
            if let Some((_, (_, rival))) = rival {
                problems.push(
                    Diagnostic::error("name-twice", format!("{rival} has this value already"))
                        .at(name.span, "a second name for it")
                        .help("give each value one name"),
                );
            } else {
                names.insert(&name.node);
                values.insert(from, (to, &name.node));
                table.entries.push((name.node.clone(), vec![(from, to)]));
            }
        }
    }
    table
}
