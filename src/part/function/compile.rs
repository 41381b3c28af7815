//! From the formulas of a part to its [`Function`].

use super::build::{Builder, Needs};
use super::memory::MemoryShape;
use super::program::{Operation, Program, Register};
use super::resolve::{Bits, Names, Place, numbered, stem};
use super::{Effect, Forbid, Function, LevelRule, MemoryWrite, OnRule};
use crate::diagnostic::Diagnostic;
use crate::language::ast::{
    Assign, BinaryOperator, Expression, ExpressionKind, OnBlock, PartStatement, Store, Target,
    Template, UnaryOperator, WhileBlock,
};
use crate::language::expand::Scope;
use crate::logic::Word;
use crate::part::sheet::Signal;
use crate::part::{Pin, PinKind};
use crate::text::Span;

/// The most bits of one word.
const MOST_BITS: usize = 64;

/// Compiles the formulas of a part with the given pins. The function is good when no error was reported.
pub fn compile(body: &[PartStatement], pins: &[Pin], problems: &mut Vec<Diagnostic>) -> Function {
    let mut compiler = Compiler::new(pins, problems);
    let mut scope = Scope::default();
    compiler.declare(body, &mut scope);
    compiler.define_nodes(body, &mut scope);
    compiler.rules(body, &mut scope);
    compiler.outputs(body, &mut scope);
    compiler.finish()
}

struct Compiler<'a> {
    pins: &'a [Pin],
    problems: &'a mut Vec<Diagnostic>,
    names: Names,
    function: Function,
    node_needs: Vec<Needs>,
    /// For each state bit, the input and state bits that can set it.
    state_causes: Vec<Needs>,
    /// For each state bit, the inputs that it may take its value from.
    state_data: Vec<Needs>,
    /// Inputs that a memory write depends on.
    write_causes: Needs,
    /// For each level-sensitive rule, what it reads.
    level_reads: Vec<Needs>,
    output_needs: Vec<Needs>,
}

/// The two words of an expression that may let go.
#[derive(Clone, Copy)]
struct Value {
    level: Register,
    off: Option<Register>,
}

type Fallible<T> = Result<T, Diagnostic>;

impl<'a> Compiler<'a> {
    /// Numbers the pins as bits of the input and output words.
    fn new(pins: &'a [Pin], problems: &'a mut Vec<Diagnostic>) -> Self {
        let mut compiler = Compiler {
            pins,
            problems,
            names: Names::default(),
            function: Function::default(),
            node_needs: Vec::new(),
            state_causes: Vec::new(),
            state_data: Vec::new(),
            write_causes: Needs::default(),
            level_reads: Vec::new(),
            output_needs: Vec::new(),
        };
        // Vectors stand together, the least significant bit first, so that they are read in one piece.
        let mut order: Vec<usize> = (0..pins.len()).collect();
        order
            .sort_by(|&a, &b| crate::language::expand::natural_order(&pins[a].name, &pins[b].name));
        for index in order {
            let pin = &pins[index];
            if pin.listens() {
                compiler
                    .names
                    .add_readable(&pin.name, Place::Input(compiler.function.inputs.len()));
                compiler.function.inputs.push(index);
            }
            if pin.drives() {
                compiler
                    .names
                    .add_writable(&pin.name, Place::Output(compiler.function.outputs.len()));
                compiler.function.outputs.push(index);
            }
            if let Some(stem) = numbered(&pin.name)
                && (pin.listens() || pin.drives())
            {
                compiler
                    .names
                    .add_group(stem.to_owned(), std::slice::from_ref(&pin.name));
            }
        }
        compiler.output_needs = vec![Needs::default(); compiler.function.outputs.len()];
        compiler
    }

    fn note(&mut self, result: Fallible<()>) {
        if let Err(problem) = result {
            self.problems.push(problem);
        }
    }

    /// Walks all statements, repetition laid out.
    fn walk(
        &mut self,
        body: &[PartStatement],
        scope: &mut Scope,
        visit: &mut dyn FnMut(&mut Self, &PartStatement, &mut Scope) -> Fallible<()>,
    ) {
        for statement in body {
            if let PartStatement::Each(each) = statement {
                let result = scope.each(each, |scope, body| self.walk(body, scope, visit));
                self.note(result);
            } else {
                let result = visit(self, statement, scope);
                self.note(result);
            }
        }
    }

    // ---- names ------------------------------------------------------------------------------------------------

