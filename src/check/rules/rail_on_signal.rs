//! A cable leads a supply to a signal.
//!
//! # What it finds
//!
//! Nets that are a rail on one board and a signal on another one, to which a cable joins them.
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
use crate::diagnostic::Diagnostic;

/// The rule.
pub const RULE: Rule = Rule {
    name: "rail-on-signal",
    summary: "A cable leads a supply to a signal.",
    documentation: page!("rail_on_signal.rs"),
    find,
};

fn find(subject: &Subject<'_>, findings: &mut Vec<Finding>) {
    let circuit = subject.circuit;
    for net in circuit.nets.values() {
        let (Some(rail), Some((board, name))) = (net.rail, net.misled()) else {
            continue;
        };
        let signal = format!("{}.{name}", circuit.boards[*board].path);
        let pin = net
            .connector_pins
            .iter()
            .find(|(connector, _)| circuit.connectors[*connector].board == *board);
        let mut problem = Diagnostic::error(
            RULE.name,
            format!("a cable joins the rail {} to the signal {signal}", net.path),
        )
        .at(rail.span, "the rail");
        if let Some(&(connector, index)) = pin {
            let pin = &circuit.connectors[connector].pins[index];
            problem = problem.at(
                pin.span,
                format!(
                    "{} carries a signal",
                    circuit.connector_pin_path(connector, index)
                ),
            );
            for cable in &pin.cables {
                problem = problem.at(circuit.cables[*cable].span, "this cable");
            }
        }
        let problem = problem
            .note("an output on that signal fights with the supply, and dies")
            .help("compare the pins of both connectors: one of them may be turned round");
        findings.push(Finding::new(circuit, *board, signal, problem));
    }
}
