//! What a part does, read from its syntax tree: names looked up, repetitions laid out, formulas at their widths.

use super::formula::{Formula, Needs, Source};
use super::levels::Bit;
use super::storage::{Memory, Storage};
use super::words::Names;
use coldboard::language::ast::{Edge, Expression, Part, PartStatement, Target, Template};
use coldboard::language::ast::{PinKind, Store as Line};
use coldboard::language::expand::{Scope, natural_order};

/// A part as its file describes it. Pins go by their names.
#[derive(Clone, Debug, Default)]
pub(crate) struct Description {
    pub(crate) inputs: Vec<String>,
    pub(crate) outputs: Vec<Output>,
    pub(crate) states: Vec<String>,
    pub(crate) memories: Vec<Memory>,
    /// Stored bits that are 0 when power comes.
    pub(crate) zero: u64,
    /// Stored bits that fall back by themselves.
    pub(crate) timers: Vec<usize>,
    /// The stored bit, or the input, that swings by itself.
    pub(crate) oscillator: Option<usize>,
    pub(crate) swing: Option<usize>,
    pub(crate) node_formulas: Vec<Formula>,
    pub(crate) node_needs: Vec<Needs>,
    pub(crate) output_formulas: Vec<Formula>,
    pub(crate) edges: Vec<Rule>,
    /// In order: each has the upper hand of those before it.
    pub(crate) levels: Vec<(Formula, Effect)>,
    pub(crate) forbidden: Vec<Formula>,
    /// Inputs that an output depends on as they are now.
    pub(crate) direct: u64,
    /// True for a memory whose words a board may load or leave unknown.
    pub(crate) blank: Vec<bool>,
}

#[derive(Clone, Debug)]
pub(crate) struct Output {
    pub(crate) pin: String,
    pub(crate) kind: PinKind,
    /// The formula, which bit of it, and whether the pin shows the opposite.
    pub(crate) formula: usize,
    pub(crate) bit: usize,
    pub(crate) inverted: bool,
    /// Inputs that can move it, and those of them that can make it let go or drive again.
    pub(crate) arcs: u64,
    pub(crate) releases: u64,
}

/// Edge-triggered storage.
#[derive(Clone, Debug)]
pub(crate) struct Rule {
    pub(crate) trigger: Source,
    pub(crate) rises: bool,
    pub(crate) effect: Effect,
}

/// What is stored, line by line, each under its conditions.
#[derive(Clone, Debug)]
pub(crate) struct Effect {
    pub(crate) stores: Vec<(Vec<Formula>, Store)>,
    /// The stored bits that it can set.
    pub(crate) mask: u64,
}

#[derive(Clone, Debug)]
pub(crate) enum Store {
    Bits(Vec<usize>, Formula),
    Start(Vec<usize>),
    /// Memory, address, how many words, data.
    Word(usize, Formula, u64, Formula),
}

/// Calls for each statement with its loop variables.
fn walk(body: &[PartStatement], scope: &mut Scope, visit: &mut dyn FnMut(&PartStatement, &Scope)) {
    for statement in body {
        if let PartStatement::Each(each) = statement {
            let walked = scope.each(each, |scope, body| walk(body, scope, visit));
            walked.expect("a good repetition");
        } else {
            visit(statement, scope);
        }
    }
}

/// Called with each line, its names, and the conditions that it stands under.
type Visit<'v, 'a> = dyn FnMut(&'a Line, &Scope, &[(&'a Expression, Scope)]) + 'v;

/// Calls for each line of a body with its loop variables and the conditions that it stands under.
fn lines<'a>(
    body: &'a [Line],
    scope: &mut Scope,
    conditions: &mut Vec<(&'a Expression, Scope)>,
    visit: &mut Visit<'_, 'a>,
) {
    for line in body {
        match line {
            Line::When(block) => {
                conditions.push((&block.condition, scope.clone()));
                lines(&block.body, scope, conditions, visit);
                conditions.pop();
            }
            Line::Each(each) => {
                let walked = scope.each(each, |scope, _| {
                    lines(&each.body, scope, conditions, visit);
                });
                walked.expect("a good repetition");
            }
            _ => visit(line, scope, conditions),
        }
    }
}

impl Description {
    pub(crate) fn new(part: &Part) -> Description {
        let mut made = Description::default();
        let mut names = Names::default();
        let all = |visit: &mut dyn FnMut(&PartStatement, &Scope)| {
            walk(&part.body, &mut Scope::default(), visit);
        };
        all(&mut |statement, scope| made.declare_pins(statement, scope, &mut names));
        made.inputs.sort_by(|a, b| natural_order(a, b));
        for (at, name) in made.inputs.iter().enumerate() {
            names.readable.insert(name.clone(), Source::Input(at));
        }
        all(&mut |statement, scope| made.declare(statement, scope, &mut names));
        all(&mut |statement, scope| {
            if let PartStatement::Node(template, expression) = statement {
                let width = scope.vector(template).expect("names").len();
                let formula = names.formula(expression, scope, width);
                let needs = formula.needs(&made.node_needs);
                made.node_needs.extend(needs);
                made.node_formulas.push(formula);
            }
        });
        all(&mut |statement, scope| made.rules(statement, scope, &names));
        all(&mut |statement, scope| made.output(statement, scope, &names));
        made.find_arcs();
        made
    }

