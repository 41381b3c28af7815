//! A chip has no supply, or a wrong one.
//!
//! # What it finds
//!
//! - supply pins that are connected to nothing, or to a net that is no rail;
//! - rails of an assembly that no bench supply reaches: one finding for the rail, which names its chips, or the lamps and
//!   resistors that alone hang on it (a warning);
//! - rails of a board that chips are fed from, but that no connector brings in, nor a switch or a fuse (a resistor of 10 ohm
//!   or less) from another rail; of a board without any connector that is not asked;
//! - supply pins that are swapped, or both on one rail;
//! - a supply far outside the voltages that the sheet of the chip's number has figures for: more than a quarter below
//!   the lowest or above the highest.
//!
//! A part without supply pins, such as a section that is still formulas, needs none. On a board that stands alone
//! each rail counts as fed from the bench.
//!
//! # Why it hurts
//!
//! A chip without supply drives nothing. One of HC or AC logic also takes current through the clamp diodes of its
//! inputs, so it holds a live bus down and half works from it, which looks like a fault somewhere else. A chip that is
//! fed backwards or far too high dies.
//!
//! # Cure
//!
//! Say which rails feed the chip: `feed U1 from VCC GND`. In an assembly lead the rail over a connector to a board
//! that is fed, or connect a supply to it.
//!
//! # Example
//!
//! ```text
//! board blinker {
//!     rail VCC 5 V   rail GND
//!     feed U1 from VCC GND          # U2 was added later, and forgotten here
//!     U1 74HC04 { ... }
//!     U2 74HC74 { ... }
//! }
//! ```
//!
//! # Source
//!
//! Hitachi, HD74AC Series Common Information, page 38 (a part without supply on a live bus); the rest: common practice.

use crate::check::{Finding, Rule, Subject, page};
use crate::circuit::{Chip, Circuit, DiscreteKind, Net, NetKey};
use crate::diagnostic::Diagnostic;
use crate::part::sheet::Block;
use crate::part::{PinIndex, PinKind};
use crate::quantity::Voltage;
use std::collections::BTreeMap;

pub(crate) const RULE: Rule = Rule {
    name: "chip-not-fed",
    summary: "A chip has no supply, or a wrong one.",
    documentation: page!("chip_not_fed.rs"),
    find,
};

const UNFED: &str = "a chip without supply drives nothing, and through the clamps of its inputs it may load live nets";

fn find(subject: &Subject<'_>, findings: &mut Vec<Finding>) {
    let circuit = subject.circuit;
    let mut waiting: BTreeMap<NetKey, Vec<&Chip>> = BTreeMap::new();
    for chip in circuit.chips.values() {
        let problem = if chip.fed {
            far_from_figures(chip)
        } else {
            unconnected(circuit, chip).or_else(|| backwards(circuit, chip))
        };
        if let Some(problem) = problem {
            findings.push(Finding::new(circuit, chip.board, chip.path.clone(), problem));
        } else if !chip.fed {
            let mut dead: Vec<NetKey> =
                supply_pins(chip).filter_map(|pin| chip.nets[pin]).filter(|net| fed(circuit, *net).is_none()).collect();
            dead.sort_unstable();
            dead.dedup();
            for net in dead {
                waiting.entry(net).or_default().push(chip);
            }
        }
    }
    for (key, net) in circuit.nets.iter().filter(|_| circuit.assembly) {
        if !waiting.contains_key(&key) {
            findings.extend(only_discretes_wait(circuit, net));
        }
    }
    for (net, chips) in waiting {
        findings.push(rail_without_supply(circuit, net, &chips));
    }
    if !circuit.assembly && !circuit.connectors.is_empty() {
        findings.extend(circuit.nets.keys().filter_map(|net| not_brought_in(circuit, net)));
    }
}

