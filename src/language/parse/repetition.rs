//! Steps of a trial that hold other steps, or stand for others: repetition, procedures, vectors.

use super::{P, Reader, Rule, without_words};
use crate::language::ast::TrialStatement;

impl Reader {
    /// Reads a statement that is such a step; nothing when it is another one.
    pub(super) fn repetition(&mut self, pair: &P<'_>) -> Option<Option<TrialStatement>> {
        let pair = pair.clone();
        Some(match pair.as_rule() {
            Rule::each_trial => Some(TrialStatement::Each(self.each(pair, Self::step))),
            Rule::repeat_block => self.repeat(pair),
            Rule::together_block => Some(TrialStatement::Together(
                without_words(pair).filter_map(|statement| self.step(statement)).collect(),
            )),
            Rule::do_line => self.call(pair),
            Rule::vectors_line => self.vectors(pair),
            Rule::record_line => self.record(pair),
            _ => return None,
        })
    }

    fn repeat(&mut self, pair: P<'_>) -> Option<TrialStatement> {
        let mut inner = without_words(pair);
        let times = self.times(inner.next()?)?;
        let body = inner.filter_map(|statement| self.step(statement)).collect();
        Some(TrialStatement::Repeat { times, body })
    }

    fn call(&mut self, pair: P<'_>) -> Option<TrialStatement> {
        let mut inner = without_words(pair);
        let name = self.word(&inner.next()?);
        let arguments = inner.flat_map(without_words).map(|argument| self.formula(argument, Self::arithmetic));
        Some(TrialStatement::Do { name, arguments: arguments.collect() })
    }

    fn vectors(&mut self, pair: P<'_>) -> Option<TrialStatement> {
        let mut inner = without_words(pair);
        let file = self.string(inner.next()?);
        let every = inner.next().map(|every| self.quantity(every));
        Some(TrialStatement::Vectors { file, every })
    }

    fn record(&mut self, pair: P<'_>) -> Option<TrialStatement> {
        let keywords: Vec<Rule> = pair.clone().into_inner().map(|inner| inner.as_rule()).collect();
        let mut inner = without_words(pair);
        let file = self.string(inner.next()?);
        let when = self.show_when(&keywords, &mut inner)?;
        let signals = inner.map(|path| self.path(path)).collect();
        Some(TrialStatement::Record { file, when, signals })
    }
}
