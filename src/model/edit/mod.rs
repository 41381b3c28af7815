//! Edits: what can be changed in a model, each refused where it cannot be.
//!
//! An edit that is refused changes nothing. Keys stay valid until their thing is taken out, and are never used again.

mod cables;
mod chips;
mod copper;
mod discretes;
mod refusal;
mod supplies;

pub use refusal::Edited;
pub(super) use refusal::not_there;
