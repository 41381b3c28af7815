//! What a node needs when it has its turn, and what comes of it.

/// How a node finds out what to do when it has its turn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Turn {
    Nothing,
    /// Looks outputs up that drive their nets alone, or others, or both.
    Own,
    Shared,
    Both,
    /// A program of plain integers.
    Flat,
    /// The full function.
    Full,
    Bus,
    Knot,
    /// A loop of gates.
    Loop,
}

/// All that a node needs in the common case, in a line of cache.
#[derive(Clone, Copy, Debug)]
#[repr(C, align(64))]
pub(super) struct Row {
    /// What outputs are looked up by, or the inputs in their places: always as its signals are.
    pub(super) known: u64,
    /// The bits of it that are unknown.
    pub(super) unknown: u64,
    pub(super) turn: Turn,
    pub(super) guarded: bool,
    pub(super) ringed: bool,
    /// Outputs that drive their nets alone, and all.
    pub(super) own_mask: u64,
    pub(super) outputs: u64,
    /// The row of the table of outputs.
    pub(super) table: u32,
    /// The unit, bus or knot.
    pub(super) number: u32,
    pub(super) own: u32,
    pub(super) shared: u32,
    pub(super) behind: (u32, u32),
}

/// What a guarded piece was looked up by.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Glance {
    /// The wave in which it looked last.
    pub(super) wave: u64,
    /// By what, and by what before that wave; [`BLIND`] when something was unknown.
    pub(super) last: u64,
    pub(super) before: u64,
    /// Its pulses by both, in so many bits each; none for large tables.
    pub(super) pulses: Option<(u32, u32)>,
}

/// What a piece wants its outputs to be.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Outputs {
    pub(super) value: u64,
    pub(super) off: u64,
    /// Neither known to be a level nor known to let go.
    pub(super) blur: u64,
}

impl Outputs {
    /// From a row of a table: levels in bits 0 to 15, outputs that let go above.
    #[inline]
    pub(super) fn looked_up(row: u32) -> Outputs {
        Outputs { value: u64::from(row & 0xFFFF), off: u64::from(row >> 16), blur: 0 }
    }
}
