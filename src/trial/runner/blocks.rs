//! Repetitions and procedures: each step as it comes, with the variables of its turn.

use super::{Observer, Runner};
use crate::language::ast::TrialStatement;
use crate::text::Span;
use crate::trial::prepare::Binder;

impl Runner<'_> {
    pub(super) fn block(&mut self, statement: &TrialStatement, span: Span, observer: &mut dyn Observer) {
        let mut binder = Binder::running(self.circuit, self.sources, self.prepared);
        let on = binder.walk(statement, span, &mut |binder, step, span| {
            let known = self.report.failures.len();
            self.step(step, span, observer);
            let with = binder.scope.in_words();
            if !with.is_empty() {
                let new = self.report.failures.iter_mut().skip(known);
                new.for_each(|failure| failure.found = format!("{}, with {with}", failure.found));
            }
            !self.ended
        });
        if !on && !self.ended {
            // What was found right before a run is right in it.
            let why = binder.faults().first().map_or("this step cannot be done", |problem| problem.message.as_str());
            self.fail(span, why.to_owned(), None);
            self.ended = true;
        }
    }
}
