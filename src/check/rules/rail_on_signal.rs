//! A cable leads a supply to a signal.
//!
//! # What it finds
//!
//! Nets that are a rail on one board and a signal on another one, to which a cable joins them. A signal that the other end
//! of the cable calls by the same name, and that only inputs listen to, is left alone: its level is fixed on purpose.
//!
//! # Why it hurts
//!
//! The supply meets an output that pulls low, or ground one that pulls high: the output dies, or the supply breaks down.
//! Inputs survive, and read the same level for ever. A connector that is plugged in the wrong way round does this first
//! of all.
//!
//! # Cure
//!
//! Compare the pins of both connectors; turn one round, or mend the order on one board.
//!
//! # Example
//!
//! ```text
//! board left  { rail VCC 5 V   connector BUS header-1x2 { 1 VCC   2 m0 } }
//! board right { rail VCC 5 V   connector BUS header-1x2 { 1 m0   2 VCC } }
//! ```
//!
//! # Source
//!
//! Common practice.

use crate::check::{Finding, Rule, Subject, page};
use crate::circuit::{BoardKey, Circuit, Net, Rail};
use crate::diagnostic::Diagnostic;

pub(crate) const RULE: Rule = Rule {
    name: "rail-on-signal",
    summary: "A cable leads a supply to a signal.",
    documentation: page!("rail_on_signal.rs"),
    find,
};

fn find(subject: &Subject<'_>, findings: &mut Vec<Finding>) {
    let circuit = subject.circuit;
    for net in circuit.nets.values() {
        let mut misled = net.signals_on_rail();
        let misled = misled.find(|(board, name)| !is_strap(circuit, net, *board, name));
        if let (Some(rail), Some((board, name))) = (net.rail, misled) {
            findings.push(report(circuit, net, rail, *board, name));
        }
    }
}

/// True when the far end of the cable calls the pin by the name of the signal, and nothing drives it on its board: its
/// level is meant to be fixed from outside, as with the number of a slot.
fn is_strap(circuit: &Circuit, net: &Net, board: BoardKey, name: &str) -> bool {
    let called = net.connector_pins.iter().any(|&(connector, pin)| {
        let row = &circuit.connectors[connector];
        let label = row.pins[pin].label.as_deref().unwrap_or("");
        row.board != board && label.eq_ignore_ascii_case(name)
    });
    let driven = net.chip_pins.iter().any(|&(chip, pin)| {
        let chip = &circuit.chips[chip];
        chip.board == board && chip.part.pins[pin].drives()
    });
    called && !driven
}

fn report(circuit: &Circuit, net: &Net, rail: Rail, board: BoardKey, name: &str) -> Finding {
    let signal = format!("{}.{name}", circuit.boards[board].path);
    let mut pins = net.connector_pins.iter();
    let pin = pins.find(|(connector, _)| circuit.connectors[*connector].board == board);
    let message = format!("a cable joins the rail {} to the signal {signal}", net.path);
    let mut problem = Diagnostic::error(RULE.name, message).at(rail.span, "the rail");
    if let Some(&(connector, index)) = pin {
        let path = circuit.connector_pin_path(connector, index);
        let pin = &circuit.connectors[connector].pins[index];
        problem = problem.at(pin.span, format!("{path} carries a signal"));
        for cable in &pin.cables {
            problem = problem.at(circuit.cables[*cable].span, "this cable");
        }
    }
    let problem = problem
        .note("an output on that signal fights with the supply, and dies")
        .help("compare the pins of both connectors: one of them may be turned round");
    Finding::new(circuit, board, signal, problem)
}
