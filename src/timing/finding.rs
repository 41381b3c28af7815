//! What an analysis comes to.

use super::clocks::{ClockEdge, ClockKey};
use super::paths::Excluded;
use crate::quantity::Time;
use std::collections::BTreeMap;

/// What a finding is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum About {
    /// A row of [`super::checks::Checks::checks`].
    Check(u32),
    /// A row of [`super::checks::Checks::separations`].
    Separation(u32),
}

/// How well one thing holds, at its worst.
#[derive(Clone, Copy, Debug)]
pub struct Finding {
    /// What must hold.
    pub about: About,
    /// The edge that sends the data, or begins the pulse.
    pub from: ClockEdge,
    /// The moment that it is compared with.
    pub latency: u32,
    /// What is left; negative when it is violated.
    pub slack: Time,
    /// What is needed between the two edges.
    pub required: Time,
    /// What is there between the two edges.
    pub available: Time,
    /// When the data arrives, after the edge that sends it.
    pub arrival: Time,
    /// What was taken off, because both clocks have it in common.
    pub common_path_credit: Time,
}

/// What came of an analysis.
#[derive(Clone, Debug, Default)]
pub struct Slacks {
    /// Each thing that must hold, at its worst; in order.
    pub findings: Vec<Finding>,
    /// For each clock that all begins with, what limits its rate.
    pub limits: BTreeMap<ClockKey, Finding>,
    /// What was passed over.
    pub excluded: Excluded,
    /// Pairs of clocks that have nothing to do with each other, with how many checks lie between them.
    pub separation: BTreeMap<(ClockKey, ClockKey), usize>,
    /// Rings with too many ways through them.
    pub tangled: Vec<u32>,
    /// True when latches went on borrowing from one another.
    pub unsettled: bool,
}
