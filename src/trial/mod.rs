//! Trials: stimulus and expectations on a machine, and what came of them.
//!
//! A trial is [prepared](prepare()) first: every name in it is looked up, every mistake is told. A prepared trial is
//! then [run](run()) as often as is wanted, in any corner, with the same result each time.

mod condition;
mod look;
mod observer;
mod options;
pub mod prepare;
mod question;
mod reading;
pub mod recorder;
pub mod report;
mod runner;
mod switches;
mod vectors;

pub use look::Look;
pub use observer::{Goal, Observer, Progress, Unattended};
pub use options::{Interrupt, Memory, Options};
pub use prepare::{Prepared, prepare, temperature};
pub use question::{Question, reading};
pub use recorder::{Keep, Record};
pub use report::Report;
pub use runner::{run, run_once, run_streaming, run_untimed};
