//! Assemblies: boards put in place, and the connector pins that cables and supplies name.

use super::board::{Plan, Planner, accepted, too_many_pins};
use super::place::Bench;
use super::ways::{Named, Said};
use super::{Designs, Problems, Shelf, power, several, timing};
use crate::circuit::{BoardKey, CableKey, Circuit, ConnectorKey};
use crate::diagnostic::{Diagnostic, did_you_mean};
use crate::language::ast::{self, AssemblyStatement, Path, Template, Word};
use crate::language::expand::Scope;
use crate::quantity::{Current, Voltage};
use crate::text::Span;
use rustc_hash::FxHashMap;

/// A supply whose poles are found, but not yet the nets behind them.
pub(super) struct PlanSupply {
    pub(super) name: String,
    pub(super) voltage: Voltage,
    pub(super) current: Current,
    pub(super) poles: Vec<PlanPole>,
    pub(super) span: Span,
}

/// A pole of a supply, and the connector pins that it is connected to.
pub(super) struct PlanPole {
    pub(super) plus: bool,
    pub(super) pins: Vec<(ConnectorKey, usize)>,
    pub(super) span: Span,
}

/// An assembly under way.
pub(super) struct Assembler<'a> {
    designs: &'a Designs<'a>,
    shelf: Shelf<'a>,
    pub(super) problems: &'a mut Problems,
    pub(super) bench: Bench,
    /// The plan of each board that was used.
    plans: FxHashMap<&'a str, Plan>,
    boards: FxHashMap<String, (BoardKey, Span)>,
    /// Names of boards whose design is unknown, and what was said about it.
    lost: FxHashMap<String, Diagnostic>,
    pub(super) cables: FxHashMap<String, CableKey>,
    pub(super) supplies: Vec<PlanSupply>,
    pub(super) supplies_called: FxHashMap<String, Span>,
}

/// Which statements a walk looks at: the boards first, because order does not matter to the person.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Round {
    Boards,
    Joints,
}

/// The circuit of an assembly.
pub(super) fn elaborate(
    assembly: &ast::Assembly,
    designs: &Designs<'_>,
    shelf: Shelf<'_>,
    problems: &mut Problems,
) -> Option<Circuit> {
    let mut assembler = Assembler {
        designs,
        shelf,
        problems,
        bench: Bench::new(&assembly.name.node, true),
        plans: FxHashMap::default(),
        boards: FxHashMap::default(),
        lost: FxHashMap::default(),
        cables: FxHashMap::default(),
        supplies: Vec::new(),
        supplies_called: FxHashMap::default(),
    };
    for round in [Round::Boards, Round::Joints] {
        assembler.statements(round, &mut Scope::default(), &assembly.body);
    }
    if assembler.boards.is_empty() && !assembler.problems.unclear {
        let message = format!("the assembly {} has no board", assembly.name.node);
        assembler.problems.unclear(
            Diagnostic::error("unknown-board", message)
                .at(assembly.name.span, "nothing in here")
                .help("put a board in place: `A: BOARD`"),
        );
    }
    let Assembler {
        bench,
        supplies,
        problems,
        ..
    } = assembler;
    let mut circuit = bench.join(problems);
    let changes = shelf.changes;
    changes.apply(&mut circuit, shelf.library, problems);
    power::feed_assembly(&mut circuit, supplies, changes, problems);
    changes.check_voltages(&circuit, problems);
    timing::time_chips(&mut circuit, problems);
    Some(circuit)
}

