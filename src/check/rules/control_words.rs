//! A control word of a microprogram does harm.
//!
//! # What it finds
//!
//! Contents of a ROM that say with `drivers` what makes each source drive a bus, and with `sequence` in which order their
//! words come: words that can be reached and make two sources drive one bus; instructions that do not end by their last
//! step; lines of which no step is ever reached. All values of the other address bits, such as flags, are tried.
//!
//! # Why it hurts
//!
//! Two outputs that drive a bus against each other overload both for a whole step, and what is stored from the bus is
//! unknown. An instruction that does not end begins again when the step counter wraps round. Both look right in every
//! program that does not use the instruction with just these flags.
//!
//! # Cure
//!
//! Assert one source in each word; end each instruction, those without a meaning too (`else: last`).
//!
//! # Example
//!
//! ```text
//! contents control {
//!     address { 0..3 opcode[0..3]  4..5 step[0..1] }
//!     data { 0 /a_out  1 /rom_out  2 /a_load  3 /last }
//!     sequence opcode by step until last
//!     drivers d: a_out, rom_out
//!     when step = 0: rom_out
//!     when opcode = 1: a_out, last        # in step 0 as well
//!     else: last
//! }
//! ```
//!
//! # Source
//!
//! Common practice.

use crate::check::{Finding, Rule, Subject, page};
use crate::contents::AUDIT;
use std::collections::BTreeSet;

pub(crate) const RULE: Rule = Rule {
    name: AUDIT,
    summary: "A control word of a microprogram does harm.",
    documentation: page!("control_words.rs"),
    find,
};

fn find(subject: &Subject<'_>, findings: &mut Vec<Finding>) {
    let circuit = subject.circuit;
    // Chips side by side hold one table: it is reported at the first of them.
    let mut seen = BTreeSet::new();
    for chip in circuit.chips.values() {
        let Some(contents) = &chip.initial_contents else {
            continue;
        };
        if !contents.audit.is_empty() && seen.insert(&contents.name) {
            let finding = |problem| Finding::new(circuit, chip.board, chip.path.clone(), problem);
            findings.extend(contents.audit.iter().cloned().map(finding));
        }
    }
}
