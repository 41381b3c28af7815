//! Nothing ever defines what is stored: no reset reaches it, and what it stores next depends on itself.
//!
//! # What it finds
//!
//! Chips with stored bits behind connected outputs that stay unknown whatever their inputs do: clear and preset are tied to
//! their idle level or are not there, and what the chip stores next comes from its own outputs. Each chip is tried by
//! itself, with every combination of up to eight inputs, or 256 of more, and pulses on its clocks.
//!
//! # Why it hurts
//!
//! At power-up each flip-flop takes a level by chance. A toggle or a counter goes on from there: the machine starts in
//! another state each time. Some counters find their way by themselves after a while, which this rule cannot know.
//!
//! # Cure
//!
//! Lead a reset to the clear input; a resistor and a capacitor with a Schmitt inverter make one at power-up.
//!
//! # Example
//!
//! ```text
//! U1 74HC74 { 1CLK = clk   1D = /q   /1Q = /q   1Q = q   /1CLR = VCC   /1PRE = VCC }       # halves the clock
//! ```
//!
//! # Source
//!
//! Common practice.

use crate::check::{Finding, Rule, Subject, page};
use crate::circuit::{Chip, ChipKey};
use crate::diagnostic::Diagnostic;
use crate::electrical::drive::inputs_from_rails;
use crate::hazard::cone::{Cone, Goal, Variable};
use crate::logic::Word;
use crate::part::function::{Function, SampledInputs, Scratch};

pub(crate) const RULE: Rule = Rule {
    name: "no-reset",
    summary: "Nothing ever defines what is stored: no reset reaches it, and what it stores next depends on itself.",
    documentation: page!("no_reset.rs"),
    find,
};

/// Combinations of inputs that are tried.
const MOST_TRIES: u64 = 256;

fn find(subject: &Subject<'_>, findings: &mut Vec<Finding>) {
    let circuit = subject.circuit;
    for (key, chip) in circuit.chips.iter().filter(|(_, chip)| chip.fed) {
        let function = &chip.part.function;
        let read = states_read(chip);
        if read == 0 || function.oscillator.is_some() || !function.memories.is_empty() {
            continue;
        }
        let never = read & !definable(subject, key, chip, read);
        if never == 0 {
            continue;
        }
        let states = function.states.iter().enumerate();
        let names: Vec<&str> = states.filter(|(bit, _)| never >> bit & 1 == 1).map(|(_, name)| name.as_str()).collect();
        let message = format!("nothing defines {} of {}", super::list(&names), chip.path);
        let problem = Diagnostic::note_only(RULE.name, message)
            .at(chip.span, "wakes up by chance")
            .note("its clear is idle for good, and what it stores next depends on what it holds")
            .help("lead a reset to its clear or load input");
        findings.push(Finding::new(circuit, chip.board, chip.path.clone(), problem));
    }
}

/// The stored bits that connected outputs show.
fn states_read(chip: &Chip) -> u64 {
    let function = &chip.part.function;
    let outputs = function.outputs.iter().enumerate();
    outputs
        .filter(|(_, pin)| chip.nets[**pin].is_some())
        .fold(0, |mask, (bit, _)| mask | function.reads_of_value(bit).states)
}

/// The stored bits that some levels at the inputs, and an edge of the clocks, make known; it is enough to find those that
/// are asked for.
fn definable(subject: &Subject<'_>, key: ChipKey, chip: &Chip, asked: u64) -> u64 {
    let circuit = subject.circuit;
    let function = &chip.part.function;
    let rails = inputs_from_rails(circuit, chip);
    let own = |net| {
        let cone = Cone::new(circuit, &subject.operating_point, &[Goal::High(net)]);
        let mut variables = cone.variables.iter();
        variables.any(|variable| matches!(variable, Variable::State(chip, _) if *chip == key))
    };
    let free: Vec<usize> = (0..function.inputs.len())
        .filter(|bit| rails.unknown >> bit & 1 == 1)
        .filter(|bit| chip.nets[function.inputs[*bit]].is_some_and(|net| !own(net)))
        .collect();
    let every = 1_u64.checked_shl(free.len() as u32).unwrap_or(u64::MAX);
    let tries = every.min(MOST_TRIES);
    let mut known = 0;
    for at in 0..tries {
        // Fewer than all: levels from the upper bits of a product that mixes them.
        let levels = if every > MOST_TRIES { at.wrapping_mul(0x9E37_79B9_7F4A_7C15).rotate_left(29) } else { at };
        let mut inputs = rails;
        for (place, &bit) in free.iter().enumerate() {
            inputs.unknown &= !(1 << bit);
            inputs.value |= (levels >> (place % 64) & 1) << bit;
        }
        known |= after_pulses(function, inputs, &free);
        if asked & !known == 0 {
            break;
        }
    }
    known
}

/// The stored bits that are known after each free clock went low, high and low again, as often as that makes more of them
/// known: a shift register takes a pulse for each of its stages.
fn after_pulses(function: &Function, inputs: Word, free: &[usize]) -> u64 {
    let clocks = free.iter().fold(0, |mask, bit| mask | 1 << bit & function.clock_inputs());
    let low = Word { value: inputs.value & !clocks, ..inputs };
    let high = Word { value: inputs.value | clocks, ..inputs };
    let mut scratch = Scratch::default();
    let mut held = function.unknown_state();
    let nodes = function.nodes(low, &held, &mut scratch);
    let mut seen = SampledInputs { inputs: low, nodes };
    seen = function.step(seen, inputs, &mut held, &mut scratch);
    for _ in 0..=function.states.len() {
        let unknown = held.state.unknown;
        for level in [low, high, low] {
            seen = function.step(seen, level, &mut held, &mut scratch);
        }
        if held.state.unknown == unknown {
            break;
        }
    }
    function.state_mask() & !held.state.unknown
}
