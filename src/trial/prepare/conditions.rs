//! What a trial waits for: times, clocks, conditions.

use super::{Binder, Wait};
use crate::diagnostic::Diagnostic;
use crate::language::ast::{Condition, ConditionKind, Duration};
use crate::quantity::{Quantity, Time};
use crate::text::Spanned;
use crate::trial::condition::{Form, Ready};

impl Binder<'_> {
    pub(super) fn time(&mut self, quantity: &Spanned<Quantity>) -> Option<Time> {
        let time = quantity.node.as_time().filter(|time| *time > Time::ZERO);
        if time.is_none() {
            self.problems.push(
                Diagnostic::error("unit", "a time above zero is wanted here")
                    .at(quantity.span, "")
                    .help("write it with its unit: `5 ms`"),
            );
        }
        time
    }

    pub(super) fn wait(&mut self, duration: &Duration) -> Option<Wait> {
        match duration {
            Duration::Time(quantity) => self.time(quantity).map(Wait::Time),
            Duration::Clocks(count) => self.times(count).map(Wait::Clocks),
        }
    }

    pub(super) fn ready(&mut self, condition: &Condition) -> Option<Ready> {
        let text = self.sources.slice(condition.span).split_whitespace().collect::<Vec<_>>().join(" ");
        self.form(condition).map(|form| Ready { form, text })
    }

    pub(super) fn form(&mut self, condition: &Condition) -> Option<Form> {
        Some(match &condition.kind {
            ConditionKind::Is(path, status) => Form::Is(self.signal(path)?, *status),
            ConditionKind::Equals(path, value, equal) => {
                let signal = self.signal(path)?;
                match self.plain_number(value) {
                    Some(number) => {
                        let value = self.fitting(&signal, number?, condition.span)?;
                        Form::Equals(signal, value, *equal)
                    }
                    None => {
                        let wanted = self.wanted(&signal, value)?;
                        Form::Among(signal, wanted, *equal)
                    }
                }
            }
            ConditionKind::Not(inner) => Form::Not(Box::new(self.form(inner)?)),
            ConditionKind::And(members) => Form::And(self.forms(members)?),
            ConditionKind::Or(members) => Form::Or(self.forms(members)?),
        })
    }

    pub(super) fn forms(&mut self, members: &[Condition]) -> Option<Vec<Form>> {
        // Every member is looked at, so that all mistakes are told.
        let forms: Vec<Option<Form>> = members.iter().map(|member| self.form(member)).collect();
        forms.into_iter().collect()
    }
}
