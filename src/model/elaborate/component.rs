//! Chips and discretes of a board, and the wiring of their pins.

use super::discrete::{self, PinNames};
use super::plan::{Decoupling, PlanChip, PlanDiscrete, PlanJoint, Planner, Written};
use crate::diagnostic::{Diagnostic, count, did_you_mean, nearest};
use crate::language::ast::{Component, Connection, Nets, PinChoice, Value, Wiring};
use crate::language::expand::Scope;
use crate::model::problems::several;
use crate::model::things::Device;
use crate::part::family::Estimate;
use crate::part::library::{Found, NotFound};
use crate::quantity::{Frequency, Quantity};
use crate::text::Span;

/// Alike components that are wired by the same lines.
struct Row<'a> {
    references: &'a [String],
    names: PinNames<'a>,
    /// The pins of each.
    pins: Vec<Vec<PlanJoint>>,
}

impl Planner<'_> {
    pub(super) fn component(&mut self, scope: &mut Scope, component: &Component) {
        let Some(references) = self.problems.take(scope.references(&component.refs)) else {
            return;
        };
        if !self.problems.spend(references.len()) {
            return;
        }
        match discrete::read(component) {
            Some(Ok(read)) => {
                self.discretes_hold_nothing(component);
                self.discretes(scope, component, &references, read);
            }
            Some(Err(problems)) => {
                problems.into_iter().for_each(|problem| self.problems.unclear(problem));
            }
            None => self.chips(scope, component, &references),
        }
    }

    fn discretes(&mut self, scope: &mut Scope, component: &Component, references: &[String], read: discrete::Read) {
        let Some(rows) = self.wired(scope, component, references, read.pins) else {
            return;
        };
        let first = self.plan.discretes.len();
        for (reference, pins) in references.iter().zip(rows) {
            self.plan.written.push(Written::Discrete(self.plan.discretes.len()));
            self.plan.discretes.push(PlanDiscrete {
                reference: reference.as_str().into(),
                kind: read.kind.clone(),
                rating: read.rating,
                pins,
                chips: Vec::new(),
                span: component.span,
            });
        }
        let mut chips = Vec::new();
        for refs in &component.decouples {
            let names = self.problems.take(scope.references(refs)).unwrap_or_default();
            chips.extend(names.into_iter().map(|name| (name, refs.from.span)));
        }
        if !chips.is_empty() && self.problems.spend(chips.len()) {
            self.decouplings.push(Decoupling { capacitors: first..self.plan.discretes.len(), chips });
        }
    }

    fn chips(&mut self, scope: &mut Scope, component: &Component, references: &[String]) {
        if self.unknown_kinds.contains(&component.kind.span) {
            self.lose(references);
            return;
        }
        let Some((found, estimate)) = self.found(component, references) else {
            return;
        };
        let number = &component.kind.node;
        let device = Device::new(number, found, estimate, self.context.library);
        let part = &device.part;
        let oscillates = part.function.oscillator.is_some();
        let frequency = self.frequency(component, oscillates);
        let contents = self.contents(component, references, part);
        let names = PinNames::Chip { number, part };
        let Some(rows) = self.wired(scope, component, references, names) else {
            return;
        };
        for ((reference, pins), contents) in references.iter().zip(rows).zip(contents) {
            let index = self.plan.chips.len();
            self.chips_called.entry(reference.clone()).or_default().push(index);
            self.plan.written.push(Written::Chip(index));
            self.plan.chips.push(PlanChip {
                reference: reference.as_str().into(),
                device: device.clone(),
                frequency,
                contents,
                pins,
                span: component.span,
            });
        }
    }

    /// What the library has for the number of a chip.
    fn found(&mut self, component: &Component, references: &[String]) -> Option<(Found, Option<Estimate>)> {
        let number = &component.kind.node;
        let library = self.context.library;
        let estimated = component.values.iter().find(|value| value.node == Value::Estimated);
        match (library.find(number), estimated) {
            (Ok(found), None) => Some((found, None)),
            (Ok(found), Some(value)) => {
                self.problems.unclear(
                    Diagnostic::error("value", format!("{number} has a sheet of its own"))
                        .at(value.span, "no estimate is needed")
                        .help("take `estimated` away"),
                );
                Some((found, None))
            }
            (Err(problem), estimated) => match library.estimate(number) {
                Some((found, estimate)) if estimated.is_some() => Some((found, Some(estimate))),
                possible => {
                    self.unknown_kinds.insert(component.kind.span);
                    self.lose(references);
                    let mut problem = unknown_kind(&problem, component);
                    if let Some((_, estimate)) = possible {
                        problem = problem.help(format!(
                            "take a family that there is a sheet for, or write `{number} estimated`: its figures are then {} of those of {}",
                            estimate.shares(),
                            estimate.base
                        ));
                    }
                    self.problems.unclear(problem);
                    None
                }
            },
        }
    }

    /// Remembers chips of an unknown kind, so that nothing else is said about them.
    fn lose(&mut self, references: &[String]) {
        for reference in references {
            self.chips_called.entry(reference.clone()).or_default();
        }
    }

    /// The frequency of an oscillator, which no other chip may have; there is no other value for a chip.
    fn frequency(&mut self, component: &Component, oscillates: bool) -> Option<Frequency> {
        let number = &component.kind.node;
        let mut found = None;
        for value in &component.values {
            let help = "take it away";
            let (message, help) = match value.node {
                Value::Quantity(Quantity::Frequency(frequency)) if oscillates => {
                    if found.is_some() {
                        (format!("this {number} has two frequencies"), help)
                    } else if frequency <= Frequency::ZERO {
                        ("a frequency must be more than zero".to_owned(), "write it as in `1 MHz`")
                    } else {
                        found = Some(frequency);
                        continue;
                    }
                }
                Value::Estimated => continue,
                _ => {
                    let what = discrete::describe(&value.node);
                    (format!("{what} does not belong to {number}"), help)
                }
            };
            self.problems.unclear(Diagnostic::error("value", message).at(value.span, "this value").help(help));
        }
        if oscillates && found.is_none() && component.values.is_empty() {
            let message = format!("this {number} swings by itself: at which frequency?");
            self.problems.unclear(
                Diagnostic::error("value", message)
                    .at(component.span, "no frequency")
                    .help(format!("write it as in `X1 {number} 1 MHz {{ ... }}`")),
            );
        }
        if !component.decouples.is_empty() {
            self.problems.unclear(
                Diagnostic::error("value", format!("{number} decouples nothing; a capacitor does"))
                    .at(component.span, "this one")
                    .help("write `capacitor 100 nF decouples ...`"),
            );
        }
        found
    }

    /// The pins of alike components, wired as their block says.
    fn wired(
        &mut self,
        scope: &mut Scope,
        component: &Component,
        references: &[String],
        names: PinNames<'_>,
    ) -> Option<Vec<Vec<PlanJoint>>> {
        let pins = names.count();
        if !self.room_for(references.len().saturating_mul(pins), component.span) {
            return None;
        }
        let pins = vec![vec![PlanJoint::Free; pins]; references.len()];
        let mut row = Row { references, names, pins };
        self.wiring(scope, &component.connections, &mut row);
        Some(row.pins)
    }

    fn wiring(&mut self, scope: &mut Scope, lines: &[Wiring], row: &mut Row<'_>) {
        for line in lines {
            if self.problems.stop() {
                return;
            }
            match line {
                Wiring::Connection(connection) => {
                    self.connection(scope, connection, row);
                }
                Wiring::Each(each) => {
                    let done = scope.each(each, |scope, lines| {
                        if self.problems.spend(1) {
                            self.wiring(scope, lines, row);
                        }
                    });
                    self.problems.take(done);
                }
            }
        }
    }

    /// One line: pins of each component of the row, and the nets dealt out to them.
    fn connection(&mut self, scope: &Scope, line: &Connection, row: &mut Row<'_>) -> Option<()> {
        let pins = self.pins(scope, &line.pins, row)?;
        let parts = row.references.len();
        if let Nets::Open(span) = line.nets {
            for part in 0..parts {
                for &pin in &pins {
                    self.join_pin(row, part, pin, PlanJoint::Open(span));
                }
            }
            return Some(());
        }
        let nets = self.listed(scope, &line.nets)?;
        let wanted = parts * pins.len();
        if ![1, pins.len(), wanted].contains(&nets.len()) {
            self.problems.unclear(miscounted(line.span, row, &pins, &nets));
            return None;
        }
        // A pin in the middle of a row may be open as well as a whole line.
        let joints: Vec<PlanJoint> = nets
            .iter()
            .map(|(name, span)| match name.as_str() {
                "open" => PlanJoint::Open(*span),
                _ => PlanJoint::Net(self.net(name, *span), line.span),
            })
            .collect();
        for part in 0..parts {
            for (at, &pin) in pins.iter().enumerate() {
                let which = match joints.len() {
                    1 => 0,
                    many if many == wanted => part * pins.len() + at,
                    _ => at,
                };
                self.join_pin(row, part, pin, joints[which]);
            }
        }
        Some(())
    }

    fn join_pin(&mut self, row: &mut Row<'_>, part: usize, pin: usize, new: PlanJoint) {
        let (names, reference) = (&row.names, &row.references[part]);
        self.join(&mut row.pins[part][pin], new, || pin_in_words(names, pin, reference));
    }

    /// The names of a list of nets, each with its place.
    pub(super) fn listed(&mut self, scope: &Scope, nets: &Nets) -> Option<Vec<(String, Span)>> {
        let mut listed = Vec::new();
        if let Nets::Named(templates) = nets {
            for template in templates {
                let names = self.names(scope, template)?;
                listed.extend(names.into_iter().map(|name| (name, template.span)));
            }
        }
        Some(listed)
    }

    /// The pins on the left of a line; `None` when one does not exist.
    fn pins(&mut self, scope: &Scope, choice: &PinChoice, row: &Row<'_>) -> Option<Vec<usize>> {
        let mut pins = Vec::new();
        let mut complete = true;
        let mut take = |planner: &mut Self, pin: Option<usize>, problem: &dyn Fn() -> Diagnostic| match pin {
            Some(pin) => pins.push(pin),
            None => {
                complete = false;
                planner.problems.unclear(problem());
            }
        };
        match choice {
            PinChoice::Numbers(numbers) => {
                for &number in &numbers.numbers {
                    let problem = || no_such_number(&row.names, number, numbers.span);
                    take(self, row.names.numbered(number), &problem);
                }
            }
            PinChoice::Names(template) => {
                for name in self.names(scope, template)? {
                    let problem = || no_such_name(&row.names, &name, template.span);
                    take(self, row.names.named(&name), &problem);
                }
            }
        }
        complete.then_some(pins)
    }
}

