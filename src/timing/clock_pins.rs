//! Where clocks go into chips: the triggers of their storage, the conditions of their latches, the references of their
//! sheets.

use super::graph::Graph;
use super::shape::bits;
use crate::circuit::ChipKey;
use crate::part::sheet::{CheckKind, Signal};

/// Inputs of a chip that together make a clock of its storage: pins of one trigger, of one latch condition, of one
/// reference of the sheet.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct ClockPin {
    pub chip: ChipKey,
    /// Bits of its input word.
    pub inputs: u64,
}

/// The inputs that open a latch: those that the sheet takes as a reference, or else all of its condition.
pub(super) fn latch_inputs(graph: &Graph<'_>, chip: ChipKey, rule: usize) -> u64 {
    let structure = graph.constants.structure(chip);
    let Some(gated) = structure.gated.get(rule) else {
        return 0;
    };
    let condition = gated.condition.inputs.all();
    let referred = condition & references(graph, chip).into_iter().fold(0, |all, mask| all | mask);
    if referred == 0 { condition } else { referred }
}

/// The inputs behind each reference of the sheet.
fn references(graph: &Graph<'_>, chip: ChipKey) -> Vec<u64> {
    let structure = graph.constants.structure(chip);
    let Some((_, delays)) = graph.delays.of(chip) else {
        return Vec::new();
    };
    let own = delays.requirements().iter().filter_map(|requirement| reference(requirement.kind));
    let mut signals: Vec<Signal> = own.collect();
    if signals.is_empty() {
        // A sheet that asks for nothing leaves it to those of the other families to say what is a clock.
        let sheets = graph.circuit.chips[chip].part.sheets.iter();
        let checks = sheets.flat_map(|sheet| &sheet.blocks).flat_map(|block| &block.checks);
        signals.extend(checks.filter_map(|check| reference(check.kind)));
    }
    let mut masks: Vec<u64> = signals.into_iter().map(|signal| structure.moves(signal).inputs.all()).collect();
    masks.sort_unstable();
    masks.dedup();
    masks
}

/// The signal that a requirement compares with.
fn reference(kind: CheckKind) -> Option<Signal> {
    match kind {
        CheckKind::Setup(reference, _)
        | CheckKind::Hold(reference, _)
        | CheckKind::Recovery(reference, _)
        | CheckKind::Select(reference, _)
        | CheckKind::Stable(reference) => Some(reference),
        CheckKind::Width(_) | CheckKind::Period => None,
    }
}

/// Where clocks go into the chips.
pub(super) fn clock_pins(graph: &Graph<'_>) -> Vec<ClockPin> {
    let mut found = Vec::new();
    for (chip, row) in graph.circuit.chips.iter().filter(|(_, chip)| chip.fed) {
        let structure = graph.constants.structure(chip);
        if structure.clocked.is_empty() && structure.gated.is_empty() {
            continue;
        }
        let mut masks: Vec<u64> = structure.clocked.iter().map(|rule| rule.by.inputs.all()).collect();
        for (at, gated) in structure.gated.iter().enumerate() {
            let data = gated.stores.iter().fold(0, |all, stored| all | stored.data.inputs.all());
            if data != 0 || gated.writes.is_some() {
                masks.push(latch_inputs(graph, chip, at));
            }
        }
        // A reference counts only where it is of something that is stored.
        let stored = masks.iter().fold(0, |all, mask| all | mask);
        let references = references(graph, chip).into_iter();
        masks.extend(references.filter(|mask| mask & stored != 0));
        let connected = |input: &usize| {
            row.nets[row.part.function.inputs[*input]].is_some_and(|net| graph.timing_net_of[net].is_some())
        };
        for mask in &mut masks {
            *mask = bits(*mask).filter(connected).fold(0, |mask, input| mask | 1 << input);
        }
        masks.retain(|&mask| mask != 0);
        masks.sort_unstable();
        masks.dedup();
        found.extend(masks.into_iter().map(|inputs| ClockPin { chip, inputs }));
    }
    found
}

/// The inputs of a chip that a signal of its sheet hangs on.
pub(crate) fn signal_inputs(graph: &Graph<'_>, chip: ChipKey, signal: Signal) -> u64 {
    graph.constants.structure(chip).moves(signal).inputs.all()
}
