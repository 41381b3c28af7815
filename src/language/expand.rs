//! What a name with indices stands for.
//!
//! `Q[1..8]` is the eight names Q1 to Q8 in that order; `Q[3]` and `Q3` are the same name. A range of two capital
//! letters runs through the alphabet: `Q[A..D]` is QA to QD. Several brackets multiply, the last one running fastest.

use super::ast::{Each, Index, IndexKind, IndexOperator, Piece, Range, Refs, Template};
use super::{MOST_NAMES, ast::Path};
use crate::diagnostic::Diagnostic;
use crate::text::Span;
use std::fmt::Write as _;

/// The loop variables in force, innermost last.
#[derive(Clone, Debug, Default)]
pub struct Scope {
    variables: Vec<(String, i64)>,
    /// Repetitions of the loops in force, multiplied; none counts as one.
    turns: usize,
}

impl Scope {
    /// Puts a variable in force.
    pub fn bind(&mut self, name: &str, value: i64) {
        self.variables.push((name.to_owned(), value));
    }

    /// Gives the innermost variable another value.
    pub fn rebind(&mut self, value: i64) {
        if let Some((_, last)) = self.variables.last_mut() {
            *last = value;
        }
    }

    /// Takes the innermost variable out of force.
    pub fn unbind(&mut self) {
        self.variables.pop();
    }

    /// The value of a variable.
    pub fn variable(&self, name: &str) -> Option<i64> {
        self.variables.iter().rev().find(|(variable, _)| variable == name).map(|(_, value)| *value)
    }

    /// The variables in force, `a = 5, b = 7`; empty when there is none.
    pub fn in_words(&self) -> String {
        let variables = self.variables.iter().map(|(name, value)| format!("{name} = {value}"));
        variables.collect::<Vec<_>>().join(", ")
    }

    /// The numbers of the ranges of a repetition, without counting them out.
    ///
    /// # Errors
    /// When an index cannot be computed, or is a letter.
    pub fn number_ranges(&self, ranges: &[Range], span: Span) -> Result<Vec<(i64, i64)>, Diagnostic> {
        let ends = ranges.iter().map(|range| {
            let from = self.step(&range.from)?;
            let to = range.to.as_ref().map_or(Ok(from), |to| self.step(to))?;
            match (from, to) {
                (Step::Number(from), Step::Number(to)) => Ok((from, to)),
                _ => Err(counts_with_numbers(span)),
            }
        });
        ends.collect()
    }

    /// Runs `body` once for each value of a repetition.
    ///
    /// # Errors
    /// When an index of the repetition cannot be computed.
    pub fn each<T>(&mut self, each: &Each<T>, mut body: impl FnMut(&mut Scope, &[T])) -> Result<(), Diagnostic> {
        let steps = self.values(&each.ranges)?;
        let numbers = steps.into_iter().map(|step| match step {
            Step::Number(number) => Some(number),
            Step::Letter(_) | Step::Word(_) => None,
        });
        let Some(numbers) = numbers.collect::<Option<Vec<i64>>>() else {
            return Err(counts_with_numbers(each.span));
        };
        let turns = self.turns.max(1).saturating_mul(numbers.len());
        if turns > MOST_NAMES {
            return Err(Diagnostic::error("index", format!("more than {MOST_NAMES} repetitions"))
                .at(each.span, "with those around it, this is too much")
                .help("write smaller ranges"));
        }
        let outer = std::mem::replace(&mut self.turns, turns);
        for number in numbers {
            self.variables.push((each.variable.node.clone(), number));
            body(self, &each.body);
            self.variables.pop();
        }
        self.turns = outer;
        Ok(())
    }

    /// The flat names of a template, in order.
    ///
    /// # Errors
    /// When an index cannot be computed, or there would be too many names.
    pub fn names(&self, template: &Template) -> Result<Vec<String>, Diagnostic> {
        let mut names = vec![longer_name("")];
        for piece in &template.pieces {
            match piece {
                Piece::Text(text) => names.iter_mut().for_each(|name| name.push_str(text)),
                Piece::Indices(ranges) => {
                    let steps = self.values(ranges)?;
                    if names.len().saturating_mul(steps.len()) > MOST_NAMES {
                        return Err(too_many(template.span));
                    }
                    if let &[step] = steps.as_slice() {
                        names.iter_mut().for_each(|name| step.write_to(name));
                        continue;
                    }
                    let mut longer = Vec::with_capacity(names.len() * steps.len());
                    for name in &names {
                        for step in &steps {
                            let mut name = longer_name(name);
                            step.write_to(&mut name);
                            longer.push(name);
                        }
                    }
                    names = longer;
                }
            }
        }
        Ok(names)
    }

