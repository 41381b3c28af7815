//! An input of a chip that is in use is connected to nothing.
//!
//! # What it finds
//!
//! Inputs (and pins that are input and output) that no net leads to, while an output that depends on them is
//! connected. Where nothing that depends on the input is connected, `unused-gate-input` speaks of it instead.
//!
//! An input that the design itself calls open (`/MR = open`) is left alone where it is bipolar: it reads high, and then it
//! is a decision, not an oversight. A CMOS input has no level of its own, whatever the design says: a warning.
//!
//! # Why it hurts
//!
//! An open CMOS input has no level of its own. It drifts with leakage, with the neighbour pin, with a hand near the
//! board, and the outputs behind it follow. Near the threshold both transistors of the input stage conduct: the chip
//! gets warm and may oscillate. An open TTL input mostly reads high, and picks up noise.
//!
//! # Cure
//!
//! Connect it, or give it the level at which it does nothing: enables and clears that are not needed go to the rail
//! that makes them inactive, directly or through about 10 kohm.
//!
//! # Example
//!
//! ```text
//! U1 74HC574 { D[1..8] = m[0..7]  Q[1..8] = r[0..7]  CLK = load }     # /OE was forgotten
//! ```
//!
//! # Source
//!
//! TI SCBA004 and ST AN2149 (floating inputs: supply current, oscillation); TI SCHS402 (10 kohm is the usual resistor
//! for an input that is not always driven).

use crate::check::{Finding, Rule, Subject, page};
use crate::circuit::Chip;
use crate::diagnostic::Diagnostic;
use crate::part::{PinIndex, PinKind};

pub(crate) const RULE: Rule = Rule {
    name: "input-open",
    summary: "An input of a chip that is in use is connected to nothing.",
    documentation: page!("input_open.rs"),
    find,
};

fn find(subject: &Subject<'_>, findings: &mut Vec<Finding>) {
    let circuit = subject.circuit;
    for (key, chip) in circuit.chips.iter() {
        let used = super::connected_outputs(chip);
        for (input, pin) in called_open(chip) {
            if super::outputs_behind(&chip.part, input) & used == 0 {
                continue;
            }
            let name = &chip.part.pins[pin].name;
            let message = format!(
                "the input {} is left open, and a CMOS input that is open has no level",
                super::pin_in_words(circuit, key, pin)
            );
            let problem = Diagnostic::warning(RULE.name, message)
                .at(chip.span, format!("{name} is open here"))
                .note(super::why_open(chip))
                .help(format!("tie {name} to the rail at which it does nothing"));
            let path = circuit.pin_path(key, pin);
            findings.push(Finding::new(circuit, chip.board, path, problem));
        }
        for (input, pin) in super::open_inputs(circuit, chip) {
            let behind = super::outputs_behind(&chip.part, input) & used;
            if behind == 0 {
                continue;
            }
            let outputs: Vec<&str> = (chip.part.function.outputs.iter().enumerate())
                .filter(|(bit, _)| behind >> bit & 1 == 1)
                .map(|(_, pin)| chip.part.pins[*pin].name.as_str())
                .collect();
            let depend = if outputs.len() == 1 { "depends" } else { "depend" };
            let message = format!(
                "the input {} is connected to nothing; {} {depend} on it",
                super::pin_in_words(circuit, key, pin),
                super::list(&outputs)
            );
            let name = &chip.part.pins[pin].name;
            let problem = Diagnostic::error(RULE.name, message)
                .at(chip.span, format!("{name} is not mentioned here"))
                .note(super::why_open(chip))
                .help(format!("connect {name}, or tie it to the rail at which it does nothing"));
            findings.push(Finding::new(circuit, chip.board, circuit.pin_path(key, pin), problem));
        }
    }
}

/// CMOS inputs, with their bits, that the design calls open. A pin that is an output as well may be one all the time.
fn called_open(chip: &Chip) -> impl Iterator<Item = (usize, PinIndex)> + '_ {
    let inputs = chip.part.function.inputs.iter().copied().enumerate();
    let cmos = chip.fed && !super::is_bipolar(chip);
    inputs.filter(move |(_, pin)| cmos && chip.open.contains(pin) && chip.part.pins[*pin].kind == PinKind::In)
}

#[cfg(test)]
mod tests {
    use crate::check::rules::bench::{only, places};

    fn found(chip: &str) -> Vec<String> {
        places("input-open", &board(chip))
    }

    fn board(chip: &str) -> String {
        format!("board b {{ rail VCC 5 V  rail GND  feed U1 from VCC GND  {chip} }}")
    }

    #[test]
    fn an_open_enable_is_found_with_the_outputs_behind_it() {
        let chip = "U1 74HC574 { D[1..8] = m[0..7]  Q[1..2] = r[0..1]  CLK = load }";
        let finding = only("input-open", &board(chip));
        assert_eq!(finding.place, "U1./OE");
        assert_eq!(
            finding.diagnostic.message,
            "the input U1./OE (pin 1) is connected to nothing; Q1 and Q2 depend on it"
        );
        assert!(finding.diagnostic.notes[0].contains("CMOS"));
    }

    #[test]
    fn only_the_gate_in_use_counts() {
        assert_eq!(found("U1 74HC00 { 1A = x  1Y = y }"), ["U1.1B: error"]);
        assert!(found("U1 74HC00 { 1A = x  1B = z  1Y = y }").is_empty());
    }

    #[test]
    fn data_that_waits_for_a_clock_belongs_to_the_outputs_of_that_clock() {
        let half = "/1CLR = VCC  /1PRE = VCC  1CLK = c  1Q = q";
        assert_eq!(found(&format!("U1 74HC74 {{ {half} }}")), ["U1.1D: error"]);
        assert!(found(&format!("U1 74HC74 {{ {half}  1D = d }}")).is_empty());
    }

    /// TI SCBA004: a floating CMOS input; TI SDYA009C: an open bipolar input reads high.
    #[test]
    fn an_input_that_is_open_on_purpose_reads_high_only_where_it_is_bipolar() {
        assert!(found("U1 74LS04 { 1A = open  1Y = y }").is_empty());
        assert_eq!(found("U1 74HC00 { 1A = x  1B = open  1Y = y }"), ["U1.1B: warning"]);
        let spare = "U1 74HC00 { 1A = x  1B = x  1Y = y  [2..4]A = open  [2..4]B = open }";
        assert!(found(spare).is_empty(), "nobody reads their outputs");
        let port = "U1 74HC245 { DIR = VCC  /OE = GND  A[1..8] = a[1..8]  B[1..7] = b[1..7]  B8 = open }";
        assert!(found(port).is_empty(), "an output all the time");
    }

    #[test]
    fn a_port_that_is_input_and_output_counts() {
        let chip = |way: &str| {
            let ports = "/OE = GND  A[1..8] = a[1..8]  B[1..7] = b[1..7]";
            found(&format!("U1 74HC245 {{ DIR = {way}  {ports} }}"))
        };
        assert_eq!(chip("way"), ["U1.B8: error"]);
        // From A to B: B8 is an output (TI SCLS131D, function table).
        assert!(chip("VCC").is_empty());
    }

    #[test]
    fn the_reason_fits_the_family() {
        let finding = only("input-open", &board("U1 74LS04 { 1Y = y }"));
        assert!(finding.diagnostic.notes[0].contains("bipolar"));
    }
}
