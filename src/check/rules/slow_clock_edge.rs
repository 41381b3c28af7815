//! A slow edge comes to a clock, clear or preset without hysteresis.
//!
//! # What it finds
//!
//! Clock inputs, and inputs that clear, set or open storage, that are no Schmitt inputs, on a net that a capacitor of 1 nF or more slows down, or that only a resistor
//! lifts so slowly that it takes more than 500 ns from 10 % to 90 %.
//!
//! # Why it hurts
//!
//! Near its threshold a clock input amplifies every millivolt of noise to full edges, so that one slow edge clocks
//! several times; a clear ends with different chips at different times. Sheets of HC parts allow 500 ns at 4.5 V, those of AC and ACT parts 8 to 25 ns for each volt.
//!
//! # Cure
//!
//! Put a Schmitt inverter ('14, '132) between, on the same board.
//!
//! # Example
//!
//! ```text
//! R1 resistor 47 kohm { 1 = VCC   2 = step }
//! C1 capacitor 100 nF { 1 = step   2 = GND }
//! U1 74HC161 { CLK = step   ... }
//! ```
//!
//! # Source
//!
//! Motorola DL129, MC74HC245A (500 ns at 4.5 V); TI SCAS452E (ACT245: 8 ns/V).

use super::super::levels::ohms;
use super::slow_edge::time;
use crate::check::{Finding, Rule, Subject, page};
use crate::circuit::NetKey;
use crate::diagnostic::Diagnostic;
use crate::electrical::Capacitances;
use crate::electrical::pull::{pull_to_rail, rise_time};
use crate::quantity::Capacitance;
use crate::quantity::si::Seconds;
use std::collections::BTreeSet;

pub(crate) const RULE: Rule = Rule {
    name: "slow-clock-edge",
    summary: "A slow edge comes to a clock, clear or preset without hysteresis.",
    documentation: page!("slow_clock_edge.rs"),
    find,
};

/// 1 nF.
const LARGE: Capacitance = Capacitance::from_raw(1_000_000);
const SLOWEST: Seconds = Seconds(500e-9);

fn find(subject: &Subject<'_>, findings: &mut Vec<Finding>) {
    let circuit = subject.circuit;
    let capacitances = Capacitances::new(circuit, true);
    let mut reported: BTreeSet<NetKey> = BTreeSet::new();
    for (key, chip) in circuit.chips.iter().filter(|(_, chip)| chip.fed) {
        for &pin in chip.part.function.inputs.iter() {
            let what = if super::is_clock(chip, pin) {
                "clock"
            } else if super::holds_storage(chip, pin) {
                "storage"
            } else {
                continue;
            };
            let sharp = chip.part.pins[pin].schmitt;
            let Some(net) = chip.nets[pin].filter(|_| !sharp) else {
                continue;
            };
            let row = &circuit.nets[net];
            if row.rail.is_some() || reported.contains(&net) {
                continue;
            }
            let load = capacitances.nets[net];
            let operating_point = &subject.operating_point.nets[net];
            let pull = if operating_point.drivers.is_empty() {
                super::all_resistors(circuit, net)
            } else if super::is_open_drain(circuit, operating_point) {
                pull_to_rail(circuit, net).map(|(ohms, _)| ohms)
            } else {
                None
            };
            let path = circuit.pin_path(key, pin);
            let message = if load.capacitors >= LARGE {
                format!("{} on {} makes slow edges for the {what} input {path}", load.capacitors, row.path)
            } else if let Some(resistance) =
                pull.filter(|&resistance| rise_time(resistance, load.total().farads()) > SLOWEST)
            {
                format!(
                    "{} takes {} to move {} for the {what} input {path}",
                    ohms(resistance),
                    time(rise_time(resistance, load.total().farads())),
                    row.path
                )
            } else {
                continue;
            };
            reported.insert(net);
            let problem = Diagnostic::warning(RULE.name, message)
                .at(chip.span, format!("{path} has no hysteresis"))
                .at(row.span, "this net")
                .note("on a slow edge noise moves it several times; HC parts allow 500 ns")
                .help("put a Schmitt inverter between, such as one of a 74HC14");
            findings.push(Finding::new(circuit, super::board_of(row), path, problem));
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::check::rules::bench::places;

    /// An RC reset straight on the clear of a flip-flop; behind two gates it is no clear input that is slow.
    #[test]
    fn a_slow_clear_is_found() {
        let board = |clear: &str| {
            format!(
                "board b {{
                    rail VCC 5 V
                    rail GND
                    feed U1..U2 from VCC GND
                    R1 resistor 10 kohm {{ 1 = VCC  2 = slow }}
                    C1 capacitor 1 uF {{ 1 = slow  2 = GND }}
                    U1 74HC04 {{ 1A = slow  1Y = up  2A = up  2Y = sharp  [3..6]A = GND  [3..6]Y = open }}
                    U2 74HC74 {{ 1CLK = clk  1D = d  /1CLR = {clear}  /1PRE = VCC  1Q = q  /1Q = open
                        2CLK = GND  2D = GND  /2CLR = VCC  /2PRE = VCC  2Q = open  /2Q = open }}
                }}"
            )
        };
        assert_eq!(places("slow-clock-edge", &board("slow")), ["U2./1CLR: warning"]);
        assert!(places("slow-clock-edge", &board("sharp")).is_empty());
    }
}
