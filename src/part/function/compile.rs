//! From the formulas of a part to its [`Function`].

use super::build::{Builder, Needs};
use super::formula::Formula;
use super::memory::MemoryShape;
use super::program::{Operation, Program, Register};
use super::resolve::{Names, Place, numbered, stem};
use super::{Effect, Forbid, Function, LevelRule, MemoryWrite, OnRule};
use crate::diagnostic::Diagnostic;
use crate::language::ast::{Assign, OnBlock, PartStatement, Store, Target, Template, WhileBlock};
use crate::language::expand::Scope;
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

    /// A formula that may read the nodes before the given one.
    fn formula<'f>(
        &'f self,
        builder: &'f mut Builder,
        scope: &'f Scope,
        nodes: usize,
    ) -> Formula<'f> {
        Formula {
            names: &self.names,
            memories: &self.function.memories,
            builder,
            scope,
            nodes,
        }
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
            let level = compiler
                .formula(&mut builder, scope, positions.first().copied().unwrap_or(0))
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
                    let condition = compiler
                        .formula(&mut builder, scope, nodes)
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
        let condition = self
            .formula(&mut builder, scope, nodes)
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
                let mut formula = self.formula(builder, scope, nodes);
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
                let level = self
                    .formula(builder, scope, nodes)
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
            let formula = compiler
                .formula(&mut builder, scope, nodes)
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
