//! Cables: which connector pins a wire holds together.

use super::assembly::Assembler;
use super::several;
use crate::circuit::{Cable, CableKey, ConnectorKey, Rail};
use crate::diagnostic::{Diagnostic, count};
use crate::key::Key;
use crate::language::ast::{self, Joins, Path};
use crate::language::expand::Scope;
use crate::quantity::Length;
use crate::text::Span;
use rustc_hash::FxHashSet;

/// The ends of one wire.
type Wire = Vec<(ConnectorKey, usize)>;

impl Assembler<'_> {
    pub(super) fn cable(&mut self, scope: &Scope, cable: &ast::Cable) -> Option<()> {
        let name = self.problems.take(scope.name(&cable.name))?;
        if let Some(first) = self.cables.get(&name) {
            let first = self.bench.circuit.cables[*first].span;
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
            Joins::Wires(wires) => self.single(scope, cable, &name, wires)?,
        };
        self.lay(cable, &name, wires);
        Some(())
    }

    fn refuse<T>(&mut self, problem: Diagnostic) -> Option<T> {
        self.problems.unclear(problem);
        None
    }

    /// Puts the wires in place.
    fn lay(&mut self, cable: &ast::Cable, name: &str, wires: Vec<Wire>) {
        let key = CableKey::from_index(self.bench.circuit.cables.len());
        let mut clash = None;
        for wire in &wires {
            let met = self.bench.wire(wire, cable.length);
            clash = clash.or(met.map(|rails| (wire.clone(), rails)));
            for (connector, pin) in wire {
                let cables = &mut self.bench.circuit.connectors[*connector].pins[*pin].cables;
                if cables.last() != Some(&key) {
                    cables.push(key);
                }
            }
        }
        self.bench.circuit.cables.push(Cable {
            name: name.to_owned(),
            kind: cable.kind.node.clone(),
            length: cable.length,
            wires,
            span: cable.span,
        });
        self.cables.insert(name.to_owned(), key);
        if let Some((wire, rails)) = clash {
            let problem = self.rails_meet(cable, name, &wire, &rails);
            self.problems.report(problem);
        }
    }

    fn rails_meet(
        &self,
        cable: &ast::Cable,
        name: &str,
        wire: &Wire,
        rails: &[(String, Rail); 2],
    ) -> Diagnostic {
        let [(one, a), (two, b)] = rails;
        let ends: Vec<String> = wire
            .iter()
            .map(|(connector, pin)| self.bench.circuit.connector_pin_path(*connector, *pin))
            .collect();
        let message = format!(
            "cable {name} joins {one} ({}) to {two} ({})",
            a.declared, b.declared
        );
        Diagnostic::error("rail-conflict", message)
            .at(cable.span, format!("its wire from {}", ends.join(" to ")))
            .at(a.span, format!("{} here", a.declared))
            .at(b.span, format!("{} here", b.declared))
            .help("see whether a connector is turned round, or its pins are in another order")
    }

    /// Whole connectors, pin n to pin n; with two of them the second may be turned round.
    fn straight(
        &mut self,
        scope: &Scope,
        cable: &ast::Cable,
        name: &str,
        paths: &[Path],
    ) -> Option<Vec<Wire>> {
        let mut plugs: Vec<Plug> = Vec::new();
        for path in paths {
            for flat in self.paths(scope, path)? {
                let connector = self.connector(&flat, path.span);
                let key = self.problems.take(connector)?;
                let pins = self.bench.circuit.connectors[key].pins.len();
                plugs.push(Plug {
                    path: flat,
                    key,
                    pins,
                    span: path.span,
                });
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
            plugs
                .iter()
                .enumerate()
                .map(|(at, plug)| (plug.key, end(at)))
                .collect()
        };
        Some((0..pins).map(wire).collect())
    }

    /// Wires one by one.
    fn single(
        &mut self,
        scope: &Scope,
        cable: &ast::Cable,
        name: &str,
        wires: &[(Path, Path)],
    ) -> Option<Vec<Wire>> {
        if cable.reversed {
            let problem =
                Diagnostic::error("cable", format!("{name} lists its wires and is reversed"))
                    .at(cable.span, "reversed")
                    .help("write each wire as it runs, without `reversed`");
            return self.refuse(problem);
        }
        let mut laid = Vec::new();
        let mut complete = true;
        for (from, to) in wires {
            let (starts, ends) = (self.paths(scope, from)?, self.paths(scope, to)?);
            if starts.len() != ends.len() {
                let message = format!(
                    "{} on one side, {} on the other",
                    count(starts.len(), "pin"),
                    ends.len()
                );
                let problem = Diagnostic::error("count", message)
                    .at(from.span, count(starts.len(), "pin"))
                    .at(to.span, count(ends.len(), "pin"))
                    .help("name as many pins on either side");
                self.problems.unclear(problem);
                complete = false;
                continue;
            }
            for (start, end) in starts.iter().zip(&ends) {
                let ends = (self.one_pin(start, from.span), self.one_pin(end, to.span));
                match (self.problems.take(ends.0), self.problems.take(ends.1)) {
                    (Some(start), Some(end)) => laid.push(vec![start, end]),
                    _ => complete = false,
                }
            }
        }
        if let Some(ways) = cable.ways.filter(|ways| (*ways as usize) < laid.len()) {
            let message = format!("{name} has {ways} ways, but {}", count(laid.len(), "wire"));
            let problem = Diagnostic::error("cable", message)
                .at(cable.span, format!("{ways} ways"))
                .help("take a cable of more ways, or take wires away");
            return self.refuse(problem);
        }
        complete.then_some(laid)
    }

    /// A wire ends at one pin.
    fn one_pin(&self, path: &str, span: Span) -> Result<(ConnectorKey, usize), Diagnostic> {
        let pins = self.pins(path, span)?;
        if let [pin] = pins.as_slice() {
            return Ok(*pin);
        }
        let numbers: Vec<String> = pins
            .iter()
            .map(|(_, index)| (index + 1).to_string())
            .collect();
        Err(Diagnostic::error(
            "unknown-pin",
            format!("{} have the label {path}", count(pins.len(), "pin")),
        )
        .at(span, "a wire ends at one pin")
        .help(format!("write its number, one of {}", several(&numbers))))
    }
}

/// A connector at the end of a cable.
struct Plug {
    path: String,
    key: ConnectorKey,
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
            problem(format!(
                "{name} joins connectors of different size: {one} and {two}"
            ))
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
            problem(format!(
                "a reversed cable joins two connectors, {name} joins {ends}"
            ))
            .at(cable.span, "reversed")
            .help("list its wires one by one, or make it two cables"),
        );
    }
    let ways = cable.ways.filter(|ways| *ways as usize != first.pins)?;
    let pins = count(first.pins, "pin");
    Some(
        problem(format!(
            "{name} has {ways} ways, its connectors have {pins}"
        ))
        .at(cable.span, format!("{ways} ways"))
        .at(first.span, pins)
        .help("take a cable of as many ways, or list its wires one by one"),
    )
}
