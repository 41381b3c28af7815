//! Tests of the crate from outside, one file a room.

mod circuit;
mod library;
mod tidy;
