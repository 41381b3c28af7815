//! What a trial waits for: times, clocks, conditions.

use super::{Binder, Wait};
use crate::diagnostic::Diagnostic;
use crate::language::ast::{Condition, ConditionKind, Duration, Radix, Status};
use crate::logic::Word;
use crate::quantity::{Quantity, Time};
use crate::text::Spanned;
use crate::trial::condition::{Form, Ready};
use crate::trial::reading::Claim;
use std::sync::Arc;

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
            ConditionKind::Is(path, status @ (Status::Lit | Status::Dark)) => {
                let (signal, reading) = self.lit(path, Radix::Hex)?;
                Form::Reads(signal, Arc::new(reading), Claim::All(*status == Status::Lit))
            }
            ConditionKind::Between(path, least, most) => {
                let (reading, ends) = (self.volts(path), self.voltages([least, most]));
                let ((signal, reading), (least, most)) = reading.zip(ends)?;
                Form::Reads(signal, Arc::new(reading), Claim::Between(least, most))
            }
            ConditionKind::Equals(path, value, equal) if self.is_leds(path) => {
                let (signal, reading) = self.lit(path, Radix::Hex)?;
                let bits = reading.width();
                let number = self.plain_number(value).flatten();
                let number = number.and_then(|number| u64::try_from(number).ok()).filter(|&it| it <= Word::mask(bits));
                let Some(number) = number else {
                    self.problems.push(
                        Diagnostic::error("width", format!("LEDs are compared with a number of {bits} bits"))
                            .at(condition.span, "not so here")
                            .help(format!("write one from 0 to {}", Word::mask(bits))),
                    );
                    return None;
                };
                Form::Reads(signal, Arc::new(reading), Claim::Number(number, *equal))
            }
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
