//! An assembly under way: the boards in place, and the connector pins that cables and supplies name.

use super::designs::Designs;
use super::plan::{Context, Plan};
use crate::diagnostic::{Diagnostic, did_you_mean};
use crate::language::ast::{Path, Template};
use crate::language::expand::Scope;
use crate::model::problems::{Problems, several};
use crate::model::things::{BoardId, ConnectorId, End, Model};
use crate::text::Span;
use rustc_hash::FxHashMap;

/// An assembly under way.
pub(super) struct Assembler<'a> {
    pub(super) designs: &'a Designs<'a>,
    pub(super) context: Context<'a>,
    pub(super) problems: &'a mut Problems,
    pub(super) model: Model,
    /// The plan of each board that was used.
    pub(super) plans: FxHashMap<&'a str, Plan>,
    pub(super) boards: FxHashMap<String, (BoardId, Span)>,
    /// Names of boards whose design is unknown, and what was said about it.
    pub(super) lost: FxHashMap<String, Diagnostic>,
}

impl Assembler<'_> {
    /// The flat names of a template.
    pub(super) fn names(&mut self, scope: &Scope, template: &Template) -> Option<Vec<String>> {
        let names = self.problems.take(scope.names(template))?;
        self.problems.spend(names.len()).then_some(names)
    }

    /// The flat paths of a path.
    pub(super) fn paths(&mut self, scope: &Scope, path: &Path) -> Option<Vec<String>> {
        let paths = self.problems.take(scope.paths(path))?;
        self.problems.spend(paths.len()).then_some(paths)
    }

    /// The connector of a path such as `A.BUS`.
    pub(super) fn connector(&self, path: &str, span: Span) -> Result<ConnectorId, Diagnostic> {
        if let Some(connector) = self.model.connector(path) {
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
            let help = did_you_mean(board, names).unwrap_or_else(|| format!("put it in place: `{board}: BOARD`"));
            let message = format!("there is no board {board} in this assembly");
            return Err(Diagnostic::error("unknown-board", message).at(span, "no such board").help(help));
        };
        let in_place = &self.model.boards[*key];
        let connectors = in_place.connectors.keys();
        let names: Vec<&str> = connectors.map(|connector| &*self.model.connectors[connector].name).collect();
        let design = &in_place.design;
        let message = format!("{board} ({design}) has no connector {name}");
        let help =
            did_you_mean(name, names.iter().copied()).unwrap_or_else(|| format!("its connectors: {}", several(&names)));
        Err(Diagnostic::error("unknown-connector", message).at(span, "no such connector").help(help))
    }

    /// The pins of a path such as `A.BUS.4` or `A.BUS.clk`: one, or all that have the label.
    pub(super) fn pins(&self, path: &str, span: Span) -> Result<Vec<End>, Diagnostic> {
        let Some((owner, pin)) = path.rsplit_once('.').filter(|(owner, _)| owner.contains('.')) else {
            // A whole connector is the likely slip.
            let known = self.connector(path, span)?;
            let message = format!("`{path}` is a connector: which of its pins?");
            let pins = self.model.connectors[known].contacts.len();
            return Err(Diagnostic::error("unknown-pin", message)
                .at(span, "no pin is named")
                .help(format!("write `{path}.1`, or another of its {pins} pins or labels")));
        };
        let key = self.connector(owner, span)?;
        let pins = &self.model.connectors[key].contacts;
        if let Ok(number) = pin.parse::<usize>() {
            let index = number.checked_sub(1).filter(|index| *index < pins.len());
            return index.map(|index| vec![(key, index)]).ok_or_else(|| {
                Diagnostic::error("unknown-pin", format!("{owner} has no pin {number}"))
                    .at(span, "no such pin")
                    .help(format!("its pins are 1 to {}", pins.len()))
            });
        }
        let labelled = pins.iter().enumerate().filter(|(_, row)| row.label.as_deref() == Some(pin));
        let found: Vec<_> = labelled.map(|(index, _)| (key, index)).collect();
        if !found.is_empty() {
            return Ok(found);
        }
        let labels = pins.iter().filter_map(|row| row.label.as_deref());
        let help = did_you_mean(pin, labels).unwrap_or_else(|| format!("its pins are 1 to {}", pins.len()));
        Err(Diagnostic::error("unknown-pin", format!("no pin of {owner} has the label {pin}"))
            .at(span, "no such pin")
            .help(help))
    }
}