    fn declare(&mut self, body: &[PartStatement], scope: &mut Scope) {
        self.walk(
            body,
            scope,
            &mut |compiler, statement, scope| match statement {
                PartStatement::Package(package) => {
                    for pin in &package.pins {
                        if let Some(stem) = stem(&pin.name) {
                            let members = scope.names(&pin.name)?;
                            compiler.names.add_group(stem, &members);
                        }
                    }
                    Ok(())
                }
                PartStatement::State(templates) => templates.iter().try_for_each(|template| {
                    for name in scope.vector(template)? {
                        compiler.declare_state(name, template.span)?;
                    }
                    compiler.group(template, scope)
                }),
                PartStatement::Oscillator(template) => {
                    let name = scope.name(template)?;
                    compiler.function.oscillator = Some(compiler.function.states.len());
                    compiler.declare_state(name, template.span)
                }
                PartStatement::Memory(memory) => {
                    let name = scope.name(&memory.name)?;
                    compiler.fresh(&name, memory.span)?;
                    compiler.names.memories.push(name.clone());
                    let (words, width, blank) = (
                        memory.words.max(1).next_power_of_two(),
                        memory.width,
                        memory.blank,
                    );
                    compiler.function.memories.push(MemoryShape {
                        name,
                        words,
                        width,
                        blank,
                    });
                    Ok(())
                }
                PartStatement::Node(template, _) => {
                    for name in scope.vector(template)? {
                        compiler.fresh(&name, template.span)?;
                        let bit = compiler.function.nodes.len();
                        compiler.names.add_readable(&name, Place::Node(bit));
                        compiler.function.nodes.push(name);
                    }
                    compiler.group(template, scope)
                }
                _ => Ok(()),
            },
        );
        let (inputs, outputs) = (self.function.inputs.len(), self.function.outputs.len());
        let (states, nodes) = (self.function.states.len(), self.function.nodes.len());
        for (count, what) in [
            (inputs, "inputs"),
            (outputs, "outputs"),
            (states, "stored bits"),
            (nodes, "nodes"),
        ] {
            if count > MOST_BITS {
                let message = format!(
                    "a part with {count} {what} cannot be modelled; {MOST_BITS} is the most"
                );
                self.problems.push(
                    Diagnostic::error("too-large", message).help("split it into several parts"),
                );
                self.function = Function::default();
                self.names = Names::default();
                self.output_needs.clear();
            }
        }
        self.state_causes = vec![Needs::default(); self.function.states.len()];
        self.state_data = self.state_causes.clone();
        self.node_needs = vec![Needs::default(); self.function.nodes.len()];
    }

    fn fresh(&self, name: &str, span: Span) -> Fallible<()> {
        if self.names.is_known(name) || self.names.memories.iter().any(|memory| memory == name) {
            return Err(Diagnostic::error(
                "name-twice",
                format!("`{name}` has been declared before"),
            )
            .at(span, "declared again here")
            .help("choose another name"));
        }
        Ok(())
    }

    fn declare_state(&mut self, name: String, span: Span) -> Fallible<()> {
        self.fresh(&name, span)?;
        let place = Place::State(self.function.states.len());
        self.names.add_readable(&name, place);
        self.names.add_writable(&name, place);
        self.function.states.push(name);
        Ok(())
    }

    fn group(&mut self, template: &Template, scope: &Scope) -> Fallible<()> {
        if let Some(stem) = stem(template) {
            let members = scope.names(template)?;
            self.names.add_group(stem, &members);
        }
        Ok(())
    }

    // ---- the pieces of a function -----------------------------------------------------------------------------

    fn define_nodes(&mut self, body: &[PartStatement], scope: &mut Scope) {
        let mut builder = Builder::default();
        let mut word: Option<Register> = None;
        let mut defined = 0;
        self.walk(body, scope, &mut |compiler, statement, scope| {
            let PartStatement::Node(template, expression) = statement else {
                return Ok(());
            };
            let names = scope.vector(template)?;
            let width = names.len() as u32;
            let positions: Vec<usize> = (defined..defined + names.len()).collect();
            // Counted even when its formula is wrong, so that only that is reported.
            defined += names.len();
            let level = Formula {
                compiler: &*compiler,
                builder: &mut builder,
                scope,
                nodes: positions.first().copied().unwrap_or(0),
            }
            .level(expression, width)?;
            for (bit, &position) in positions.iter().enumerate() {
                let needs = builder.needs_of_bit(level, bit);
                if let Some(slot) = compiler.node_needs.get_mut(position) {
                    *slot = needs;
                }
            }
            builder.nodes = compiler.node_needs.clone();
            let placed = builder.scatter(level, &positions);
            word = Some(word.map_or(placed, |before| builder.add(Operation::Or(before, placed))));
            builder.node_word = word;
            Ok(())
        });
        self.function.node_result = word;
        self.function.node_program = builder.finish();
    }

    fn rules(&mut self, body: &[PartStatement], scope: &mut Scope) {
        self.walk(
            body,
            scope,
            &mut |compiler, statement, scope| match statement {
                PartStatement::On(block) => compiler.on_rule(block, scope),
                PartStatement::While(block) => compiler.level_rule(block, scope),
                PartStatement::Forbid(expression, text) => {
                    let mut builder = Builder::with_nodes(compiler.node_needs.clone());
                    let nodes = compiler.function.nodes.len();
                    let condition = Formula {
                        compiler: &*compiler,
                        builder: &mut builder,
                        scope,
                        nodes,
                    }
                    .level(expression, 1)?;
                    let inputs = builder.needs(condition).inputs;
                    compiler.function.sensitive |= inputs;
                    let program = builder.finish();
                    compiler.function.forbids.push(Forbid {
                        program,
                        condition,
                        inputs,
                        text: text.node.clone(),
                    });
                    Ok(())
                }
                _ => Ok(()),
            },
        );
    }

