//! Sweeps: the trials of a design over a grid of clock rates, supply voltages, temperatures, corners and power-up
//! states.
//!
//! # What a sweep is
//!
//! [`Asked`] says which values each [`axis`](AXES) takes; a [`Plan`] is that for one design, with every name looked up.
//! Each point of the grid is run by itself: its circuit is frozen anew with its voltage (and the frequency of an
//! oscillator can, when that is the clock), its trial prepared anew with its clock rate, and the trial run once.
//! Instead of a row of rates, a [search](search::highest) may look at each point for the highest rate that passes.
//!
//! # What passes
//!
//! - Points are numbered, trials first and clock rates last. A [`Row`] depends on its point alone, and rows come in
//!   order of their numbers whatever the number of cores, so that a [`journal`] has the same bytes, too.
//! - A [`Header`] has all that rows need to be read without the design, and the [fingerprint](mod@fingerprint) of the
//!   texts that they came from. Rows with unequal headers are never put together.
//! - A point at which a part is outside the supply range of its family does not count as passed, and is not run: no sheet
//!   says what would happen.
//! - That a trial passes at one rate does not prove that it passes at all lower ones. A search tries some, and says which.

pub mod fingerprint;
pub mod grid;
pub mod journal;
mod outcome;
mod plan;
mod result;
pub mod search;
mod target;
mod values;
mod work;

pub use outcome::{Outcome, Rests, VERDICTS, Verdict, outcome};
pub use plan::{Asked, Clock, Plan};
pub(crate) use plan::{corner_word, outside_supply};
pub use result::{AXES, Axis, Header, Row, Searched, Slice, Sweep};
pub use search::{Highest, Range};
pub use target::{Target, supplies};
pub use values::{corners, frequencies, named, power_ups, range, temperatures, voltages};
pub use work::work;

/// The most values of one axis.
pub(crate) const MOST_VALUES: usize = 10_000;

/// The most points of one sweep.
pub(crate) const MOST_POINTS: usize = 20_000;
