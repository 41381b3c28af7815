//! The tests that look at the crate from outside, one file an area.

mod language;
