//! An output does not reach the level that an input of another family needs.
//!
//! # What it finds
//!
//! Inputs whose least high or most low voltage the weakest output on the net does not guarantee, even without a load,
//! and that no resistor to a rail helps there. Both figures stand in the message; they are those of the families'
//! sheets at the supply of each chip. Where one of them is a rule of ours because no sheet gives it, such as the levels
//! of memories, the finding is a warning.
//!
//! # Why it hurts
//!
//! Most samples give more than their sheet guarantees, so the board works on the bench, then fails when it gets warm or
//! with the next batch of chips. LS outputs guarantee 2.7 V at high; HC inputs need 3.5 V at a supply of 5 V.
//!
//! # Cure
//!
//! Take a receiver with TTL input levels (HCT, ACT or AHCT instead of HC, AC or AHC), or lift the net with a resistor of
//! 1 to 10 kohm to the supply.
//!
//! # Example
//!
//! ```text
//! U1 74LS04 { 1A = a   1Y = ready }
//! U2 74HC04 { 1A = ready   ... }          # 2.7 V, where 3.5 V are needed
//! ```
//!
//! # Source
//!
//! TI SDLS025B (LS00: 2.7 V); TI SCLS131D (HC245: 3.15 V at 4.5 V, 4.2 V at 6 V).

use super::super::levels::{Cause, shortfalls, volts, word};
use crate::check::{Finding, Rule, Subject, page};
use crate::circuit::Chip;
use crate::diagnostic::Diagnostic;

pub(crate) const RULE: Rule = Rule {
    name: "level-mismatch",
    summary: "An output does not reach the level that an input of another family needs.",
    documentation: page!("level_mismatch.rs"),
    find,
};

fn find(subject: &Subject<'_>, findings: &mut Vec<Finding>) {
    let circuit = subject.circuit;
    let mut reported = None;
    for short in shortfalls(&subject.operating_point) {
        if short.cause != Cause::Family || reported == Some(short.net) {
            continue;
        }
        reported = Some(short.net);
        let net = &circuit.nets[short.net];
        let (driver, load) = (short.state.driver, short.load);
        let most = if short.high { "at least" } else { "at most" };
        let message = format!(
            "{} gives {most} {} at {}, but {} needs {most} {}",
            super::pin_in_words(circuit, driver.chip, driver.pin),
            volts(short.given),
            word(short.high),
            super::pin_in_words(circuit, load.chip, load.pin),
            volts(short.needed),
        );
        let assumed = short.state.assumed || load.input.assumed;
        let new = if assumed { Diagnostic::warning } else { Diagnostic::error };
        let (from, to) = (&circuit.chips[driver.chip], &circuit.chips[load.chip]);
        let mut problem = new(RULE.name, message)
            .at(to.span, format!("{} listens", at_supply(to, from)))
            .at(from.span, format!("{} drives", at_supply(from, to)))
            .at(net.span, "on this net")
            .note(format!(
                "what {} guarantees is not what {} is specified for: it may work with some samples, or when it is cool",
                at_supply(from, to),
                at_supply(to, from)
            ))
            .help(match (short.high, from.supply < to.supply) {
                (true, true) => {
                    "take a receiver with TTL input levels; a resistor to its supply would feed the lower rail through \
                     the output, and lift nothing"
                }
                (true, false) => {
                    "take a receiver with TTL input levels, or a resistor of 1 kohm to 10 kohm from the net to the supply"
                }
                (false, _) => "take a stronger driver",
            });
        if assumed {
            problem = problem.note("no sheet gives the levels of this memory or oscillator: TTL levels are assumed");
        }
        let path = net.path.clone();
        findings.push(Finding::new(circuit, super::board_of(net), path, problem));
    }
}

/// The number of a chip, with its supply where another chip has another one.
fn at_supply(chip: &Chip, other: &Chip) -> String {
    if chip.supply == other.supply { chip.number.clone() } else { format!("a {} at {}", chip.number, chip.supply) }
}