    /// The names of a template as a vector, the least significant (the lowest index) first.
    ///
    /// # Errors
    /// As [`Scope::names`].
    pub fn vector(&self, template: &Template) -> Result<Vec<String>, Diagnostic> {
        let mut names = self.names(template)?;
        if let (Some(first), Some(last)) = (names.first(), names.last())
            && natural_order(first, last) == std::cmp::Ordering::Greater
        {
            names.reverse();
        }
        Ok(names)
    }

    /// The one name of a template.
    ///
    /// # Errors
    /// When it stands for none or several, or an index cannot be computed.
    pub fn name(&self, template: &Template) -> Result<String, Diagnostic> {
        let mut names = self.names(template)?;
        match (names.pop(), names.is_empty()) {
            (Some(name), true) => Ok(name),
            _ => Err(Diagnostic::error("index", "one name is wanted here, not several")
                .at(template.span, "this stands for several names")
                .help("write one index in the brackets")),
        }
    }

    /// The flat paths of a path; where several steps stand for several names, the last one runs fastest.
    ///
    /// # Errors
    /// When an index cannot be computed, or there would be too many paths.
    pub fn paths(&self, path: &Path) -> Result<Vec<String>, Diagnostic> {
        let Some((last, outer)) = path.steps.split_last() else {
            return Ok(Vec::new());
        };
        let mut prefixes = vec![String::new()];
        for step in outer {
            let names = self.names(step)?;
            if prefixes.len().saturating_mul(names.len()) > MOST_NAMES {
                return Err(too_many(path.span));
            }
            let longer = |prefix: &String| names.iter().map(move |name| format!("{prefix}{name}.")).collect::<Vec<_>>();
            prefixes = prefixes.iter().flat_map(longer).collect();
        }
        let names = self.names(last)?;
        if prefixes.len().saturating_mul(names.len()) > MOST_NAMES {
            return Err(too_many(path.span));
        }
        let paths = prefixes.iter().flat_map(|prefix| names.iter().map(move |name| format!("{prefix}{name}")));
        Ok(paths.collect())
    }

    /// The reference designators of `U1..U3` or `D[0..7]`.
    ///
    /// # Errors
    /// When the two ends of a range differ in more than their trailing number.
    pub fn references(&self, refs: &Refs) -> Result<Vec<String>, Diagnostic> {
        let Some(to) = &refs.to else {
            return self.names(&refs.from);
        };
        let (first, last) = (self.name(&refs.from)?, self.name(to)?);
        let split = |name: &str| {
            let stem = name.trim_end_matches(|c: char| c.is_ascii_digit()).len();
            Some((name[..stem].to_owned(), name[stem..].parse::<u32>().ok()?))
        };
        match (split(&first), split(&last)) {
            (Some((stem, from)), Some((other, to)))
                if stem == other && from <= to && ((to - from) as usize) < MOST_NAMES =>
            {
                Ok((from..=to).map(|number| format!("{stem}{number}")).collect())
            }
            _ => Err(Diagnostic::error("index", format!("`{first}..{last}` is not a range of designators"))
                .at(refs.from.span.to(to.span), "from here to there")
                .help("both ends need the same letters and rising numbers, as in `U1..U3`")),
        }
    }

    fn values<'n>(&self, ranges: &'n [Range]) -> Result<Vec<Step<'n>>, Diagnostic> {
        if let Some(words) = self.words(ranges) {
            return Ok(words);
        }
        let mut steps = Vec::new();
        for range in ranges {
            let from = self.step(&range.from)?;
            let to = range.to.as_ref().map_or(Ok(from), |to| self.step(to))?;
            match (from, to) {
                (Step::Number(a), Step::Number(b)) => {
                    let count = a.abs_diff(b);
                    if (steps.len() as u64).saturating_add(count) >= MOST_NAMES as u64 {
                        return Err(too_many(range.from.span));
                    }
                    let sign = if a <= b { 1 } else { -1 };
                    steps.extend((0..=count as i64).map(|k| Step::Number(a + sign * k)));
                }
                (Step::Letter(a), Step::Letter(b)) if a <= b => steps.extend((a..=b).map(Step::Letter)),
                (Step::Letter(a), Step::Letter(b)) => steps.extend((b..=a).rev().map(Step::Letter)),
                _ => {
                    return Err(Diagnostic::error("index", "this range cannot be counted through")
                        .at(range.from.span, "from here")
                        .help("write two numbers `0..7` or two capital letters `A..D`"));
                }
            }
        }
        Ok(steps)
    }

    /// The words of a list such as `[load, clear]`, when none of them is a variable.
    fn words<'n>(&self, ranges: &'n [Range]) -> Option<Vec<Step<'n>>> {
        let word = |range: &'n Range| match (&range.from.kind, &range.to) {
            (IndexKind::Name(name), None) if self.variable(name).is_none() => Some(Step::Word(name.as_str())),
            _ => None,
        };
        if ranges.len() < 2 { None } else { ranges.iter().map(word).collect() }
    }

    fn step(&self, index: &Index) -> Result<Step<'static>, Diagnostic> {
        if let IndexKind::Name(name) = &index.kind {
            let known = self.variables.iter().any(|(variable, _)| variable == name);
            let letter = name.chars().next().filter(|c| c.is_ascii_uppercase() && name.len() == 1);
            if let (false, Some(letter)) = (known, letter) {
                return Ok(Step::Letter(letter));
            }
        }
        self.number(index).map(Step::Number)
    }

    fn number(&self, index: &Index) -> Result<i64, Diagnostic> {
        computed(index, &mut |name, span| {
            self.variable(name).ok_or_else(|| {
                let names = self.variables.iter().map(|(variable, _)| variable.as_str());
                let near = crate::diagnostic::did_you_mean(name, names);
                Diagnostic::error("index", format!("there is no loop variable `{name}` here"))
                    .at(span, "not known here")
                    .help(near.unwrap_or_else(|| format!("open a repetition: `each {name} in 0..7 {{ ... }}`")))
            })
        })
    }
}

