//! What the design says of timing paths: from names to pins.

use crate::circuit::rows::{ChipKey, Circuit, TimingPath};
use crate::diagnostic::{Diagnostic, nearest};
use crate::model::{Model, PathKind, Problems, within};
use crate::part::PinIndex;
use crate::text::Span;

/// Finds the pins of all timing paths.
pub(super) fn resolve(model: &Model, circuit: &mut Circuit, problems: &mut Problems) {
    for said in &model.paths {
        let board = &*said.board;
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
        let (from, to) = (end(&said.from), end(&said.to));
        let paths = match said.kind {
            PathKind::False => &mut circuit.false_paths,
            PathKind::Synchroniser => &mut circuit.synchronisers,
        };
        paths.push(TimingPath { from, to, reason: said.reason.clone(), span: said.span });
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
    Diagnostic::error("unknown-signal", format!("there is no pin, chip or net `{name}`"))
        .at(span, "this name")
        .help(help)
}
