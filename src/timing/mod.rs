//! Static timing analysis: how fast a circuit can be clocked, whatever it computes.
//!
//! # What is analysed
//!
//! The [`graph`] of a circuit says which move of which net can cause which other, after how long at least and at most.
//! [`clocks`] follow from oscillators and from nets that are said to be clocked, through gates and dividers. Every edge
//! of every clock sends a wave: the outputs of what it clocks move, and what hangs on them. [`arrival`] works out how
//! early and how late each point can be; [`checks`] compares that with what the sheets ask for where data meets a clock.
//!
//! A clock that a flip-flop takes as data is made once more, a known time later ([`phases`]). Where such clocks meet in a
//! gate, each edge passes or not by what the other one is then; so a pulse may be opened by the one and ended by the other,
//! and is compared with both. That they come in this order is asked for as well: a faster clock that cuts the pulse is told,
//! with the rate at which it is whole. Where clocks meet of which that is not known, the report says that it is not judged.
//!
//! # What holds
//!
//! - No edge in a run of the engine comes earlier or later than the analysis says, when the parts are as it was told:
//!   all at one corner, or [`Parts::Mixed`], each anywhere between its fastest and its slowest.
//! - Nothing is left out silently: what is not timed is counted in the report, with the reason.
//! - What cannot be is not told as if it could: a path through two outputs of one decoder, a path that the designer has
//!   said is not used. Both are counted.
//!
//! Times are whole picoseconds ([`crate::quantity::Time`]). The analysis computes
//! no levels: it takes every move that a function allows as possible.

pub mod analysis;
pub mod arrival;
pub mod checks;
mod clock_gates;
pub mod clock_latency;
pub mod clock_pins;
pub mod clocks;
pub mod constants;
pub mod counting;
pub mod delays;
mod false_paths;
pub mod finding;
pub mod graph;
pub mod io_constraints;
pub mod latches;
pub mod mutual_exclusion;
pub mod node;
pub mod order;
mod parts;
pub mod paths;
pub mod phases;
pub mod report;
mod requirements;
pub mod shape;
pub mod sources;
pub mod turnaround;

pub use parts::Parts;
pub use report::{Options, Report, analyse};