/// A rail that no supply reaches, where only lamps and resistors hang on it.
fn only_discretes_wait(circuit: &Circuit, net: &Net) -> Option<Finding> {
    let rail = net.rail?;
    if rail.fed.is_some() || rail.declared == Voltage::ZERO {
        return None;
    }
    let discretes = net.discrete_pins.iter();
    let mut waiting: Vec<&str> = discretes
        .map(|(discrete, _)| &circuit.discretes[*discrete])
        .filter(|discrete| {
            let kind = &discrete.kind;
            matches!(kind, DiscreteKind::Led(..) | DiscreteKind::Resistor(_) | DiscreteKind::Network(..))
        })
        .map(|discrete| discrete.path.as_str())
        .collect();
    waiting.dedup();
    if waiting.is_empty() {
        return None;
    }
    let message = format!("no supply reaches the rail {}: {} have nothing to hang on", net.path, super::list(&waiting));
    let message = if waiting.len() == 1 { message.replacen(" have nothing", " has nothing", 1) } else { message };
    let problem = Diagnostic::warning(RULE.name, message)
        .at(rail.span, "this rail")
        .note("lamps stay dark, and what a resistor is to pull up floats")
        .help("connect a supply to it, or lead it over a cable to a board that is fed");
    Some(Finding::new(circuit, super::board_of(net), net.path.clone(), problem))
}

/// A rail of a board on its own that feeds chips, and that nothing brings in.
fn not_brought_in(circuit: &Circuit, key: NetKey) -> Option<Finding> {
    let net = &circuit.nets[key];
    let rail = net.rail?;
    if !net.connector_pins.is_empty() || rail.via.is_some() {
        return None;
    }
    let pins = || {
        let pins = net.chip_pins.iter();
        pins.map(|&(chip, pin)| (&circuit.chips[chip], pin))
    };
    if pins().any(|(chip, pin)| chip.part.pins[pin].drives()) {
        return None;
    }
    let supply = |kind: PinKind| matches!(kind, PinKind::Power | PinKind::Ground);
    let mut fed: Vec<&str> =
        pins().filter(|(chip, pin)| supply(chip.part.pins[*pin].kind)).map(|(chip, _)| chip.path.as_str()).collect();
    fed.dedup();
    if fed.is_empty() {
        return None;
    }
    let message = format!("the rail {} feeds {}, but nothing brings it to the board", net.path, super::list(&fed));
    let problem = Diagnostic::error(RULE.name, message)
        .at(rail.span, "this rail")
        .note(UNFED)
        .help("lead it to a connector, or to another rail over a switch or a fuse");
    Some(Finding::new(circuit, super::board_of(net), net.path.clone(), problem))
}

fn supply_pins(chip: &Chip) -> impl Iterator<Item = PinIndex> + '_ {
    let part = &chip.part;
    part.pins_of(PinKind::Power).chain(part.pins_of(PinKind::Ground))
}

fn fed(circuit: &Circuit, net: NetKey) -> Option<Voltage> {
    circuit.nets[net].rail.and_then(|rail| rail.fed)
}

/// A supply pin that is on nothing, or on a net that is no rail.
fn unconnected(circuit: &Circuit, chip: &Chip) -> Option<Diagnostic> {
    let words = |pin: PinIndex| {
        let pin = &chip.part.pins[pin];
        format!("{} (pin {})", pin.name, pin.number)
    };
    let open: Vec<String> = supply_pins(chip).filter(|pin| chip.nets[*pin].is_none()).map(words).collect();
    let help = format!("write `feed {} from VCC GND`, with the names of the board's rails", chip.reference);
    if !open.is_empty() {
        let list = super::list(&open);
        let message = match open.len() {
            1 => format!("the supply pin {list} of {} is connected to nothing", chip.path),
            _ => format!("the supply pins {list} of {} are connected to nothing", chip.path),
        };
        let problem = Diagnostic::error(RULE.name, message);
        return Some(problem.at(chip.span, "not fed").note(UNFED).help(help));
    }
    let (pin, net) = supply_pins(chip).find_map(|pin| {
        let net = &circuit.nets[chip.nets[pin]?];
        net.rail.is_none().then_some((pin, net))
    })?;
    let message = format!("the supply pin {} of {} is on {}, which is no rail", words(pin), chip.path, net.path);
    Some(
        Diagnostic::error(RULE.name, message)
            .at(chip.span, "not fed")
            .at(net.span, "a signal")
            .note(UNFED)
            .help(format!("{help}; or declare `rail {} 5 V` if it is one", net.names.first()?.1)),
    )
}

