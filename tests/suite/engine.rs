//! The engine against the world: what real chips do, with figures that can be checked by hand.
//!
//! One file a question. The expected values come from data sheets, standards, handbook formulas or plain integer
//! arithmetic, never from the engine itself.

mod arithmetic;
pub(crate) mod bench;
mod causes;
mod counters;
mod determinism;
mod eeproms;
mod fast_paths;
mod flip_flops;
mod gates;
mod loops;
mod memories;
mod nets;
mod outputs;
mod past;
mod power;
mod requirements;
mod sheet_delays;
mod synchronisers;
mod timers;
mod trials;