    fn on_rule(&mut self, block: &OnBlock, scope: &mut Scope) -> Fallible<()> {
        let bits = self.names.read(&block.trigger, scope)?;
        let (&[place], false) = (bits.places.as_slice(), bits.inverted) else {
            return Err(Diagnostic::error(
                "trigger",
                "an edge is of one pin or node, by its exact name",
            )
            .at(block.trigger.span, "this is not one signal")
            .help("write `on rise CLK`; for an active-low pin write its name with the slash"));
        };
        let (trigger, needs) = match place {
            Place::Input(bit) => (
                Signal::Input(bit),
                Needs {
                    inputs: 1 << bit,
                    ..Needs::default()
                },
            ),
            Place::Node(bit) => (Signal::Node(bit), self.node_needs[bit]),
            Place::State(_) | Place::Output(_) => {
                return Err(Diagnostic::error(
                    "trigger",
                    "storage cannot be clocked by storage directly",
                )
                .at(block.trigger.span, "a stored bit")
                .help("name it first: `node tick = q`"));
            }
        };
        let mut builder = Builder::with_nodes(self.node_needs.clone());
        let effect = self.effect(&mut builder, &block.body, scope, needs, false)?;
        self.function.sensitive |= needs.inputs;
        let effect = Effect {
            program: builder.finish(),
            ..effect
        };
        self.function.on_rules.push(OnRule {
            trigger,
            edge: block.edge,
            causes: needs.inputs,
            states: if needs.memory { u64::MAX } else { needs.states },
            effect,
        });
        Ok(())
    }

    fn level_rule(&mut self, block: &WhileBlock, scope: &mut Scope) -> Fallible<()> {
        let mut builder = Builder::with_nodes(self.node_needs.clone());
        let nodes = self.function.nodes.len();
        let condition = Formula {
            compiler: &*self,
            builder: &mut builder,
            scope,
            nodes,
        }
        .level(&block.condition, 1)?;
        let needs = builder.needs(condition);
        let nodes = builder.nodes_read();
        let effect = self.effect(&mut builder, &block.body, scope, needs, true)?;
        let read = [effect.next].into_iter().flatten();
        let read = read.chain(effect.writes.iter().flat_map(|w| [w.address, w.data]));
        let read = read.fold(needs, |needs, register| needs.join(builder.needs(register)));
        self.level_reads.push(read);
        self.function.sensitive |= needs.inputs;
        let effect = Effect {
            program: builder.finish(),
            ..effect
        };
        self.function.level_rules.push(LevelRule {
            condition,
            causes: needs.inputs,
            nodes,
            effect,
        });
        Ok(())
    }

    /// The body of a rule. `cause` is what makes it act; with `through`, what it stores is a cause as well.
    fn effect(
        &mut self,
        builder: &mut Builder,
        body: &[Store],
        scope: &mut Scope,
        cause: Needs,
        through: bool,
    ) -> Fallible<Effect> {
        let mut effect = Effect {
            program: Program::default(),
            next: None,
            mask: 0,
            writes: Vec::new(),
        };
        let mut assigns: Vec<(&Assign, Scope)> = Vec::new();
        lay_out(body, scope, &mut assigns)?;
        for (assign, scope) in assigns {
            self.store(builder, assign, &scope, &mut effect, cause, through)?;
        }
        Ok(effect)
    }

    fn store(
        &mut self,
        builder: &mut Builder,
        assign: &Assign,
        scope: &Scope,
        effect: &mut Effect,
        cause: Needs,
        through: bool,
    ) -> Fallible<()> {
        let nodes = self.function.nodes.len();
        match &assign.target {
            Target::MemoryWord(name, address) => {
                let memory = self.memory(&scope.name(name)?, name.span)?;
                let width = self.function.memories[memory].width;
                let mut formula = Formula {
                    compiler: &*self,
                    builder,
                    scope,
                    nodes,
                };
                let address = formula.address(memory, address)?;
                let data = formula.level(&assign.value, width)?;
                let needs = cause.join(builder.needs(address)).join(builder.needs(data));
                self.write_causes = self.write_causes.join(needs);
                self.function.sensitive |= needs.inputs;
                effect.writes.push(MemoryWrite {
                    memory,
                    address,
                    data,
                });
            }
            Target::Names(templates) => {
                let bits = self.target(templates, scope)?;
                let positions: Vec<usize> = bits
                    .iter()
                    .map(|place| match place {
                        Place::State(bit) => Ok(*bit),
                        _ => Err(Diagnostic::error(
                            "storage",
                            "only stored bits are set at an edge or a level",
                        )
                        .at(templates[0].span, "not a stored bit")
                        .help("declare it: `state q[1..8]`, and let the output follow: `Q = q`")),
                    })
                    .collect::<Fallible<_>>()?;
                let width = positions.len() as u32;
                let level = Formula {
                    compiler: &*self,
                    builder,
                    scope,
                    nodes,
                }
                .level(&assign.value, width)?;
                for (bit, &position) in positions.iter().enumerate() {
                    let mut needs = cause;
                    let value = builder.needs_of_bit(level, bit);
                    self.state_data[position] = self.state_data[position].join(value);
                    if through {
                        self.function.sensitive |= value.inputs;
                        needs = needs.join(value);
                    }
                    self.state_causes[position] = self.state_causes[position].join(needs);
                    if effect.mask >> position & 1 == 1 {
                        return Err(twice(&self.function.states[position], templates[0].span));
                    }
                    effect.mask |= 1 << position;
                }
                let placed = builder.scatter(level, &positions);
                effect.next = Some(
                    effect
                        .next
                        .map_or(placed, |before| builder.add(Operation::Or(before, placed))),
                );
            }
        }
        Ok(())
    }

