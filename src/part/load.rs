//! From the syntax tree of a part to a [`Part`].

use super::function::{self, Function};
use super::load_sheet::SheetReader;
use super::table::FunctionTable;
use super::{Part, Pin, PinIndex, PinKind};
use crate::diagnostic::Diagnostic;
use crate::language::ast::{self, PartStatement, Template};
use crate::language::expand::{Scope, natural_order};
use rustc_hash::FxHashMap;

impl Part {
    /// Reads a part; `None` when it has errors.
    pub fn load(tree: &ast::Part) -> (Option<Part>, Vec<Diagnostic>) {
        let mut problems = Vec::new();
        let scope = Scope::default();
        let mut part = Part {
            name: tree.name.node.clone(),
            title: tree.title.clone(),
            span: tree.name.span,
            package: String::new(),
            pins: Vec::new(),
            groups: Vec::new(),
            function: Function::default(),
            tables: Vec::new(),
            sheets: Vec::new(),
            notes: Vec::new(),
            by_name: FxHashMap::default(),
        };
        part.read_package(tree, &scope, &mut problems);
        part.function = function::compile(&tree.body, &part.pins, &mut problems);
        for statement in &tree.body {
            match statement {
                PartStatement::Table(table) => {
                    let table = FunctionTable::read(table, &part, &mut problems);
                    part.tables.push(table);
                }
                PartStatement::Note(note) => part.notes.push(note.node.clone()),
                PartStatement::Sheet(sheet) => {
                    if part.sheets.iter().any(|other| other.name == sheet.name.node) {
                        problems.push(
                            Diagnostic::error("name-twice", format!("two sheets are called {}", sheet.name.node))
                                .at(sheet.name.span, "the second one")
                                .help("join them, or rename one"),
                        );
                    }
                    let sheet = SheetReader { part: &part, scope: &scope, problems: &mut problems }.read(sheet);
                    part.sheets.push(sheet);
                }
                _ => {}
            }
        }
        crate::diagnostic::sort(&mut problems);
        let good = !crate::diagnostic::any_error(&problems);
        (good.then_some(part), problems)
    }

    fn read_package(&mut self, tree: &ast::Part, scope: &Scope, problems: &mut Vec<Diagnostic>) {
        let mut packages = tree.body.iter().filter_map(|statement| match statement {
            PartStatement::Package(package) => Some(package),
            _ => None,
        });
        let Some(package) = packages.next() else {
            problems.push(
                Diagnostic::error("no-package", format!("the part {} has no package", self.name))
                    .at(self.span, "this part")
                    .help("write its pins: `package DIP14 { 1 1A in ... }`"),
            );
            return;
        };
        if let Some(second) = packages.next() {
            problems.push(
                Diagnostic::error("name-twice", "a part has one package")
                    .at(second.name.span, "the second one")
                    .help("make another part for it"),
            );
        }
        self.package = package.name.node.clone();
        let mut declared: Vec<(String, Vec<String>)> = Vec::new();
        for line in &package.pins {
            let names = match scope.names(&line.name) {
                Ok(names) => names,
                Err(problem) => {
                    problems.push(problem);
                    continue;
                }
            };
            if names.len() != line.numbers.numbers.len() && !(names.len() == 1 && line.kind == PinKind::None) {
                let message = format!("{} pin numbers, but {} names", line.numbers.numbers.len(), names.len());
                problems.push(
                    Diagnostic::error("pin-count", message)
                        .at(line.numbers.span, "these numbers")
                        .at(line.name.span, "these names")
                        .help("write as many names as numbers"),
                );
                continue;
            }
            if let Some(stem) = stem_of(&line.name) {
                declared.push((stem, names.clone()));
            }
            for (at, &number) in line.numbers.numbers.iter().enumerate() {
                let name = names[at.min(names.len() - 1)].clone();
                self.pins.push(Pin { number, name, kind: line.kind, schmitt: line.schmitt });
            }
        }
        self.pins.sort_by_key(|pin| pin.number);
        self.number_pins(package, problems);
        self.make_groups(declared);
    }

    /// Looks up pins by name, and for numbers and names that cannot be.
    fn number_pins(&mut self, package: &ast::Package, problems: &mut Vec<Diagnostic>) {
        for pair in self.pins.windows(2) {
            if pair[0].number == pair[1].number {
                let message = format!("pin {} is named twice: {} and {}", pair[0].number, pair[0].name, pair[1].name);
                problems.push(Diagnostic::error("pin-twice", message).at(package.name.span, "in this package"));
            }
        }
        if let Some(count) = package.name.node.trim_start_matches(|c: char| !c.is_ascii_digit()).parse::<u32>().ok()
            && let Some(last) = self.pins.last()
            && last.number > count
        {
            let message = format!("pin {} does not exist on a {}", last.number, package.name.node);
            problems.push(Diagnostic::error("pin-count", message).at(package.name.span, "this package"));
        }
        for (index, pin) in self.pins.iter().enumerate() {
            if pin.kind != PinKind::None && self.by_name.insert(pin.name.clone(), index).is_some() {
                let message = format!("two pins are called {}", pin.name);
                problems.push(Diagnostic::error("pin-twice", message).at(package.name.span, "in this package"));
            }
        }
    }

    /// Vectors: the templates of the package, and names that end in numbers.
    fn make_groups(&mut self, declared: Vec<(String, Vec<String>)>) {
        let mut groups: Vec<(String, Vec<String>)> = declared;
        for pin in self.pins.iter().filter(|pin| pin.is_input() || pin.drives()) {
            let stem = pin.name.trim_end_matches(|c: char| c.is_ascii_digit());
            if stem.len() < pin.name.len() && !stem.is_empty() && stem != "/" {
                groups.push((stem.to_owned(), vec![pin.name.clone()]));
            }
        }
        groups.sort_by(|a, b| a.0.cmp(&b.0));
        for (stem, members) in groups {
            let members = members.iter().filter_map(|name| self.by_name.get(name).copied());
            match self.groups.last_mut() {
                Some((last, pins)) if *last == stem => pins.extend(members),
                _ => self.groups.push((stem, members.collect())),
            }
        }
        let pins = &self.pins;
        for (_, members) in &mut self.groups {
            members.sort_by(|&a, &b| natural_order(&pins[a].name, &pins[b].name));
            members.dedup();
        }
    }

    /// The pins that a name stands for: a pin, or a vector from the least significant.
    pub fn pins_called(&self, name: &str) -> Option<Vec<PinIndex>> {
        let group = || self.groups.iter().find(|(stem, _)| stem == name).map(|(_, pins)| pins.clone());
        self.pin_named(name).map(|pin| vec![pin]).or_else(group)
    }
}

/// The text of a template with one pair of brackets, without them.
fn stem_of(template: &Template) -> Option<String> {
    let written = crate::language::expand::written(template);
    let stem = written.replacen("[]", "", 1);
    (written.contains("[]") && !stem.contains("[]") && !stem.is_empty() && stem != "/").then_some(stem)
}
