//! Tests of the crate from outside.
mod library;
