//! What all chips of one kind share while they run: requirements, and where each delay of such a chip lies.

use super::check_index::{CheckIndex, checked_node_inputs};
use super::delays::{DelayOffset, PackedDelays};
use super::edge_programs::Clocked;
use super::number;
use crate::delay::{DelayTable, Delays, Transition};
use crate::evaluate::Memo;
use crate::part::Part;
use std::sync::Arc;

/// A kind of chip: one part, in one family, under the same conditions.
#[derive(Clone, Debug)]
pub(super) struct Model {
    pub(super) part: Arc<Part>,
    /// Its sheet as picoseconds. The delays of a chip lie in [`super::Machine`], packed.
    pub(super) table: DelayTable,
    pub(super) checks: CheckIndex,
    /// The short way for its clocks.
    pub(super) clocked: Option<Clocked>,
    /// True when nothing is to be done for it but to let its outputs follow its inputs: it stores nothing, and no
    /// requirement, forbidden use or memory speaks of it.
    pub(super) simple: bool,
    /// Its outputs by look-up, for such a chip.
    pub(super) memo: Memo,
    /// Inputs whose change is only remembered: data of clocked storage, whose requirements are hold times at most.
    pub(super) data_only: u64,
    /// Inputs that move a node which may be read before the next edge.
    pub(super) node_inputs: u64,
    /// Inputs that a forbidden use hangs on.
    pub(super) forbid_inputs: u64,
    /// Which inputs reach each output.
    pub(super) arcs: Vec<u64>,
    /// Which of them can make it go high-impedance, or drive again.
    pub(super) output_enables: Vec<u64>,
    /// Inputs of which one is as slow as any other, to every output.
    equal_inputs: u64,
    /// What a move of each input needs.
    pub(super) reach: Vec<Reach>,
    /// Where the delays from an input to an output begin, at `input * outputs + output`.
    delay_offsets: Vec<u16>,
}

/// Where an input leads to.
#[derive(Clone, Copy, Debug)]
pub(super) struct Reach {
    /// The first and the last of the outputs that it reaches; `None` for no output.
    pub(super) outputs: Option<(u8, u8)>,
    /// The first and the last place of their delays.
    pub(super) delays: (u16, u16),
}

/// Delays of a path by which an output can go high-impedance: one for each [`Transition`].
const ALL: usize = 8;
/// Delays of other paths: rise and fall.
const BOTH: usize = 2;
/// In a place: the path has [`ALL`] delays.
const RELEASES: u16 = 1 << 15;

impl Model {
    /// `fast` as in [`crate::run::Settings::fast_paths`].
    pub(super) fn new(part: &Arc<Part>, mut table: DelayTable, fast: bool) -> Model {
        // They are packed for each chip, and would lie here a second time.
        table.delays = Vec::new();
        let function = &part.function;
        let mut delay_offsets = Vec::new();
        // A part has 64 inputs and 64 outputs at most, so that all its delays have places up to 32,767.
        let mut next = 0;
        let mut reach = Vec::new();
        for input in 0..function.inputs.len() {
            let first = next;
            let reached = |output: &usize| function.arcs[*output] >> input & 1 == 1;
            let mut reached = (0..function.outputs.len()).filter(reached);
            let outputs = reached.next().map(number::pin);
            let last = reached.next_back().map(number::pin);
            for output in 0..function.outputs.len() {
                let stretch = stretch(part, input, output);
                delay_offsets.push(offset(next) | if stretch == ALL { RELEASES } else { 0 });
                next += stretch;
            }
            reach.push(Reach {
                outputs: outputs.map(|output| (output, last.unwrap_or(output))),
                delays: (offset(first), offset(next.saturating_sub(1).max(first))),
            });
        }
        let checks = CheckIndex::new(&table, function);
        let simple =
            fast && function.is_combinational() && table.requirements.is_empty() && function.forbid_count() == 0;
        let checked = checked_node_inputs(&table, function);
        let node_inputs = function.sensitive & function.asked_node_inputs();
        Model {
            part: Arc::clone(part),
            simple,
            memo: Memo::new(function),
            data_only: if fast { checks.only_held(&table) & !function.sensitive & !checked } else { 0 },
            node_inputs: node_inputs | checked,
            forbid_inputs: function.forbid_inputs(),
            clocked: fast.then(|| Clocked::new(function)).flatten(),
            table,
            checks,
            equal_inputs: 0,
            arcs: function.arcs.clone(),
            output_enables: function.output_enables.clone(),
            reach,
            delay_offsets,
        }
    }

