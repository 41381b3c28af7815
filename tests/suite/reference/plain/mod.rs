//! The plain engine. See the room above for what it shares with the project and what it does not.

mod chip;
mod description;
mod engine;
mod evaluate;
mod formula;
mod levels;
mod links;
mod power_up;
mod pulls;
mod shelf;
mod storage;
mod words;

pub(crate) use engine::Reference;
pub(crate) use levels::{Bit, Level};
pub(crate) use shelf::{Shelf, tree};
