//! What moves by itself: timers and oscillators.

use super::out::NEVER;
/// A timer of a cell.
#[derive(Clone, Copy, Debug)]
pub(super) struct Timer {
    /// What wakes it.
    pub(super) out: u32,
    pub(super) cell: u32,
    /// Its state bit.
    pub(super) bit: u32,
    /// How long it runs; not known when `None`.
    pub(super) duration: Option<i64>,
    /// When it may end first, if it runs now.
    pub(super) earliest: i64,
    /// When it has certainly ended.
    pub(super) latest: i64,
    /// The inputs that started it.
    pub(super) lead: u64,
}

impl Timer {
    pub(super) fn new(out: u32, cell: u32, bit: usize, duration: Option<i64>) -> Timer {
        Timer { out, cell, bit: bit as u32, duration, earliest: NEVER, latest: NEVER, lead: 0 }
    }
}

/// An oscillator.
#[derive(Clone, Copy, Debug)]
pub(super) struct Oscillator {
    /// What wakes it.
    pub(super) out: u32,
    pub(super) cell: u32,
    pub(super) period: i64,
    pub(super) swings: Swings,
}

/// What an oscillator moves.
#[derive(Clone, Copy, Debug)]
pub(super) enum Swings {
    State(usize),
    Input(usize),
}
