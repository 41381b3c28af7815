//! `coldboard timing`

use super::open::{read, unusable, whole};
use crate::cli::exit::Exit;
use crate::cli::files::{outputs, suffixed, write};
use crate::cli::output::Output;
use crate::cli::shared::Shared;
use crate::diagnostic::{Diagnostic, any_error};
use crate::export::{timing_svg, timing_text};
use crate::timing::{Options, Parts, Report, analyse, sources};
use std::path::{Path, PathBuf};

/// Tell how fast a board or an assembly can be clocked, and what limits it.
///
/// The clocks are the oscillators, those of the trials, and those that are named here. Ends with 0 when everything holds
/// at these clocks, 1 when something does not, 2 when the design cannot be read or has storage and no clock.
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    /// The design file.
    pub file: PathBuf,
    /// The board or assembly; the assembly of the file when none is named.
    pub name: Option<String>,
    /// A clock: its net, its rate, and perhaps its share of high, as in `phi=2MHz` or `phi=2MHz,40%`.
    #[arg(long, value_name = "NET=RATE[,DUTY]", allow_hyphen_values = true)]
    pub clock: Vec<String>,
    /// How fast the parts are: fastest, typical, slowest, mixed (each anywhere between its fastest and slowest), or all.
    #[arg(long, value_name = "PARTS", default_value = "all")]
    pub corner: String,
    /// How many of the worst paths are shown step by step.
    #[arg(long, value_name = "N", default_value_t = 3, value_parser = whole(0..=1000), allow_negative_numbers = true)]
    pub paths: u16,
    /// Print the results as JSON.
    #[arg(long)]
    pub json: bool,
    /// Draw the slack of everything that must hold (SVG).
    #[arg(long, value_name = "FILE")]
    pub svg: Option<PathBuf>,
}

/// Analyses a design.
pub(crate) fn run(arguments: &Arguments, all: &Shared, output: &mut Output) -> Exit {
    let parts = match parts(&arguments.corner) {
        Ok(parts) => parts,
        Err(sentence) => return unusable(output, &sentence),
    };
    let mut project = match read(&arguments.file, all, output) {
        Ok(project) => project,
        Err(exit) => return exit,
    };
    if let Err(sentence) = outputs(project.paths(), &[("--svg", arguments.svg.as_deref())]) {
        return unusable(output, &sentence);
    }
    let (circuit, problems) = project.circuit(arguments.name.as_deref());
    output.diagnostics(project.sources(), &problems);
    let Some(circuit) = circuit.filter(|_| !any_error(&problems)) else {
        return Exit::Unusable;
    };
    // A clock that is named here counts before one of a trial.
    let mut named = Vec::new();
    for text in &arguments.clock {
        match sources::of_text(&circuit, text) {
            Ok(source) => named.push(source),
            Err(sentence) => return unusable(output, &sentence),
        }
    }
    match sources::of_trials(&circuit, project.trials()) {
        Ok(found) => named.extend(found),
        Err(problems) => {
            output.diagnostics(project.sources(), &problems);
            return Exit::Unusable;
        }
    }
    let options = Options { parts, sources: named, paths: usize::from(arguments.paths) };
    let report = analyse(&circuit, project.sources(), &options);
    output.diagnostics(project.sources(), &without_path(&report));
    if let Some(path) = &arguments.svg
        && let Err(sentence) = pictures(path, &report)
    {
        return unusable(output, &sentence);
    }
    if arguments.json {
        if let Err(sentence) = output.json(&report) {
            return unusable(output, &sentence);
        }
    } else {
        output.answer(&timing_text::text(&report));
    }
    if report.clocks.is_empty() && !report.unclocked.is_empty() {
        return Exit::Unusable;
    }
    if report.runs.iter().all(|run| run.holds()) { Exit::Good } else { Exit::Failed }
}

fn parts(text: &str) -> Result<Vec<Parts>, String> {
    if text == "all" {
        return Ok(Parts::ALL.to_vec());
    }
    let found = Parts::ALL.into_iter().find(|parts| parts.word() == text);
    found
        .map(|parts| vec![parts])
        .ok_or_else(|| format!("`{text}` is no speed of parts: write fastest, typical, slowest, mixed or all"))
}

/// Statements of unused paths that speak of no path.
fn without_path(report: &Report) -> Vec<Diagnostic> {
    let rows = report.unused.iter().filter(|row| !row.exists);
    rows.map(|row| {
        Diagnostic::warning("unused-path", "no path goes from the first end to the second")
            .at(row.span, "this matches nothing")
            .help("name the pins that the path goes through, the first one first, or take the line out")
    })
    .collect()
}

/// One picture a run; several get names of their own.
fn pictures(path: &Path, report: &Report) -> Result<(), String> {
    for run in &report.runs {
        let name = if report.runs.len() > 1 { suffixed(path, run.parts.word()) } else { path.to_owned() };
        write(&name, timing_svg::histogram(&report.on, run).as_bytes())?;
    }
    Ok(())
}
