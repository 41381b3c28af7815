//! Two outputs drive one net all the time.
//!
//! # What it finds
//!
//! Nets with two or more outputs that always drive, on one board or on several that cables join: push-pull outputs,
//! and three-state outputs whose enable is tied to the rail at which they drive. Outputs that let go at times are not
//! judged here; whether they meet is a matter of when, and a run tells.
//!
//! Gates of one package that always give the same level may be joined: that is how a stronger output is made. They
//! are compared for every combination of their inputs.
//!
//! The finding tells the current that flows: from the weakest parts that the sheets allow to the short-circuit current,
//! where they give one.
//!
//! # Why it hurts
//!
//! Where one output pulls up and the other down, tens of milliamperes flow from the supply through both to ground.
//! The level lies somewhere between high and low, the chips get hot, and the weaker one dies early. No maker gives a
//! current at which this would be allowed.
//!
//! # Cure
//!
//! Leave one driver on the net. Where both are needed, use three-state outputs with enables that exclude one another,
//! a multiplexer, or open-drain outputs with a pull-up.
//!
//! # Example
//!
//! ```text
//! U1 74HC04 { 1A = a   1Y = ready }
//! U2 74HC04 { 1A = b   1Y = ready }
//! ```
//!
//! # Source
//!
//! Fairchild DS006494 (7404: one output may be shorted at a time); Philips 9397 750 14502 (74HC245: 35 mA for each
//! output is the absolute maximum).

use crate::check::{Finding, Rule, Subject, page};
use crate::circuit::{Chip, ChipKey, Circuit, NetKey};
use crate::diagnostic::Diagnostic;
use crate::electrical::Sheets;
use crate::key::KeyVec;
use crate::logic::Word;
use crate::part::function::{SampledInputs, Scratch};

pub(crate) const RULE: Rule = Rule {
    name: "outputs-fight",
    summary: "Two outputs drive one net all the time.",
    documentation: page!("outputs_fight.rs"),
    find,
};

/// Gates with more inputs than this are not compared: each input doubles the work.
const MOST_INPUTS: usize = 10;

fn find(subject: &Subject<'_>, findings: &mut Vec<Finding>) {
    let circuit = subject.circuit;
    let sheets = Sheets::new(circuit);
    let mut drivers: KeyVec<NetKey, Vec<(ChipKey, usize)>> = KeyVec::filled(circuit.nets.len(), Vec::new());
    for (key, chip) in circuit.chips.iter() {
        let off = super::disabled_outputs(circuit, chip);
        for (bit, &pin) in chip.part.function.outputs.iter().enumerate() {
            let always = (off.value | off.unknown) >> bit & 1 == 0;
            if let Some(net) = chip.nets[pin].filter(|_| always) {
                drivers[net].push((key, bit));
            }
        }
    }
    for (key, net) in circuit.nets.iter().filter(|(_, net)| net.rail.is_none()) {
        let Some((first, others)) = drivers[key].split_first() else {
            continue;
        };
        let Some(other) = others.iter().find(|other| !agree(circuit, *first, **other)) else {
            continue;
        };
        let pin = |(chip, bit): (ChipKey, usize)| circuit.chips[chip].part.function.outputs[bit];
        let words: Vec<String> =
            (drivers[key].iter()).map(|&driver| super::pin_in_words(circuit, driver.0, pin(driver))).collect();
        let message = format!("{} all drive {} at all times", super::list(&words), net.path);
        let message = if words.len() == 2 { message.replacen(" all drive", " both drive", 1) } else { message };
        let name = |driver: (ChipKey, usize)| format!("{} drives", circuit.pin_path(driver.0, pin(driver)));
        let flows = super::what_flows(circuit, &sheets, (first.0, pin(*first)), (other.0, pin(*other)));
        let problem = Diagnostic::error(RULE.name, message)
            .at(circuit.chips[other.0].span, name(*other))
            .at(circuit.chips[first.0].span, name(*first))
            .note(flows.unwrap_or_else(|| {
                "when one is high and the other low, tens of milliamperes flow through both".to_owned()
            }))
            .note("the level is neither high nor low then, and the chips get hot")
            .help("leave one driver on the net, or use three-state or open-drain outputs");
        findings.push(Finding::new(circuit, super::board_of(net), net.path.clone(), problem));
    }
}

