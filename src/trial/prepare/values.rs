//! The values of signals: numbers and names, and how they are shown.

use super::Binder;
use crate::circuit::Signal;
use crate::contents::names::several_values;
use crate::diagnostic::{Diagnostic, count};
use crate::language::ast::{Index, Named, SignalValue, TrialValue, View};
use crate::logic::Word;
use crate::text::Span;
use crate::trial::look::{Look, Wanted};
use std::sync::Arc;

impl Binder<'_> {
    pub(super) fn value(&mut self, signal: &Signal, value: &SignalValue, span: Span) -> Option<u64> {
        match value {
            SignalValue::Low => Some(0),
            SignalValue::High => Some(Word::mask(signal.nets.len() as u32)),
            SignalValue::Number(number) => {
                if let Some(number) = self.plain_number(number) {
                    return self.fitting(signal, number?, span);
                }
                let wanted = self.wanted(signal, number)?;
                if let &[(first, last)] = wanted.ranges.as_slice()
                    && first == last
                {
                    return Some(first);
                }
                self.problems.push(several_values(&wanted.text, span));
                None
            }
        }
    }

    /// The number that a value is, unless it is a name of values.
    pub(super) fn plain_number(&mut self, value: &TrialValue) -> Option<Option<i64>> {
        match value {
            TrialValue::Number(number) => Some(Some(number.node)),
            TrialValue::Formula(formula) => Some(self.number(formula)),
            TrialValue::Named(named) if named.owner.is_none() => self.scope.variable(&named.name).map(Some),
            TrialValue::Named(_) => None,
        }
    }

    /// The result of arithmetic.
    pub(super) fn number(&mut self, formula: &Index) -> Option<i64> {
        match self.circuit.names.number(formula, &self.scope) {
            Ok(number) => Some(number),
            Err(problem) => {
                self.problems.push(problem);
                None
            }
        }
    }

    /// How often.
    pub(super) fn times(&mut self, formula: &Index) -> Option<u64> {
        let number = self.number(formula)?;
        let times = u64::try_from(number).ok();
        if times.is_none() {
            self.problems.push(
                Diagnostic::error("range", format!("{number} times cannot be done"))
                    .at(formula.span, "below zero")
                    .help("mend the arithmetic"),
            );
        }
        times
    }

    /// A number as the bits of a signal; a negative one in two's complement.
    pub(super) fn fitting(&mut self, signal: &Signal, number: i64, span: Span) -> Option<u64> {
        let width = signal.nets.len() as u32;
        let mask = Word::mask(width);
        let fits = if number >= 0 { number as u64 <= mask } else { width >= 64 || number >= -(1i64 << (width - 1)) };
        if fits {
            return Some(number as u64 & mask);
        }
        let bits = count(signal.nets.len(), "bit");
        let message = format!("{number} does not fit the {bits} of `{}`", signal.path);
        self.problems
            .push(Diagnostic::error("width", message).at(span, "too large").help(format!("the largest is {mask}")));
        None
    }

    /// A number or a name, as the values of a signal that it stands for.
    pub(super) fn wanted(&mut self, signal: &Signal, value: &TrialValue) -> Option<Wanted> {
        let span = match value {
            TrialValue::Number(number) => number.span,
            TrialValue::Formula(formula) => formula.span,
            TrialValue::Named(named) => named.span,
        };
        match (self.plain_number(value), value) {
            (Some(number), _) => {
                let value = self.fitting(signal, number?, span)?;
                let digits = signal.nets.len().div_ceil(4);
                Some(Wanted {
                    ranges: vec![(value, value)],
                    // As wide as what is found is shown.
                    text: format!("0x{value:0digits$X}"),
                    table: Arc::default(),
                })
            }
            (None, TrialValue::Named(named)) => self.named(signal, named),
            (None, _) => None,
        }
    }

    pub(super) fn named(&mut self, signal: &Signal, named: &Named) -> Option<Wanted> {
        let (table, ranges) = match self.circuit.names.find(named) {
            Ok(found) => found,
            Err(problem) => {
                self.problems.push(problem);
                return None;
            }
        };
        let mask = Word::mask(signal.nets.len() as u32);
        if let Some((_, large)) = ranges.iter().find(|&&(_, last)| last > mask) {
            let (name, bits) = (&named.name, count(signal.nets.len(), "bit"));
            let message = format!("{name} is {large}, which does not fit the {bits} of `{}`", signal.path);
            self.problems.push(
                Diagnostic::error("width", message)
                    .at(named.span, "too large")
                    .help(format!("the largest value is {mask}")),
            );
            return None;
        }
        Some(Wanted { ranges: ranges.clone(), text: named.name.clone(), table: table.clone() })
    }

    pub(super) fn look(&mut self, view: &View) -> Option<Look> {
        match view {
            View::Radix(radix) => Some(Look::Radix(*radix)),
            View::Characters => Some(Look::Characters),
            // Those are readings.
            View::Volts | View::Current => None,
            View::Names(word) => match self.circuit.names.table(word) {
                Ok(table) => Some(Look::Names(table.clone())),
                Err(problem) => {
                    self.problems.push(problem);
                    None
                }
            },
        }
    }
}

/// `one number`, `3 numbers`.
pub(super) fn numbers(count: usize) -> String {
    match count {
        0 => "no number".to_owned(),
        1 => "one number".to_owned(),
        some => format!("{some} numbers"),
    }
}
