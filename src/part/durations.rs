//! The rows of a sheet that say how long timers run.

use super::PinIndex;
use super::load_sheet::{Fallible, SheetReader};
use super::sheet::{Block, Duration};
use crate::diagnostic::Diagnostic;
use crate::language::ast::{self, DurationTerms, SheetRow, Template};
use crate::quantity::{Capacitance, Quantity, Resistance};
use crate::text::Span;

impl SheetReader<'_> {
    /// A timer that a sheet gives no time would never be known to end.
    pub(super) fn every_timer_runs(&mut self, tree: &ast::Sheet, blocks: &[Block]) {
        let function = &self.part.function;
        let named = |timer: usize| match (function.timers.get(timer), &function.rc_oscillator) {
            (Some(timer), _) => function.states[timer.state].clone(),
            (None, Some(rc_oscillator)) => self.part.pins[function.inputs[rc_oscillator.input]].name.clone(),
            (None, None) => String::new(),
        };
        let given = |timer: usize| blocks.iter().flat_map(|block| &block.durations).any(|row| row.timer == timer);
        let missing: Vec<String> = (0..function.timed()).filter(|&timer| !given(timer)).map(named).collect();
        if let Some(first) = missing.first().filter(|_| !blocks.is_empty()) {
            let message = format!("the sheet {} does not say how long `{first}` runs", tree.name.node);
            self.problems.push(
                Diagnostic::error("no-duration", message)
                    .at(tree.name.span, "in this sheet")
                    .help(format!("write a row such as `duration {first} - 10 ms`")),
            );
        }
    }

    pub(super) fn durations(
        &mut self,
        row: &SheetRow,
        names: &[Template],
        terms: &DurationTerms,
        block: &mut Block,
    ) -> Fallible<()> {
        let wrong = |span: Span, quantity: &Quantity| {
            let message = format!("a resistance or a capacitance is wanted here, not {}", quantity.kind());
            Diagnostic::error("unit", message)
                .at(span, "")
                .help("write as in `with 5..50 kohm and 1000.. pF plus 0.7 kohm`")
        };
        let mut duration = Duration {
            timer: 0,
            resistors: (Resistance::ZERO, None),
            capacitors: (Capacitance::ZERO, None),
            plus: Resistance::ZERO,
            figures: Vec::new(),
            source: row.source.as_ref().map(|source| source.node.clone()),
            span: row.span,
        };
        for range in &terms.ranges {
            let (least, most) = range.node;
            match least {
                Quantity::Resistance(least) => {
                    duration.resistors = (least, most.and_then(Quantity::as_resistance));
                }
                Quantity::Capacitance(least) => {
                    duration.capacitors = (least, most.and_then(Quantity::as_capacitance));
                }
                other => return Err(wrong(range.span, &other)),
            }
        }
        if let Some(plus) = &terms.plus {
            let resistance = plus.node.as_resistance();
            duration.plus = resistance.ok_or_else(|| wrong(plus.span, &plus.node))?;
        }
        let kept = |quantity: Quantity| {
            let kept = matches!(quantity, Quantity::Time(_) | Quantity::Percent(_) | Quantity::Resistance(_));
            kept.then_some(quantity)
        };
        duration.figures = self.figures(row, kept, "times, percentages or resistances")?;
        let timed = row.figures.iter().flatten().all(|figure| figure.as_time().is_some());
        for template in names {
            for name in self.scope.names(template)? {
                for timer in self.timers(&name, template.span)? {
                    if !timed && self.timing_pins(timer).is_none() {
                        let message = format!("no resistor and no capacitor time `{name}`");
                        return Err(Diagnostic::error("unit", message)
                            .at(row.span, "times are wanted in this row")
                            .help("write times, or name the pins: `timer busy at REXT CEXT`"));
                    }
                    block.durations.push(Duration { timer, ..duration.clone() });
                }
            }
        }
        Ok(())
    }

    fn timing_pins(&self, timer: usize) -> Option<[PinIndex; 2]> {
        let function = &self.part.function;
        match function.timers.get(timer) {
            Some(timer) => timer.pins,
            None => function.rc_oscillator.as_ref().map(|rc_oscillator| rc_oscillator.pins),
        }
    }

    /// The timers of a name, or of all names that are it and a number; the input that swings stands behind them.
    fn timers(&self, name: &str, span: Span) -> Fallible<Vec<usize>> {
        let function = &self.part.function;
        let oscillating = function
            .rc_oscillator
            .as_ref()
            .is_some_and(|rc_oscillator| self.part.pins[function.inputs[rc_oscillator.input]].name == name);
        if oscillating {
            return Ok(vec![function.timers.len()]);
        }
        let named = |wanted: &dyn Fn(&str) -> bool| -> Vec<usize> {
            let timers = function.timers.iter().enumerate();
            let named = timers.filter(|(_, timer)| wanted(&function.states[timer.state]));
            named.map(|(at, _)| at).collect()
        };
        let exact = named(&|state| state == name);
        let found = if exact.is_empty() {
            named(&|state| state.trim_end_matches(|c: char| c.is_ascii_digit()) == name)
        } else {
            exact
        };
        if found.is_empty() {
            return Err(Diagnostic::error("unknown-name", format!("there is no timer `{name}`"))
                .at(span, "not a timer")
                .help("declare it: `timer busy`"));
        }
        Ok(found)
    }
}
