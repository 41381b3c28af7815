//! Named bits of a table, and what conditions and outputs mean in them.

use super::names::{Names, Ranges};
use crate::diagnostic::{Diagnostic, did_you_mean};
use crate::language::ast::{self, BitLine, Choice, Index, Match, MatchKind, Named, Template};
use crate::language::expand::Scope;
use std::collections::BTreeMap;

/// Named bits of one side of the table.
#[derive(Default)]
pub(super) struct Bits {
    /// Each name, and each row by its name without indices: its bits, the least significant first.
    fields: BTreeMap<String, Vec<u32>>,
    /// Bits whose asserted sense is low.
    pub(super) low: u64,
    /// Bits that have a name.
    pub(super) named: u64,
}

/// A condition with its names looked up.
pub(super) enum Ready {
    Among(Vec<u32>, Ranges),
    Not(Box<Ready>),
    And(Vec<Ready>),
    Or(Vec<Ready>),
}

impl Bits {
    pub(super) fn add(&mut self, lines: &[BitLine], most: usize, what: &str, problems: &mut Vec<Diagnostic>) {
        let scope = Scope::default();
        for line in lines {
            let names = match scope.names(&line.name) {
                Ok(names) => names,
                Err(problem) => {
                    problems.push(problem);
                    continue;
                }
            };
            let span = line.bits.span.to(line.name.span);
            if names.len() != line.bits.numbers.len() {
                let message = format!("{} bits, but {} names", line.bits.numbers.len(), names.len());
                problems.push(
                    Diagnostic::error("count", message)
                        .at(span, "in this line")
                        .help("write a name for each bit, as in `0..7 opcode[0..7]`"),
                );
                continue;
            }
            if let Some(large) = line.bits.numbers.iter().find(|&&bit| bit as usize >= most) {
                problems.push(
                    Diagnostic::error("range", format!("a table has no {what} bit {large}"))
                        .at(line.bits.span, format!("0 to {} are there", most - 1))
                        .help("bits count from 0"),
                );
                continue;
            }
            let mut row: Vec<(String, u32)> = Vec::new();
            for (name, &bit) in names.iter().zip(&line.bits.numbers) {
                let sense = name.strip_prefix('/');
                let plain = sense.unwrap_or(name).to_owned();
                // An address may be looked at in several ways; what is asserted has one name.
                let sense_differs = (self.low >> bit & 1 == 1) != sense.is_some();
                let again = self.named >> bit & 1 == 1;
                if again && what == "address" && sense_differs {
                    problems.push(
                        Diagnostic::error(
                            "name-twice",
                            format!("the address bit {bit} is active low under one name only"),
                        )
                        .at(span, "the other name")
                        .help("write the slash at both of its names, or at none"),
                    );
                    continue;
                }
                let again = again && what == "data";
                let twice = again || self.fields.contains_key(&plain);
                if twice {
                    problems.push(
                        Diagnostic::error(
                            "name-twice",
                            format!("the {what} bit {bit} or its name {name} is there twice"),
                        )
                        .at(span, "the second time")
                        .help("give each bit one name"),
                    );
                    continue;
                }
                self.named |= 1 << bit;
                self.low |= u64::from(sense.is_some()) << bit;
                self.fields.insert(plain.clone(), vec![bit]);
                row.push((plain, bit));
            }
            if let Some(stem) = stem(&line.name).filter(|_| names.len() > 1) {
                row.sort_by(|a, b| crate::language::expand::natural_order(&a.0, &b.0));
                let bits: Vec<u32> = row.iter().map(|&(_, bit)| bit).collect();
                let taken = self.fields.insert(stem.clone(), bits).is_some();
                if taken {
                    problems.push(
                        Diagnostic::error("name-twice", format!("{stem} is the name of something else already"))
                            .at(line.name.span, "the second one")
                            .help("write all bits of a row in one line, or rename it"),
                    );
                }
            }
        }
    }

