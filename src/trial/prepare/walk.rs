//! What repeats in a trial, step after step: each turn of a repetition, each step of a procedure.

use super::{Binder, Step};
use crate::diagnostic::{Diagnostic, did_you_mean};
use crate::language::ast::{Each, Index, ShowWhen, TrialStatement, Word};
use crate::language::expand::Scope;
use crate::text::{Span, Spanned};

/// Steps and turns of repetitions that one trial takes at most. At a microsecond of simulation each that is more than a
/// minute; a repetition without an end would never come to a verdict.
pub(super) const MOST_STEPS: u64 = 10_000_000;

/// Steps that go on looking until the trial ends: `expect never`, `expect on`, `show each clock`.
const MOST_WATCHES: u64 = 1000;

/// Procedures that do one another.
const DEEPEST: usize = 32;

/// Stimuli that begin together.
const MOST_TOGETHER: usize = 256;

/// What is done with a step; false ends the walk.
pub(in crate::trial) type Act<'f> = dyn FnMut(&Binder<'_>, &Step, Span) -> bool + 'f;

impl Binder<'_> {
    /// Does something with each step of a statement, in order; false when that ended it, or the steps are too many or
    /// wrong.
    pub(in crate::trial) fn walk(&mut self, statement: &TrialStatement, span: Span, act: &mut Act<'_>) -> bool {
        match statement {
            TrialStatement::Each(each) => self.each(each, act),
            TrialStatement::Repeat { times, body } => self.repeat(times, body, span, act),
            TrialStatement::Do { name, arguments } => self.call(name, arguments, act),
            TrialStatement::Together(body) => self.together(body, span, act),
            TrialStatement::PowerUp(_)
            | TrialStatement::Corner(_)
            | TrialStatement::Temperature(_)
            | TrialStatement::CountClocks(_)
            | TrialStatement::Clock { .. }
            | TrialStatement::Machine(_)
            | TrialStatement::Agree(_)
            | TrialStatement::Profile(_)
            | TrialStatement::Show(ShowWhen::EachInstruction, _)
            | TrialStatement::Record { .. } => {
                self.problems.push(
                    Diagnostic::error("whole-trial", "this holds for the whole trial, so it cannot be repeated")
                        .at(span, "in a repetition or a procedure")
                        .help("write it in the trial itself"),
                );
                false
            }
            _ => {
                let step = self.bind(statement, span);
                self.spend(&step, span);
                match step {
                    Some(step) if self.problems.is_empty() => act(self, &step, span),
                    _ => false,
                }
            }
        }
    }

    fn body(&mut self, body: &[Spanned<TrialStatement>], act: &mut Act<'_>) -> bool {
        let known = self.problems.len();
        let mut on = true;
        for statement in body {
            on &= self.walk(&statement.node, statement.span, act);
            // All mistakes of one turn are told; without one, what ended it wants no more.
            if !on && self.problems.len() == known {
                return false;
            }
        }
        on
    }

    fn each(&mut self, each: &Each<Spanned<TrialStatement>>, act: &mut Act<'_>) -> bool {
        let ranges = match self.scope.number_ranges(&each.ranges, each.span) {
            Ok(ranges) => ranges,
            Err(problem) => {
                self.problems.push(problem);
                return false;
            }
        };
        for (from, to) in ranges {
            let step = if from <= to { 1 } else { -1 };
            let mut value = from;
            self.scope.bind(&each.variable.node, value);
            loop {
                self.scope.rebind(value);
                if !(self.turn(each.span) && self.body(&each.body, act)) {
                    self.scope.unbind();
                    return false;
                }
                if value == to {
                    break;
                }
                value += step;
            }
            self.scope.unbind();
        }
        true
    }

    fn repeat(&mut self, times: &Index, body: &[Spanned<TrialStatement>], span: Span, act: &mut Act<'_>) -> bool {
        let Some(times) = self.times(times) else {
            return false;
        };
        if self.running || self.exact {
            return (0..times).all(|_| self.turn(span) && self.body(body, act));
        }
        // Every turn is alike: two of them tell what is wrong, what comes of it and what it costs.
        let mut cost = (0, 0);
        for _ in 0..times.min(2) {
            let before = (self.spent, self.watches);
            if !(self.turn(span) && self.body(body, act)) {
                return false;
            }
            cost = (self.spent - before.0, self.watches - before.1);
        }
        let others = times.saturating_sub(2);
        self.spent = self.spent.saturating_add(cost.0.saturating_mul(others));
        self.watches = self.watches.saturating_add(cost.1.saturating_mul(others));
        self.within_bounds(span)
    }

    /// Stimuli that begin together, as one step.
    fn together(&mut self, body: &[Spanned<TrialStatement>], span: Span, act: &mut Act<'_>) -> bool {
        let mut steps: Vec<Step> = Vec::new();
        let mut foreign: Option<Span> = None;
        // Each of them counts here.
        let outer = std::mem::replace(&mut self.exact, true);
        let on = self.body(body, &mut |_, step, span| {
            let is_stimulus = matches!(
                step,
                Step::Drive(..)
                    | Step::Press(..)
                    | Step::Pulse(..)
                    | Step::Run(_)
                    | Step::Set(..)
                    | Step::Release(_)
                    | Step::Contacts(_)
            );
            if !is_stimulus || steps.len() == MOST_TOGETHER {
                foreign = foreign.or(Some(span));
                return false;
            }
            steps.push(step.clone());
            true
        });
        self.exact = outer;
        if let Some(foreign) = foreign {
            let message = match steps.len() {
                MOST_TOGETHER => format!("more than {MOST_TOGETHER} stimuli begin together"),
                _ => "this is no stimulus that could begin together with others".to_owned(),
            };
            self.problems.push(Diagnostic::error("together", message).at(foreign, "").at(span, "in this block").help(
                "`drive`, `press`, `step`, `run for`, `set`, `release`, `close`, `open` and `flip` can; write others \
                 before the block or behind it",
            ));
            return false;
        }
        on && act(self, &Step::Together(steps), span)
    }

    fn call(&mut self, name: &Word, arguments: &[Index], act: &mut Act<'_>) -> bool {
        let procedures = self.procedures.clone();
        let Some(procedure) = procedures.iter().find(|procedure| procedure.name.node == name.node) else {
            let names = procedures.iter().map(|procedure| procedure.name.node.as_str());
            let help = did_you_mean(&name.node, names)
                .unwrap_or_else(|| format!("write it: `procedure {} {{ ... }}`", name.node));
            let message = format!("there is no procedure `{}`", name.node);
            self.problems.push(Diagnostic::error("unknown-procedure", message).at(name.span, "not known").help(help));
            return false;
        };
        if self.doing.contains(&name.node) {
            let message = format!("the procedure {} does itself: it would never end", name.node);
            self.problems.push(
                Diagnostic::error("recursion", message)
                    .at(name.span, "again from here")
                    .at(procedure.name.span, "this procedure")
                    .help("repeat its steps with `repeat 20 times { ... }` or `each i in 0..19 { ... }`"),
            );
            return false;
        }
        if self.doing.len() == DEEPEST {
            self.problems.push(
                Diagnostic::error("too-deep", format!("procedures do one another more than {DEEPEST} deep"))
                    .at(name.span, "one too deep")
                    .help("write the steps of this one here"),
            );
            return false;
        }
        if arguments.len() != procedure.parameters.len() {
            let names: Vec<&str> = procedure.parameters.iter().map(|parameter| parameter.node.as_str()).collect();
            let message =
                format!("{} takes {}, not {}", name.node, super::values::numbers(names.len()), arguments.len());
            let list = if names.is_empty() { String::new() } else { format!("({})", names.join(", ")) };
            self.problems.push(
                Diagnostic::error("count", message)
                    .at(name.span, "")
                    .at(procedure.name.span, "this procedure")
                    .help(format!("write `do {}{list}` with a value for each", name.node)),
            );
            return false;
        }
        let values: Vec<Option<i64>> = arguments.iter().map(|argument| self.number(argument)).collect();
        let Some(values) = values.into_iter().collect::<Option<Vec<i64>>>() else {
            return false;
        };
        let mut scope = Scope::default();
        procedure.parameters.iter().zip(values).for_each(|(parameter, value)| scope.bind(&parameter.node, value));
        let outer = std::mem::replace(&mut self.scope, scope);
        self.doing.push(name.node.clone());
        let on = self.turn(name.span) && self.body(&procedure.body, act);
        self.doing.pop();
        self.scope = outer;
        on
    }

    /// Counts a turn; false when they are too many.
    fn turn(&mut self, span: Span) -> bool {
        self.spent = self.spent.saturating_add(1);
        self.within_bounds(span)
    }

    /// Counts a step.
    pub(super) fn spend(&mut self, step: &Option<Step>, span: Span) {
        let cost = match step {
            Some(Step::Vectors(vectors, _)) => vectors.rows() as u64,
            Some(Step::Pulse(_, times, _)) => *times,
            _ => 1,
        };
        self.spent = self.spent.saturating_add(cost);
        self.within_bounds(span);
    }

    fn within_bounds(&mut self, span: Span) -> bool {
        if self.running || self.spent <= MOST_STEPS && self.watches <= MOST_WATCHES {
            return true;
        }
        if self.watches > MOST_WATCHES {
            if !self.problems.iter().any(|problem| problem.code == "too-many-watches") {
                let message = format!("more than {MOST_WATCHES} steps that last to the end of the trial");
                self.problems.push(
                    Diagnostic::error("too-many-watches", message)
                        .at(span, "counted up to here")
                        .help("write it once, outside of the repetition"),
                );
            }
            return false;
        }
        if !self.problems.iter().any(|problem| problem.code == "too-many-steps") {
            let message = "this trial takes more than 10,000,000 steps".to_owned();
            self.problems.push(
                Diagnostic::error("too-many-steps", message)
                    .at(span, "counted up to here")
                    .help("write smaller ranges, or several trials that take a part each"),
            );
        }
        false
    }
}