    fn outputs(&mut self, body: &[PartStatement], scope: &mut Scope) {
        let mut builder = Builder::with_nodes(self.node_needs.clone());
        let mut value: Option<Register> = None;
        let mut off: Option<Register> = None;
        let mut assigned = 0u64;
        self.walk(body, scope, &mut |compiler, statement, scope| {
            let PartStatement::Assign(assign) = statement else {
                return Ok(());
            };
            let Target::Names(templates) = &assign.target else {
                let span = assign.value.span;
                return Err(Diagnostic::error(
                    "storage",
                    "a memory is written inside `on` or `while`",
                )
                .at(span, "here nothing says when")
                .help("write `while write { cells at A = D }`"));
            };
            let span = templates[0].span;
            let mut positions = Vec::new();
            let mut inverted = 0u64;
            // The first name is the most significant, the positions count from the least.
            for template in templates.iter().rev() {
                let bits = compiler.names.write(template, scope)?;
                for place in bits.places {
                    let Place::Output(bit) = place else {
                        return Err(Diagnostic::error(
                            "storage",
                            "stored bits are set inside `on` or `while`",
                        )
                        .at(span, "here nothing says when")
                        .help("write `on rise CLK { q = D }`"));
                    };
                    inverted |= u64::from(bits.inverted) << positions.len();
                    positions.push(bit);
                }
            }
            for &bit in &positions {
                if assigned >> bit & 1 == 1 {
                    return Err(twice(
                        &compiler.pins[compiler.function.outputs[bit]].name,
                        span,
                    ));
                }
                assigned |= 1 << bit;
            }
            let nodes = compiler.function.nodes.len();
            let width = positions.len() as u32;
            let formula = Formula {
                compiler: &*compiler,
                builder: &mut builder,
                scope,
                nodes,
            }
            .value(&assign.value, width)?;
            let mut level = formula.level;
            if inverted != 0 {
                let flip = builder.add(Operation::Constant(inverted));
                level = builder.add(Operation::Xor(level, flip));
            }
            for (bit, &position) in positions.iter().enumerate() {
                let needs = builder.needs_of_bit(level, bit);
                let released = formula
                    .off
                    .map_or(Needs::default(), |off| builder.needs_of_bit(off, bit));
                compiler.output_needs[position] = needs.join(released);
            }
            compiler.check_kind(&positions, formula.off.is_some(), assign.value.span);
            let placed = builder.scatter(level, &positions);
            value = Some(value.map_or(placed, |before| builder.add(Operation::Or(before, placed))));
            if let Some(released) = formula.off {
                let placed = builder.scatter(released, &positions);
                off = Some(off.map_or(placed, |before| builder.add(Operation::Or(before, placed))));
            }
            Ok(())
        });
        for (bit, &pin) in self.function.outputs.iter().enumerate() {
            if assigned >> bit & 1 == 0 && self.problems.is_empty() {
                let name = &self.pins[pin].name;
                let message = format!("nothing says what the output `{name}` is");
                self.problems.push(
                    Diagnostic::error("no-formula", message).help(format!("write `{name} = ...`")),
                );
            }
        }
        self.function.drive_program = builder.finish();
        self.function.drive_value = value;
        self.function.drive_off = off;
    }

    /// A push-pull output never lets go; a three-state one can.
    fn check_kind(&mut self, positions: &[usize], can_let_go: bool, span: Span) {
        for &bit in positions {
            let pin = &self.pins[self.function.outputs[bit]];
            let wanted = pin.kind != PinKind::Out;
            if wanted != can_let_go {
                let (what, help) = if wanted {
                    (
                        "is declared as an output that can let go, but its formula never does",
                        "write `... else off`",
                    )
                } else {
                    (
                        "is a push-pull output, but its formula lets it go",
                        "declare it `three-state` or `open-drain`",
                    )
                };
                self.problems.push(
                    Diagnostic::error("output-kind", format!("`{}` {what}", pin.name))
                        .at(span, "")
                        .help(help),
                );
                return;
            }
        }
    }

