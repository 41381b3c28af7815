//! The gates in front of an asynchronous clear, preset or latch can make a short pulse.
//!
//! # What it finds
//!
//! Inputs that set or clear stored bits at once, without a clock, behind gates that can make a short pulse in one of the
//! ways that `gated-clock` tells.
//!
//! # Why it hurts
//!
//! A clear of a few nanoseconds clears some flip-flops, and not their neighbours. A counter that its own outputs clear is
//! the common case: the pulse ends as soon as the fastest bit is cleared, and on the way from 0111 to 1000 the decoder
//! may see values that are not counted at all.
//!
//! # Cure
//!
//! Take a counter with a synchronous clear or load ('163 instead of '161), or bring the clear from a flip-flop.
//!
//! # Example
//!
//! ```text
//! U1 74HC161 { Q[A..D] = q[0..3]   /CLR = /ten   ... }
//! U2 74HC00 { 1A = q1   1B = q3   1Y = /ten   ... }        # 10 for a moment, then 0; but also a spike from 7 to 8
//! ```
//!
//! # Source
//!
//! Common practice.

use super::gated_clock::look;
use crate::check::{Finding, Rule, Subject, page};
use crate::circuit::Chip;

pub(crate) const RULE: Rule = Rule {
    name: "clear-hazard",
    summary: "The gates in front of an asynchronous clear, preset or latch can make a short pulse.",
    documentation: page!("clear_hazard.rs"),
    find,
};

/// The inputs that this rule looks at.
pub(super) fn inputs(chip: &Chip) -> u64 {
    let function = &chip.part.function;
    function.level_inputs() & !function.clock_inputs() & !function.write_inputs()
}

fn find(subject: &Subject<'_>, findings: &mut Vec<Finding>) {
    let why = "a pulse of a few nanoseconds clears some flip-flops and leaves others";
    look(subject, RULE.name, inputs, why, findings);
}
