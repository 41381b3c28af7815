//! What moves by itself: timers and oscillators.

use super::driver::NEVER;
use super::number;
use crate::quantity::Time;
/// A timer of an instance.
#[derive(Clone, Copy, Debug)]
pub(super) struct Timer {
    /// What wakes it.
    pub(super) driver: u32,
    pub(super) instance: u32,
    /// Its state bit.
    pub(super) bit: u32,
    /// How long it runs; not known when `None`.
    pub(super) duration: Option<Time>,
    /// When it may end first, if it runs now.
    pub(super) earliest: Time,
    /// When it has certainly ended.
    pub(super) latest: Time,
    /// The inputs that started it.
    pub(super) trigger_inputs: u64,
}

impl Timer {
    pub(super) fn new(driver: u32, instance: u32, bit: usize, duration: Option<Time>) -> Timer {
        Timer { driver, instance, bit: number::bit(bit), duration, earliest: NEVER, latest: NEVER, trigger_inputs: 0 }
    }
}

#[derive(Clone, Copy, Debug)]
pub(super) struct Oscillator {
    /// What wakes it.
    pub(super) driver: u32,
    pub(super) instance: u32,
    pub(super) period: Time,
    pub(super) target: OscillatorTarget,
}

/// What an oscillator moves.
#[derive(Clone, Copy, Debug)]
pub(super) enum OscillatorTarget {
    State(usize),
    Input(usize),
}
