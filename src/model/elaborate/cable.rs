//! Cables: which connector pins a wire holds together.

use super::assembler::Assembler;
use crate::diagnostic::{Diagnostic, count};
use crate::language::ast::{self, CableLine, Joins, Path};
use crate::language::expand::Scope;
use crate::model::problems::several;
use crate::model::things::{Cable, ConnectorId, End};
use crate::quantity::Length;
use crate::text::Span;
use rustc_hash::FxHashSet;

/// The ends of one conductor.
type Wire = Vec<End>;

impl Assembler<'_> {
    pub(super) fn cable(&mut self, scope: &Scope, cable: &ast::Cable) -> Option<()> {
        let name = self.problems.take(scope.name(&cable.name))?;
        if let Some(first) = self.model.cable(&name) {
            let first = self.model.cables[first].span;
            let problem = Diagnostic::error("name-twice", format!("two cables are called {name}"))
                .at(cable.span, "the second one")
                .at(first, "the first one")
                .help("give each cable a name of its own");
            return self.refuse(problem);
        }
        if cable.length < Length::ZERO {
            let problem = Diagnostic::error("cable", format!("{name} is shorter than nothing"))
                .at(cable.span, "its length")
                .help("write its length as in `250 mm`");
            return self.refuse(problem);
        }
        let wires = match &cable.joins {
            Joins::Connectors(paths) => self.straight(scope, cable, &name, paths)?,
            Joins::Wires(lines) => self.single(scope, cable, &name, lines)?,
        };
        self.model.insert_cable(Cable {
            name: name.into(),
            kind: cable.kind.node.as_str().into(),
            length: cable.length,
            conductors: wires,
            span: cable.span,
        });
        Some(())
    }

    fn refuse<T>(&mut self, problem: Diagnostic) -> Option<T> {
        self.problems.unclear(problem);
        None
    }

    /// Whole connectors, pin n to pin n; with two of them the second may be turned round.
    fn straight(&mut self, scope: &Scope, cable: &ast::Cable, name: &str, paths: &[Path]) -> Option<Vec<Wire>> {
        let mut plugs: Vec<Plug> = Vec::new();
        for path in paths {
            for flat in self.paths(scope, path)? {
                let connector = self.connector(&flat, path.span);
                let key = self.problems.take(connector)?;
                let pins = self.model.connectors[key].contacts.len();
                plugs.push(Plug { path: flat, key, pins, span: path.span });
            }
        }
        if let Some(problem) = misfit(cable, name, &plugs) {
            return self.refuse(problem);
        }
        let pins = plugs.first()?.pins;
        if !self.problems.spend(pins.saturating_mul(plugs.len())) {
            return None;
        }
        let wire = |pin: usize| {
            let turned = |at: usize| cable.reversed && at == 1;
            let end = |at: usize| if turned(at) { pins - 1 - pin } else { pin };
            plugs.iter().enumerate().map(|(at, plug)| (plug.key, end(at))).collect()
        };
        Some((0..pins).map(wire).collect())
    }

    /// Wires one by one.
    fn single(&mut self, scope: &Scope, cable: &ast::Cable, name: &str, lines: &[CableLine]) -> Option<Vec<Wire>> {
        if cable.reversed {
            let problem = Diagnostic::error("cable", format!("{name} lists its wires and is reversed"))
                .at(cable.span, "reversed")
                .help("write each wire as it runs, without `reversed`");
            return self.refuse(problem);
        }
        let mut laid = Vec::new();
        let complete = self.lines(&mut scope.clone(), lines, &mut laid);
        if let Some(ways) = cable.ways.filter(|ways| (*ways as usize) < laid.len()) {
            let message = format!("{name} has {ways} ways, but {}", count(laid.len(), "wire"));
            let problem = Diagnostic::error("cable", message)
                .at(cable.span, format!("{ways} ways"))
                .help("take a cable of more ways, or take wires away");
            return self.refuse(problem);
        }
        complete.then_some(laid)
    }

    /// The wires of lines; false when one of them is wrong.
    fn lines(&mut self, scope: &mut Scope, lines: &[CableLine], laid: &mut Vec<Wire>) -> bool {
        let mut complete = true;
        for line in lines {
            match line {
                CableLine::Wire(from, ends) => {
                    for to in ends {
                        complete &= self.wires(scope, from, to, laid).is_some();
                    }
                }
                CableLine::Each(each) => {
                    let done = scope.each(each, |scope, body| {
                        complete &= self.problems.spend(1) && self.lines(scope, body, laid);
                    });
                    complete &= self.problems.take(done).is_some();
                }
            }
        }
        complete
    }

    /// From the pins of one path to those of another.
    fn wires(&mut self, scope: &Scope, from: &Path, to: &Path, laid: &mut Vec<Wire>) -> Option<()> {
        let (starts, ends) = (self.paths(scope, from)?, self.paths(scope, to)?);
        if starts.len() != ends.len() {
            let message = format!("{} on one side, {} on the other", count(starts.len(), "pin"), ends.len());
            let problem = Diagnostic::error("count", message)
                .at(from.span, count(starts.len(), "pin"))
                .at(to.span, count(ends.len(), "pin"))
                .help("name as many pins on either side");
            return self.refuse(problem);
        }
        let mut complete = Some(());
        for (start, end) in starts.iter().zip(&ends) {
            let ends = (self.one_pin(start, from.span), self.one_pin(end, to.span));
            match (self.problems.take(ends.0), self.problems.take(ends.1)) {
                (Some(start), Some(end)) => laid.push(vec![start, end]),
                _ => complete = None,
            }
        }
        complete
    }

    /// A wire ends at one pin.
    fn one_pin(&self, path: &str, span: Span) -> Result<End, Diagnostic> {
        let pins = self.pins(path, span)?;
        if let [pin] = pins.as_slice() {
            return Ok(*pin);
        }
        let numbers: Vec<String> = pins.iter().map(|(_, index)| (index + 1).to_string()).collect();
        Err(Diagnostic::error("unknown-pin", format!("{} have the label {path}", count(pins.len(), "pin")))
            .at(span, "a wire ends at one pin")
            .help(format!("write its number, one of {}", several(&numbers))))
    }
}

