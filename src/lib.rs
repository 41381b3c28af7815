//! coldboard: write boards of 74-series logic down as they physically are, learn before
//! ordering what is electrically wrong with them, and run the whole machine with real delays.

// Rooms in reading order: each imports only from those above it.
pub mod quantity;

pub mod logic;

pub mod key;

pub mod text;

pub mod diagnostic;

pub mod language;

pub mod image;

pub mod part;

pub mod circuit;

pub mod delay;

pub mod simulate;

pub mod trial;

pub mod check;

pub mod export;

pub mod project;

pub mod cli;
