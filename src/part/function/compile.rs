//! From the formulas of a part to its [`Function`].

use super::Function;
use super::build::{Builder, Support};
use super::formula::Formula;
use super::program::{Operation, Register};
use super::resolve::{Names, Place, numbered};
use crate::diagnostic::Diagnostic;
use crate::language::ast::{PartStatement, Target, Template};
use crate::language::expand::Scope;
use crate::part::{Pin, PinKind};
use crate::text::Span;

/// Compiles the formulas of a part with the given pins. The function is good when no error was reported.
pub(crate) fn compile(body: &[PartStatement], pins: &[Pin], problems: &mut Vec<Diagnostic>) -> Function {
    let mut compiler = Compiler::new(pins, problems);
    let mut scope = Scope::default();
    compiler.declare(body, &mut scope);
    compiler.define_nodes(body, &mut scope);
    compiler.rules(body, &mut scope);
    compiler.outputs(body, &mut scope);
    compiler.finish()
}

pub(super) struct Compiler<'a> {
    pub(super) pins: &'a [Pin],
    pub(super) problems: &'a mut Vec<Diagnostic>,
    pub(super) names: Names,
    pub(super) function: Function,
    pub(super) node_support: Vec<Support>,
    /// For each state bit, the input and state bits that can set it.
    pub(super) state_causes: Vec<Support>,
    /// For each state bit, the inputs that it may take its value from.
    pub(super) state_data: Vec<Support>,
    /// Inputs that a memory write depends on.
    pub(super) write_causes: Support,
    /// For each level-sensitive rule, what it reads.
    pub(super) level_support: Vec<Support>,
    pub(super) output_support: Vec<Support>,
    /// What decides whether each output goes high-impedance.
    pub(super) off_support: Vec<Support>,
}

pub(super) type Fallible<T> = Result<T, Diagnostic>;

impl<'a> Compiler<'a> {
    /// Numbers the pins as bits of the input and output words.
    fn new(pins: &'a [Pin], problems: &'a mut Vec<Diagnostic>) -> Self {
        let mut compiler = Compiler {
            pins,
            problems,
            names: Names::default(),
            function: Function::default(),
            node_support: Vec::new(),
            state_causes: Vec::new(),
            state_data: Vec::new(),
            write_causes: Support::default(),
            level_support: Vec::new(),
            output_support: Vec::new(),
            off_support: Vec::new(),
        };
        // Vectors stand together, the least significant bit first, so that they are read in one piece.
        let mut order: Vec<usize> = (0..pins.len()).collect();
        order.sort_by(|&a, &b| crate::language::expand::natural_order(&pins[a].name, &pins[b].name));
        for index in order {
            let pin = &pins[index];
            if pin.is_input() {
                compiler.names.add_readable(&pin.name, Place::Input(compiler.function.inputs.len()));
                compiler.function.inputs.push(index);
            }
            if pin.drives() {
                compiler.names.add_writable(&pin.name, Place::Output(compiler.function.outputs.len()));
                compiler.function.outputs.push(index);
            }
            if let Some(stem) = numbered(&pin.name)
                && (pin.is_input() || pin.drives())
            {
                compiler.names.add_group(stem.to_owned(), std::slice::from_ref(&pin.name));
            }
        }
        compiler.output_support = vec![Support::default(); compiler.function.outputs.len()];
        compiler.off_support = compiler.output_support.clone();
        compiler
    }

