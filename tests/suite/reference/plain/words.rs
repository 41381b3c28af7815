//! What the words of a formula stand for, and how wide each of its pieces is.

use super::description::Store;
use super::formula::{Formula, Gate, Source};
use super::levels::Bit;
use coldboard::language::ast::UnaryOperator as One;
use coldboard::language::ast::{BinaryOperator as Two, Expression, ExpressionKind as Kind};
use coldboard::language::ast::{Piece, PinKind, Store as Line, Target, Template};
use coldboard::language::expand::{Scope, natural_order};
use std::collections::BTreeMap;

/// The names of a part.
#[derive(Debug, Default)]
pub(super) struct Names {
    pub(super) readable: BTreeMap<String, Source>,
    /// Pins that it drives.
    pub(super) driven: BTreeMap<String, PinKind>,
    /// Rows of names by their stem: D of D1 to D8.
    groups: BTreeMap<String, Vec<String>>,
    /// Name, width of the address, width of a word.
    pub(super) memories: Vec<(String, usize, usize)>,
    pub(super) nodes: usize,
}

impl Names {
    /// Declares the row of a template such as `D[1..8]`, or `[1..4]A`.
    pub(super) fn group(&mut self, template: &Template, scope: &Scope) {
        let texts = template.pieces.iter().filter_map(|piece| match piece {
            Piece::Text(text) => Some(text.as_str()),
            Piece::Indices(_) => None,
        });
        let (stem, count) = (texts.clone().collect::<String>(), texts.count());
        let brackets = template.pieces.len() - count;
        if brackets == 1 && !stem.is_empty() && stem != "/" {
            let names = scope.names(template).expect("names");
            self.add_group(&stem, names);
        }
    }

    /// A name that ends in a number belongs to the row of its stem.
    pub(super) fn numbered(&mut self, name: &str) {
        let stem = name.trim_end_matches(|c: char| c.is_ascii_digit());
        if stem.len() < name.len() && !stem.is_empty() && stem != "/" {
            self.add_group(stem, vec![name.to_owned()]);
        }
    }

    fn add_group(&mut self, stem: &str, names: Vec<String>) {
        let group = self.groups.entry(stem.to_owned()).or_default();
        group.extend(names);
        group.sort_by(|a, b| natural_order(a, b));
        group.dedup();
    }

    /// The names that a template stands for, of those that `known` accepts, and whether they are the opposite of the
    /// pins: `OE` for /OE.
    fn find(&self, template: &Template, scope: &Scope, known: &dyn Fn(&String) -> bool) -> Option<(Vec<String>, bool)> {
        let written = scope.vector(template).expect("names");
        for inverted in [false, true] {
            let slash = if inverted { "/" } else { "" };
            let exact: Vec<String> = written.iter().map(|name| format!("{slash}{name}")).collect();
            if exact.iter().all(known) {
                return Some((exact, inverted));
            }
            if let [stem] = exact.as_slice()
                && let Some(row) = self.groups.get(stem)
                && row.iter().all(known)
            {
                return Some((row.clone(), inverted));
            }
        }
        None
    }

    /// What a template reads, the least significant first, and whether it means the opposite.
    pub(super) fn read(&self, template: &Template, scope: &Scope) -> (Vec<Source>, bool) {
        let known = |name: &String| self.readable.contains_key(name);
        let found = self.find(template, scope, &known);
        let (names, inverted) = found.unwrap_or_else(|| panic!("{template:?} is no name"));
        (names.iter().map(|name| self.readable[name]).collect(), inverted)
    }

    /// The output pins of a template, each with whether it shows the opposite of what is assigned.
    pub(super) fn outputs(&self, template: &Template, scope: &Scope) -> Vec<(String, bool)> {
        let known = |name: &String| self.driven.contains_key(name);
        let found = self.find(template, scope, &known);
        let (names, inverted) = found.expect("output pins");
        names.into_iter().map(|name| (name, inverted)).collect()
    }

