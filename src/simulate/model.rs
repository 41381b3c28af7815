//! What all chips of one kind share while they run: requirements, and where each delay of such a chip lies.

use super::checks::CheckIndex;
use crate::delay::{DelayTable, Delays, Transition};
use crate::part::{Part, PinKind};

/// A kind of chip: one part, in one family, under the same conditions.
#[derive(Clone, Debug)]
pub(super) struct Model {
    /// Its sheet as picoseconds. The delays of a chip lie in [`super::Machine`], packed.
    pub(super) table: DelayTable,
    pub(super) checks: CheckIndex,
    /// Inputs whose change is only remembered: data of clocked storage, whose requirements are hold times at most.
    pub(super) quiet: u64,
    rows: Vec<Row>,
}

/// Where the delays to one output lie.
#[derive(Clone, Copy, Debug)]
struct Row {
    /// The inputs that reach it, each with a stretch of delays.
    arcs: u64,
    /// The first of them.
    first: u32,
    /// True for an output that can let go, which has a delay for each [`Transition`]; others only rise and fall.
    lets_go: bool,
}

/// Delays of an output that lets go: one for each [`Transition`].
const ALL: usize = 8;
/// Delays of one that does not: rise and fall.
const BOTH: usize = 2;

impl Model {
    pub(super) fn new(part: &Part, table: DelayTable) -> Model {
        let function = &part.function;
        let mut first = 0;
        let rows = function
            .outputs
            .iter()
            .zip(&function.arcs)
            .map(|(&pin, &arcs)| {
                let lets_go = part.pins[pin].kind != PinKind::Out;
                let row = Row {
                    arcs,
                    first,
                    lets_go,
                };
                first += arcs.count_ones() * if lets_go { ALL } else { BOTH } as u32;
                row
            });
        let rows = rows.collect();
        let checks = CheckIndex::new(&table, function);
        // A node may move with any input, and a forbidden use may begin with any.
        let plain =
            function.nodes.is_empty() && function.forbid_count() == 0 && function.timed() == 0;
        let quiet = if plain {
            checks.only_held() & !function.sensitive
        } else {
            0
        };
        Model {
            table,
            checks,
            quiet,
            rows,
        }
    }

    /// Packs the delays of a chip of this kind, laid out as in [`DelayTable::delays`], behind others.
    pub(super) fn pack(&self, delays: &[Delays], packed: &mut Vec<u32>) {
        for (output, row) in self.rows.iter().enumerate() {
            let mut arcs = row.arcs;
            while arcs != 0 {
                let input = arcs.trailing_zeros() as usize;
                arcs &= arcs - 1;
                let delays = &delays[input * self.table.outputs + output];
                packed.extend(&delays.of[..if row.lets_go { ALL } else { BOTH }]);
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
        let row = &self.rows[output];
        let before = (row.arcs & ((1 << input) - 1)).count_ones() as usize;
        if row.lets_go {
            return packed[row.first as usize + before * ALL + how as usize];
        }
        let at = row.first as usize + before * BOTH;
        match how {
            Transition::Rise => packed[at],
            Transition::Fall => packed[at + 1],
            // What is unknown begins with the first edge that could be there.
            _ => packed[at].min(packed[at + 1]),
        }
    }
}
