//! Names with indices, index arithmetic, paths and pin numbers.

use super::{P, Reader, Rule, is_mark, without_words};
use crate::language::LONGEST_NAME;
use crate::language::ast::{
    Edge, Index, IndexKind, IndexOperator, Nets, Path, Piece, PinNumbers, Range, Refs, Template,
};

/// The highest pin number; no package has more pins.
const MOST_PINS: u64 = 1000;

impl Reader {
    pub(super) fn template(&mut self, pair: P<'_>) -> Template {
        let span = self.span(&pair);
        let length = (span.end - span.start) as usize;
        if length > LONGEST_NAME {
            self.problem(
                span,
                format!("a name of {length} characters"),
                format!("write a shorter one; {LONGEST_NAME} are read"),
            );
            return Template { pieces: Vec::new(), span };
        }
        let mut pieces = Vec::new();
        for piece in pair.into_inner() {
            if piece.as_rule() == Rule::bracket {
                pieces.push(Piece::Indices(without_words(piece).map(|range| self.range(range)).collect()));
            } else if let Some(Piece::Text(text)) = pieces.last_mut() {
                text.push_str(piece.as_str());
            } else {
                pieces.push(Piece::Text(piece.as_str().to_owned()));
            }
        }
        Template { pieces, span }
    }

    pub(super) fn templates(&mut self, pair: P<'_>) -> Vec<Template> {
        pair.into_inner().filter(|p| p.as_rule() == Rule::name).map(|name| self.template(name)).collect()
    }

    pub(super) fn range(&mut self, pair: P<'_>) -> Range {
        let mut ends = without_words(pair);
        let from = ends.next().expect("a range has a start");
        let from = self.formula(from, Self::index);
        let to = ends.next().map(|to| self.formula(to, Self::index));
        Range { from, to }
    }

    /// Arithmetic with the operators of indices, over numbers and names.
    pub(super) fn arithmetic(&mut self, pair: P<'_>) -> Index {
        self.index(pair)
    }

    /// A chain of operators of one level, or what it is made of.
    fn index(&mut self, pair: P<'_>) -> Index {
        let span = self.span(&pair);
        match pair.as_rule() {
            Rule::digits => {
                let number = self.whole(&pair);
                Index { kind: IndexKind::Number(i64::try_from(number).unwrap_or(0)), span }
            }
            Rule::number => Index { kind: IndexKind::Number(self.number(&pair).node), span },
            Rule::named => Index { kind: IndexKind::Name(pair.as_str().trim_end().to_owned()), span },
            Rule::index_name => Index { kind: IndexKind::Name(pair.as_str().trim_end().to_owned()), span },
            _ => {
                let mut inner =
                    pair.into_inner().filter(|p| !matches!(p.as_rule(), Rule::open_paren | Rule::close_paren));
                let mut left = self.index(inner.next().expect("an index has an operand"));
                while let (Some(operator), Some(right)) = (inner.next(), inner.next()) {
                    let operator = match operator.as_rule() {
                        Rule::plus => IndexOperator::Add,
                        Rule::minus => IndexOperator::Subtract,
                        Rule::star => IndexOperator::Multiply,
                        Rule::divide => IndexOperator::Divide,
                        _ => IndexOperator::Remainder,
                    };
                    let right = self.index(right);
                    if self.too_many_operators(span) {
                        break;
                    }
                    left = Index { kind: IndexKind::Binary(Box::new(left), operator, Box::new(right)), span };
                }
                left
            }
        }
    }

    /// Reads one formula, which counts its operators for itself.
    pub(super) fn formula<'i, T>(&mut self, pair: P<'i>, read: fn(&mut Self, P<'i>) -> T) -> T {
        let outer = std::mem::take(&mut self.operators);
        let formula = read(self, pair);
        self.operators = outer;
        formula
    }

    /// Counts an operator; tells once that a formula has more of them than the recursion that will walk it can stand.
    pub(super) fn too_many_operators(&mut self, span: crate::text::Span) -> bool {
        let most = crate::language::LONGEST_CHAIN;
        self.operators += 1;
        if self.operators == most + 1 {
            self.problem(
                span,
                format!("a formula of more than {most} operators"),
                "give parts of it names of their own first, as in `node carry = A and B`",
            );
        }
        self.operators > most
    }

    pub(super) fn path(&mut self, pair: P<'_>) -> Path {
        let span = self.span(&pair);
        let steps = pair
            .into_inner()
            .filter(|p| p.as_rule() == Rule::path_step)
            .map(|step| {
                let span = self.span(&step);
                let text = step.as_str().to_owned();
                match step.into_inner().next() {
                    Some(name) if name.as_rule() == Rule::name => self.template(name),
                    _ => Template { pieces: vec![Piece::Text(text)], span },
                }
            })
            .collect();
        Path { steps, span }
    }

    pub(super) fn pin_numbers(&mut self, pair: P<'_>) -> PinNumbers {
        let span = self.span(&pair);
        let mut numbers = Vec::new();
        for range in pair.into_inner().filter(|p| !is_mark(p.as_rule())) {
            let mut ends = without_words(range).map(|end| self.small(&end, MOST_PINS, "a pin number"));
            let from = ends.next().unwrap_or(0);
            let to = ends.next().unwrap_or(from);
            if numbers.len() as u64 > MOST_PINS {
                self.problem(
                    span,
                    format!("more than {MOST_PINS} pin numbers in one line"),
                    "write them in several lines",
                );
                break;
            }
            if from <= to {
                numbers.extend(from..=to);
            } else {
                numbers.extend((to..=from).rev());
            }
        }
        PinNumbers { numbers, span }
    }

    pub(super) fn refs(&mut self, pair: P<'_>) -> Refs {
        let mut names = pair.into_inner().filter(|p| p.as_rule() == Rule::name);
        let from = names.next().map(|name| self.template(name)).expect("a reference has a name");
        let to = names.next().map(|name| self.template(name));
        Refs { from, to }
    }

    pub(super) fn nets(&mut self, pair: P<'_>) -> Nets {
        let span = self.span(&pair);
        match pair.into_inner().next() {
            Some(inner) if inner.as_rule() == Rule::net_group => Nets::Named(self.templates(inner)),
            Some(inner) if inner.as_rule() == Rule::name => Nets::Named(vec![self.template(inner)]),
            _ => Nets::Open(span),
        }
    }

    pub(super) fn edge(&self, pair: &P<'_>) -> Edge {
        if pair.as_str().trim_end() == "fall" { Edge::Fall } else { Edge::Rise }
    }
}
