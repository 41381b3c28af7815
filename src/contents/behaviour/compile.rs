//! From what is written behind an instruction to steps on numbered places.

use super::reading::fields;
use super::set::Behaviour;
use super::steps::{Step, Target, Value};
use crate::contents::instructions::{Piece, Written};
use crate::diagnostic::{Diagnostic, did_you_mean};
use crate::language::ast::{self, EffectStep, EffectTarget, Named, Whole, WholeKind, Word};
use crate::text::Span;
use std::collections::BTreeMap;

/// The most steps of one instruction, with those of the effects that it calls.
const MOST_STEPS: usize = 1000;

/// What the names of one body of steps stand for.
type Scope = BTreeMap<String, Binding>;

#[derive(Clone, Copy)]
enum Binding {
    /// A register.
    State(usize),
    /// An operand that is a number, or a parameter.
    Given(usize),
    /// An operand that names a register.
    Register(usize, usize),
    /// What an earlier step has named.
    Named(usize),
}

/// What each instruction does.
pub(super) fn effects(
    behaviour: &Behaviour,
    declared: &ast::Instructions,
    written: &[Written],
    problems: &mut Vec<Diagnostic>,
) -> Vec<Option<Vec<Step>>> {
    let mut seen: BTreeMap<&str, &Word> = BTreeMap::new();
    for effect in &declared.effects {
        if let Some(first) = seen.insert(&effect.name.node, &effect.name) {
            problems.push(
                Diagnostic::error("name-twice", format!("two effects are called {}", effect.name.node))
                    .at(effect.name.span, "the second one")
                    .at(first.span, "the first one")
                    .help("rename one of them"),
            );
        }
    }
    let mut effects = Vec::new();
    for (form, written) in behaviour.forms.iter().zip(written) {
        let Some(steps) = &written.effect else {
            effects.push(None);
            continue;
        };
        if declared.state.is_empty() {
            problems.push(
                Diagnostic::error("no-state", "the instructions have no registers to work on")
                    .at(written.span, "this says what one does")
                    .help("declare what a program sees before them: `state A 8, PC 16`"),
            );
            return Vec::new();
        }
        let mut scope: Scope = Scope::new();
        for (place, register) in behaviour.registers.iter().enumerate() {
            scope.insert(register.name.clone(), Binding::State(place));
        }
        let globals = scope.clone();
        for (place, piece) in fields(form).enumerate() {
            let place = behaviour.registers.len() + place;
            match piece {
                Piece::Register(name, kind) => scope.insert(name.clone(), Binding::Register(place, *kind)),
                Piece::Number(name, ..) | Piece::Relative(name) => scope.insert(name.clone(), Binding::Given(place)),
                Piece::Fixed(_) => None,
            };
        }
        let next = behaviour.registers.len() + fields(form).count();
        let mut compiler =
            Compiler { behaviour, declared, globals, next, steps: Vec::new(), is_full: false, problems: Vec::new() };
        compiler.body(steps, &mut scope, declared.effects.len());
        problems.append(&mut compiler.problems);
        effects.push(Some(compiler.steps));
    }
    effects
}

struct Compiler<'a> {
    behaviour: &'a Behaviour,
    declared: &'a ast::Instructions,
    /// The registers.
    globals: Scope,
    /// The next free place.
    next: usize,
    steps: Vec<Step>,
    /// True once there are too many of them.
    is_full: bool,
    problems: Vec<Diagnostic>,
}

