//! An output has to give or take more current than it stands.
//!
//! # What it finds
//!
//! Outputs through which LEDs, resistors and inputs may draw more than the absolute maximum of the family's sheet, with
//! the strongest part and the lamps that take the most; an error when the weakest part does so as well. For families
//! whose sheet gives no absolute maximum: outputs that take more at low than their sheet gives a level for.
//!
//! The pull-up of an open-drain net that an input listens to belongs to `pull-up-range`.
//!
//! # Why it hurts
//!
//! Beyond its absolute maximum an output is not only out of its level: it ages, and its bond wire may fuse.
//!
//! # Cure
//!
//! Larger resistors, or a transistor or a driver chip for what needs the current.
//!
//! # Example
//!
//! ```text
//! U1 74HC04 { 1A = a   1Y = run }
//! D1..D3 led red 330 ohm { anode = run   cathode = GND }       # 31 mA of 25 mA
//! ```
//!
//! # Source
//!
//! National MM54HC/MM74HC family data, page 2 (25 mA); Philips 74HC/HCT245 (35 mA for a bus driver).

use super::super::levels::{amps, links_on, word};
use crate::check::{Finding, Rule, Subject, page};
use crate::diagnostic::Diagnostic;
use crate::electrical::Sheets;
use crate::electrical::pull::pull_to_rail;
use crate::quantity::si::Amperes;

pub(crate) const RULE: Rule = Rule {
    name: "output-current",
    summary: "An output has to give or take more current than it stands.",
    documentation: page!("output_current.rs"),
    find,
};

fn find(subject: &Subject<'_>, findings: &mut Vec<Finding>) {
    let circuit = subject.circuit;
    let sheets = Sheets::new(circuit);
    for (&(key, pin), current) in &subject.operating_point.currents.pins {
        let chip = &circuit.chips[key];
        let (Some(net), Some(output)) = (chip.nets[pin], sheets.output(circuit, key, pin)) else {
            continue;
        };
        let operating_point = &subject.operating_point.nets[net];
        if output.assumed
            || super::is_open_drain(circuit, operating_point)
                && pull_to_rail(circuit, net).is_some()
                && !operating_point.loads.is_empty()
        {
            continue;
        }
        let links = links_on(circuit, net);
        let (high, weak, strong) = if current.source.1 > current.sink.1 {
            (true, current.source.0, current.source.1)
        } else {
            (false, current.sink.0, current.sink.1)
        };
        let rated = || output.low.as_ref().map(|side| side.rated());
        let (drawn, most, certain) = match output.limit {
            Some(limit) => (strong, limit, weak > limit),
            None if links.is_empty() => continue,
            None => (current.sink.0, rated().unwrap_or(Amperes::MAX), false),
        };
        if drawn <= most {
            continue;
        }
        let level = word(high && output.limit.is_some());
        let message = format!(
            "{} may have to carry {} at {level}, and stands {}",
            super::pin_in_words(circuit, key, pin),
            amps(drawn),
            amps(most)
        );
        let new = if certain { Diagnostic::error } else { Diagnostic::warning };
        let why = if output.limit.is_some() {
            "beyond its absolute maximum an output ages, and its bond wire may fuse"
        } else {
            "beyond that current its sheet gives no level"
        };
        let problem = new(RULE.name, message)
            .at(chip.span, "this chip")
            .note(format!("{} {} it", super::list(&links), if links.len() == 1 { "draws" } else { "draw" }))
            .note(why)
            .help("take larger resistors, or a driver for what needs the current");
        findings.push(Finding::new(circuit, chip.board, circuit.pin_path(key, pin), problem));
    }
}