    /// A formula that may read the nodes before the given one.
    pub(super) fn formula<'f>(&'f self, builder: &'f mut Builder, scope: &'f Scope, nodes: usize) -> Formula<'f> {
        Formula { names: &self.names, memories: &self.function.memories, builder, scope, nodes }
    }

    fn note(&mut self, result: Fallible<()>) {
        if let Err(problem) = result {
            self.problems.push(problem);
        }
    }

    /// Walks all statements, repetition laid out.
    pub(super) fn walk(
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
                let support = builder.support_of_bit(level, bit);
                if let Some(slot) = compiler.node_support.get_mut(position) {
                    *slot = support;
                }
            }
            builder.nodes = compiler.node_support.clone();
            let placed = builder.scatter(level, &positions);
            word = Some(word.map_or(placed, |before| builder.add(Operation::Or(before, placed))));
            builder.node_word = word;
            Ok(())
        });
        self.function.node_result = word;
        self.function.node_program = builder.finish();
    }

    fn outputs(&mut self, body: &[PartStatement], scope: &mut Scope) {
        let mut builder = Builder::with_nodes(self.node_support.clone());
        let mut value: Option<Register> = None;
        let mut off: Option<Register> = None;
        let mut assigned = 0u64;
        self.walk(body, scope, &mut |compiler, statement, scope| {
            let PartStatement::Assign(assign) = statement else {
                return Ok(());
            };
            let Target::Names(templates) = &assign.target else {
                let span = assign.value.span;
                return Err(Diagnostic::error("storage", "a memory is written inside `on` or `while`")
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
                        return Err(Diagnostic::error("storage", "stored bits are set inside `on` or `while`")
                            .at(span, "here nothing says when")
                            .help("write `on rise CLK { q = D }`"));
                    };
                    inverted |= u64::from(bits.inverted) << positions.len();
                    positions.push(bit);
                }
            }
            for &bit in &positions {
                if assigned >> bit & 1 == 1 {
                    return Err(twice(&compiler.pins[compiler.function.outputs[bit]].name, span));
                }
                assigned |= 1 << bit;
            }
            let nodes = compiler.function.nodes.len();
            let width = positions.len() as u32;
            let formula = compiler.formula(&mut builder, scope, nodes).value(&assign.value, width)?;
            let mut level = formula.level;
            if inverted != 0 {
                let flip = builder.add(Operation::Constant(inverted));
                level = builder.add(Operation::Xor(level, flip));
            }
            for (bit, &position) in positions.iter().enumerate() {
                let support = builder.support_of_bit(level, bit);
                let released = formula.off.map_or(Support::default(), |off| builder.support_of_bit(off, bit));
                compiler.output_support[position] = support.join(released);
                compiler.off_support[position] = released;
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
                self.problems.push(Diagnostic::error("no-formula", message).help(format!("write `{name} = ...`")));
            }
        }
        self.function.drive_program = builder.finish();
        self.function.drive_value = value;
        self.function.drive_off = off;
    }

    /// A push-pull output never goes high-impedance; a three-state one can.
    fn check_kind(&mut self, positions: &[usize], can_let_go: bool, span: Span) {
        for &bit in positions {
            let pin = &self.pins[self.function.outputs[bit]];
            let wanted = pin.kind != PinKind::Out;
            if wanted != can_let_go {
                let (what, help) = if wanted {
                    ("is declared as an output that can let go, but its formula never does", "write `... else off`")
                } else {
                    ("is a push-pull output, but its formula lets it go", "declare it `three-state` or `open-drain`")
                };
                self.problems
                    .push(Diagnostic::error("output-kind", format!("`{}` {what}", pin.name)).at(span, "").help(help));
                return;
            }
        }
    }

    pub(super) fn target(&self, templates: &[Template], scope: &Scope) -> Fallible<Vec<Place>> {
        let mut places = Vec::new();
        for template in templates.iter().rev() {
            let bits = self.names.write(template, scope)?;
            if bits.inverted {
                return Err(Diagnostic::error("storage", "stored bits are set by their exact names")
                    .at(template.span, "")
                    .help("write the name as it was declared"));
            }
            places.extend(bits.places);
        }
        Ok(places)
    }

    pub(super) fn memory(&self, name: &str, span: Span) -> Fallible<usize> {
        self.names.memories.iter().position(|memory| memory == name).ok_or_else(|| {
            let near = crate::diagnostic::did_you_mean(name, self.names.memories.iter().map(String::as_str));
            Diagnostic::error("unknown-name", format!("there is no memory `{name}`"))
                .at(span, "not a memory")
                .help(near.unwrap_or_else(|| "declare it: `memory cells 32768 x 8`".to_owned()))
        })
    }

    /// Follows storage back to the inputs that can move it, and sums up.
    fn finish(mut self) -> Function {
        let causes = follow(&self.state_causes);
        let reached = |support: &Support| {
            let memory = if support.memory { self.write_causes.inputs } else { 0 };
            bits_of(support.states).fold(support.inputs | memory, |mask, state| mask | causes[state])
        };
        self.function.arcs = self.output_support.iter().map(reached).collect();
        self.function.output_enables = self.off_support.iter().map(reached).collect();
        self.function.stored_nodes = (self.node_support.iter().enumerate())
            .filter(|(_, support)| support.states != 0 || support.memory)
            .fold(0, |mask, (bit, _)| mask | 1 << bit);
        self.function.settles_at_once = self.function.stored_nodes == 0 && self.level_order_is_good();
        let data = follow(&self.state_data);
        let feeds =
            self.output_support.iter().map(|support| bits_of(support.states).fold(0, |mask, state| mask | data[state]));
        self.function.data = feeds.collect();
        self.function.sensitive |= self.function.arcs.iter().fold(0, |all, arc| all | arc);
        let direct = self.output_support.iter();
        self.function.direct = direct.fold(0, |all, support| all | support.inputs);
        let nodes = self.node_support.iter();
        self.function.node_inputs = nodes.map(|support| support.inputs).collect();
        self.function.find_shutting_inputs();
        self.function
    }

    /// True when no level-sensitive rule reads what it or a later one stores.
    fn level_order_is_good(&self) -> bool {
        let rules = &self.function.level_rules;
        self.level_support.iter().enumerate().all(|(at, reads)| {
            rules[at..].iter().all(|rule| {
                let writes = !rule.effect.writes.is_empty();
                reads.states & rule.effect.mask == 0 && !(reads.memory && writes)
            })
        })
    }
}

/// For each state bit, all inputs that reach it, through other state bits as well.
fn follow(support: &[Support]) -> Vec<u64> {
    let mut inputs: Vec<u64> = support.iter().map(|support| support.inputs).collect();
    loop {
        let mut changed = false;
        for bit in 0..inputs.len() {
            let reached = bits_of(support[bit].states).fold(inputs[bit], |mask, other| mask | inputs[other]);
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

pub(super) fn twice(name: &str, span: Span) -> Diagnostic {
    Diagnostic::error("set-twice", format!("`{name}` is set twice"))
        .at(span, "set again here")
        .help("say it in one formula, with `when ... else`")
}
