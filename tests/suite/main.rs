//! Tests of the crate from outside, one file a room.

mod circuit;
mod engine;
