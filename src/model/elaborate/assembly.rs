//! Assemblies: boards put in place, cables and supplies.

use super::assembler::Assembler;
use super::board::plan;
use super::designs::Designs;
use super::plan::{Context, timing_path, too_many_pins, waivers};
use crate::diagnostic::{Diagnostic, did_you_mean};
use crate::language::ast::{self, AssemblyStatement, Template, Word};
use crate::language::expand::Scope;
use crate::model::problems::Problems;
use crate::model::things::{Model, PathKind};
use rustc_hash::FxHashMap;

/// Which statements a walk looks at: the boards first, because order does not matter to the person.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Round {
    Boards,
    Joints,
}

/// The model of an assembly.
pub(super) fn assemble(
    assembly: &ast::Assembly,
    designs: &Designs<'_>,
    context: Context<'_>,
    problems: &mut Problems,
) -> Model {
    let mut assembler = Assembler {
        designs,
        context,
        problems,
        model: Model { name: assembly.name.node.as_str().into(), assembly: true, ..Model::default() },
        plans: FxHashMap::default(),
        boards: FxHashMap::default(),
        lost: FxHashMap::default(),
    };
    for round in [Round::Boards, Round::Joints] {
        assembler.statements(round, &mut Scope::default(), &assembly.body);
    }
    if assembler.boards.is_empty() && !assembler.problems.is_unclear() {
        let message = format!("the assembly {} has no board", assembly.name.node);
        assembler.problems.unclear(
            Diagnostic::error("unknown-board", message)
                .at(assembly.name.span, "nothing in here")
                .help("put a board in place: `A: BOARD`"),
        );
    }
    assembler.model
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
                (Round::Joints, AssemblyStatement::Unused(path)) => {
                    self.timing_path(scope, PathKind::False, path);
                }
                (Round::Joints, AssemblyStatement::Synchroniser(path)) => {
                    self.timing_path(scope, PathKind::Synchroniser, path);
                }
                (Round::Joints, AssemblyStatement::Accept(tree)) => {
                    if let Some(paths) = self.paths(scope, &tree.place) {
                        self.model.waivers.extend(waivers(tree, paths));
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

    fn timing_path(&mut self, scope: &Scope, kind: PathKind, tree: &ast::Way) {
        let path = timing_path(scope, kind, tree, self.problems);
        self.model.paths.extend(path);
    }

    fn placement(&mut self, scope: &Scope, names: &[Template], board: &Word) {
        let Some(tree) = self.designs.board(&board.node) else {
            return self.lose(scope, names, unknown_board(self.designs, board));
        };
        let name = tree.name.node.as_str();
        if !self.plans.contains_key(name) {
            let plan = plan(tree, self.context, self.problems);
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
                if !self.model.has_room_for(plan) {
                    return self.problems.unclear(too_many_pins(template.span));
                }
                let key = self.model.place(plan, &path.as_str().into(), template.span);
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
}

fn unknown_board(designs: &Designs<'_>, board: &Word) -> Diagnostic {
    let name = &board.node;
    let message = match designs.assembly(name) {
        Some(_) => format!("{name} is an assembly; only boards can be put in place"),
        None => format!("there is no board {name} in the design"),
    };
    let help =
        did_you_mean(name, designs.board_names()).unwrap_or_else(|| format!("describe it: `board {name} {{ ... }}`"));
    Diagnostic::error("unknown-board", message).at(board.span, "no such board").help(help)
}