    /// The bits of a name, the least significant first.
    pub(super) fn find(&self, template: &Template, scope: &Scope, problems: &mut Vec<Diagnostic>) -> Option<Vec<u32>> {
        let names = match scope.vector(template) {
            Ok(names) => names,
            Err(problem) => {
                problems.push(problem);
                return None;
            }
        };
        let mut bits = Vec::new();
        for name in &names {
            let plain = name.strip_prefix('/');
            match self.fields.get(name.as_str()) {
                Some(found) => bits.extend(found),
                None => {
                    let help = match plain.filter(|plain| self.fields.contains_key(*plain)) {
                        Some(plain) => {
                            format!("write `{plain}`: that it is active low is told once, where its bit is named")
                        }
                        None => did_you_mean(name, self.fields.keys().map(String::as_str))
                            .unwrap_or_else(|| "name its bit first, as in `0 pc_out`".to_owned()),
                    };
                    problems.push(
                        Diagnostic::error("unknown-name", format!("the table has no bit {name} here"))
                            .at(template.span, "not known")
                            .help(help),
                    );
                    return None;
                }
            }
        }
        Some(bits)
    }

    pub(super) fn ready(
        &self,
        condition: &Match,
        scope: &Scope,
        names: &Names,
        problems: &mut Vec<Diagnostic>,
    ) -> Option<Ready> {
        let mut all = |members: &[Match]| {
            let ready: Vec<Option<Ready>> =
                members.iter().map(|member| self.ready(member, scope, names, problems)).collect();
            ready.into_iter().collect::<Option<Vec<Ready>>>()
        };
        Some(match &condition.kind {
            MatchKind::And(members) => Ready::And(all(members)?),
            MatchKind::Or(members) => Ready::Or(all(members)?),
            MatchKind::Not(inner) => Ready::Not(Box::new(self.ready(inner, scope, names, problems)?)),
            MatchKind::Bit(template) => {
                let bits = self.find(template, scope, problems)?;
                if bits.len() != 1 {
                    problems.push(
                        Diagnostic::error("width", format!("this has {} bits: what should they be?", bits.len()))
                            .at(template.span, "a row of bits")
                            .help("compare it, as in `step = 2`"),
                    );
                    return None;
                }
                Ready::Among(bits, vec![(1, 1)])
            }
            MatchKind::Equals(template, choices, equal) => {
                let bits = self.find(template, scope, problems)?;
                let mut among = Vec::new();
                for choice in choices {
                    among.extend(ranges(choice, bits.len(), scope, names, problems)?);
                }
                let ranges = among;
                let among = Ready::Among(bits, ranges);
                if *equal { among } else { Ready::Not(Box::new(among)) }
            }
        })
    }

    /// The bits that outputs speak of, and their asserted sense.
    pub(super) fn asserted(
        &self,
        outputs: &[ast::Output],
        scope: &Scope,
        names: &Names,
        problems: &mut Vec<Diagnostic>,
    ) -> Option<(u64, u64)> {
        let (mut mask, mut value) = (0u64, 0u64);
        let mut whole = true;
        for output in outputs {
            let Some(bits) = self.find(&output.name, scope, problems) else {
                whole = false;
                continue;
            };
            let wanted = match &output.value {
                None if bits.len() == 1 => 1,
                None => {
                    problems.push(
                        Diagnostic::error("width", format!("this has {} bits: what should they be?", bits.len()))
                            .at(output.span, "a row of bits")
                            .help("write a value, as in `alu = 3`"),
                    );
                    whole = false;
                    continue;
                }
                Some(choice) => match ranges(choice, bits.len(), scope, names, problems).as_deref() {
                    Some([(first, last)]) if first == last => *first,
                    Some(_) => {
                        problems.push(
                            Diagnostic::error("range", "an output takes one value")
                                .at(output.span, "several values")
                                .help("write the number that it is to have"),
                        );
                        whole = false;
                        continue;
                    }
                    None => {
                        whole = false;
                        continue;
                    }
                },
            };
            for (place, bit) in bits.iter().enumerate() {
                let sense = wanted >> place & 1;
                if mask >> bit & 1 == 1 && value >> bit & 1 != sense {
                    problems.push(
                        Diagnostic::error("contradiction", "this rule wants one bit in two ways")
                            .at(output.span, "the second way")
                            .help("leave one of them out"),
                    );
                    whole = false;
                }
                mask |= 1 << bit;
                value |= sense << bit;
            }
        }
        whole.then_some((mask, value))
    }

