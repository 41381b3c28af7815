//! Logic values: the nine levels of IEEE Std 1164 that a net can have, and the packed words that chips compute on.

mod level;
mod word;

pub use level::{Level, RESOLUTION};
pub use word::Word;
