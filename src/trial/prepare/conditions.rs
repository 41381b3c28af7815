//! What a trial waits for: times, clocks, conditions.

use super::{Preparer, Wait};
use crate::diagnostic::Diagnostic;
use crate::language::ast::{Condition, ConditionKind, Duration, ShowWhen, TrialStatement, TrialValue};
use crate::quantity::{Quantity, Time};
use crate::text::Spanned;
use crate::trial::condition::{Form, Ready};

impl Preparer<'_> {
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
            Duration::Clocks(count) => Some(Wait::Clocks(*count)),
        }
    }

    pub(super) fn ready(&mut self, condition: &Condition) -> Option<Ready> {
        let text = self.sources.slice(condition.span).split_whitespace().collect::<Vec<_>>().join(" ");
        self.form(condition).map(|form| Ready { form, text })
    }

    pub(super) fn form(&mut self, condition: &Condition) -> Option<Form> {
        Some(match &condition.kind {
            ConditionKind::Is(path, status) => Form::Is(self.signal(path)?, *status),
            ConditionKind::Equals(path, TrialValue::Number(number), equal) => {
                let signal = self.signal(path)?;
                let value = self.fitting(&signal, number.node, condition.span)?;
                Form::Equals(signal, value, *equal)
            }
            ConditionKind::Equals(path, value, equal) => {
                let signal = self.signal(path)?;
                let wanted = self.wanted(&signal, value)?;
                Form::Among(signal, wanted, *equal)
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

    /// Clocks can only be counted when something says which net they are on.
    pub(super) fn check_clocks(&mut self, body: &[Spanned<TrialStatement>]) {
        // A name that means no net has been told already.
        let says_which = |statement: &Spanned<TrialStatement>| {
            let node = &statement.node;
            matches!(node, TrialStatement::Clock { .. } | TrialStatement::CountClocks(_))
        };
        if self.prepared.clock_net.is_some() || body.iter().any(says_which) {
            return;
        }
        let counts = |duration: &Duration| matches!(duration, Duration::Clocks(_));
        let counting = body.iter().find(|statement| match &statement.node {
            TrialStatement::Drive(_, _, duration)
            | TrialStatement::RunFor(duration)
            | TrialStatement::RunUntil(_, duration)
            | TrialStatement::ExpectWithin(_, duration)
            | TrialStatement::ExpectFor(_, duration)
            | TrialStatement::Press { duration, .. } => counts(duration),
            TrialStatement::Show(ShowWhen::EachClock, _) => true,
            _ => false,
        });
        if let Some(statement) = counting {
            self.problems.push(
                Diagnostic::error("no-clock", "this counts clocks, but the trial does not say on which net")
                    .at(statement.span, "clocks of what?")
                    .help("write `clock NET 1 MHz`, or `count clocks on NET` for an oscillator on a board"),
            );
        }
    }
}
