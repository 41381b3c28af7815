//! The outputs of a chip together draw more through its supply pins than they stand.
//!
//! # What it finds
//!
//! Chips whose outputs together may give more current at high, or take more at low, than the absolute maximum of the power
//! or the ground pin in the family's sheet: all outputs at that level at once, the strongest part, and the lamps that take
//! the most.
//!
//! # Why it hurts
//!
//! Each output alone is within its limits, but all of their current comes through one pin and one bond wire. It fails, and
//! long before, the ground inside the chip is not the ground of the board any more.
//!
//! # Cure
//!
//! Larger resistors at the lamps (1 kohm gives 3 mA), or lamps on several chips.
//!
//! # Example
//!
//! ```text
//! U1 74HC574 { ... }
//! D[0..7] led red 330 ohm { anode = q[0..7]   cathode = GND }      # 8 times 10 mA of 70 mA
//! ```
//!
//! # Source
//!
//! National MM54HC/MM74HC family data, page 2 (50 mA); Philips 74HC/HCT245 (70 mA for a bus driver).

use super::super::levels::{amps, word};
use crate::check::{Finding, Rule, Subject, page};
use crate::circuit::ChipKey;
use crate::diagnostic::Diagnostic;
use crate::electrical::sheet::supply_pin_limit;
use crate::quantity::si::Amperes;
use std::collections::BTreeMap;

pub(crate) const RULE: Rule = Rule {
    name: "supply-pin-current",
    summary: "The outputs of a chip together draw more through its supply pins than they stand.",
    documentation: page!("supply_pin_current.rs"),
    find,
};

fn find(subject: &Subject<'_>, findings: &mut Vec<Finding>) {
    let circuit = subject.circuit;
    let mut sums: BTreeMap<ChipKey, (Amperes, Amperes)> = BTreeMap::new();
    for ((chip, _), current) in &subject.operating_point.currents.pins {
        let sum = sums.entry(*chip).or_default();
        sum.0 += current.source.1;
        sum.1 += current.sink.1;
    }
    for (key, (source, sink)) in sums {
        let chip = &circuit.chips[key];
        let Some(most) = supply_pin_limit(chip) else {
            continue;
        };
        let (high, drawn) = if source > sink { (true, source) } else { (false, sink) };
        if drawn <= most {
            continue;
        }
        let pin = if high { "power" } else { "ground" };
        let message = format!(
            "with all outputs {} the {pin} pin of {} may have to carry {}, and stands {}",
            word(high),
            chip.path,
            amps(drawn),
            amps(most)
        );
        let problem = Diagnostic::warning(RULE.name, message)
            .at(chip.span, "this chip")
            .note("all of it comes through one pin and one bond wire")
            .help("take larger resistors, or spread the lamps over several chips");
        findings.push(Finding::new(circuit, chip.board, chip.path.clone(), problem));
    }
}
