//! The tests that look at the crate from outside, one file an area.

mod check;
mod circuit;
mod engine;
mod language;
mod library;
mod tidy;
