//! The statements of a board, walked once.

use super::plan::{Context, Plan, Planner, timing_path, waivers};
use crate::diagnostic::Diagnostic;
use crate::language::ast::{self, BoardStatement};
use crate::language::expand::Scope;
use crate::model::problems::Problems;
use crate::model::things::PathKind;

/// The plan of a board.
pub(super) fn plan(board: &ast::Board, context: Context<'_>, problems: &mut Problems) -> Plan {
    let mut planner = Planner::new(context, problems);
    planner.plan.design = board.name.node.as_str().into();
    planner.plan.title = board.title.as_str().into();
    planner.statements(&mut Scope::default(), &board.body);
    planner.feed_chips();
    planner.decouple_chips();
    planner.plan
}

impl Planner<'_> {
    fn statements(&mut self, scope: &mut Scope, body: &[BoardStatement]) {
        for statement in body {
            if self.problems.stop() {
                return;
            }
            match statement {
                BoardStatement::Rail(rail) => self.rail(scope, rail),
                BoardStatement::Trace(length) => self.plan.trace = Some(*length),
                BoardStatement::Feed(feed) => self.feed(scope, feed),
                BoardStatement::Connector(connector) => self.connector(scope, connector),
                BoardStatement::Component(component) => self.component(scope, component),
                BoardStatement::Each(each) => {
                    let done = scope.each(each, |scope, body| {
                        if self.problems.spend(1) {
                            self.statements(scope, body);
                        }
                    });
                    self.problems.take(done);
                }
                BoardStatement::Unused(path) => self.timing_path(scope, PathKind::False, path),
                BoardStatement::Synchroniser(path) => {
                    self.timing_path(scope, PathKind::Synchroniser, path);
                }
                BoardStatement::Note(_) => {}
                BoardStatement::Accept(tree) => {
                    if let Some(paths) = self.problems.take(scope.paths(&tree.place))
                        && self.problems.spend(paths.len())
                    {
                        self.plan.waivers.extend(waivers(tree, paths));
                    }
                }
            }
        }
    }

    fn timing_path(&mut self, scope: &Scope, kind: PathKind, tree: &ast::Way) {
        let path = timing_path(scope, kind, tree, self.problems);
        self.plan.paths.extend(path);
    }

    fn rail(&mut self, scope: &Scope, rail: &ast::Rail) {
        let names = self.names(scope, &rail.name).unwrap_or_default();
        if !self.room_for(names.len(), rail.name.span) {
            return;
        }
        for name in names {
            let net = self.net(&name, rail.name.span);
            match self.plan.nets[net].rail {
                None => self.plan.nets[net].rail = Some((rail.voltage, rail.name.span)),
                Some((voltage, _)) if voltage == rail.voltage => {}
                Some((voltage, first)) => self.problems.unclear(
                    Diagnostic::error("rail-twice", format!("the rail {name} has two voltages"))
                        .at(rail.name.span, format!("{} here", rail.voltage))
                        .at(first, format!("{voltage} here"))
                        .help("keep one of the two lines, or give the second rail another name"),
                ),
            }
        }
    }
}
