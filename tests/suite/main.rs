//! The tests that look at the crate from outside, one file an area.

#![allow(clippy::disallowed_methods, reason = "tests read files and clocks")]

mod behaviour;
mod blocks;
mod check;
mod circuit;
mod cli;
mod contents;
mod control_words;
mod designs;
mod dunlin;
mod electrical;
mod electrical_examples;
mod engine;
mod export;
mod fuzz;
mod language;
mod library;
mod long_runs;
mod messages;
mod model;
mod networks;
mod pages;
mod programs;
mod readings;
mod reference;
mod refit;
mod repetition;
mod rules;
mod sweep;
mod terminal;
mod texts;
mod tidy;
mod timing;
mod timing_limits;
mod untimed;