    /// The stored bits of some names, the first name the most significant.
    pub(super) fn stored(&self, templates: &[Template], scope: &Scope) -> Vec<usize> {
        let sources = templates.iter().rev().flat_map(|template| {
            let state = |name: &String| matches!(self.readable.get(name), Some(Source::State(_)));
            let (names, _) = self.find(template, scope, &state).expect("stored bits");
            names
        });
        let place = |name: String| match self.readable[&name] {
            Source::State(at) => at,
            _ => unreachable!("found as stored bits"),
        };
        sources.map(place).collect()
    }

    pub(super) fn store(&self, line: &Line, scope: &Scope) -> Store {
        match line {
            Line::Start(templates) => Store::Start(self.stored(templates, scope)),
            Line::Assign(assign) => match &assign.target {
                Target::Names(templates) => {
                    let places = self.stored(templates, scope);
                    let value = self.formula(&assign.value, scope, places.len());
                    Store::Bits(places, value)
                }
                Target::MemoryWord(name, address, words) => {
                    let name = scope.name(name).expect("a name");
                    let at = self.memory(&name).expect("a memory");
                    let (_, address_width, width) = self.memories[at];
                    let address = self.formula(address, scope, address_width);
                    let words = words.as_ref().map_or(1, |words| words.node);
                    Store::Word(at, address, words, self.formula(&assign.value, scope, width))
                }
            },
            Line::When(_) | Line::Each(_) => unreachable!("laid out"),
        }
    }

    fn memory(&self, name: &str) -> Option<usize> {
        self.memories.iter().position(|(memory, ..)| memory == name)
    }

    fn memory_of(&self, expression: &Expression, scope: &Scope) -> Option<usize> {
        let Kind::Name(template) = &expression.kind else {
            return None;
        };
        match scope.names(template).expect("names").as_slice() {
            [name] => self.memory(name),
            _ => None,
        }
    }

    /// A formula in a place of so many bits.
    pub(super) fn formula(&self, expression: &Expression, scope: &Scope, width: usize) -> Formula {
        let boxed = |expression, width| Box::new(self.formula(expression, scope, width));
        match &expression.kind {
            Kind::Off => Formula::Constant(vec![Bit::Off; width]),
            Kind::Unknown => Formula::Constant(vec![Bit::Unknown; width]),
            Kind::Number(number) => constant(*number, width),
            Kind::Name(template) => {
                let (sources, inverted) = self.read(template, scope);
                let found = sources.len();
                let read = Formula::Read(sources);
                spread(if inverted { Formula::Not(Box::new(read)) } else { read }, found, width)
            }
            Kind::Group(members) if members.len() == 1 => self.formula(&members[0], scope, width),
            Kind::Group(members) => {
                let part = |member: &Expression| {
                    let width = self.natural(member, scope).unwrap_or(1);
                    self.formula(member, scope, width)
                };
                Formula::Join(members.iter().rev().map(part).collect())
            }
            Kind::When { yes, condition, no } => {
                Formula::When { yes: boxed(yes, width), condition: boxed(condition, 1), no: boxed(no, width) }
            }
            Kind::Unary(One::Not, operand) => {
                let single = self.natural(operand, scope).unwrap_or(width) == 1;
                let own = if single { 1 } else { width };
                spread(Formula::Not(boxed(operand, own)), own, width)
            }
            Kind::Unary(operator, operand) => {
                let operand = boxed(operand, self.natural(operand, scope).unwrap_or(1));
                match operator {
                    One::Decode => Formula::Decode(operand),
                    One::All => spread(Formula::Fold(Gate::And, operand), 1, width),
                    One::Any => spread(Formula::Fold(Gate::Or, operand), 1, width),
                    One::Odd | One::Not => spread(Formula::Fold(Gate::Xor, operand), 1, width),
                }
            }
            Kind::Binary(left, operator, right) => self.binary(left, *operator, right, scope, width),
        }
    }