/// A connector at the end of a cable.
struct Plug {
    path: String,
    key: ConnectorId,
    pins: usize,
    span: Span,
}

/// Why a cable does not fit its connectors.
fn misfit(cable: &ast::Cable, name: &str, plugs: &[Plug]) -> Option<Diagnostic> {
    let (first, others) = plugs.split_first()?;
    let problem = |message: String| Diagnostic::error("cable", message);
    if let Some(other) = others.iter().find(|plug| plug.pins != first.pins) {
        let (one, two) = (&first.path, &other.path);
        return Some(
            problem(format!("{name} joins connectors of different size: {one} and {two}"))
                .at(other.span, count(other.pins, "pin"))
                .at(first.span, count(first.pins, "pin"))
                .help("list its wires one by one: `A.J1.1 to B.J1.3`"),
        );
    }
    let mut seen = FxHashSet::default();
    if let Some(plug) = plugs.iter().find(|plug| !seen.insert(plug.key)) {
        return Some(
            problem(format!("{name} has the connector {} twice", plug.path))
                .at(plug.span, "again here")
                .help("name another connector"),
        );
    }
    if cable.reversed && plugs.len() != 2 {
        let ends = plugs.len();
        return Some(
            problem(format!("a reversed cable joins two connectors, {name} joins {ends}"))
                .at(cable.span, "reversed")
                .help("list its wires one by one, or make it two cables"),
        );
    }
    let ways = cable.ways.filter(|ways| *ways as usize != first.pins)?;
    let pins = count(first.pins, "pin");
    Some(
        problem(format!("{name} has {ways} ways, its connectors have {pins}"))
            .at(cable.span, format!("{ways} ways"))
            .at(first.span, pins)
            .help("take a cable of as many ways, or list its wires one by one"),
    )
}