fn unknown_kind(problem: &NotFound, component: &Component) -> Diagnostic {
    let near = match problem {
        NotFound::Unknown { number, .. } => nearest(number, discrete::words()),
        _ => None,
    };
    let help = near.map_or_else(|| problem.help(), |near| format!("did you mean `{near}`?"));
    Diagnostic::error("unknown-part", problem.to_string()).at(component.kind.span, "not known").help(help)
}

fn no_such_number(names: &PinNames<'_>, number: u32, span: Span) -> Diagnostic {
    let what = names.what();
    Diagnostic::error("unknown-pin", format!("{what} has no pin {number}"))
        .at(span, "no such pin")
        .help(format!("its pins are 1 to {}", names.highest()))
}

fn no_such_name(names: &PinNames<'_>, name: &str, span: Span) -> Diagnostic {
    let what = names.what();
    let known = names.names();
    let row = match names {
        PinNames::Chip { part, .. } => part.groups.iter().find(|(stem, _)| stem == name),
        PinNames::Discrete { .. } => None,
    };
    let help = if let Some((_, pins)) = row {
        format!("`{name}` is a row of {}: write each with its index", count(pins.len(), "pin"))
    } else if known.is_empty() {
        format!("write the numbers of its pins: 1 to {}", names.highest())
    } else {
        did_you_mean(name, known.iter().copied()).unwrap_or_else(|| format!("its pins are {}", several(&known)))
    };
    Diagnostic::error("unknown-pin", format!("{what} has no pin `{name}`")).at(span, "no such pin").help(help)
}

fn miscounted(span: Span, row: &Row<'_>, pins: &[usize], nets: &[(String, Span)]) -> Diagnostic {
    let parts = row.references.len();
    let pin_count = count(pins.len(), "pin");
    let message = match parts {
        1 => format!("{pin_count}, {}", count(nets.len(), "net")),
        _ => format!("{parts} parts with {pin_count} each, {}", count(nets.len(), "net")),
    };
    let pins: Vec<String> = pins.iter().map(|&pin| row.names.title(pin)).collect();
    let nets: Vec<&str> = nets.iter().map(|(name, _)| name.as_str()).collect();
    let mut problem = Diagnostic::error("count", message).at(span, "these do not match");
    if parts > 1 {
        problem = problem.note(format!("parts: {}", several(row.references)));
    }
    problem
        .note(format!("pins: {}", several(&pins)))
        .note(format!("nets: {}", several(&nets)))
        .help("name one net for each pin, or one net for all")
}

/// A pin in words: `pin 11 (CLK) of U1`.
fn pin_in_words(names: &PinNames<'_>, index: usize, reference: &str) -> String {
    format!("{} of {reference}", names.title(index))
}
