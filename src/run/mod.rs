//! What every engine has in common: how it is set, what is done to it, what it reports.
//!
//! An [`Engine`] runs a circuit: with the real delay of every part (`simulate`), or from clock edge to clock edge
//! (`untimed`). A trial knows only this trait, so that no report depends on which of them ran. The types of what is found
//! are here, once ([`Findings`]), with the meaning of their figures:
//!
//! - contention and floating nets are counted as intervals: how many, when first, the longest, the total, and whether
//!   the last one still lasts;
//! - storage and memories take their first contents from one place (`power_up`): with the same seed, bit for bit the same
//!   in each engine.

mod cause;
mod driver;
mod engine;
mod finding;
mod image;
mod intervals;
mod joint;
mod log;
mod power_up;
mod sink;
pub mod wave;

pub use cause::Step;
pub use engine::{Engine, Pause, Settings, Snapshot};
pub use finding::{
    Contention, Counters, Decision, Findings, Floating, Forbidden, Oscillation, Refusal, TURNAROUND, Violation,
};
pub use image::LoadFault;
pub use sink::{NullSink, Sink};

pub(crate) use driver::Driver;
pub(crate) use engine::common_period;
pub(crate) use finding::signal_name;
pub(crate) use image::{blank, put};
pub(crate) use intervals::{Intervals, Occurrences};
pub(crate) use joint::{Joint, joints};
pub(crate) use log::{ContentionLog, FloatLog};
pub(crate) use power_up::fill;