/// Supply pins that are swapped, or all on one rail.
fn backwards(circuit: &Circuit, chip: &Chip) -> Option<Diagnostic> {
    let of_kind = |kind: PinKind| {
        let nets = chip.part.pins_of(kind).filter_map(|pin| chip.nets[pin]);
        nets.map(|net| fed(circuit, net).map(|voltage| (voltage, net))).collect::<Option<Vec<_>>>()
    };
    let (low, power) = of_kind(PinKind::Power)?.into_iter().min()?;
    let (high, ground) = of_kind(PinKind::Ground)?.into_iter().max()?;
    let (power_path, ground_path) = (&circuit.nets[power].path, &circuit.nets[ground].path);
    let problem = |message: String| Diagnostic::error(RULE.name, message).at(chip.span, "fed wrongly");
    if low < high {
        let message =
            format!("{} is fed backwards: its power is on {power_path}, its ground on {ground_path}", chip.path);
        return Some(
            problem(message)
                .note("a chip that is fed backwards conducts through its substrate and dies")
                .help("swap the nets of its power and ground pins, or the poles of the supply"),
        );
    }
    let message = if power == ground {
        format!("power and ground of {} are both on {power_path}", chip.path)
    } else {
        format!("power and ground of {} have one voltage: {power_path} and {ground_path}", chip.path)
    };
    let cure = "lead its power pin to the rail that has a voltage";
    (low == high).then(|| problem(message).note(UNFED).help(cure))
}

/// A voltage far from all figures of the sheet.
pub(super) fn far_from_figures(chip: &Chip) -> Option<Diagnostic> {
    let voltages = |blocks: &[Block]| blocks.iter().map(|block| block.voltage).collect::<Vec<_>>();
    let known = voltages(&chip.part.sheets[chip.sheet?].blocks);
    let (least, most) = (*known.iter().min()?, *known.iter().max()?);
    let range = if least == most { most.to_string() } else { format!("{least} to {most}") };
    let supply = chip.supply;
    let (much, fate) = if supply.raw().saturating_mul(4) > most.raw().saturating_mul(5) {
        ("much", "far above them a chip breaks down and dies")
    } else if supply.raw().saturating_mul(4) < least.raw().saturating_mul(3) {
        ("little", "far below them it is slow, or does not work at all")
    } else {
        return None;
    };
    let message = format!("{supply} is too {much} for {}, a {}", chip.path, chip.number);
    Some(
        Diagnostic::error(RULE.name, message)
            .at(chip.span, "fed wrongly")
            .note(format!("its sheet has figures for {range}; {fate}"))
            .help("take another rail, or a family that is made for this voltage"),
    )
}

fn rail_without_supply(circuit: &Circuit, net: NetKey, chips: &[&Chip]) -> Finding {
    let net = &circuit.nets[net];
    let paths: Vec<&str> = chips.iter().map(|chip| chip.path.as_str()).collect();
    let noun = if paths.len() == 1 { "chip" } else { "chips" };
    let message = format!("no supply reaches the rail {}: the {noun} {} cannot work", net.path, super::list(&paths));
    let span = net.rail.map_or(net.span, |rail| rail.span);
    let problem = Diagnostic::error(RULE.name, message)
        .at(span, "this rail")
        .note(UNFED)
        .help("connect a supply to it, or lead it over a cable to a board that is fed");
    Finding::new(circuit, super::board_of(net), net.path.clone(), problem)
}

#[cfg(test)]
mod tests;