    /// What it stores before anything has defined it.
    pub(crate) fn unknown(&self) -> Storage {
        let bit = |at: usize| match self.zero >> at & 1 {
            1 => Bit::Low,
            _ => Bit::Unknown,
        };
        Storage { state: (0..self.states.len()).map(bit).collect(), memories: self.memories.clone() }
    }

    fn declare_pins(&mut self, statement: &PartStatement, scope: &Scope, names: &mut Names) {
        let PartStatement::Package(package) = statement else {
            return;
        };
        for pin in &package.pins {
            names.group(&pin.name, scope);
            for name in scope.names(&pin.name).expect("pins") {
                let drives =
                    matches!(pin.kind, PinKind::Out | PinKind::ThreeState | PinKind::OpenDrain | PinKind::InOut);
                if matches!(pin.kind, PinKind::In | PinKind::InOut) {
                    self.inputs.push(name.clone());
                    names.numbered(&name);
                }
                if drives {
                    names.numbered(&name);
                    names.driven.insert(name, pin.kind);
                }
            }
        }
    }

    fn declare_states(&mut self, templates: &[Template], scope: &Scope, names: &mut Names) {
        for template in templates {
            for name in scope.vector(template).expect("states") {
                let source = Source::State(self.states.len());
                names.readable.insert(name.clone(), source);
                self.states.push(name);
            }
            names.group(template, scope);
        }
    }

    fn declare(&mut self, statement: &PartStatement, scope: &Scope, names: &mut Names) {
        let first = self.states.len();
        match statement {
            PartStatement::State(templates) => self.declare_states(templates, scope, names),
            PartStatement::Timer(templates, _) => {
                self.declare_states(templates, scope, names);
                self.timers.extend(first..self.states.len());
            }
            PartStatement::Oscillator(template, None) => {
                self.oscillator = Some(first);
                self.declare_states(std::slice::from_ref(template), scope, names);
            }
            PartStatement::Oscillator(template, Some(_)) => {
                let name = scope.name(template).expect("an input");
                self.swing = self.inputs.iter().position(|input| *input == name);
            }
            PartStatement::Memory(memory) => {
                let words = memory.words.next_power_of_two();
                names.memories.push((
                    scope.name(&memory.name).expect("a name"),
                    words.trailing_zeros().max(1) as usize,
                    memory.width as usize,
                ));
                let made = Memory::new(words, memory.width as usize, memory.blank);
                self.memories.push(made);
                self.blank.push(memory.blank.is_some());
            }
            PartStatement::Node(template, _) => {
                for name in scope.vector(template).expect("nodes") {
                    names.readable.insert(name, Source::Node(names.nodes));
                    names.nodes += 1;
                }
                names.group(template, scope);
            }
            _ => {}
        }
    }

    fn rules(&mut self, statement: &PartStatement, scope: &Scope, names: &Names) {
        match statement {
            PartStatement::On(block) => {
                let (trigger, _) = names.read(&block.trigger, scope);
                self.edges.push(Rule {
                    trigger: trigger[0],
                    rises: block.edge == Edge::Rise,
                    effect: Effect::new(&block.body, scope, names),
                });
            }
            PartStatement::While(block) => {
                let condition = names.formula(&block.condition, scope, 1);
                let effect = Effect::new(&block.body, scope, names);
                self.levels.push((condition, effect));
            }
            PartStatement::Forbid(condition, _) => {
                self.forbidden.push(names.formula(condition, scope, 1));
            }
            PartStatement::PowerUpZero(templates) => {
                for place in names.stored(templates, scope) {
                    self.zero |= 1 << place;
                }
            }
            _ => {}
        }
    }

    fn output(&mut self, statement: &PartStatement, scope: &Scope, names: &Names) {
        let PartStatement::Assign(assign) = statement else {
            return;
        };
        let Target::Names(templates) = &assign.target else {
            return;
        };
        // The first name is the most significant.
        let targets = templates.iter().rev();
        let pins: Vec<(String, bool)> = targets.flat_map(|template| names.outputs(template, scope)).collect();
        let formula = names.formula(&assign.value, scope, pins.len());
        let (needs, off) = (formula.needs(&self.node_needs), formula.needs_of_off(&self.node_needs, pins.len()));
        for (bit, (pin, inverted)) in pins.into_iter().enumerate() {
            let all = needs[bit].with(off[bit]);
            self.direct |= all.inputs;
            self.outputs.push(Output {
                kind: names.driven[&pin],
                pin,
                formula: self.output_formulas.len(),
                bit,
                inverted,
                arcs: 0,
                releases: 0,
            });
        }
        self.output_formulas.push(formula);
    }

