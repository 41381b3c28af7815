//! What a circuit is for currents and charges.
//!
//! [`Capacitances`] says what each net puts on the outputs that drive it; [`OperatingPoint`] says which voltages each net can
//! have at rest, and which currents flow then through pins, LEDs, cables and supplies.
//!
//! # What the view rests on
//!
//! - Levels, drive and leakage are those of the family's sheet, at the supply of the chip, in the column that holds
//!   over 0 to 70 C; between two supply voltages of a sheet on a straight line, beyond them the nearest.
//! - The weakest part gives exactly what the sheet guarantees: at less current than the sheet's first point no better
//!   level than there, at more than its last point on the straight line through the last two (from the rail through the
//!   only one).
//! - No sheet guarantees a most: the strongest part is taken to hold its rail without any loss.
//! - Resistors and rails have the values that are written.
//! - Parts with grades instead of a family (memories) are taken to have TTL levels, 2.4 V at 0.4 mA and 0.4 V at
//!   2.1 mA out, 2.0 V and 0.8 V in, and 10 uA of leakage (common practice); oscillator cans to give nine tenths and
//!   one tenth of their supply at 4 mA (common practice). Findings that rest on these say so.
//! - LEDs: see [`led`].

mod bias;
pub mod capacitance;
pub mod contention;
pub mod currents;
pub mod drive;
mod group;
pub mod led;
pub mod meter;
pub mod operating_point;
pub mod power;
pub mod power_distribution;
pub mod pull;
mod range;
pub mod sheet;
pub mod solver;

pub use capacitance::{Capacitances, NetCapacitance};
pub use meter::Meter;
pub use operating_point::{Load, NetState, OperatingPoint, Range};
pub use sheet::{Input, Output, Sheets, Side};
