//! What must hold: the requirements of the sheets at the places where clocks and data meet, and the gates of clocks.

use super::clock_latency::ClockLatencies;
use super::clocks::Clocks;
use super::graph::{Graph, Node};
use crate::circuit::ChipKey;
use crate::quantity::Time;
use crate::text::Span;

/// The kind of a check.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// Data is there before an edge.
    Setup,
    /// Data stays behind an edge.
    Hold,
    /// A clear or set has ended before an edge.
    Recovery,
    /// Data does not move while a signal is active.
    Stable,
    /// A gate lets whole clock pulses through.
    Gate,
    /// A pulse of a clock is longer than a gate takes to follow.
    Whole,
    /// A pulse of a clock is wide enough.
    Width,
    /// The edges of a clock are far enough apart.
    Rate,
}

impl Kind {
    pub const ALL: [Kind; 8] =
        [Kind::Setup, Kind::Hold, Kind::Recovery, Kind::Stable, Kind::Gate, Kind::Whole, Kind::Width, Kind::Rate];

    /// The word for a report.
    pub fn word(self) -> &'static str {
        match self {
            Kind::Setup => "setup",
            Kind::Hold => "hold",
            Kind::Recovery => "recovery",
            Kind::Stable => "stability",
            Kind::Gate => "clock gate",
            Kind::Whole => "whole pulse",
            Kind::Width => "pulse width",
            Kind::Rate => "rate",
        }
    }
}

/// Data that must be there at a clock's moment, or stay behind it.
#[derive(Clone, Debug)]
pub struct Check {
    pub kind: Kind,
    /// True when the data must be there before the moment; false when it must stay behind it.
    pub before: bool,
    pub chip: ChipKey,
    /// The input with the data.
    pub input: u8,
    /// The moves of the data that count.
    pub data: Vec<Node>,
    /// The moments that it is compared with, as rows of the moments.
    pub latencies: Vec<u32>,
    /// For data that must not move from one moment to another: the moments that begin it, as the others end it.
    pub begins: Vec<u32>,
    /// The time before the edge, or after it.
    pub least: Time,
    /// The row of the sheet; `None` for a gate.
    pub span: Option<Span>,
}

/// Two moments of one clock that must be apart.
#[derive(Clone, Debug)]
pub struct Separation {
    /// What it is: a width or a rate.
    pub kind: Kind,
    pub chip: ChipKey,
    pub input: u8,
    /// True for the width of high pulses.
    pub high: bool,
    /// The first moment and the second.
    pub latencies: (u32, u32),
    /// The time between them.
    pub least: Time,
    /// The row of the sheet; `None` for a gate.
    pub span: Option<Span>,
}

/// Everything that must hold.
#[derive(Debug, Default)]
pub struct Checks {
    /// Data against clocks.
    pub checks: Vec<Check>,
    /// Clocks against themselves.
    pub separations: Vec<Separation>,
    /// Gates of clocks that neither level of the clock blocks: chip, output bit or none for the chip's own, input.
    pub open_gates: Vec<(ChipKey, u8)>,
    /// Gates in which clocks meet of which it is not known what the one is while the other moves.
    pub met: Vec<(ChipKey, u8)>,
    /// Requirements that no clock reaches, or whose pulses do not come from a clock.
    pub unchecked: usize,
}

/// What is looked at.
#[derive(Clone, Copy)]
pub(super) struct Scene<'s, 'c> {
    pub(super) graph: &'s Graph<'c>,
    pub(super) clocks: &'s Clocks,
    pub(super) latencies: &'s ClockLatencies,
}
