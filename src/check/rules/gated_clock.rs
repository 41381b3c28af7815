//! The gates in front of a clock input can make a short pulse.
//!
//! # What it finds
//!
//! Clock inputs and write inputs of memories behind gates, where
//!
//! - an enable changes just behind the edge of the clock that is let through at that time, so that its pulse is cut;
//! - two bits of one counter or register change at once, and a gate sees both alike for a moment;
//! - one input reaches the gate on two ways of different length, and the level should stay;
//! - a memory's output, which runs through any value while its address moves, is let through.
//!
//! The finding names the change that causes it. Gates with more than eight variables behind them are not looked at.
//!
//! # Why it hurts
//!
//! A register clocks on every edge that it can see, also on one of two nanoseconds, and only at times: when the chip is
//! warm, or of another batch. Nothing is harder to find at the bench.
//!
//! # Cure
//!
//! Clock everything with the same clock and use enable inputs ('377 instead of '374). Where a clock must be gated, let the
//! enable change while the gate is shut: OR it with a clock whose rising edge moves the enable, or take it from a
//! flip-flop that the other edge clocks.
//!
//! # Example
//!
//! ```text
//! U1 74HC74 { 1CLK = clk   1Q = go   ... }
//! U2 74HC08 { 1A = clk   1B = go   1Y = count }      # go changes while clk is high
//! U3 74HC161 { CLK = count   ... }
//! ```
//!
//! # Source
//!
//! Common practice; the test of one changing input is that of E. B. Eichelberger, Hazard Detection in Combinational and
//! Sequential Switching Circuits, IBM Journal 9 (1965).

use crate::check::{Finding, Rule, Subject, page};
use crate::circuit::{Chip, Circuit, NetKey};
use crate::diagnostic::Diagnostic;
use crate::electrical::drive::inputs_from_rails;
use crate::hazard::pulse::glitch;
use crate::part::PinIndex;
use crate::part::function::structure::Structure;

pub(crate) const RULE: Rule = Rule {
    name: "gated-clock",
    summary: "The gates in front of a clock input can make a short pulse.",
    documentation: page!("gated_clock.rs"),
    find,
};

fn find(subject: &Subject<'_>, findings: &mut Vec<Finding>) {
    look(subject, RULE.name, inputs, "it may store a second time, or at the wrong moment", findings);
}

/// The inputs that this rule looks at.
pub(super) fn inputs(chip: &Chip) -> u64 {
    chip.part.function.clock_inputs() | chip.part.function.write_inputs()
}

/// Looks for short pulses on the nets of some inputs of every chip; one finding for each net.
pub(super) fn look(
    subject: &Subject<'_>,
    rule: &'static str,
    inputs: fn(&Chip) -> u64,
    why: &str,
    findings: &mut Vec<Finding>,
) {
    let circuit = subject.circuit;
    for (net, chip, pin) in nets_of(circuit, inputs) {
        let Some(glitch) = glitch(circuit, &subject.operating_point, net) else {
            continue;
        };
        let net = &circuit.nets[net];
        let chip_row = &circuit.chips[chip];
        let path = circuit.pin_path(chip, pin);
        let message = format!("a short pulse may come to {path} on {}", net.path);
        let mut problem = Diagnostic::warning(rule, message)
            .at(chip_row.span, format!("{path} listens"))
            .at(net.span, "this net")
            .note(format!("when {}", glitch.change))
            .note(why);
        if !glitch.meanwhile.is_empty() {
            problem = problem.note(format!("while {}", glitch.meanwhile));
        }
        let problem =
            problem.help("take the signal from a flip-flop, or let what gates it change while the gate is shut");
        findings.push(Finding::new(circuit, super::board_of(net), net.path.clone(), problem));
    }
}

/// The nets of some inputs, each with the first such input on it.
pub(super) fn nets_of(circuit: &Circuit, inputs: fn(&Chip) -> u64) -> Vec<(NetKey, crate::circuit::ChipKey, PinIndex)> {
    let mut found = std::collections::BTreeMap::new();
    for (key, chip) in circuit.chips.iter().filter(|(_, chip)| chip.fed) {
        // A memory whose write input is tied off stores nothing.
        let tied = inputs_from_rails(circuit, chip);
        let mask = inputs(chip) & Structure::tied(&chip.part.function, tied).storing();
        for (bit, &pin) in chip.part.function.inputs.iter().enumerate() {
            if let Some(net) = chip.nets[pin].filter(|_| mask >> bit & 1 == 1) {
                found.entry(net).or_insert((key, pin));
            }
        }
    }
    found.into_iter().map(|(net, (chip, pin))| (net, chip, pin)).collect()
}
