//! What can go wrong between one settled state and the next: for the check before ordering, for the timing analysis and for
//! the engine without delays.
//!
//! - [`cone`]: whether outputs can be enabled, or nets high, at once, by following them back to what moves freely;
//! - [`pulse`]: whether the output of gates may have a short pulse, whatever is stored before them;
//! - `orders`: whether it may have one while given inputs move, in any order;
//! - `turnaround`: the same for a line of a bus that one driver releases as another takes it;
//! - `exclusion`: whether one chip can give two levels at once.

pub(crate) mod cone;
pub(crate) mod exclusion;
pub(crate) mod orders;
pub(crate) mod pulse;
pub(crate) mod turnaround;
