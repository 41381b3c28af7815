//! What the design says of ways from one place to another: from names to pins.

use super::Problems;
use crate::circuit::{ChipKey, Circuit, Way, within};
use crate::diagnostic::{Diagnostic, nearest};
use crate::language::ast;
use crate::language::expand::Scope;
use crate::part::PinIndex;
use crate::text::Span;

/// What is said of a way.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Said {
    /// It is not used.
    Unused,
    /// It leads through a synchroniser.
    Synchroniser,
}

/// A way with flat names.
#[derive(Clone)]
pub(super) struct Named {
    said: Said,
    from: (Vec<String>, Span),
    to: (Vec<String>, Span),
    reason: String,
    span: Span,
}

impl Named {
    /// Lays the names out.
    pub(super) fn of(scope: &Scope, said: Said, tree: &ast::Way) -> Result<Named, Diagnostic> {
        Ok(Named {
            said,
            from: (scope.paths(&tree.from)?, tree.from.span),
            to: (scope.paths(&tree.to)?, tree.to.span),
            reason: tree.reason.clone(),
            span: tree.span,
        })
    }

    /// How many names it has.
    pub(super) fn size(&self) -> usize {
        self.from.0.len() + self.to.0.len()
    }
}

/// Finds the pins of all ways; each stands with the path of the board that says so.
pub(super) fn resolve(circuit: &mut Circuit, list: &[(String, Named)], problems: &mut Problems) {
    for (board, named) in list {
        let mut end = |(names, span): &(Vec<String>, Span)| {
            let mut pins = Vec::new();
            for name in names {
                match pins_of(circuit, &within(board, name)) {
                    Some(found) => pins.extend(found),
                    None => problems.unclear(unknown(circuit, board, name, *span)),
                }
            }
            pins
        };
        let (from, to) = (end(&named.from), end(&named.to));
        let ways = match named.said {
            Said::Unused => &mut circuit.unused_paths,
            Said::Synchroniser => &mut circuit.synchronisers,
        };
        ways.push(Way {
            from,
            to,
            reason: named.reason.clone(),
            span: named.span,
        });
    }
}

/// The pins of a pin, a row of pins, a chip, or a net.
fn pins_of(circuit: &Circuit, path: &str) -> Option<Vec<(ChipKey, PinIndex)>> {
    if let Some(chip) = circuit.chip(path) {
        let pins = circuit.chips[chip].part.pins.len();
        return Some((0..pins).map(|pin| (chip, pin)).collect());
    }
    let of_chip = path.rsplit_once('.').and_then(|(owner, pin)| {
        let chip = circuit.chip(owner)?;
        let part = &circuit.chips[chip].part;
        let numbered = || part.pin_numbered(pin.parse().ok()?).map(|pin| vec![pin]);
        let pins = part.pins_called(pin).or_else(numbered)?;
        Some(pins.into_iter().map(|pin| (chip, pin)).collect())
    });
    of_chip.or_else(|| Some(circuit.nets[circuit.net(path)?].chip_pins.clone()))
}

fn unknown(circuit: &Circuit, board: &str, name: &str, span: Span) -> Diagnostic {
    let whole = within(board, name);
    let chips = circuit.chips.values().map(|chip| chip.path.as_str());
    let nets = circuit.net_names();
    let near = nearest(&whole, chips.chain(nets.iter().map(String::as_str)));
    let short = |near: &str| match near.strip_prefix(&format!("{board}.")) {
        Some(short) if !board.is_empty() => short.to_owned(),
        _ => near.to_owned(),
    };
    let help = near.map_or_else(
        || "write a pin, a chip or a net as in `U3.Q1`, `U3`, `q0`".to_owned(),
        |near| format!("did you mean `{}`?", short(near)),
    );
    Diagnostic::error(
        "unknown-signal",
        format!("there is no pin, chip or net `{name}`"),
    )
    .at(span, "this name")
    .help(help)
}