    fn binary(&self, left: &Expression, operator: Two, right: &Expression, scope: &Scope, width: usize) -> Formula {
        let boxed = |expression, width| Box::new(self.formula(expression, scope, width));
        let gate = |gate| {
            let natural = self.natural(left, scope).max(self.natural(right, scope));
            let own = if natural.unwrap_or(width) == 1 { 1 } else { width };
            spread(Formula::Gate(gate, boxed(left, own), boxed(right, own)), own, width)
        };
        let terms = |width| {
            let term = |expression| Box::new(self.term(expression, scope, width));
            (term(left), term(right))
        };
        let compared = || {
            let of = |side: &Expression| match side.kind {
                Kind::Number(number) => (64 - number.leading_zeros() as usize).max(1),
                _ => self.natural(side, scope).unwrap_or(1),
            };
            terms(of(left).max(of(right)))
        };
        match operator {
            Two::And => gate(Gate::And),
            Two::Or => gate(Gate::Or),
            Two::Xor => gate(Gate::Xor),
            Two::Add => {
                let (a, b) = terms(width);
                Formula::Sum(a, b)
            }
            Two::Subtract => {
                let (a, b) = terms(width);
                Formula::Difference(a, b)
            }
            Two::Equal | Two::Differs => {
                let (a, b) = compared();
                let equal = Formula::Equal(a, b);
                let differs = operator == Two::Differs;
                spread(if differs { Formula::Not(Box::new(equal)) } else { equal }, 1, width)
            }
            Two::Less | Two::Greater => {
                let (a, b) = compared();
                let (a, b) = if operator == Two::Less { (a, b) } else { (b, a) };
                spread(Formula::Less(a, b), 1, width)
            }
            Two::At => match self.memory_of(left, scope) {
                Some(memory) => {
                    let (_, address, word) = self.memories[memory];
                    spread(Formula::Word(memory, boxed(right, address)), word, width)
                }
                None => {
                    let row = boxed(left, self.natural(left, scope).unwrap_or(1));
                    let address = boxed(right, self.natural(right, scope).unwrap_or(1));
                    spread(Formula::Pick(row, address), 1, width)
                }
            },
        }
    }

    /// An operand of arithmetic: zeros stand above its own bits, and a sum within a sum is as wide as the whole.
    fn term(&self, expression: &Expression, scope: &Scope, width: usize) -> Formula {
        let mut inner = expression;
        while let Kind::Group(members) = &inner.kind
            && let [member] = members.as_slice()
        {
            inner = member;
        }
        match (&inner.kind, self.natural(expression, scope)) {
            (Kind::Binary(_, Two::Add | Two::Subtract, _), _) | (_, None) => self.formula(expression, scope, width),
            (_, Some(own)) => Formula::Widen(Box::new(self.formula(expression, scope, own)), width),
        }
    }

    /// The width that a formula has by itself; numbers and `off` take any.
    fn natural(&self, expression: &Expression, scope: &Scope) -> Option<usize> {
        let of = |expression| self.natural(expression, scope);
        match &expression.kind {
            Kind::Number(_) | Kind::Off | Kind::Unknown => None,
            Kind::Name(template) => Some(self.read(template, scope).0.len()),
            Kind::Group(members) if members.len() == 1 => of(&members[0]),
            Kind::Group(members) => Some(members.iter().map(|one| of(one).unwrap_or(1)).sum()),
            Kind::Unary(One::Not, operand) => of(operand),
            Kind::Unary(One::Decode, operand) => Some(1 << of(operand).unwrap_or(1)),
            Kind::Unary(..) => Some(1),
            Kind::Binary(left, Two::At, _) => Some(self.memory_of(left, scope).map_or(1, |at| self.memories[at].2)),
            Kind::Binary(left, operator, right) => match operator {
                Two::And | Two::Or | Two::Xor | Two::Add | Two::Subtract => of(left).max(of(right)),
                _ => Some(1),
            },
            Kind::When { yes, no, .. } => of(yes).max(of(no)),
        }
    }
}

fn constant(number: u64, width: usize) -> Formula {
    let bits = (0..width).map(|at| Bit::known(number >> at & 1 == 1));
    Formula::Constant(bits.collect())
}

/// A single bit beside a row stands for as many equal bits.
fn spread(formula: Formula, own: usize, width: usize) -> Formula {
    if own == 1 && width > 1 { Formula::Spread(Box::new(formula), width) } else { formula }
}