    /// Follows each output back to the pins: through nodes, and through what is stored to what makes it be stored. The
    /// data of an edge waits for the edge, so it moves nothing; that of a level goes right through.
    fn find_arcs(&mut self) {
        let nodes = &self.node_needs;
        let mut causes = vec![Needs::default(); self.states.len()];
        let mut writing = Needs::default();
        let mut add = |effect: &Effect, cause: Needs, through: bool| {
            for (conditions, store) in &effect.stores {
                let each = conditions.iter().map(|one| Needs::all(&one.needs(nodes)));
                let condition = each.fold(Needs::default(), Needs::with);
                match store {
                    Store::Bits(places, value) => {
                        for (&place, value) in places.iter().zip(value.needs(nodes)) {
                            let all = if through { cause.with(value).with(condition) } else { cause };
                            causes[place] = causes[place].with(all);
                        }
                    }
                    Store::Start(places) => {
                        for &place in places {
                            causes[place] = causes[place].with(cause);
                        }
                    }
                    Store::Word(_, address, _, data) => {
                        let address = Needs::all(&address.needs(nodes));
                        let data = Needs::all(&data.needs(nodes));
                        let read = address.with(data).with(condition);
                        writing = writing.with(if through { cause.with(read) } else { cause });
                    }
                }
            }
        };
        for rule in &self.edges {
            let cause = Needs::all(&Formula::Read(vec![rule.trigger]).needs(nodes));
            add(&rule.effect, cause, false);
        }
        for (condition, effect) in &self.levels {
            add(effect, Needs::all(&condition.needs(nodes)), true);
        }
        let reach = |from: Needs| {
            let (mut inputs, mut states, mut done) = (from.inputs, from.states, 0u64);
            if from.memory {
                inputs |= writing.inputs;
            }
            while states & !done != 0 {
                let at = (states & !done).trailing_zeros() as usize;
                done |= 1 << at;
                inputs |= causes[at].inputs;
                states |= causes[at].states;
            }
            inputs
        };
        for output in &mut self.outputs {
            let formula = &self.output_formulas[output.formula];
            let needs = formula.needs(nodes);
            let off = formula.needs_of_off(nodes, needs.len())[output.bit];
            output.releases = reach(off);
            output.arcs = reach(needs[output.bit].with(off));
        }
    }

    /// What each output wants to be.
    pub(crate) fn drive(&self, inputs: &[Bit], nodes: &[Bit], storage: &Storage) -> Vec<Bit> {
        let view = storage.view(inputs, nodes);
        let formulas = self.output_formulas.iter();
        let values: Vec<Vec<Bit>> = formulas.map(|formula| formula.value(view)).collect();
        let wants = |output: &Output| {
            let bit = values[output.formula][output.bit];
            if output.inverted { bit.not() } else { bit }
        };
        self.outputs.iter().map(wants).collect()
    }

    /// Whether a level writes a memory.
    pub(crate) fn writes_by_level(&self) -> bool {
        let mut stores = self.levels.iter().flat_map(|(_, effect)| &effect.stores);
        stores.any(|(_, store)| matches!(store, Store::Word(..)))
    }

    /// Makes unknown what the inputs of a forbidden use set, when one goes on.
    pub(crate) fn forbid(&self, inputs: &[Bit], nodes: &[Bit], storage: &mut Storage) {
        let mut lost = 0;
        for use_ in &self.forbidden {
            if use_.bit(storage.view(inputs, nodes)) != Bit::High {
                continue;
            }
            let of = |formula: &Formula| Needs::all(&formula.needs(&self.node_needs)).inputs;
            let inputs = of(use_);
            let edges = self.edges.iter();
            let edges = edges.map(|rule| (of(&Formula::Read(vec![rule.trigger])), &rule.effect));
            let levels = self.levels.iter().map(|(condition, effect)| (of(condition), effect));
            for (causes, effect) in edges.chain(levels) {
                lost |= if causes & inputs == 0 { 0 } else { effect.mask };
            }
        }
        for (at, bit) in storage.state.iter_mut().enumerate() {
            if lost >> at & 1 == 1 {
                *bit = Bit::Unknown;
            }
        }
    }
}

impl Effect {
    fn new(body: &[Line], scope: &Scope, names: &Names) -> Effect {
        let mut effect = Effect { stores: Vec::new(), mask: 0 };
        let mut scope = scope.clone();
        lines(body, &mut scope, &mut Vec::new(), &mut |line, scope, conditions| {
            let conditions = conditions.iter();
            let conditions = conditions.map(|(condition, scope)| names.formula(condition, scope, 1));
            let store = names.store(line, scope);
            if let Store::Bits(places, _) | Store::Start(places) = &store {
                effect.mask = places.iter().fold(effect.mask, |mask, at| mask | 1 << at);
            }
            effect.stores.push((conditions.collect(), store));
        });
        effect
    }
}