    /// Packs the delays of a chip of this kind, laid out as in [`DelayTable::delays`], behind others: what one input
    /// moves lies together.
    pub(super) fn pack(&self, delays: &[Delays], words: &mut Vec<u16>) -> DelayOffset {
        let mut all = Vec::new();
        for (at, delays) in delays.iter().enumerate() {
            let (input, output) = (at / self.table.outputs, at % self.table.outputs);
            all.extend_from_slice(&delays.of[..stretch(&self.part, input, output)]);
        }
        DelayOffset::append(&all, words)
    }

    /// Finds the inputs that are as slow as the first unsettled one: the many of an address. `delays` are those of every
    /// chip of this kind.
    pub(super) fn find_equal_inputs(&mut self, delays: &[Delays]) {
        let first = self.table.unsettled.trailing_zeros() as usize;
        let row = |input: usize| &delays[input * self.table.outputs..][..self.table.outputs];
        if self.table.unsettled != 0 {
            let inputs = 0..self.part.function.inputs.len();
            let equal_inputs = inputs.filter(|&input| row(input) == row(first));
            self.equal_inputs = equal_inputs.fold(0, |all, input| all | 1 << input);
        }
    }

    /// Fewer inputs that take as long as these together.
    #[inline]
    pub(super) fn dedupe(&self, causes: u64) -> u64 {
        let equal_inputs = causes & self.equal_inputs;
        causes & !equal_inputs | equal_inputs & equal_inputs.wrapping_neg()
    }

    /// Bytes that its tables take; those of the part are shared with the library.
    pub(super) fn memory(&self) -> usize {
        size_of::<Model>()
            + size_of_val(self.delay_offsets.as_slice())
            + size_of_val(self.reach.as_slice())
            + 2 * size_of_val(self.arcs.as_slice())
            + size_of_val(self.table.output_hold.as_slice())
            + size_of_val(self.table.requirements.as_slice())
    }

    /// The delay of one path and transition, in picoseconds. `packed` has the delays of the chip. The input must be one
    /// that reaches the output, and for a transition from or to [`crate::logic::Level::Z`] one that can bring it about.
    #[inline(always)]
    pub(super) fn delay(&self, packed: PackedDelays<'_>, input: usize, output: usize, how: Transition) -> u32 {
        let place = self.delay_offsets[input * self.table.outputs + output];
        let at = usize::from(place & !RELEASES);
        match how {
            Transition::Rise => packed.get(at),
            Transition::Fall => packed.get(at + 1),
            _ if place & RELEASES != 0 => packed.get(at + how as usize),
            // What is unknown begins with the first edge that could be there.
            _ => packed.get(at).min(packed.get(at + 1)),
        }
    }
}

/// The place of a delay among those of a part, which has 64 inputs and 64 outputs at most.
fn offset(place: usize) -> u16 {
    u16::try_from(place).expect("at most 64 times 64 paths of 8 delays")
}

/// How many delays the path from an input to an output has.
fn stretch(part: &Part, input: usize, output: usize) -> usize {
    let function = &part.function;
    if function.output_enables[output] >> input & 1 == 1 {
        ALL
    } else if function.arcs[output] >> input & 1 == 1 {
        BOTH
    } else {
        0
    }
}
