//! A condition that a person asks in the middle of a run, in the words of a trial's `expect`.

use super::condition::Ready;
use super::look::Look;
use super::prepare::{Node, Step, prepare};
use crate::circuit::{Circuit, Signal};
use crate::diagnostic::Diagnostic;
use crate::language::ast::Item;
use crate::language::parse;
use crate::run::Engine;
use crate::text::Sources;

/// A condition such as `A.r = 5 and not A.done is high`, with its names looked up.
#[derive(Clone, Debug)]
pub struct Question {
    ready: Ready,
}

impl Question {
    /// Reads a condition.
    ///
    /// # Errors
    /// A sentence about what cannot be understood in it.
    pub fn read(circuit: &Circuit, text: &str) -> Result<Question, String> {
        let unclear = || format!("`{text}` is no condition: write one such as `A.r = 5` or `A.done is high`");
        match asked(circuit, text, "expect", &unclear)? {
            Step::Expect(ready) => Ok(Question { ready }),
            _ => Err(unclear()),
        }
    }

    /// True when it is certainly true now.
    pub fn is_true(&self, machine: &dyn Engine) -> bool {
        self.ready.form.is_true(&|net| machine.level(net))
    }
}

/// What is read from voltages and currents, in the words of a trial's `show`: `A.D0`, `A.m0 as volts`; `None` for anything
/// else.
pub fn reading(circuit: &Circuit, text: &str) -> Option<(Signal, Look)> {
    match asked(circuit, text, "show now:", &String::new) {
        Ok(Step::Show(_, columns)) => {
            let (mut signal, look) = columns.into_iter().next()?;
            signal.path = text.to_owned();
            matches!(look, Look::Reading(_)).then_some((signal, look))
        }
        _ => None,
    }
}

/// The step of a trial that a statement is.
fn asked(circuit: &Circuit, text: &str, statement: &str, unclear: &dyn Fn() -> String) -> Result<Step, String> {
    // Its place is a trial of one line; braces or further lines would make it another one.
    if text.contains(['{', '}', '#', '\n']) {
        return Err(unclear());
    }
    let mut sources = Sources::new();
    let trial = format!("trial asked on it {{ {statement} {text} }}");
    let file = sources.add("", trial.as_str());
    let (tree, problems) = parse(file, &trial);
    let sentence = |problems: &[Diagnostic]| {
        let first = problems.first().map(|problem| problem.message.clone());
        first.unwrap_or_else(unclear)
    };
    if !problems.is_empty() {
        return Err(format!("{}; {}", unclear(), sentence(&problems)));
    }
    let trial = tree.items.iter().find_map(|item| match item {
        Item::Trial(trial) => Some(trial),
        _ => None,
    });
    let no_images = |_: &_| Err(Vec::new());
    let prepared =
        prepare(trial.ok_or_else(unclear)?, circuit, &sources, &no_images).map_err(|problems| sentence(&problems))?;
    match prepared.steps.as_slice() {
        [(Node::Step(step), _)] => Ok(step.clone()),
        _ => Err(unclear()),
    }
}