/// True when two outputs of one chip want the same level for every combination of levels on its input nets.
fn agree(circuit: &Circuit, first: (ChipKey, usize), second: (ChipKey, usize)) -> bool {
    let chip = &circuit.chips[first.0];
    let function = &chip.part.function;
    if first.0 != second.0 || !function.is_combinational() {
        return false;
    }
    let fixed = super::inputs_from_rails(circuit, chip);
    let asked = (function.arcs[first.1] | function.arcs[second.1]) & fixed.unknown;
    let Some(nets) = nets_of(chip, asked) else {
        return false;
    };
    let mut scratch = Scratch::default();
    let held = function.unknown_state();
    (0..1u64 << nets.len()).all(|levels| {
        let mut inputs = fixed;
        for (at, (_, bits)) in nets.iter().enumerate() {
            inputs.unknown &= !bits;
            inputs.value |= if levels >> at & 1 == 1 { *bits } else { 0 };
        }
        let nodes = function.nodes(inputs, &held, &mut scratch);
        let value = function.drive(SampledInputs { inputs, nodes }, &held, &mut scratch).value;
        let level = |bit: usize| value.slice(bit as u32, 1);
        level(first.1) == level(second.1) && level(first.1) != Word::all_unknown(1)
    })
}

/// The nets of some inputs, each with the inputs on it; `None` when an input is open or there are too many.
fn nets_of(chip: &Chip, asked: u64) -> Option<Vec<(NetKey, u64)>> {
    let mut nets: Vec<(NetKey, u64)> = Vec::new();
    for (bit, &pin) in chip.part.function.inputs.iter().enumerate() {
        if asked >> bit & 1 == 0 {
            continue;
        }
        let net = chip.nets[pin]?;
        match nets.iter_mut().find(|(other, _)| *other == net) {
            Some((_, bits)) => *bits |= 1 << bit,
            None => nets.push((net, 1 << bit)),
        }
    }
    (nets.len() <= MOST_INPUTS).then_some(nets)
}

#[cfg(test)]
mod tests {
    use crate::check::rules::bench::{only, places};

    fn found(lines: &str) -> Vec<String> {
        places("outputs-fight", &format!("board b {{ rail VCC 5 V  rail GND  {lines} }}"))
    }

    #[test]
    fn two_push_pull_outputs_are_found() {
        let text = "board b { U1 74HC04 { 1A = a  1Y = x }  U2 74HC00 { 1A = a  1B = b  1Y = x } }";
        let finding = only("outputs-fight", text);
        assert_eq!(finding.place, "x");
        assert_eq!(finding.diagnostic.message, "U1.1Y (pin 2) and U2.1Y (pin 3) both drive x at all times");
    }

    #[test]
    fn outputs_that_can_let_go_are_not_judged() {
        assert!(found("U1..U2 74HC574 { Q1 = x  /OE = e }").is_empty());
        assert!(found("U1..U2 74HC05 { 1A = a  1Y = x }").is_empty());
        assert!(found("U1 74HC574 { Q1 = x  /OE = VCC }  U2 74HC04 { 1Y = x }").is_empty());
    }

    #[test]
    fn a_three_state_output_that_is_enabled_for_good_fights() {
        assert_eq!(found("U1 74HC574 { Q1 = x  /OE = GND }  U2 74HC04 { 1Y = x }"), ["x: error"]);
    }

    #[test]
    fn gates_of_one_package_with_the_same_inputs_may_be_joined() {
        assert!(found("U1 74HC04 { [1,2]A = a  [1,2]Y = x }").is_empty());
        assert!(found("U1 74HC00 { 1A = a  1B = b  2A = b  2B = a  1Y = x  2Y = x }").is_empty());
        assert_eq!(found("U1 74HC04 { 1A = a  2A = b  1Y = x  2Y = x }"), ["x: error"]);
        assert_eq!(found("U1 74HC00 { 1A = a  1B = b  2A = a  2B = VCC  1Y = x  2Y = x }"), ["x: error"]);
        assert_eq!(found("U1..U2 74HC04 { 1A = a  1Y = x }"), ["x: error"]);
        assert_eq!(found("U1 74HC04 { 1Y = x  2Y = x }"), ["x: error"]);
    }

    #[test]
    fn outputs_of_two_boards_meet_over_a_cable() {
        let text = "board b { connector J header-1x1 { 1 x }  U1 74HC04 { 1A = a  1Y = x } }
                    assembly two { A, B: b  cable W1 ribbon 1 m { A.J, B.J } }";
        let finding = only("outputs-fight", text);
        assert_eq!(finding.place, "A.x");
        assert_eq!(finding.diagnostic.message, "A.U1.1Y (pin 2) and B.U1.1Y (pin 2) both drive A.x at all times");
    }
}