    fn target(&self, templates: &[Template], scope: &Scope) -> Fallible<Vec<Place>> {
        let mut places = Vec::new();
        for template in templates.iter().rev() {
            let bits = self.names.write(template, scope)?;
            if bits.inverted {
                return Err(Diagnostic::error(
                    "storage",
                    "stored bits are set by their exact names",
                )
                .at(template.span, "")
                .help("write the name as it was declared"));
            }
            places.extend(bits.places);
        }
        Ok(places)
    }

    fn memory(&self, name: &str, span: Span) -> Fallible<usize> {
        self.names
            .memories
            .iter()
            .position(|memory| memory == name)
            .ok_or_else(|| {
                let near = crate::diagnostic::did_you_mean(
                    name,
                    self.names.memories.iter().map(String::as_str),
                );
                Diagnostic::error("unknown-name", format!("there is no memory `{name}`"))
                    .at(span, "not a memory")
                    .help(near.unwrap_or_else(|| "declare it: `memory cells 32768 x 8`".to_owned()))
            })
    }

    /// Follows storage back to the inputs that can move it, and sums up.
    fn finish(mut self) -> Function {
        let causes = follow(&self.state_causes);
        let arcs = self.output_needs.iter().map(|needs| {
            let memory = if needs.memory {
                self.write_causes.inputs
            } else {
                0
            };
            bits_of(needs.states).fold(needs.inputs | memory, |mask, state| mask | causes[state])
        });
        self.function.arcs = arcs.collect();
        self.function.stored_nodes = (self.node_needs.iter().enumerate())
            .filter(|(_, needs)| needs.states != 0 || needs.memory)
            .fold(0, |mask, (bit, _)| mask | 1 << bit);
        self.function.settles_at_once =
            self.function.stored_nodes == 0 && self.level_order_is_good();
        let data = follow(&self.state_data);
        let feeds = self
            .output_needs
            .iter()
            .map(|needs| bits_of(needs.states).fold(0, |mask, state| mask | data[state]));
        self.function.data = feeds.collect();
        self.function.sensitive |= self.function.arcs.iter().fold(0, |all, arc| all | arc);
        self.function
    }

    /// True when no level-sensitive rule reads what it or a later one stores.
    fn level_order_is_good(&self) -> bool {
        let rules = &self.function.level_rules;
        self.level_reads.iter().enumerate().all(|(at, reads)| {
            rules[at..].iter().all(|rule| {
                let writes = !rule.effect.writes.is_empty();
                reads.states & rule.effect.mask == 0 && !(reads.memory && writes)
            })
        })
    }
}

/// For each state bit, all inputs that reach it, through other state bits as well.
fn follow(needs: &[Needs]) -> Vec<u64> {
    let mut inputs: Vec<u64> = needs.iter().map(|needs| needs.inputs).collect();
    loop {
        let mut changed = false;
        for bit in 0..inputs.len() {
            let reached =
                bits_of(needs[bit].states).fold(inputs[bit], |mask, other| mask | inputs[other]);
            changed |= reached != inputs[bit];
            inputs[bit] = reached;
        }
        if !changed {
            return inputs;
        }
    }
}

fn bits_of(mut mask: u64) -> impl Iterator<Item = usize> {
    std::iter::from_fn(move || {
        let bit = mask.trailing_zeros();
        mask &= mask.wrapping_sub(1);
        (bit < 64).then_some(bit as usize)
    })
}

fn twice(name: &str, span: Span) -> Diagnostic {
    Diagnostic::error("set-twice", format!("`{name}` is set twice"))
        .at(span, "set again here")
        .help("say it in one formula, with `when ... else`")
}

/// The assignments of a body, each with the loop variables that it stands under.
fn lay_out<'b>(
    body: &'b [Store],
    scope: &mut Scope,
    into: &mut Vec<(&'b Assign, Scope)>,
) -> Fallible<()> {
    for store in body {
        match store {
            Store::Assign(assign) => into.push((assign, scope.clone())),
            Store::Each(each) => {
                let mut result = Ok(());
                // The scope lends its body for each round; the assignments themselves live in the tree.
                scope.each(each, |scope, _| {
                    if result.is_ok() {
                        result = lay_out(&each.body, scope, into);
                    }
                })?;
                result?;
            }
        }
    }
    Ok(())
}

/// One formula on its way into a program.
struct Formula<'f, 'a> {
    compiler: &'f Compiler<'a>,
    builder: &'f mut Builder,
    scope: &'f Scope,
    /// Nodes from this one on are not defined yet.
    nodes: usize,
}

