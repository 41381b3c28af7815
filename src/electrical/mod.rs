//! What a circuit is for currents and charges: so far the capacitance that each net puts on the outputs that drive it.

pub mod capacitance;

pub use capacitance::{Capacitances, NetCapacitance};
