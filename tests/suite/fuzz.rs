//! Fuzzing: whatever comes in, nothing panics, hangs or grows without bound, and what must hold of every input holds.
//!
//! A target is a function that takes bytes and panics on a defect. Its corpus stands in `tests/corpus/TARGET/`: seeds
//! that the program accepts, and, under names that begin with `found`, inputs that once were a defect. `cargo test` tries
//! the corpus and some hundred mutations of it, the same ones every time; `.ci/long` tries as many as wanted.

mod commands;
mod corpus;
mod images;
mod journals;
mod language;
mod large;
mod mutate;
mod parts;
mod process;
mod recipe;
mod soak;
mod steps;

use std::path::PathBuf;

/// What is fuzzed.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Target {
    /// The name of its folder.
    name: &'static str,
    /// Panics on a defect.
    one: fn(&[u8]),
    /// Panics when a seed is not accepted.
    accepted: fn(&[u8]),
    /// Mutations that `cargo test` tries.
    quick: u64,
    /// How many of 1000 inputs of a soak it gets.
    share: u64,
}

const TARGETS: [Target; 6] = [
    Target { name: "language", one: language::one, accepted: language::accepted, quick: 200, share: 150 },
    Target { name: "parts", one: parts::one, accepted: parts::accepted, quick: 150, share: 100 },
    Target { name: "images", one: images::one, accepted: images::accepted, quick: 600, share: 450 },
    Target { name: "journals", one: journals::one, accepted: journals::accepted, quick: 400, share: 280 },
    Target { name: "steps", one: steps::one, accepted: steps::accepted, quick: 60, share: 10 },
    Target { name: "commands", one: commands::one, accepted: commands::accepted, quick: 60, share: 10 },
];

fn target(name: &str) -> &'static Target {
    let found = TARGETS.iter().find(|target| target.name == name);
    found.unwrap_or_else(|| panic!("there is no target {name}"))
}

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

#[test]
fn designs_of_any_kind_are_read_checked_timed_and_run() {
    soak::quick(target("language"));
}

#[test]
fn part_files_of_any_kind_are_verified() {
    soak::quick(target("parts"));
}

#[test]
fn image_files_of_any_kind_are_read_and_written_back() {
    soak::quick(target("images"));
}

#[test]
fn journals_of_any_kind_are_merged_and_gone_on_with() {
    soak::quick(target("journals"));
}

#[test]
fn lines_of_any_kind_are_answered_at_a_clock() {
    soak::quick(target("steps"));
}

#[test]
fn command_lines_of_any_kind_end_with_0_1_or_2() {
    soak::quick(target("commands"));
}

#[test]
fn large_files_are_read_in_time_that_grows_with_them() {
    soak::each(target("language"), large::designs());
    soak::each(target("parts"), large::parts());
    soak::each(target("journals"), large::journals());
}

#[test]
#[ignore = "takes as long as COLDBOARD_SOAK says: .ci/long"]
fn soak_all() {
    soak::all();
}
