//! An output drives more inputs than it can.
//!
//! # What it finds
//!
//! Nets whose inputs together take more current, at high or at low, than the sheet of the weakest output gives a level
//! for, and nets whose level the input currents alone spoil.
//!
//! # Why it hurts
//!
//! Each bipolar input takes current: 20 uA at high and 0.4 mA at low for LS, more for the older families. Beyond its
//! rating an output no longer guarantees its level, and the noise margin of everything on the net is eaten up. CMOS
//! inputs take next to none, so that only their capacitance counts.
//!
//! # Cure
//!
//! Put a second gate or a bus driver beside the first and share the inputs among them, or take receivers that need less
//! current.
//!
//! # Example
//!
//! ```text
//! U1 74LS04 { 1A = a   1Y = load }
//! U2..U5 74LS04 { [1..6]A = load   ... }      # 24 inputs of 0.4 mA: 9.6 mA, rated are 8 mA
//! ```
//!
//! # Source
//!
//! TI SDLS025B (LS00: 8 mA and 0.4 mA, 0.4 mA and 20 uA, that is 20 loads); Fairchild DS006494 (7404: 10 loads).

use super::super::levels::{Cause, amps, shortfalls, volts, word};
use crate::check::{Finding, Rule, Subject, page};
use crate::circuit::NetKey;
use crate::diagnostic::Diagnostic;
use crate::electrical::operating_point::{NetOperatingPoint, NetState};
use crate::quantity::si::Amperes;

pub(crate) const RULE: Rule = Rule {
    name: "fan-out",
    summary: "An output drives more inputs than it can.",
    documentation: page!("fan_out.rs"),
    find,
};

fn find(subject: &Subject<'_>, findings: &mut Vec<Finding>) {
    let spoilt: Vec<NetKey> = (shortfalls(&subject.operating_point).iter())
        .filter(|short| short.cause == Cause::Inputs)
        .map(|short| short.net)
        .collect();
    for (key, net) in subject.operating_point.nets.iter() {
        let over = [(true, net.high), (false, net.low)]
            .into_iter()
            .filter_map(|(high, state)| Some((high, state?)))
            .map(|(high, state)| (high, state, taken(net, state, high)))
            .filter(|(_, state, taken)| *taken > state.rated * 1.000_001 || spoilt.contains(&key))
            .max_by(|a, b| (a.2 / a.1.rated).total_cmp(&(b.2 / b.1.rated)));
        if let Some((high, state, taken)) = over {
            findings.push(report(subject, key, net, (high, state, taken)));
        }
    }
}

/// What all inputs on a net take, but for those of the pin that drives.
fn taken(net: &NetOperatingPoint, state: NetState, high: bool) -> Amperes {
    let own = (state.driver.chip, state.driver.pin);
    let inputs = net.loads.iter();
    inputs
        .filter(|load| (load.chip, load.pin) != own)
        .map(|load| if high { load.input.current_high } else { load.input.current_low })
        .sum()
}

fn report(
    subject: &Subject<'_>,
    key: NetKey,
    operating_point: &NetOperatingPoint,
    (high, state, taken): (bool, NetState, Amperes),
) -> Finding {
    let circuit = subject.circuit;
    let net = &circuit.nets[key];
    let chip = &circuit.chips[state.driver.chip];
    let message = format!(
        "{} drives {} inputs, which take {} at {}; its sheet gives a level up to {}",
        super::pin_in_words(circuit, state.driver.chip, state.driver.pin),
        operating_point.loads.len(),
        amps(taken),
        word(high),
        amps(state.rated),
    );
    let worst = if high { state.volts.least } else { state.volts.most };
    let problem = Diagnostic::error(RULE.name, message)
        .at(chip.span, "the output")
        .at(net.span, "the net")
        .note(format!("beyond that current nobody guarantees a level; by a straight line it would be {}", volts(worst)))
        .help("share the inputs among several outputs, or take a bus driver");
    Finding::new(circuit, super::board_of(net), net.path.clone(), problem)
}
