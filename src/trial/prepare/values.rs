//! The values of signals: numbers and names, and how they are shown.

use super::Preparer;
use crate::circuit::Signal;
use crate::diagnostic::{Diagnostic, count};
use crate::language::ast::{Named, SignalValue, TrialValue, View};
use crate::logic::Word;
use crate::text::Span;
use crate::trial::look::{Look, Wanted};
use std::sync::Arc;

impl Preparer<'_> {
    pub(super) fn value(&mut self, signal: &Signal, value: &SignalValue, span: Span) -> Option<u64> {
        match value {
            SignalValue::Low => Some(0),
            SignalValue::High => Some(Word::mask(signal.nets.len() as u32)),
            SignalValue::Number(number) => self.fitting(signal, *number, span),
            SignalValue::Named(named) => {
                let wanted = self.named(signal, named)?;
                if let &[(first, last)] = wanted.ranges.as_slice()
                    && first == last
                {
                    return Some(first);
                }
                let message = format!("{} stands for several values", named.name);
                self.problems.push(
                    Diagnostic::error("several-values", message)
                        .at(named.span, "one is to be driven")
                        .help("write the number"),
                );
                None
            }
        }
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
        match value {
            TrialValue::Number(number) => {
                let value = self.fitting(signal, number.node, number.span)?;
                let digits = signal.nets.len().div_ceil(4);
                Some(Wanted {
                    ranges: vec![(value, value)],
                    // As wide as what is found is shown.
                    text: format!("0x{value:0digits$X}"),
                    table: Arc::default(),
                })
            }
            TrialValue::Named(named) => self.named(signal, named),
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
