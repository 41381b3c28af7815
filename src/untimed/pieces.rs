//! Chips cut into pieces whose outputs and storage share no inputs, so that four gates in a package are four gates.

use super::signal::NONE;
use crate::circuit::ChipKey;
use crate::evaluate::Partition;
use crate::logic::Word;
use crate::part::{Edge, Part};
use std::sync::Arc;

/// A chip that is fed.
#[derive(Clone, Debug)]
pub(super) struct Cell {
    pub(super) part: Arc<Part>,
    pub(super) chip: ChipKey,
    /// Its inputs as far as rails tell them; the others are unknown.
    pub(super) fixed: Word,
    /// Input bits that can move.
    pub(super) variable: u64,
    /// All of its inputs, in their places.
    pub(super) gather: (u32, u32),
    /// The signals of its stored bits.
    pub(super) states: Vec<(u32, u64)>,
    /// Stored bits that nothing can change.
    pub(super) rest: Word,
    /// True when nothing can make it store anything.
    pub(super) frozen: bool,
    /// Outputs that never let go.
    pub(super) always: u64,
    /// True when a forbidden use cannot be ruled out.
    pub(super) forbids: bool,
    /// Input bits that name the word that is written.
    pub(super) address: u64,
}

/// How outputs, or stored bits, are found from known levels.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Plan {
    /// By the bits of some segments, in a table from a row on: levels in bits 0 to 15, outputs that let go above.
    Table { gather: (u32, u32), first: u32, fill: u32 },
    /// By programs: which outputs let go, and their levels.
    Flat { gather: (u32, u32), base: u64, off: u32, value: u32 },
    /// By the full function.
    Full,
}

/// An input of a register that, at one level, makes others not count: the enable of one that holds, the load input of a
/// counter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Gate {
    /// The input bit.
    pub(super) input: u32,
    /// The level that shuts it.
    pub(super) shut: bool,
    /// Inputs that then do not count.
    pub(super) behind: u64,
    /// True when it then keeps what it has.
    pub(super) holds: bool,
}

/// What a piece stores.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Store {
    Nothing,
    /// At one edge of one input, and by level besides.
    Register(Edge, Plan),
    /// In any other way.
    Other,
}

/// How much it matters that the outputs of a piece do not glitch.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Guard {
    No,
    /// Further gates stand between it and a clock, clear or enable.
    Inner,
    /// These outputs are on clocks, clears or enables.
    Pins(u64),
}

/// A piece of a chip.
#[derive(Clone, Debug)]
pub(super) struct Unit {
    pub(super) cell: u32,
    /// Output bits of the chip that are its own.
    pub(super) outputs: u64,
    /// Outputs whose nets are stored bits of its own, and need no look.
    pub(super) shown: u64,
    /// Stored bits that are its own.
    pub(super) states: u64,
    /// Inputs that can move its outputs at once.
    pub(super) drive_inputs: u64,
    /// Inputs that clock, clear, enable or write.
    pub(super) controls: u64,
    /// Inputs that are stored.
    pub(super) data: u64,
    /// The signal of its stored bits.
    pub(super) state: u32,
    pub(super) plan: Plan,
    pub(super) store: Store,
    /// The signal of the outputs that drive a net alone, and these.
    pub(super) own: u32,
    pub(super) own_mask: u64,
    /// The row of what it drives on shared nets.
    pub(super) shared: u32,
    pub(super) behind: (u32, u32),
    pub(super) guard: Guard,
    /// Outputs that lead to a clock, clear or enable.
    pub(super) guarded: u64,
    /// Stored bits that its programs find outputs from.
    pub(super) read_states: u64,
    /// Stored bits that what is stored next hangs on.
    pub(super) read_by_edge: u64,
    /// The loop of gates that it is in.
    pub(super) looped: u32,
    pub(super) gate: Option<Gate>,
    /// The line of the gate.
    pub(super) gate_line: (u32, u32),
    /// The line of a plain register's clock.
    pub(super) clock: (u32, u32),
    /// True when its outputs can close a ring.
    pub(super) ringed: bool,
    /// True when what it stores must be looked at again at the end of a moment.
    pub(super) skewed: bool,
}

impl Unit {
    pub(super) fn new(cell: u32, part: Partition) -> Unit {
        Unit {
            cell,
            outputs: part.outputs,
            shown: 0,
            states: part.states,
            drive_inputs: 0,
            controls: 0,
            data: 0,
            state: NONE,
            plan: Plan::Full,
            store: Store::Nothing,
            own: NONE,
            own_mask: 0,
            shared: NONE,
            behind: (0, 0),
            guard: Guard::No,
            guarded: 0,
            read_states: 0,
            read_by_edge: u64::MAX,
            looped: NONE,
            gate: None,
            gate_line: (NONE, 0),
            clock: (NONE, 0),
            ringed: false,
            skewed: false,
        }
    }
}

/// The set bits of a mask, from the lowest.
pub(super) fn bits(mut mask: u64) -> impl Iterator<Item = u32> {
    std::iter::from_fn(move || {
        let bit = mask.trailing_zeros();
        mask &= mask.wrapping_sub(1);
        (bit < 64).then_some(bit)
    })
}
