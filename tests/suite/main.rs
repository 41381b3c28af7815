//! Tests of the crate from outside, one file a room.

mod check;
mod circuit;
mod library;
mod tidy;
