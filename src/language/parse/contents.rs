//! Contents of memories: files, programs and tables of equations.

use super::{P, Reader, Rule, only_child, the_only_child, without_words};
use crate::language::ast::{BitLine, Choice, Contents, ContentsLine, Match, MatchKind, Output};
use crate::text::Spanned;

impl Reader {
    pub(super) fn contents(&mut self, pair: P<'_>) -> Contents {
        let (head, lines) = self.head_and_body(pair);
        let (name, title) = self.name_and_title(head);
        let body = lines.filter_map(|line| self.contents_line(line)).collect();
        Contents { name, title, body }
    }

    fn contents_line(&mut self, pair: P<'_>) -> Option<ContentsLine> {
        let line = only_child(pair)?;
        if line.as_rule() == Rule::each_contents {
            return Some(ContentsLine::Each(self.each(line, Self::contents_line)));
        }
        let span = self.span(&line);
        let rule = line.as_rule();
        let is_data = line.as_str().starts_with("data");
        let mut inner = without_words(line);
        Some(match rule {
            Rule::file_line => {
                let file = self.string(inner.next()?);
                let offset = inner.next().map_or(0, |offset| self.number(&offset).node);
                ContentsLine::File(file, offset)
            }
            Rule::taken_program => {
                let name = self.word(&inner.next()?);
                let offset = inner.next().map_or(0, |offset| self.number(&offset).node);
                ContentsLine::Program(name, offset)
            }
            Rule::lanes_line => {
                let digits = inner.next()?;
                let node = self.small(&digits, 1000, "a number of lanes");
                let span = self.span(&digits);
                ContentsLine::Lanes(Spanned { node, span })
            }
            Rule::bits_block => {
                let bits = inner.filter_map(|line| {
                    let mut inner = without_words(line);
                    let bits = self.pin_numbers(inner.next()?);
                    let name = self.template(inner.next()?);
                    Some(BitLine { bits, name })
                });
                let bits = bits.collect();
                if is_data { ContentsLine::Data(bits) } else { ContentsLine::Address(bits) }
            }
            Rule::when_line => {
                let condition = self.formula(inner.next()?, Self::match_level)?;
                ContentsLine::When(condition, self.outputs(inner.next()?), span)
            }
            Rule::sequence_line => {
                let (field, step) = (self.template(inner.next()?), self.template(inner.next()?));
                ContentsLine::Sequence(field, step, self.formula(inner.next()?, Self::match_level)?, span)
            }
            Rule::drivers_line => {
                let bus = self.template(inner.next()?);
                let sources: Vec<Option<Match>> = inner.map(|source| self.formula(source, Self::match_level)).collect();
                ContentsLine::Drivers(bus, sources.into_iter().collect::<Option<_>>()?, span)
            }
            Rule::else_line => ContentsLine::Else(self.outputs(inner.next()?), span),
            _ => ContentsLine::Note,
        })
    }

    fn outputs(&mut self, pair: P<'_>) -> Vec<Output> {
        let outputs = without_words(pair).filter_map(|output| {
            let span = self.span(&output);
            let mut inner = without_words(output);
            let name = self.template(inner.next()?);
            let value = inner.next().map(|value| self.choice_of(value, None));
            Some(Output { name, value, span })
        });
        outputs.collect()
    }

    fn choice_of(&mut self, first: P<'_>, last: Option<P<'_>>) -> Choice {
        if let (Some(named), None) = (name_alone(&first), &last) {
            return Choice::Named(self.named(named));
        }
        let first = self.formula(first, Self::arithmetic);
        let last = last.map_or_else(|| first.clone(), |last| self.formula(last, Self::arithmetic));
        Choice::Range(first, last)
    }

    fn match_level(&mut self, pair: P<'_>) -> Option<Match> {
        let span = self.span(&pair);
        match pair.as_rule() {
            Rule::match_one | Rule::match_source => self.match_one(pair),
            rule => {
                let mut members = Vec::new();
                for member in without_words(pair) {
                    self.too_many_operators(span);
                    members.push(self.match_level(member)?);
                }
                if members.len() == 1 {
                    return members.pop();
                }
                let kind = if rule == Rule::match_all { MatchKind::And(members) } else { MatchKind::Or(members) };
                Some(Match { kind, span })
            }
        }
    }

    fn match_one(&mut self, pair: P<'_>) -> Option<Match> {
        let span = self.span(&pair);
        let count = |rule| {
            let inner = pair.clone().into_inner();
            inner.filter(|p| p.as_rule() == rule).count()
        };
        let (negations, equal) = (count(Rule::kw_not), count(Rule::equals) > 0);
        let mut inner =
            pair.clone().into_inner().filter(|p| matches!(p.as_rule(), Rule::match_group | Rule::name | Rule::choice));
        let first = inner.next()?;
        let mut found = if first.as_rule() == Rule::match_group {
            self.match_level(only_inner(first)?)?
        } else {
            let name = self.template(first);
            let kind = match inner.next() {
                None => MatchKind::Bit(name),
                Some(choice) => {
                    let choices = std::iter::once(choice).chain(inner).filter_map(|choice| {
                        let mut ends = without_words(choice);
                        Some(self.choice_of(ends.next()?, ends.next()))
                    });
                    MatchKind::Equals(name, choices.collect(), equal)
                }
            };
            Match { kind, span }
        };
        if negations % 2 == 1 {
            let kind = MatchKind::Not(Box::new(found));
            found = Match { kind, span };
        }
        Some(found)
    }
}

/// What stands between parentheses.
fn only_inner(pair: P<'_>) -> Option<P<'_>> {
    without_words(pair).next()
}

/// A name that is the whole of a formula.
fn name_alone<'i>(pair: &P<'i>) -> Option<P<'i>> {
    let mut leaf = pair.clone();
    while leaf.as_rule() != Rule::named {
        leaf = the_only_child(&leaf)?;
    }
    Some(leaf)
}