impl Formula<'_, '_> {
    /// A formula that has a level in every case.
    fn level(&mut self, expression: &Expression, width: u32) -> Fallible<Register> {
        let value = self.value(expression, width)?;
        if value.off.is_some() {
            return Err(Diagnostic::error("off", "only an output can let go")
                .at(expression.span, "`off` cannot stand here")
                .help("move `off` to the formula of the output"));
        }
        Ok(value.level)
    }

    /// A formula of so many bits.
    fn value(&mut self, expression: &Expression, width: u32) -> Fallible<Value> {
        if self.builder.is_full() {
            return Err(
                Diagnostic::error("too-large", "this part's formulas are too long")
                    .at(expression.span, "one operation too many")
                    .help("split the part"),
            );
        }
        let level = match &expression.kind {
            ExpressionKind::Off => {
                let level = self.builder.add(Operation::Constant(0));
                let off = self.builder.add(Operation::Constant(Word::mask(width)));
                return Ok(Value {
                    level,
                    off: Some(off),
                });
            }
            ExpressionKind::When { yes, condition, no } => {
                return self.when(yes, condition, no, width);
            }
            ExpressionKind::Group(members) if members.len() == 1 => {
                return self.value(&members[0], width);
            }
            ExpressionKind::Group(members) => self.join(members, expression.span, width)?,
            ExpressionKind::Number(number) => self.constant(*number, expression.span, width)?,
            ExpressionKind::Name(template) => {
                let register = self.name(template)?;
                self.fit(register, width, expression.span)?
            }
            ExpressionKind::Unary(operator, operand) => {
                self.unary(*operator, operand, expression.span, width)?
            }
            ExpressionKind::Binary(left, operator, right) => {
                self.binary(left, *operator, right, expression.span, width)?
            }
        };
        Ok(Value { level, off: None })
    }

    fn when(
        &mut self,
        yes: &Expression,
        condition: &Expression,
        no: &Expression,
        width: u32,
    ) -> Fallible<Value> {
        let condition = self.level(condition, 1)?;
        let yes = self.value(yes, width)?;
        let no = self.value(no, width)?;
        let level = self
            .builder
            .add(Operation::Select(condition, yes.level, no.level));
        let off = match (yes.off, no.off) {
            (None, None) => None,
            (yes, no) => {
                let zero = self.builder.add(Operation::Constant(0));
                Some(self.builder.add(Operation::Select(
                    condition,
                    yes.unwrap_or(zero),
                    no.unwrap_or(zero),
                )))
            }
        };
        Ok(Value { level, off })
    }

    fn join(&mut self, members: &[Expression], span: Span, width: u32) -> Fallible<Register> {
        let mut total = 0;
        let mut result: Option<Register> = None;
        for member in members.iter().rev() {
            let bits = self.natural(member)?.unwrap_or(1);
            let level = self.level(member, bits)?;
            let placed = if total == 0 {
                level
            } else {
                self.builder.add(Operation::Place(level, total as u8))
            };
            result = Some(result.map_or(placed, |before| {
                self.builder.add(Operation::Or(before, placed))
            }));
            total += bits;
            if total > 64 {
                return Err(Diagnostic::error("width", "more than 64 bits")
                    .at(span, "too wide")
                    .help("split it"));
            }
        }
        let register = result.unwrap_or_else(|| self.builder.add(Operation::Constant(0)));
        if total != width {
            return Err(mismatch(total, width, span));
        }
        Ok(register)
    }

    fn constant(&mut self, number: u64, span: Span, width: u32) -> Fallible<Register> {
        if number & !Word::mask(width) != 0 {
            return Err(
                Diagnostic::error("width", format!("{number} does not fit {width} bits"))
                    .at(span, "too large")
                    .help("write a smaller number, or widen the other side"),
            );
        }
        Ok(self.builder.add(Operation::Constant(number)))
    }

    /// The bits of a name, in the sense that it was written in.
    fn name(&mut self, template: &Template) -> Fallible<Register> {
        let Bits { places, inverted } = self.compiler.names.read(template, self.scope)?;
        let mut inputs = Vec::new();
        let mut states = Vec::new();
        let mut nodes = Vec::new();
        for place in &places {
            match *place {
                Place::Input(bit) => inputs.push(bit),
                Place::State(bit) => states.push(bit),
                Place::Node(bit) if bit < self.nodes => nodes.push(bit),
                Place::Node(_) | Place::Output(_) => {
                    return Err(Diagnostic::error(
                        "order",
                        "this node is read before it is defined",
                    )
                    .at(template.span, "defined further down")
                    .help("move its definition up"));
                }
            }
        }
        let width = places.len();
        let register = if inputs.len() == width {
            self.builder
                .gather(&inputs, |low, width| Operation::Inputs { low, width })
        } else if states.len() == width {
            self.builder
                .gather(&states, |low, width| Operation::States { low, width })
        } else if nodes.len() == width {
            self.node_bits(&nodes)
        } else {
            return Err(
                Diagnostic::error("mixed", "this name mixes pins, stored bits and nodes")
                    .at(template.span, "of several kinds")
                    .help("join them by name: `(a, b)`"),
            );
        };
        Ok(if inverted {
            self.builder
                .add(Operation::Not(register, Word::mask(width as u32)))
        } else {
            register
        })
    }

