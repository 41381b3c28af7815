//! What a run has to say besides the levels: plain data, one row a place.

use crate::circuit::{ChipKey, NetKey};
use crate::quantity::Time;
use crate::text::Span;

/// Why a run cannot go on: what comes next is a matter of delays.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Refusal {
    /// When.
    pub time: Time,
    /// The path of the chip, pin or net.
    pub place: String,
    /// What is there, in one sentence.
    pub sentence: String,
    /// Where it was written.
    pub span: Span,
}

/// Two outputs that drove one net to different levels once everything had settled.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fight {
    /// The net.
    pub net: NetKey,
    /// Who drove it low, when it happened first.
    pub low: String,
    /// Who drove it high.
    pub high: String,
    /// How often.
    pub count: u64,
    /// When first.
    pub first: Time,
    /// The longest stretch.
    pub longest: Time,
    /// All stretches together.
    pub total: Time,
    /// True when it was still going on at the end.
    pub lasting: bool,
}

/// A net that nobody drove while chips listened, once everything had settled.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Float {
    /// The net.
    pub net: NetKey,
    /// One of the inputs that listened.
    pub listener: String,
    /// How often.
    pub count: u64,
    /// When first.
    pub first: Time,
    /// The longest stretch.
    pub longest: Time,
    /// True when it was still going on at the end.
    pub lasting: bool,
}

/// A use that a part's sheet forbids, or that its model does not cover.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Forbidden {
    /// The chip.
    pub chip: ChipKey,
    /// Why.
    pub text: String,
    /// How often.
    pub count: u64,
    /// When first.
    pub first: Time,
}
