//! What is stored when: edges, levels, and the conditions within them.

use super::build::{Builder, Support};
use super::compile::{Compiler, Fallible, twice};
use super::effect::{EdgeRule, Effect, Forbid, LevelRule, MemoryWrite};
use super::program::{Operation, Program, Register};
use super::resolve::Place;
use crate::diagnostic::Diagnostic;
use crate::language::ast::{
    Assign, Expression, ExpressionKind, OnBlock, PartStatement, Store, Target, Template, WhileBlock,
};
use crate::language::expand::Scope;
use crate::logic::Word;
use crate::part::sheet::Signal;
use crate::text::Span;

impl Compiler<'_> {
    pub(super) fn rules(&mut self, body: &[PartStatement], scope: &mut Scope) {
        self.walk(body, scope, &mut |compiler, statement, scope| match statement {
            PartStatement::On(block) => compiler.on_rule(block, scope),
            PartStatement::While(block) => compiler.level_rule(block, scope),
            PartStatement::Forbid(expression, text) => {
                let mut builder = Builder::with_nodes(compiler.node_support.clone());
                let nodes = compiler.function.nodes.len();
                let condition = compiler.formula(&mut builder, scope, nodes).level(expression, 1)?;
                let inputs = builder.support(condition).inputs;
                compiler.function.sensitive |= inputs;
                let program = builder.finish();
                compiler.function.forbids.push(Forbid { program, condition, inputs, text: text.node.clone() });
                Ok(())
            }
            PartStatement::PowerUpZero(templates) => {
                for place in compiler.target(templates, scope)? {
                    let Place::State(bit) = place else {
                        return Err(not_stored(templates[0].span));
                    };
                    compiler.function.zero_at_power_up |= 1 << bit;
                }
                Ok(())
            }
            _ => Ok(()),
        });
    }

    fn on_rule(&mut self, block: &OnBlock, scope: &mut Scope) -> Fallible<()> {
        let bits = self.names.read(&block.trigger, scope)?;
        let (&[place], false) = (bits.places.as_slice(), bits.inverted) else {
            return Err(Diagnostic::error("trigger", "an edge is of one pin or node, by its exact name")
                .at(block.trigger.span, "this is not one signal")
                .help("write `on rise CLK`; for an active-low pin write its name with the slash"));
        };
        let (trigger, support) = match place {
            Place::Input(bit) => (Signal::Input(bit), Support { inputs: 1 << bit, ..Support::default() }),
            Place::Node(bit) => (Signal::Node(bit), self.node_support[bit]),
            Place::State(_) | Place::Output(_) => {
                return Err(Diagnostic::error("trigger", "storage cannot be clocked by storage directly")
                    .at(block.trigger.span, "a stored bit")
                    .help("name it first: `node tick = q`"));
            }
        };
        let mut builder = Builder::with_nodes(self.node_support.clone());
        let effect = self.effect(&mut builder, &block.body, scope, support, false)?;
        self.function.sensitive |= support.inputs;
        let effect = Effect { program: builder.finish(), ..effect };
        self.function.edge_rules.push(EdgeRule {
            trigger,
            edge: block.edge,
            causes: support.inputs,
            states: if support.memory { u64::MAX } else { support.states },
            effect,
        });
        Ok(())
    }

    fn level_rule(&mut self, block: &WhileBlock, scope: &mut Scope) -> Fallible<()> {
        let mut builder = Builder::with_nodes(self.node_support.clone());
        let nodes = self.function.nodes.len();
        let condition = self.formula(&mut builder, scope, nodes).level(&block.condition, 1)?;
        let support = builder.support(condition);
        let nodes = builder.nodes_read();
        let effect = self.effect(&mut builder, &block.body, scope, support, true)?;
        let read = [effect.next].into_iter().flatten();
        let writes = effect.writes.iter();
        let read = read.chain(writes.flat_map(|w| [w.address, w.data].into_iter().chain(w.condition)));
        let read = read.fold(support, |support, register| support.join(builder.support(register)));
        self.level_support.push(read);
        self.function.sensitive |= support.inputs;
        let effect = Effect { program: builder.finish(), ..effect };
        self.function.level_rules.push(LevelRule { condition, causes: support.inputs, nodes, idle: [0; 2], effect });
        Ok(())
    }

    /// The body of a rule. `cause` is what makes it act; with `through`, what it stores is a cause as well.
    fn effect(
        &mut self,
        builder: &mut Builder,
        body: &[Store],
        scope: &mut Scope,
        cause: Support,
        through: bool,
    ) -> Fallible<Effect> {
        let effect = Effect { program: Program::default(), next: None, mask: 0, starts: None, writes: Vec::new() };
        let mut flat_stores = Vec::new();
        flatten(body, scope, &mut Vec::new(), &mut flat_stores)?;
        let mut rule = Rule { effect, cause, through };
        for store in &flat_stores {
            let condition = self.condition(builder, store)?;
            match store.store {
                Store::Assign(assign) => {
                    self.store(builder, assign, &store.scope, condition, &mut rule)?;
                }
                Store::Start(templates) => {
                    self.start(builder, templates, &store.scope, condition, &mut rule)?;
                }
                Store::When(_) | Store::Each(_) => {}
            }
        }
        Ok(rule.effect)
    }

    /// What must be true for a store to happen, besides the rule itself.
    fn condition(&self, builder: &mut Builder, store: &FlatStore<'_>) -> Fallible<Option<Register>> {
        let nodes = self.function.nodes.len();
        let mut all: Option<Register> = None;
        for (expression, scope) in &store.conditions {
            let one = self.formula(builder, scope, nodes).level(expression, 1)?;
            all = Some(all.map_or(one, |all| builder.add(Operation::And(all, one))));
        }
        Ok(all)
    }

    fn store(
        &mut self,
        builder: &mut Builder,
        assign: &Assign,
        scope: &Scope,
        condition: Option<Register>,
        rule: &mut Rule,
    ) -> Fallible<()> {
        let nodes = self.function.nodes.len();
        match &assign.target {
            Target::MemoryWord(name, address, words) => {
                let memory = self.memory(&scope.name(name)?, name.span)?;
                let shape = &self.function.memories[memory];
                let (width, most) = (shape.width, shape.words);
                let count = words.as_ref().map_or(1, |words| words.node);
                if let Some(words) = words
                    && (!count.is_power_of_two() || count > most)
                {
                    let message = format!("a stretch of {count} words cannot be written");
                    return Err(Diagnostic::error("stretch", message)
                        .at(words.span, "")
                        .help(format!("write a power of two up to {most}")));
                }
                let mut formula = self.formula(builder, scope, nodes);
                let address = formula.address(memory, address)?;
                let data = formula.level(&assign.value, width)?;
                let mut support = rule.cause;
                if rule.through {
                    let read = [Some(address), Some(data), condition];
                    support = read
                        .into_iter()
                        .flatten()
                        .fold(support, |support, register| support.join(builder.support(register)));
                }
                self.write_causes = self.write_causes.join(support);
                self.function.sensitive |= support.inputs;
                rule.effect.writes.push(MemoryWrite { memory, address, words: count, data, condition });
                Ok(())
            }
            Target::Names(templates) => {
                let positions = self.stored(templates, scope)?;
                let timed = |position: &usize| {
                    let mut timers = self.function.timers.iter();
                    timers.any(|timer| timer.state == *position)
                };
                let zero = matches!(assign.value.kind, ExpressionKind::Number(0));
                if !zero && positions.iter().any(timed) {
                    return Err(Diagnostic::error("timer", "a timer is started, or ended by 0")
                        .at(assign.value.span, "neither of them")
                        .help("write `start busy` to start it, `busy = 0` to end it early"));
                }
                let width = positions.len() as u32;
                let level = self.formula(builder, scope, nodes).level(&assign.value, width)?;
                self.put(builder, &positions, level, condition, templates[0].span, rule)
            }
        }
    }

    fn start(
        &mut self,
        builder: &mut Builder,
        templates: &[Template],
        scope: &Scope,
        condition: Option<Register>,
        rule: &mut Rule,
    ) -> Fallible<()> {
        let span = templates[0].span;
        if rule.through {
            return Err(Diagnostic::error("timer", "a timer starts at an edge, not as long as something is")
                .at(span, "started in a `while` block")
                .help("start it in `on rise ... { }` or `on fall ... { }`"));
        }
        let positions = self.stored(templates, scope)?;
        let timers = &self.function.timers;
        if let Some(&other) = positions.iter().find(|&&position| !timers.iter().any(|timer| timer.state == position)) {
            let message = format!("`{}` is no timer", self.function.states[other]);
            return Err(Diagnostic::error("timer", message)
                .at(span, "only a timer can be started")
                .help("declare it: `timer busy`"));
        }
        let width = positions.len() as u32;
        let one = builder.add(Operation::Constant(1));
        let starts = builder.splat(condition.unwrap_or(one), width);
        let starts = builder.scatter(starts, &positions);
        let before = rule.effect.starts;
        rule.effect.starts = Some(before.map_or(starts, |before| builder.add(Operation::Or(before, starts))));
        let ones = builder.add(Operation::Constant(Word::mask(width)));
        self.put(builder, &positions, ones, condition, span, rule)
    }

    /// The state bits of some names.
    fn stored(&self, templates: &[Template], scope: &Scope) -> Fallible<Vec<usize>> {
        let places = self.target(templates, scope)?;
        let bit = |place: &Place| match place {
            Place::State(bit) => Ok(*bit),
            _ => Err(not_stored(templates[0].span)),
        };
        places.iter().map(bit).collect()
    }

    /// Adds what some state bits become; a store under a condition has the upper hand of those before it.
    fn put(
        &mut self,
        builder: &mut Builder,
        positions: &[usize],
        level: Register,
        condition: Option<Register>,
        span: Span,
        rule: &mut Rule,
    ) -> Fallible<()> {
        let effect = &mut rule.effect;
        let places = positions.iter().fold(0u64, |mask, bit| mask | 1 << bit);
        let again = effect.mask & places;
        if places.count_ones() != positions.len() as u32 || again != 0 && condition.is_none() {
            let bit = if again == 0 { positions[0] } else { again.trailing_zeros() as usize };
            return Err(twice(&self.function.states[bit], span));
        }
        let level = match condition {
            None => level,
            Some(condition) => {
                let before = before(builder, effect, positions);
                builder.add(Operation::Select(condition, level, before))
            }
        };
        for (bit, &position) in positions.iter().enumerate() {
            let mut support = rule.cause;
            let value = builder.support_of_bit(level, bit);
            self.state_data[position] = self.state_data[position].join(value);
            if rule.through {
                self.function.sensitive |= value.inputs;
                support = support.join(value);
            }
            self.state_causes[position] = self.state_causes[position].join(support);
        }
        if let Some(next) = effect.next
            && again != 0
        {
            let kept = builder.add(Operation::Constant(effect.mask & !places));
            effect.next = Some(builder.add(Operation::And(next, kept)));
        }
        let placed = builder.scatter(level, positions);
        effect.mask |= places;
        effect.next = Some(effect.next.map_or(placed, |before| builder.add(Operation::Or(before, placed))));
        Ok(())
    }
}

