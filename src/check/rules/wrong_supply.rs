//! A chip stands at a supply voltage that it is not made for.
//!
//! # What it finds
//!
//! Chips whose supply is outside the range of their family, and memories and other parts with grades whose supply is more
//! than a tenth away from the voltages of their sheet. A supply far from all figures belongs to `chip-not-fed`.
//!
//! # Why it hurts
//!
//! Too much destroys the chip; TTL stands 7 V, CMOS often less. With too little none of its figures hold, and most
//! families stop working at all.
//!
//! # Cure
//!
//! Feed the chip from the rail that it needs, or take a family that works at the voltage that is there: HC works from 2 V
//! to 6 V, AHC from 2 V to 5.5 V, TTL, LS and HCT at 5 V only.
//!
//! # Example
//!
//! ```text
//! rail V7 7 V
//! feed U1 from V7 GND
//! U1 74HC04 { ... }                # 2 V to 6 V
//! ```
//!
//! # Source
//!
//! The sheet of each family; for parts with grades the supply tolerance of 10 % is common practice.

use crate::check::{Finding, Rule, Subject, page};
use crate::circuit::Chip;
use crate::diagnostic::Diagnostic;
use crate::quantity::Voltage;

pub(crate) const RULE: Rule = Rule {
    name: "wrong-supply",
    summary: "A chip stands at a supply voltage that it is not made for.",
    documentation: page!("wrong_supply.rs"),
    find,
};

fn find(subject: &Subject<'_>, findings: &mut Vec<Finding>) {
    let circuit = subject.circuit;
    for chip in circuit.chips.values().filter(|chip| chip.fed) {
        let Some((least, most)) = range(chip) else {
            continue;
        };
        let reported = super::chip_not_fed::far_from_figures(chip).is_some();
        if (least..=most).contains(&chip.supply) || reported {
            continue;
        }
        let message =
            format!("{} ({}) is fed with {}, but it needs {least} to {most}", chip.path, chip.number, chip.supply);
        let why = if chip.supply > most {
            "more than a part stands destroys it"
        } else {
            "with less than that it may not work, and no figure of its sheet holds"
        };
        let problem = Diagnostic::error(RULE.name, message)
            .at(chip.span, "this chip")
            .note(why)
            .help("feed it from another rail, or take a family that is made for this voltage");
        findings.push(Finding::new(circuit, chip.board, chip.path.clone(), problem));
    }
}

/// The supply that a chip is made for.
fn range(chip: &Chip) -> Option<(Voltage, Voltage)> {
    if let Some(family) = &chip.electrical {
        return family.supply;
    }
    let sheet = &chip.part.sheets[chip.sheet?];
    let voltages = sheet.blocks.iter().map(|block| block.voltage);
    let least = voltages.clone().min().filter(|_| sheet.grade)?;
    let most = voltages.max()?;
    Some((Voltage::from_raw(least.raw() / 10 * 9), Voltage::from_raw(most.raw() / 10 * 11)))
}
