//! The command line: dispatch, exit codes, and the only place that touches disk and terminal.

#![allow(clippy::disallowed_methods, reason = "what no other room may do is done here")]

pub(crate) mod commands;
mod exit;
pub mod files;
pub(crate) mod output;
mod shared;
pub(crate) mod signals;

use crate::text::escape::escape;
use clap::error::{ContextKind, ContextValue};
use clap::{Parser, Subcommand};
use exit::Exit;
use output::{Colour, Ended, Output};
use shared::Shared;
use std::ffi::OsString;
use std::process::ExitCode;

/// Write boards of 74-series logic down as they physically are, check them before ordering, run them with real delays.
#[derive(Debug, Parser)]
#[command(name = "coldboard", version, max_term_width = 100)]
pub(crate) struct Arguments {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
    /// What all commands take.
    #[command(flatten)]
    pub shared: Shared,
}

/// The commands, one file each.
#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    /// Find what is electrically wrong with a board or an assembly.
    Check(commands::check::Arguments),
    /// Run the trials of a design with real delays.
    Run(commands::run::Arguments),
    /// Tell what chips, boards and supplies draw, at rest or while a trial runs.
    Power(commands::power::Arguments),
    /// Run trials over a grid of clock rates, voltages, temperatures and corners.
    Sweep(commands::sweep::Arguments),
    /// Compare a design with itself as it would be with other chips.
    Refit(commands::refit::Arguments),
    /// Put the journals of the slices of a sweep together.
    Merge(commands::merge::Arguments),
    /// Tell how fast a board or an assembly can be clocked, and what limits it.
    Timing(commands::timing::Arguments),
    /// Print design or part files in their canonical layout.
    Format(commands::format::Arguments),
    /// Draw the boards of a design and the cables between them.
    Picture(commands::picture::Arguments),
    /// Print the page of a check rule, or list the rules.
    Rule(commands::rule::Arguments),
    /// Print the page of a part, draw its package, or verify a part file.
    Part(commands::part::Arguments),
    /// List the parts of the library, or the gaps of their sheets.
    Library(commands::library::Arguments),
    /// Tell what memories hold, and write it for a programmer.
    Rom(commands::rom::Arguments),
    /// Print the reference of the language.
    Reference(commands::reference::Arguments),
}

/// Reads the arguments, runs the command, and says how it ended.
pub fn main() -> ExitCode {
    signals::watch();
    let given: Vec<OsString> = std::env::args_os().collect();
    let arguments = match Arguments::try_parse_from(&given) {
        Ok(arguments) => arguments,
        Err(error) => return usage(&given, error),
    };
    let mut output = Output::new(arguments.shared.colour);
    let shared = &arguments.shared;
    let exit = match &arguments.command {
        Command::Check(command) => commands::check::run(command, shared, &mut output),
        Command::Run(command) => commands::run::run(command, shared, &mut output),
        Command::Power(command) => commands::power::run(command, shared, &mut output),
        Command::Sweep(command) => commands::sweep::run(command, shared, &mut output),
        Command::Refit(command) => commands::refit::run(command, shared, &mut output),
        Command::Merge(command) => commands::merge::run(command, &mut output),
        Command::Timing(command) => commands::timing::run(command, shared, &mut output),
        Command::Format(command) => commands::format::run(command, &mut output),
        Command::Picture(command) => commands::picture::run(command, shared, &mut output),
        Command::Rule(command) => commands::rule::run(command, &mut output),
        Command::Part(command) => commands::part::run(command, shared, &mut output),
        Command::Library(command) => commands::library::run(command, shared, &mut output),
        Command::Rom(command) => commands::rom::run(command, shared, &mut output),
        Command::Reference(command) => commands::reference::run(command, &mut output),
    };
    ended(&output, exit)
}

/// Prints help, or what is wrong with the arguments.
fn usage(given: &[OsString], error: clap::Error) -> ExitCode {
    // The message repeats arguments between its own colours, so that it is made anew from harmless ones.
    let harmless = given.iter().map(|argument| escape(&argument.to_string_lossy()).into_owned());
    let (error, is_harmless) = match Arguments::try_parse_from(harmless) {
        Err(harmless) => (harmless, true),
        Ok(_) => (error, false),
    };
    let pairs = given.iter().zip(given.iter().skip(1));
    let asks = |word: &str| {
        let joined = format!("--colour={word}");
        let apart = |(a, b): (&OsString, &OsString)| a == "--colour" && b == word;
        given.iter().any(|argument| *argument == *joined) || pairs.clone().any(apart)
    };
    let colour = match (asks("always"), asks("never")) {
        _ if !is_harmless => Colour::Never,
        (true, false) => Colour::Always,
        (false, true) => Colour::Never,
        _ => Colour::Auto,
    };
    let error = with_present_name(error);
    let mut output = Output::new(colour);
    // Help and version are answers, not mistakes.
    let is_answer = !error.use_stderr();
    output.usage(&error.render(), is_answer);
    let exit = if is_answer { Exit::Good } else { Exit::Unusable };
    ended(&output, exit)
}

/// Names the command that an old name stands for.
fn with_present_name(mut error: clap::Error) -> clap::Error {
    let present = match error.get(ContextKind::InvalidSubcommand) {
        Some(ContextValue::String(old)) if old == "swap" => "refit",
        Some(ContextValue::String(old)) if old == "image" => "rom",
        _ => return error,
    };
    error.insert(ContextKind::SuggestedSubcommand, ContextValue::Strings(vec![present.to_owned()]));
    error
}

/// The verdict, when the answer could be written.
fn ended(output: &Output, exit: Exit) -> ExitCode {
    match output.ended() {
        // The verdict is that of the result, whether or not somebody read it to its end.
        None | Some(Ended::ReaderGone) => exit.into(),
        Some(Ended::Broken) => Exit::Unusable.into(),
    }
}