    /// The names of single bits.
    pub(super) fn names_of(&self, bits: u64) -> String {
        let singles = self.fields.iter().filter(|(_, own)| own.len() == 1);
        let names = singles.filter(|(_, own)| bits >> own[0] & 1 == 1);
        let names: Vec<&str> = names.map(|(name, _)| name.as_str()).collect();
        names.join(", ")
    }

    /// An address, field by field.
    pub(super) fn told(&self, at: u64) -> String {
        let senses = at ^ self.low;
        let rows: Vec<&Vec<u32>> = self.fields.values().filter(|bits| bits.len() > 1).collect();
        let in_a_row = |bits: &[u32]| bits.len() == 1 && rows.iter().any(|row| row.contains(&bits[0]));
        let fields = self.fields.iter().filter(|(_, bits)| !in_a_row(bits));
        let fields: Vec<String> = fields
            .map(|(name, bits)| {
                let value = bits.iter().rev().fold(0, |value, &bit| value << 1 | (senses >> bit & 1));
                format!("{name} = {value:#X}")
            })
            .collect();
        fields.join(", ")
    }
}

/// The name of a row without its indices: `opcode` of `opcode[0..7]`.
fn stem(template: &Template) -> Option<String> {
    match template.pieces.as_slice() {
        [ast::Piece::Text(text), ast::Piece::Indices(_)] => Some(text.strip_prefix('/').unwrap_or(text).to_owned()),
        _ => None,
    }
}

fn variable(named: &Named, scope: &Scope) -> Option<i64> {
    if named.owner.is_none() { scope.variable(&named.name) } else { None }
}

/// The values of a choice, if they fit so many bits.
fn ranges(
    choice: &Choice,
    width: usize,
    scope: &Scope,
    names: &Names,
    problems: &mut Vec<Diagnostic>,
) -> Option<Ranges> {
    let (found, span) = match choice {
        Choice::Range(first, last) => {
            let span = first.span.to(last.span);
            let mut number = |index: &Index| match names.number(index, scope) {
                Ok(number) => Some(number),
                Err(problem) => {
                    problems.push(problem);
                    None
                }
            };
            let (first, last) = (number(first)?, number(last)?);
            match (u64::try_from(first), u64::try_from(last)) {
                (Ok(first), Ok(last)) if first <= last => (vec![(first, last)], span),
                _ => {
                    problems.push(
                        Diagnostic::error("range", "bits are a number that is not negative, a range runs up")
                            .at(span, "not so here")
                            .help("write it as in `3` or `0x10..0x1F`"),
                    );
                    return None;
                }
            }
        }
        Choice::Named(named) if variable(named, scope).is_some() => {
            let value = variable(named, scope).and_then(|value| u64::try_from(value).ok());
            let Some(value) = value else {
                problems.push(
                    Diagnostic::error("range", "bits are a number that is not negative")
                        .at(named.span, "not so here")
                        .help("write a range that begins at 0 or above"),
                );
                return None;
            };
            (vec![(value, value)], named.span)
        }
        Choice::Named(named) => match names.find(named) {
            Ok((_, ranges)) => (ranges.clone(), named.span),
            Err(problem) => {
                problems.push(problem);
                return None;
            }
        },
    };
    let mask = if width >= 64 { u64::MAX } else { (1 << width) - 1 };
    let largest = found.iter().map(|&(_, last)| last).max().unwrap_or(0);
    if largest > mask {
        problems.push(
            Diagnostic::error("width", format!("{largest} does not fit {width} bits"))
                .at(span, "too large")
                .help(format!("the largest is {mask}")),
        );
        return None;
    }
    Some(found)
}
