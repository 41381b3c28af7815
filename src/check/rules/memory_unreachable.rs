//! A part of a memory cannot be reached.
//!
//! # What it finds
//!
//! Memories with address pins on a rail, or several address pins on one net: the message says how many words are left.
//!
//! # Why it hurts
//!
//! It does not, when it is meant. When it is not, the program wraps round or reads the blank half of the chip; an image
//! that was burnt for the whole chip has to lie where the tied pins lead.
//!
//! # Cure
//!
//! Nothing, or lead the address pins to switches or to a register, so that the rest can be used as banks.
//!
//! # Example
//!
//! ```text
//! U1 28C256-15 { A[0..7] = a[0..7]   A[8..14] = GND   ... }          # 256 of 32768 words
//! ```
//!
//! # Source
//!
//! Common practice.

use crate::check::{Finding, Rule, Subject, page};
use crate::circuit::NetKey;
use crate::diagnostic::Diagnostic;

pub(crate) const RULE: Rule = Rule {
    name: "memory-unreachable",
    summary: "A part of a memory cannot be reached.",
    documentation: page!("memory_unreachable.rs"),
    find,
};

fn find(subject: &Subject<'_>, findings: &mut Vec<Finding>) {
    let circuit = subject.circuit;
    for chip in circuit.chips.values().filter(|chip| chip.fed) {
        let Some(memory) = chip.part.function.memories.first() else {
            continue;
        };
        let is_address = |name: &str| {
            let digits = name.strip_prefix('A').unwrap_or("");
            !digits.is_empty() && digits.bytes().all(|byte| byte.is_ascii_digit())
        };
        let mut nets: Vec<NetKey> = Vec::new();
        let mut tied: Vec<&str> = Vec::new();
        for &pin in &chip.part.function.inputs {
            let name = chip.part.pins[pin].name.as_str();
            let Some(net) = chip.nets[pin].filter(|_| is_address(name)) else {
                continue;
            };
            if circuit.nets[net].rail.is_some() || nets.contains(&net) {
                tied.push(name);
            }
            nets.push(net);
        }
        if tied.is_empty() {
            continue;
        }
        let words = memory.words >> tied.len().min(63);
        let message = format!("{} words of {} can be reached, of {}", words.max(1), chip.path, memory.words);
        let problem = Diagnostic::note_only(RULE.name, message)
            .at(chip.span, format!("{} cannot move", super::list(&tied)))
            .note("an image has to lie where these pins lead")
            .help("if it is meant, say so: `accept memory-unreachable at ... \"why\"`");
        findings.push(Finding::new(circuit, chip.board, chip.path.clone(), problem));
    }
}