impl Assembler<'_> {
    fn statements(&mut self, round: Round, scope: &mut Scope, body: &[AssemblyStatement]) {
        for statement in body {
            if self.problems.stop() {
                return;
            }
            match (round, statement) {
                (Round::Boards, AssemblyStatement::Placement(names, board)) => {
                    self.placement(scope, names, board);
                }
                (Round::Joints, AssemblyStatement::Cable(cable)) => {
                    self.cable(scope, cable);
                }
                (Round::Joints, AssemblyStatement::Supply(supply)) => {
                    self.supply(scope, supply);
                }
                (Round::Joints, AssemblyStatement::Unused(way)) => {
                    self.way(scope, Said::Unused, way);
                }
                (Round::Joints, AssemblyStatement::Synchroniser(way)) => {
                    self.way(scope, Said::Synchroniser, way);
                }
                (Round::Joints, AssemblyStatement::Accept(tree)) => {
                    if let Some(paths) = self.paths(scope, &tree.place) {
                        self.bench.circuit.accepted.extend(accepted(tree, paths));
                    }
                }
                (_, AssemblyStatement::Each(each)) => {
                    let done = scope.each(each, |scope, body| {
                        if self.problems.spend(1) {
                            self.statements(round, scope, body);
                        }
                    });
                    if round == Round::Boards {
                        self.problems.take(done);
                    }
                }
                _ => {}
            }
        }
    }

    fn placement(&mut self, scope: &Scope, names: &[Template], board: &Word) {
        let Some(tree) = self.designs.board(&board.node) else {
            return self.lose(scope, names, unknown_board(self.designs, board));
        };
        let name = tree.name.node.as_str();
        if !self.plans.contains_key(name) {
            let plan = Planner::new(self.shelf, self.problems).plan(tree);
            self.plans.insert(name, plan);
        }
        for template in names {
            let Some(paths) = self.names(scope, template) else {
                continue;
            };
            for path in paths {
                if let Some((_, first)) = self.boards.get(&path) {
                    self.problems.unclear(
                        Diagnostic::error("name-twice", format!("two boards are called {path}"))
                            .at(template.span, "the second one")
                            .at(*first, "the first one")
                            .help("give each board in place a name of its own"),
                    );
                    continue;
                }
                let plan = &self.plans[name];
                if !self.bench.has_room_for(plan) {
                    return self.problems.unclear(too_many_pins(template.span));
                }
                let key = self.bench.place(plan, &path, template.span);
                self.boards.insert(path, (key, template.span));
            }
        }
    }

    /// Boards of an unknown design: what is said of them later is no new problem.
    fn lose(&mut self, scope: &Scope, names: &[Template], problem: Diagnostic) {
        for template in names {
            for path in self.names(scope, template).unwrap_or_default() {
                self.lost.insert(path, problem.clone());
            }
        }
        self.problems.unclear(problem);
    }

    /// The flat names of a template.
    pub(super) fn names(&mut self, scope: &Scope, template: &Template) -> Option<Vec<String>> {
        let names = self.problems.take(scope.names(template))?;
        self.problems.spend(names.len()).then_some(names)
    }

    fn way(&mut self, scope: &Scope, said: Said, way: &ast::Way) {
        let found = Named::of(scope, said, way);
        if let Some(way) = self.problems.take(found)
            && self.problems.spend(way.size())
        {
            self.bench.ways.push((String::new(), way));
        }
    }

    /// The flat paths of a path.
    pub(super) fn paths(&mut self, scope: &Scope, path: &Path) -> Option<Vec<String>> {
        let paths = self.problems.take(scope.paths(path))?;
        self.problems.spend(paths.len()).then_some(paths)
    }

    /// The connector of a path such as `A.BUS`.
    pub(super) fn connector(&self, path: &str, span: Span) -> Result<ConnectorKey, Diagnostic> {
        if let Some(connector) = self.bench.circuit.connector(path) {
            return Ok(connector);
        }
        let Some((board, name)) = path.split_once('.') else {
            let message = format!("`{path}` is not a board and a connector");
            return Err(Diagnostic::error("unknown-connector", message)
                .at(span, "a whole path is wanted")
                .help(format!("write the board first, as in `A.{path}`")));
        };
        if let Some(problem) = self.lost.get(board) {
            // Exact repeats are dropped when all is sorted.
            return Err(problem.clone());
        }
        let Some((key, _)) = self.boards.get(board) else {
            let names = self.boards.keys().map(String::as_str);
            let help = did_you_mean(board, names)
                .unwrap_or_else(|| format!("put it in place: `{board}: BOARD`"));
            let message = format!("there is no board {board} in this assembly");
            return Err(Diagnostic::error("unknown-board", message)
                .at(span, "no such board")
                .help(help));
        };
        let circuit = &self.bench.circuit;
        let connectors = circuit
            .connectors
            .values()
            .filter(|other| other.board == *key);
        let names: Vec<&str> = connectors
            .map(|connector| connector.name.as_str())
            .collect();
        let design = &circuit.boards[*key].design;
        let message = format!("{board} ({design}) has no connector {name}");
        let help = did_you_mean(name, names.iter().copied())
            .unwrap_or_else(|| format!("its connectors: {}", several(&names)));
        Err(Diagnostic::error("unknown-connector", message)
            .at(span, "no such connector")
            .help(help))
    }

    /// The pins of a path such as `A.BUS.4` or `A.BUS.clk`: one, or all that have the label.
    pub(super) fn pins(
        &self,
        path: &str,
        span: Span,
    ) -> Result<Vec<(ConnectorKey, usize)>, Diagnostic> {
        let Some((owner, pin)) = path
            .rsplit_once('.')
            .filter(|(owner, _)| owner.contains('.'))
        else {
            // A whole connector is the likely slip.
            let known = self.connector(path, span)?;
            let message = format!("`{path}` is a connector: which of its pins?");
            let pins = self.bench.circuit.connectors[known].pins.len();
            return Err(Diagnostic::error("unknown-pin", message)
                .at(span, "no pin is named")
                .help(format!(
                    "write `{path}.1`, or another of its {pins} pins or labels"
                )));
        };
        let key = self.connector(owner, span)?;
        let pins = &self.bench.circuit.connectors[key].pins;
        if let Ok(number) = pin.parse::<usize>() {
            let index = number.checked_sub(1).filter(|index| *index < pins.len());
            return index.map(|index| vec![(key, index)]).ok_or_else(|| {
                Diagnostic::error("unknown-pin", format!("{owner} has no pin {number}"))
                    .at(span, "no such pin")
                    .help(format!("its pins are 1 to {}", pins.len()))
            });
        }
        let labelled = pins
            .iter()
            .enumerate()
            .filter(|(_, row)| row.label.as_deref() == Some(pin));
        let found: Vec<_> = labelled.map(|(index, _)| (key, index)).collect();
        if !found.is_empty() {
            return Ok(found);
        }
        let labels = pins.iter().filter_map(|row| row.label.as_deref());
        let help = did_you_mean(pin, labels)
            .unwrap_or_else(|| format!("its pins are 1 to {}", pins.len()));
        Err(Diagnostic::error(
            "unknown-pin",
            format!("no pin of {owner} has the label {pin}"),
        )
        .at(span, "no such pin")
        .help(help))
    }
}

fn unknown_board(designs: &Designs<'_>, board: &Word) -> Diagnostic {
    let name = &board.node;
    let message = match designs.assembly(name) {
        Some(_) => format!("{name} is an assembly; only boards can be put in place"),
        None => format!("there is no board {name} in the design"),
    };
    let help = did_you_mean(name, designs.board_names())
        .unwrap_or_else(|| format!("describe it: `board {name} {{ ... }}`"));
    Diagnostic::error("unknown-board", message)
        .at(board.span, "no such board")
        .help(help)
}
