//! One file a command: its arguments, its help, what it does.

mod attend;
pub(crate) mod check;
pub(crate) mod format;
pub(crate) mod library;
pub(crate) mod merge;
mod open;
pub(crate) mod part;
pub(crate) mod picture;
pub(crate) mod power;
pub(crate) mod reference;
pub(crate) mod refit;
pub(crate) mod rom;
pub(crate) mod rule;
pub(crate) mod run;
mod step;
pub(crate) mod sweep;
pub(crate) mod timing;
mod values;
mod waveform;
