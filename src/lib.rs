//! coldboard: write boards of 74-series logic down as they physically are, learn before
//! ordering what is electrically wrong with them, and run the whole machine with real delays.

pub mod diagnostic;
pub mod export;
pub mod image;
pub mod key;
pub mod language;
pub mod logic;
pub mod part;
pub mod quantity;
pub mod simulate;
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