/// A rule while its body is read.
struct Rule {
    effect: Effect,
    /// What makes it act.
    cause: Support,
    /// True when what it stores moves it as well.
    through: bool,
}

/// A line of a body, with the loop variables and the conditions that it stands under.
struct FlatStore<'b> {
    store: &'b Store,
    scope: Scope,
    conditions: Vec<(&'b Expression, Scope)>,
}

fn not_stored(span: Span) -> Diagnostic {
    Diagnostic::error("storage", "only stored bits are set at an edge or a level")
        .at(span, "not a stored bit")
        .help("declare it: `state q[1..8]`, and let the output follow: `Q = q`")
}

/// What some state bits would be without a store: what the rule makes of them so far, or what they are.
fn before(builder: &mut Builder, effect: &Effect, positions: &[usize]) -> Register {
    let mut result: Option<Register> = None;
    for (at, &position) in positions.iter().enumerate() {
        let low = position as u8;
        let bit = match effect.next {
            Some(next) if effect.mask >> position & 1 == 1 => builder.add(Operation::Slice(next, low, 1)),
            _ => builder.add(Operation::States { low, width: 1 }),
        };
        let placed = if at == 0 { bit } else { builder.add(Operation::Place(bit, at as u8)) };
        result = Some(result.map_or(placed, |word| builder.add(Operation::Or(word, placed))));
    }
    result.unwrap_or_else(|| builder.add(Operation::Constant(0)))
}

/// The lines of a body, repetitions and conditions laid out.
fn flatten<'b>(
    body: &'b [Store],
    scope: &mut Scope,
    conditions: &mut Vec<(&'b Expression, Scope)>,
    into: &mut Vec<FlatStore<'b>>,
) -> Fallible<()> {
    for store in body {
        match store {
            Store::Assign(_) | Store::Start(_) => {
                into.push(FlatStore { store, scope: scope.clone(), conditions: conditions.clone() })
            }
            Store::When(block) => {
                conditions.push((&block.condition, scope.clone()));
                let result = flatten(&block.body, scope, conditions, into);
                conditions.pop();
                result?;
            }
            Store::Each(each) => {
                let mut result = Ok(());
                // The scope lends its body for each round; the lines themselves live in the tree.
                scope.each(each, |scope, _| {
                    if result.is_ok() {
                        result = flatten(&each.body, scope, conditions, into);
                    }
                })?;
                result?;
            }
        }
    }
    Ok(())
}
