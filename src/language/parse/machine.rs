//! What instructions do, and where a trial finds the registers of a machine.

use super::{P, Reader, Rule, only_child, without_words};
use crate::language::ast::{Effect, EffectStep, EffectTarget, Machine, Whole, WholeKind, WholeOperator, Word};
use crate::text::Spanned;

impl Reader {
    /// `A 8, PC 16`.
    pub(super) fn visible(&mut self, pair: P<'_>) -> Vec<(Word, Spanned<u32>)> {
        let registers = without_words(pair).filter_map(|register| {
            let mut inner = without_words(register);
            let name = self.word(&inner.next()?);
            let digits = inner.next()?;
            let node = self.small(&digits, 1000, "a number of bits");
            Some((name, Spanned { node, span: self.span(&digits) }))
        });
        registers.collect()
    }

    pub(super) fn effect(&mut self, pair: P<'_>) -> Option<Effect> {
        let mut inner = without_words(pair);
        let name = self.word(&inner.next()?);
        let mut effect = Effect { name, parameters: Vec::new(), steps: Vec::new() };
        for inner in inner {
            match inner.as_rule() {
                Rule::effect_block => effect.steps = self.effect_steps(inner),
                _ => effect.parameters.push(self.word(&inner)),
            }
        }
        Some(effect)
    }

    pub(super) fn effect_steps(&mut self, pair: P<'_>) -> Vec<EffectStep> {
        let steps = without_words(pair).filter_map(only_child);
        steps.filter_map(|step| self.effect_step(step)).collect()
    }

    fn effect_step(&mut self, step: P<'_>) -> Option<EffectStep> {
        let span = self.span(&step);
        let is_call = step.as_rule() == Rule::effect_call;
        let mut inner = without_words(step);
        let first = inner.next()?;
        if is_call {
            let name = self.word(&first);
            return Some(EffectStep::Call(name, inner.map(|value| self.effect_formula(value)).collect(), span));
        }
        let target = match first.as_rule() {
            Rule::memory_byte => EffectTarget::Memory(self.whole_formula(without_words(first).next()?)),
            _ => EffectTarget::Name(self.word(&first)),
        };
        Some(EffectStep::Set(target, self.effect_formula(inner.next()?), span))
    }

    fn effect_formula(&mut self, pair: P<'_>) -> Whole {
        self.formula(pair, Self::effect_value)
    }

    /// `x when c else y`, a comparison, or a formula.
    fn effect_value(&mut self, pair: P<'_>) -> Whole {
        let span = self.span(&pair);
        let mut inner = without_words(pair);
        let Some(value) = inner.next().map(|choice| self.effect_choice(choice)) else {
            return Whole { kind: WholeKind::Number(0), span };
        };
        let (Some(condition), Some(otherwise)) = (inner.next(), inner.next()) else {
            return value;
        };
        let condition = self.effect_choice(condition);
        if self.too_many_operators(span) {
            return value;
        }
        let otherwise = self.effect_value(otherwise);
        Whole { kind: WholeKind::When(Box::new([value, condition, otherwise])), span }
    }

    fn effect_choice(&mut self, pair: P<'_>) -> Whole {
        let span = self.span(&pair);
        let operator = pair.clone().into_inner().find_map(|mark| match mark.as_rule() {
            Rule::equals => Some(WholeOperator::Equal),
            Rule::differs => Some(WholeOperator::Different),
            Rule::less => Some(WholeOperator::Less),
            Rule::greater => Some(WholeOperator::Greater),
            _ => None,
        });
        let sides = pair.into_inner().filter(|side| side.as_rule() == Rule::whole);
        let sides: Vec<Whole> = sides.map(|side| self.whole_level(side)).collect();
        let mut sides = sides.into_iter();
        match (sides.next(), operator, sides.next()) {
            (Some(left), Some(operator), Some(right)) if !self.too_many_operators(span) => {
                Whole { kind: WholeKind::Binary(Box::new(left), operator, Box::new(right)), span }
            }
            (Some(left), ..) => left,
            (None, ..) => Whole { kind: WholeKind::Number(0), span },
        }
    }

    pub(super) fn machine(&mut self, pair: P<'_>) -> Option<Machine> {
        let span = self.span(&pair);
        let mut inner = without_words(pair);
        let instructions = self.word(&inner.next()?);
        let mut machine =
            Machine { instructions, starts: Vec::new(), memories: Vec::new(), registers: Vec::new(), span };
        for line in inner.filter_map(only_child) {
            let span = self.span(&line);
            let rule = line.as_rule();
            let mut inner = without_words(line);
            let first = inner.next()?;
            match rule {
                Rule::machine_start => {
                    let edge = self.edge(&first);
                    let path = self.path(inner.next()?);
                    let condition = match inner.next() {
                        Some(condition) => Some(self.condition(condition)?),
                        None => None,
                    };
                    machine.starts.push((edge, path, condition, span));
                }
                Rule::machine_memory => {
                    let number = self.number(&first);
                    machine.memories.push((number, self.path(inner.next()?)));
                }
                _ => {
                    let register = self.word(&first);
                    machine.registers.push((register, self.path(inner.next()?)));
                }
            }
        }
        Some(machine)
    }
}
