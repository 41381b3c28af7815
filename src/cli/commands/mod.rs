//! One file a command: its arguments, its help, what it does.

mod attend;
pub mod check;
pub mod format;
pub mod image;
pub mod library;
pub mod merge;
mod open;
pub mod part;
pub mod picture;
pub mod power;
pub mod reference;
pub mod rule;
pub mod run;
mod step;
pub mod swap;
pub mod sweep;
pub mod timing;
mod values;
mod waveform;