    fn node_bits(&mut self, nodes: &[usize]) -> Register {
        let Some(word) = self.builder.node_word else {
            return self
                .builder
                .gather(nodes, |low, width| Operation::Nodes { low, width });
        };
        let mut result: Option<Register> = None;
        for (place, &node) in nodes.iter().enumerate() {
            let bit = self.builder.add(Operation::Slice(word, node as u8, 1));
            let placed = if place == 0 {
                bit
            } else {
                self.builder.add(Operation::Place(bit, place as u8))
            };
            result = Some(result.map_or(placed, |before| {
                self.builder.add(Operation::Or(before, placed))
            }));
        }
        result.unwrap_or(word)
    }

    /// One bit spreads over a vector; everything else must be as wide as its place.
    fn fit(&mut self, register: Register, width: u32, span: Span) -> Fallible<Register> {
        match self.builder.width(register) {
            bits if bits == width => Ok(register),
            1 => Ok(self.builder.splat(register, width)),
            bits => Err(mismatch(bits, width, span)),
        }
    }

    fn unary(
        &mut self,
        operator: UnaryOperator,
        operand: &Expression,
        span: Span,
        width: u32,
    ) -> Fallible<Register> {
        if operator == UnaryOperator::Not {
            let bits = self.natural(operand)?.unwrap_or(width);
            let level = self.level(operand, if bits == 1 { 1 } else { width })?;
            let mask = Word::mask(self.builder.width(level).min(width));
            let level = self.builder.add(Operation::Not(level, mask));
            return self.fit(level, width, span);
        }
        let bits = self.natural(operand)?.unwrap_or(1);
        let level = self.level(operand, bits)?;
        let result = match operator {
            UnaryOperator::Decode if bits > 6 => {
                return Err(Diagnostic::error(
                    "width",
                    format!("{bits} bits decode to more than 64 outputs"),
                )
                .at(span, "too wide")
                .help("decode 6 bits at most"));
            }
            UnaryOperator::Decode => self.builder.add(Operation::Decode(level, bits as u8)),
            UnaryOperator::All => self.builder.add(Operation::All(level, Word::mask(bits))),
            UnaryOperator::Any => self.builder.add(Operation::Any(level, Word::mask(bits))),
            UnaryOperator::Odd | UnaryOperator::Not => {
                self.builder.add(Operation::Odd(level, Word::mask(bits)))
            }
        };
        self.fit(result, width, span)
    }

    fn binary(
        &mut self,
        left: &Expression,
        operator: BinaryOperator,
        right: &Expression,
        span: Span,
        width: u32,
    ) -> Fallible<Register> {
        let result = match operator {
            BinaryOperator::And | BinaryOperator::Or | BinaryOperator::Xor => {
                let bits = self
                    .natural(left)?
                    .max(self.natural(right)?)
                    .map_or(width, |bits| bits.max(1));
                let bits = if bits == 1 { 1 } else { width };
                let (a, b) = (self.level(left, bits)?, self.level(right, bits)?);
                match operator {
                    BinaryOperator::And => self.builder.add(Operation::And(a, b)),
                    BinaryOperator::Or => self.builder.add(Operation::Or(a, b)),
                    _ => self.builder.add(Operation::Xor(a, b)),
                }
            }
            BinaryOperator::Add | BinaryOperator::Subtract => {
                let (a, b) = (self.term(left, width)?, self.term(right, width)?);
                let width = width as u8;
                return Ok(if operator == BinaryOperator::Add {
                    self.builder.add(Operation::Add(a, b, width))
                } else {
                    self.builder.add(Operation::Subtract(a, b, width))
                });
            }
            BinaryOperator::At => self.selected(left, right)?,
            comparison => {
                let needed = |number: u64| 64 - number.leading_zeros();
                let of = |formula: &Self, side: &Expression| -> Fallible<u32> {
                    Ok(match (&side.kind, formula.natural(side)?) {
                        (ExpressionKind::Number(number), _) => needed(*number).max(1),
                        (_, bits) => bits.unwrap_or(1),
                    })
                };
                let bits = of(self, left)?.max(of(self, right)?);
                let (a, b) = (self.term(left, bits)?, self.term(right, bits)?);
                let mask = Word::mask(bits);
                match comparison {
                    BinaryOperator::Equal => self.builder.add(Operation::Equal(a, b, mask)),
                    BinaryOperator::Differs => {
                        let equal = self.builder.add(Operation::Equal(a, b, mask));
                        self.builder.add(Operation::Not(equal, 1))
                    }
                    BinaryOperator::Less => self.builder.add(Operation::Less(a, b, bits as u8)),
                    _ => self.builder.add(Operation::Less(b, a, bits as u8)),
                }
            }
        };
        self.fit(result, width, span)
    }

