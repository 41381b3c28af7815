//! Who looks on while a trial runs.

use crate::quantity::Time;
use crate::run::Engine;

/// How far a run is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Progress {
    /// The simulated time.
    pub now: Time,
    /// Clocks that were counted; none where the trial has no clock.
    pub clocks: Option<u64>,
    /// Where the present step of the trial ends at the latest.
    pub goal: Goal,
}

/// Where a step of a trial ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Goal {
    /// At a time.
    Time(Time),
    /// At a number of clocks.
    Clocks(u64),
}

/// Who looks on while a trial runs.
pub trait Observer {
    /// True when it may work contacts and drive nets.
    fn has_hands(&self) -> bool {
        true
    }

    /// A clock has been counted; false ends the trial there. The observer may put its hands on the machine.
    fn clock(&mut self, machine: &mut dyn Engine, clocks: u64) -> bool;

    /// Much has happened since the last time.
    fn progress(&mut self, _: Progress) {}
}

/// Nobody looks on.
#[derive(Clone, Copy, Debug, Default)]
pub struct Unattended;

impl Observer for Unattended {
    fn has_hands(&self) -> bool {
        false
    }

    fn clock(&mut self, _: &mut dyn Engine, _: u64) -> bool {
        true
    }
}
