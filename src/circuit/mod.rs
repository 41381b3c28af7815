//! The hub: the elaborated machine, flat and frozen.
//!
//! # What a circuit is
//!
//! A [`Circuit`] is everything that is physically there when a board lies on the bench, or when several boards are
//! joined by cables: chips with numbered pins, discretes, connectors, nets. Boards and repetition are gone; what is
//! left of them is the *path* of each thing, `A.U1`, `A.U1.Q3`, `B1.REG.4`, the same in every command and message.
//! A circuit made from a single board has no outer step: `U1`, `U1.Q3`.
//!
//! A [`Net`] is one electrical node: all pins that copper, connectors and closed cables hold together, a connected
//! component of the model's joints. Nets of several boards that a cable joins are one net, which keeps the name that
//! each board gives it.
//!
//! # What holds
//!
//! - A circuit comes only from [`freeze()`], and never changes. Every key in it opens a row of it. It keeps the model that
//!   it was frozen from: to change something is to edit a copy of that and to freeze again.
//! - A chip pin is on at most one net; `None` means that nothing is connected there.
//! - A chip whose supply pins do not reach a supply is in the circuit, with [`Chip::fed`] false: it drives nothing.
//! - Rails of a single board count as fed from the bench; rails of an assembly are fed only through a supply. A rail
//!   behind a switch, or behind a resistor of 10 ohm or less (a fuse), counts as fed: a trial that leaves the switch open
//!   runs on the circuit that [`without_rails`] makes.
//! - A timer has a resistor and a capacitor only where exactly one of each can be read from the board.
//! - Everything is in order of writing, so that the same text gives the same circuit.
//!
//! What a circuit does *not* hold: levels, delays, times, findings. These are results of their own, keyed by the
//! circuit's keys.

mod freeze;
mod paths;
mod rows;
mod signal;
mod switches;

pub use crate::model::DiscreteKind;
pub(crate) use freeze::freeze_after;
pub use freeze::{elaborate, freeze, without_rails};
pub use rows::{
    Board, BoardKey, Cable, CableKey, Chip, ChipKey, Circuit, Connector, ConnectorKey, ConnectorPin, Discrete,
    DiscreteKey, Net, NetKey, Rail, Supply, SupplyKey, TimingPath, Waiver,
};
pub use signal::{Signal, SignalError};
pub use switches::{DeadRail, dead_rails};