/// The value of an index, with what its names mean.
///
/// # Errors
/// What a name has no meaning for, and arithmetic without a result.
pub fn computed(
    index: &Index,
    meaning: &mut dyn FnMut(&str, Span) -> Result<i64, Diagnostic>,
) -> Result<i64, Diagnostic> {
    match &index.kind {
        IndexKind::Number(number) => Ok(*number),
        IndexKind::Name(name) => meaning(name, index.span),
        IndexKind::Binary(left, operator, right) => {
            let (left, right) = (computed(left, meaning)?, computed(right, meaning)?);
            let result = match operator {
                IndexOperator::Add => left.checked_add(right),
                IndexOperator::Subtract => left.checked_sub(right),
                IndexOperator::Multiply => left.checked_mul(right),
                IndexOperator::Divide => left.checked_div_euclid(right),
                IndexOperator::Remainder => left.checked_rem_euclid(right),
            };
            result.ok_or_else(|| problem_in_arithmetic(index.span, *operator))
        }
    }
}

fn counts_with_numbers(span: Span) -> Diagnostic {
    Diagnostic::error("index", "a repetition counts with numbers")
        .at(span, "letters cannot be counted here")
        .help("write `each i in 0..3 { ... }`")
}

fn too_many(span: Span) -> Diagnostic {
    Diagnostic::error("index", format!("more than {MOST_NAMES} names"))
        .at(span, "this stands for too many names")
        .help("write smaller ranges")
}

fn problem_in_arithmetic(span: Span, operator: IndexOperator) -> Diagnostic {
    let what = match operator {
        IndexOperator::Divide | IndexOperator::Remainder => "this divides by zero",
        _ => "this index is too large",
    };
    Diagnostic::error("index", what).at(span, "cannot be computed").help("mend the arithmetic in the brackets")
}

/// One value of an index.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Step<'n> {
    Number(i64),
    Letter(char),
    /// Of a list of words, which stand for themselves.
    Word(&'n str),
}

impl Step<'_> {
    fn write_to(self, name: &mut String) {
        match self {
            Step::Number(number @ 0..=9) => name.push(char::from(b'0' + number as u8)),
            Step::Number(number) => {
                // A String takes everything.
                let _ = write!(name, "{number}");
            }
            Step::Letter(letter) => name.push(letter),
            Step::Word(word) => name.push_str(word),
        }
    }
}

/// A copy of a name with room for indices behind it.
fn longer_name(name: &str) -> String {
    const MORE: usize = 12;
    let mut longer = String::with_capacity(name.len() + MORE);
    longer.push_str(name);
    longer
}

/// Orders names as a person does: numbers in them by their value, so that D9 stands before D10.
pub fn natural_order(a: &str, b: &str) -> std::cmp::Ordering {
    let (mut a, mut b) = (a, b);
    loop {
        let digits = |text: &str| text.bytes().take_while(u8::is_ascii_digit).count();
        let (first, second) = (digits(a), digits(b));
        if first > 0 && second > 0 {
            let (x, y) = (a[..first].trim_start_matches('0'), b[..second].trim_start_matches('0'));
            let order = (x.len(), x, first).cmp(&(y.len(), y, second));
            if order.is_ne() {
                return order;
            }
            (a, b) = (&a[first..], &b[second..]);
            continue;
        }
        match (a.chars().next(), b.chars().next()) {
            (Some(x), Some(y)) if x == y => (a, b) = (&a[x.len_utf8()..], &b[y.len_utf8()..]),
            (x, y) => return x.cmp(&y),
        }
    }
}

/// The text of a template as it was written, spaces aside, with its indices not yet computed.
pub fn written(template: &Template) -> String {
    template
        .pieces
        .iter()
        .map(|piece| match piece {
            Piece::Text(text) => text.clone(),
            Piece::Indices(_) => "[]".to_owned(),
        })
        .collect()
}
