//! Inputs of a section that nobody uses are left floating.
//!
//! # What it finds
//!
//! Inputs that no net leads to, and on which no connected output depends: the spare gates of a package, the second
//! half of a flip-flop pair, the unused end of a transceiver. Inputs of one gate make one finding.
//!
//! An input that the design itself calls open (`4A = open`) is left alone.
//!
//! # Why it hurts
//!
//! Nobody reads the output, but the chip is fed: a floating CMOS input drifts to its threshold, where the input stage
//! conducts from supply to ground, and the spare gate may oscillate and disturb its neighbours in the same package.
//! TTL inputs float high and pick up noise.
//!
//! # Cure
//!
//! Tie every unused input to ground or to the supply, and leave the outputs open. Inputs of plain 74 and 74S parts
//! stand no more than 5.5 V: tie these high through a resistor, or low.
//!
//! # Example
//!
//! ```text
//! U1 74HC00 {
//!     [1,2,3]A = a[1..3]   [1,2,3]B = b[1..3]   [1,2,3]Y = y[1..3]     # the fourth gate floats
//! }
//! ```
//!
//! # Source
//!
//! TI SCBA004 and ST AN2149 (floating inputs); TI SDYA009C (unused inputs of bipolar parts).

use crate::check::{Finding, Rule, Subject, page};
use crate::diagnostic::Diagnostic;
use crate::part::PinIndex;

pub(crate) const RULE: Rule = Rule {
    name: "unused-gate-input",
    summary: "Inputs of a section that nobody uses are left floating.",
    documentation: page!("unused_gate_input.rs"),
    find,
};

fn find(subject: &Subject<'_>, findings: &mut Vec<Finding>) {
    let circuit = subject.circuit;
    for (key, chip) in circuit.chips.iter() {
        let used = super::connected_outputs(chip);
        // Inputs that share an output make one section.
        let mut sections: Vec<(u64, Vec<PinIndex>)> = Vec::new();
        for (input, pin) in super::open_inputs(circuit, chip) {
            let behind = super::outputs_behind(&chip.part, input);
            if behind & used != 0 {
                continue;
            }
            match sections.iter_mut().find(|(outputs, _)| outputs & behind != 0) {
                Some((outputs, pins)) => {
                    *outputs |= behind;
                    pins.push(pin);
                }
                None => sections.push((behind, vec![pin])),
            }
        }
        for (_, mut pins) in sections {
            pins.sort_unstable();
            let names: Vec<&str> = (pins.iter().map(|pin| chip.part.pins[*pin].name.as_str())).collect();
            let names = super::list(&names);
            let message = match pins.len() {
                1 => format!("the unused input {names} of {} floats", chip.path),
                _ => format!("the unused inputs {names} of {} float", chip.path),
            };
            let problem = Diagnostic::warning(RULE.name, message)
                .at(chip.span, "no connected output depends on this section")
                .note(super::why_open(chip))
                .help(format!("tie {names} to ground or to the supply, and leave the outputs open"));
            findings.push(Finding::new(circuit, chip.board, circuit.pin_path(key, pins[0]), problem));
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::check::rules::bench::{only, places};

    fn board(chip: &str) -> String {
        format!("board b {{ rail VCC 5 V  rail GND  feed U1 from VCC GND  {chip} }}")
    }

    fn found(chip: &str) -> Vec<String> {
        places("unused-gate-input", &board(chip))
    }

    const THREE: &str = "[1,2,3]A = a  [1,2,3]B = b  1Y = y1  2Y = y2  3Y = y3";

    #[test]
    fn a_spare_gate_is_one_finding() {
        let finding = only("unused-gate-input", &board(&format!("U1 74HC00 {{ {THREE} }}")));
        assert_eq!(finding.place, "U1.4A");
        assert_eq!(finding.diagnostic.message, "the unused inputs 4A and 4B of U1 float");
    }

    #[test]
    fn a_spare_gate_that_is_tied_or_open_on_purpose_is_none() {
        assert!(found(&format!("U1 74HC00 {{ {THREE}  4A = GND  4B = GND }}")).is_empty());
        assert!(found(&format!("U1 74HC00 {{ {THREE}  4A = open  4B = open }}")).is_empty());
        assert_eq!(found(&format!("U1 74HC00 {{ {THREE}  4A = GND }}")), ["U1.4B: warning"]);
    }

    #[test]
    fn a_spare_package_has_one_finding_for_each_gate() {
        assert_eq!(found("U1 74HC00 { }").len(), 4);
    }

    #[test]
    fn half_a_flip_flop_pair_is_one_section_with_its_data() {
        let half = "/1CLR = VCC  /1PRE = VCC  1CLK = c  1D = d  1Q = q";
        let finding = only("unused-gate-input", &board(&format!("U1 74HC74 {{ {half} }}")));
        assert_eq!(finding.diagnostic.message, "the unused inputs /2PRE, 2CLK, 2D and /2CLR of U1 float");
    }

    #[test]
    fn an_input_of_a_gate_in_use_belongs_to_the_other_rule() {
        assert_eq!(found("U1 74HC04 { 1Y = y  [2,3,4,5,6]A = GND }"), Vec::<String>::new());
    }
}