    /// An operand of arithmetic: zeros stand above its own bits.
    fn term(&mut self, expression: &Expression, width: u32) -> Fallible<Register> {
        let mut inner = expression;
        while let ExpressionKind::Group(members) = &inner.kind
            && let [member] = members.as_slice()
        {
            inner = member;
        }
        let arithmetic = matches!(
            &inner.kind,
            ExpressionKind::Binary(_, BinaryOperator::Add | BinaryOperator::Subtract, _)
        );
        let bits = match self.natural(expression)? {
            Some(bits) if !arithmetic && bits <= width => bits,
            Some(bits) if !arithmetic => return Err(mismatch(bits, width, expression.span)),
            _ => width,
        };
        self.level(expression, bits)
    }

    /// `vector at address`, `memory at address`.
    fn selected(&mut self, left: &Expression, right: &Expression) -> Fallible<Register> {
        if let Some(memory) = self.memory_of(left)? {
            let address = self.address(memory, right)?;
            let width = self.compiler.function.memories[memory].width;
            let read = self.builder.add(Operation::Read(memory as u8, address));
            return Ok(self.builder.add(Operation::Slice(read, 0, width as u8)));
        }
        let width = self.natural(left)?.unwrap_or(1);
        let vector = self.level(left, width)?;
        let address_bits = self.natural(right)?.unwrap_or(1);
        let address = self.level(right, address_bits)?;
        if address_bits > 6 || width != 1 << address_bits {
            return Err(Diagnostic::error(
                "width",
                format!(
                    "{} of address cannot pick one of {width} bits",
                    bits(address_bits)
                ),
            )
            .at(left.span.to(right.span), "")
            .help("the vector needs 2, 4, 8, ... bits, as many as the address can name"));
        }
        Ok(self
            .builder
            .add(Operation::Pick(vector, address, address_bits as u8)))
    }

    /// The address of a word of a memory; a single bit does not spread over it.
    fn address(&mut self, memory: usize, expression: &Expression) -> Fallible<Register> {
        let words = self.compiler.function.memories[memory].words;
        let width = words.trailing_zeros().max(1);
        match self.natural(expression)? {
            Some(bits) if bits != width => Err(mismatch(bits, width, expression.span)),
            _ => self.level(expression, width),
        }
    }

    fn memory_of(&self, expression: &Expression) -> Fallible<Option<usize>> {
        let ExpressionKind::Name(template) = &expression.kind else {
            return Ok(None);
        };
        let names = self.scope.names(template)?;
        Ok(match names.as_slice() {
            [name] => self
                .compiler
                .names
                .memories
                .iter()
                .position(|memory| memory == name),
            _ => None,
        })
    }

    /// The width that a formula has by itself; `None` for numbers and `off`, which take any.
    fn natural(&self, expression: &Expression) -> Fallible<Option<u32>> {
        Ok(match &expression.kind {
            ExpressionKind::Number(_) | ExpressionKind::Off => None,
            ExpressionKind::Name(template) => {
                Some(self.compiler.names.read(template, self.scope)?.places.len() as u32)
            }
            ExpressionKind::Group(members) if members.len() == 1 => self.natural(&members[0])?,
            ExpressionKind::Group(members) => {
                let mut total = 0;
                for member in members {
                    total += self.natural(member)?.unwrap_or(1);
                }
                Some(total)
            }
            ExpressionKind::Unary(UnaryOperator::Not, operand) => self.natural(operand)?,
            ExpressionKind::Unary(UnaryOperator::Decode, operand) => {
                Some(1 << self.natural(operand)?.unwrap_or(1).min(6))
            }
            ExpressionKind::Unary(..) => Some(1),
            ExpressionKind::Binary(left, BinaryOperator::At, _) => match self.memory_of(left)? {
                Some(memory) => Some(self.compiler.function.memories[memory].width),
                None => Some(1),
            },
            ExpressionKind::Binary(
                left,
                BinaryOperator::And
                | BinaryOperator::Or
                | BinaryOperator::Xor
                | BinaryOperator::Add
                | BinaryOperator::Subtract,
                right,
            ) => self.natural(left)?.max(self.natural(right)?),
            ExpressionKind::Binary(..) => Some(1),
            ExpressionKind::When { yes, no, .. } => self.natural(yes)?.max(self.natural(no)?),
        })
    }
}

fn bits(count: u32) -> String {
    let plural = if count == 1 { "" } else { "s" };
    format!("{count} bit{plural}")
}

fn mismatch(found: u32, wanted: u32, span: Span) -> Diagnostic {
    let stand = if found == 1 { "stands" } else { "stand" };
    let are = if wanted == 1 { "is" } else { "are" };
    let message = format!(
        "{} {stand} where {} {are} wanted",
        bits(found),
        bits(wanted)
    );
    Diagnostic::error("width", message)
        .at(span, format!("{} wide", bits(found)))
        .help("take a slice such as `D[0..3]`, or join pieces: `(a, b)`")
}