impl Compiler<'_> {
    /// Adds the steps of a body, which may call the first `callable` effects.
    fn body(&mut self, steps: &[EffectStep], scope: &mut Scope, callable: usize) {
        for step in steps {
            if self.is_full {
                return;
            }
            if self.steps.len() >= MOST_STEPS {
                self.is_full = true;
                let (EffectStep::Call(_, _, span) | EffectStep::Set(_, _, span)) = step;
                self.problem("too-large", format!("an instruction of more than {MOST_STEPS} steps"), *span).help =
                    Some("let it do less".to_owned());
                return;
            }
            match step {
                EffectStep::Call(name, values, span) => self.call(name, values, *span, scope, callable),
                EffectStep::Set(target, value, _) => {
                    if let (Some(value), Some(target)) = (self.value(value, scope), self.target(target, scope)) {
                        self.steps.push(Step { target, value });
                    }
                }
            }
        }
    }

    fn problem(&mut self, code: &'static str, message: String, span: Span) -> &mut Diagnostic {
        self.problems.push(Diagnostic::error(code, message).at(span, ""));
        let last = self.problems.len() - 1;
        &mut self.problems[last]
    }

    fn call(&mut self, name: &Word, values: &[Whole], span: Span, scope: &Scope, callable: usize) {
        let effects = &self.declared.effects[..callable];
        let Some(at) = effects.iter().position(|effect| effect.name.node == name.node) else {
            let is_later = self.declared.effects.iter().any(|effect| effect.name.node == name.node);
            let near = did_you_mean(&name.node, effects.iter().map(|effect| effect.name.node.as_str()));
            let (message, help) = if is_later {
                let message = format!("the effect {} comes later", name.node);
                (message, "an effect calls those above it, never itself: move it up".to_owned())
            } else {
                let help = near.unwrap_or_else(|| format!("declare it: `effect {}(v) {{ ... }}`", name.node));
                (format!("there is no effect {}", name.node), help)
            };
            self.problem("unknown-effect", message, name.span).help = Some(help);
            return;
        };
        let effect = &self.declared.effects[at];
        if effect.parameters.len() != values.len() {
            let message = format!("{} takes {}, not {}", name.node, effect.parameters.len(), values.len());
            let names: Vec<&str> = effect.parameters.iter().map(|word| word.node.as_str()).collect();
            let help = format!("write `{}({})`", name.node, names.join(", "));
            self.problem("count", message, span).help = Some(help);
            return;
        }
        // What is given is computed before anything changes.
        let mut inner = self.globals.clone();
        for (parameter, value) in effect.parameters.iter().zip(values) {
            let Some(value) = self.value(value, scope) else {
                return;
            };
            let place = self.next;
            self.next += 1;
            self.steps.push(Step { target: Target::Place(place), value });
            inner.insert(parameter.node.clone(), Binding::Given(place));
        }
        self.body(&effect.steps, &mut inner, at);
    }

    fn target(&mut self, target: &EffectTarget, scope: &mut Scope) -> Option<Target> {
        let word = match target {
            EffectTarget::Memory(address) => {
                return self.value(address, scope).map(Target::Memory);
            }
            EffectTarget::Name(word) => word,
        };
        match scope.get(&word.node) {
            Some(Binding::State(place) | Binding::Named(place)) => Some(Target::Place(*place)),
            Some(Binding::Register(place, kind)) => {
                self.all_declared(*kind, word)?;
                Some(Target::Register(*place, *kind))
            }
            Some(Binding::Given(_)) => {
                let message = format!("{} is given, and cannot be changed", word.node);
                self.problem("given", message, word.span).help = Some("use another name".to_owned());
                None
            }
            None => {
                let place = self.next;
                self.next += 1;
                scope.insert(word.node.clone(), Binding::Named(place));
                Some(Target::Place(place))
            }
        }
    }

    /// Every register of a kind is one that programs see.
    fn all_declared(&mut self, kind: usize, word: &Word) -> Option<()> {
        let lost = self.behaviour.kinds[kind].values().find(|(_, place)| place.is_none());
        let Some((name, _)) = lost else {
            return Some(());
        };
        let message = format!("{} may be {name}, which is no register of `state`", word.node);
        self.problem("unknown-name", message, word.span).help = Some(format!("add it, as in `state {name} 8`"));
        None
    }

    fn value(&mut self, whole: &Whole, scope: &Scope) -> Option<Value> {
        Some(match &whole.kind {
            WholeKind::Number(number) => Value::Number(*number),
            WholeKind::Text(text) => match crate::contents::formula::codes(text, whole.span).as_deref() {
                Ok([code]) => Value::Number(i64::from(*code)),
                _ => {
                    let message = "a text of one character is a number, a longer one is not".to_owned();
                    self.problem("range", message, whole.span).help = Some("write its code as a number".to_owned());
                    return None;
                }
            },
            WholeKind::Name(named) => return self.named(named, scope),
            WholeKind::Memory(address) => Value::Memory(Box::new(self.value(address, scope)?)),
            WholeKind::Unary(operator, inner) => {
                Value::Unary(*operator, Box::new(self.value(inner, scope)?), whole.span)
            }
            WholeKind::Binary(left, operator, right) => {
                let both = [self.value(left, scope)?, self.value(right, scope)?];
                Value::Binary(Box::new(both), *operator, whole.span)
            }
            WholeKind::When(parts) => {
                let [one, condition, other] = &**parts;
                let three = [self.value(one, scope)?, self.value(condition, scope)?, self.value(other, scope)?];
                Value::When(Box::new(three))
            }
        })
    }

    fn named(&mut self, named: &Named, scope: &Scope) -> Option<Value> {
        let found = scope.get(&named.name).filter(|_| named.owner.is_none());
        match found {
            Some(Binding::State(place) | Binding::Given(place) | Binding::Named(place)) => Some(Value::Place(*place)),
            Some(Binding::Register(place, kind)) => {
                let word = Word { node: named.name.clone(), span: named.span };
                self.all_declared(*kind, &word)?;
                Some(Value::Register(*place, *kind))
            }
            None => {
                let near = did_you_mean(&named.name, scope.keys().map(String::as_str));
                let message = format!("{} is no register, no operand and no name of a step above", named.name);
                self.problem("unknown-name", message, named.span).help =
                    Some(near.unwrap_or_else(|| format!("declare it, as in `state {} 8`", named.name)));
                None
            }
        }
    }
}
