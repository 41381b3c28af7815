//! Models: edits one by one, and by chance beside texts that say the same.

mod dump;
mod edits;
mod flat;
mod random;
