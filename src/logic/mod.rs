//! Logic values: the nine levels of IEEE Std 1164 that a net can have, how they pass through resistors and contacts, and
//! the packed words that chips compute on.

mod level;
pub mod network;
mod word;

pub use level::{Level, RESOLUTION};
pub use word::Word;
