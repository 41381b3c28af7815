//! A clock is loaded too much, or comes over a long cable without a buffer.
//!
//! # What it finds
//!
//! Nets with clock inputs that make more than 150 pF together, with pins, copper and cables; and clock inputs that are
//! no Schmitt inputs on a net with more than one metre of cable.
//!
//! # Why it hurts
//!
//! A loaded clock rises slowly, and each input takes its threshold at another moment: registers that should step
//! together do not. On a long unterminated cable the edge comes back from the far end and rings, and a clock input sees
//! two edges.
//!
//! # Cure
//!
//! Let one buffer drive each board's clock inputs, or each group of them, from the same clock; keep clock cables short,
//! with a ground wire beside the clock, and receive them with a Schmitt input.
//!
//! # Example
//!
//! ```text
//! U1 74HC04 { 1Y = clk   ... }
//! U2..U17 74HC574 { CLK = clk   ... }           # 16 inputs of up to 10 pF
//! ```
//!
//! # Source
//!
//! ST M54/M74HC540 (the highest load of HC sheets: 150 pF). One metre: 5 ns on a ribbon, as long as the edge of an HC
//! output (common practice).

use crate::check::{Finding, Rule, Subject, page};
use crate::diagnostic::Diagnostic;
use crate::electrical::Capacitances;
use crate::quantity::{Capacitance, Length};

pub(crate) const RULE: Rule = Rule {
    name: "clock-load",
    summary: "A clock is loaded too much, or comes over a long cable without a buffer.",
    documentation: page!("clock_load.rs"),
    find,
};

/// 150 pF.
const MOST_LOAD: Capacitance = Capacitance::from_raw(150_000);
/// 1 m.
const LONGEST: Length = Length::from_raw(1_000_000);

fn find(subject: &Subject<'_>, findings: &mut Vec<Finding>) {
    let circuit = subject.circuit;
    let capacitances = Capacitances::new(circuit, true);
    for (key, net) in circuit.nets.iter().filter(|(_, net)| net.rail.is_none()) {
        let clocks: Vec<_> =
            (net.chip_pins.iter()).filter(|(chip, pin)| super::is_clock(&circuit.chips[*chip], *pin)).collect();
        let Some(&&(chip, pin)) = clocks.first() else {
            continue;
        };
        let load = capacitances.nets[key];
        let total = load.pins + load.traces + load.cables;
        let plain = |&&&(chip, pin): &&&(crate::circuit::ChipKey, usize)| !circuit.chips[chip].part.pins[pin].schmitt;
        let message = if net.wire > LONGEST
            && let Some(&&(chip, pin)) = clocks.iter().find(plain)
        {
            format!(
                "the clock {} runs over {} of cable to {}, which has no hysteresis",
                net.path,
                net.wire,
                super::pin_in_words(circuit, chip, pin)
            )
        } else if total > MOST_LOAD {
            format!("the clock {} drives {} clock inputs, and may have to load {total}", net.path, clocks.len())
        } else {
            continue;
        };
        let problem = Diagnostic::warning(RULE.name, message)
            .at(net.span, "this clock")
            .at(circuit.chips[chip].span, format!("{} listens", circuit.pin_path(chip, pin)))
            .note("a slow or ringing edge comes to each input at another moment, or twice")
            .help("drive it with a buffer for each board or group of inputs");
        let path = net.path.clone();
        findings.push(Finding::new(circuit, super::board_of(net), path, problem));
    }
}
