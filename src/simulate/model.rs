//! What all chips of one kind share while they run: requirements, and where each delay of such a chip lies.

use super::checks::{CheckIndex, checked_node_inputs};
use crate::delay::{DelayTable, Delays, Transition};
use crate::part::{Part, PinKind};
use std::sync::Arc;

/// A kind of chip: one part, in one family, under the same conditions.
#[derive(Clone, Debug)]
pub(super) struct Model {
    pub(super) part: Arc<Part>,
    /// Its sheet as picoseconds. The delays of a chip lie in [`super::Machine`], packed.
    pub(super) table: DelayTable,
    pub(super) checks: CheckIndex,
    /// True when nothing is to be done for it but to let its outputs follow its inputs: it stores nothing, and no
    /// requirement, forbidden use or memory speaks of it.
    pub(super) simple: bool,
    /// Inputs whose change is only remembered: data of clocked storage, whose requirements are hold times at most.
    pub(super) quiet: u64,
    /// Inputs that move a node which somebody may ask for before the next edge.
    pub(super) noded: u64,
    /// Inputs that a forbidden use hangs on.
    pub(super) forbidding: u64,
    /// Where the delays from an input to an output begin, at `input * outputs + output`.
    places: Vec<u16>,
    /// Outputs that can let go, which have a delay for each [`Transition`]; others only rise and fall.
    lets_go: u64,
}

/// Delays of an output that lets go: one for each [`Transition`].
const ALL: usize = 8;
/// Delays of one that does not: rise and fall.
const BOTH: usize = 2;

impl Model {
    pub(super) fn new(part: &Arc<Part>, table: DelayTable) -> Model {
        let function = &part.function;
        let lets_go = (function.outputs.iter().enumerate())
            .filter(|&(_, &pin)| part.pins[pin].kind != PinKind::Out)
            .fold(0, |mask, (bit, _)| mask | 1 << bit);
        let mut places = Vec::new();
        // A part has 64 inputs and 64 outputs at most, so that all its delays have places below 65,536.
        let mut next = 0u16;
        for input in 0..function.inputs.len() {
            for (output, arcs) in function.arcs.iter().enumerate() {
                places.push(next);
                if arcs >> input & 1 == 1 {
                    next += if lets_go >> output & 1 == 1 { ALL } else { BOTH } as u16;
                }
            }
        }
        let checks = CheckIndex::new(&table, function);
        let simple = function.is_combinational()
            && table.requirements.is_empty()
            && function.forbid_count() == 0;
        let checked = checked_node_inputs(&table, function);
        let noded = function.sensitive & function.node_inputs.iter().fold(0, |all, it| all | it);
        Model {
            part: Arc::clone(part),
            simple,
            quiet: checks.only_held(&table) & !function.sensitive & !checked,
            noded: noded | checked,
            forbidding: function.forbid_inputs(),
            table,
            checks,
            places,
            lets_go,
        }
    }

    /// Packs the delays of a chip of this kind, laid out as in [`DelayTable::delays`], behind others: what one input
    /// moves lies together.
    pub(super) fn pack(&self, delays: &[Delays], packed: &mut Vec<u32>) {
        let arcs = &self.part.function.arcs;
        for (at, delays) in delays.iter().enumerate() {
            let (input, output) = (at / self.table.outputs, at % self.table.outputs);
            if arcs[output] >> input & 1 == 1 {
                let all = self.lets_go >> output & 1 == 1;
                packed.extend(&delays.of[..if all { ALL } else { BOTH }]);
            }
        }
    }

    /// The delay of one path and transition, in picoseconds. `packed` begins with the delays of the chip. The input must
    /// be one that reaches the output.
    #[inline]
    pub(super) fn delay(
        &self,
        packed: &[u32],
        input: usize,
        output: usize,
        how: Transition,
    ) -> u32 {
        let at = self.places[input * self.table.outputs + output] as usize;
        if self.lets_go >> output & 1 == 1 {
            return packed[at + how as usize];
        }
        match how {
            Transition::Rise => packed[at],
            Transition::Fall => packed[at + 1],
            // What is unknown begins with the first edge that could be there.
            _ => packed[at].min(packed[at + 1]),
        }
    }
}
