//! `coldboard sweep`

use super::attend::ELSEWHERE;
use super::open::{read, unusable, whole};
use crate::cli::exit::Exit;
use crate::cli::files::{Disk, Journal as JournalFile, outputs, write};
use crate::cli::output::Output;
use crate::cli::shared::Shared;
use crate::cli::signals;
use crate::export::{sweep_csv, sweep_svg, sweep_text};
use crate::sweep::{self, Asked, Clock, Plan, Row, Slice, Sweep, journal};
use crate::text::Files;
use crate::trial::Interrupt;
use std::path::{Path, PathBuf};
use std::time::Instant;

/// Run trials over a grid of clock rates, supply voltages, temperatures, corners and power-up states, on all cores.
///
/// Values are written with commas between, and as ranges: 1MHz..10MHz/10 are ten values, 4.5V..5.5V/0.5V goes in steps.
/// What is not asked for stays as the trial and the design say. Ends with 0 when all points passed (or a highest rate was
/// found for each), 1 when some did not, 2 when the input cannot be used.
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    /// The design file.
    pub file: PathBuf,
    /// The trials to run; all of them when none is named.
    pub trials: Vec<String>,
    /// Clock rates such as 1MHz,2.5MHz, ten of them as 1MHz..10MHz/10, or in steps as 1MHz..10MHz/0.5MHz: of the trial's
    /// clock, of the only oscillator, or of the net or oscillator that is named.
    #[arg(long, value_name = "[NAME=]RATES", allow_hyphen_values = true)]
    pub clock: Option<String>,
    /// Look for the highest rate at which all passes, as in 1MHz..50MHz/0.1MHz: from, to, and how finely.
    #[arg(long, value_name = "[NAME=]FROM..TO[/STEP]", conflicts_with = "clock", allow_hyphen_values = true)]
    pub highest: Option<String>,
    /// How many lower rates are tried once the highest one is found.
    #[arg(long, value_name = "N", default_value_t = 8, value_parser = whole(0..=1000), allow_negative_numbers = true)]
    pub samples: u16,
    /// Voltages, written in the same ways: of the bench supplies, of the rails of a board alone, or of the one that is
    /// named.
    #[arg(long, value_name = "[NAME=]VOLTAGES", allow_hyphen_values = true)]
    pub voltage: Option<String>,
    /// Temperatures of the parts, written in the same ways.
    #[arg(long, value_name = "TEMPERATURES", allow_hyphen_values = true)]
    pub temperature: Option<String>,
    /// Corners: fastest, typical, slowest, all (these three), random:SEED, random:1..20.
    #[arg(long, value_name = "CORNERS")]
    pub corner: Option<String>,
    /// What storage holds at power-up: unknown, zero, one, random:SEED, random:1..20.
    #[arg(long, value_name = "STATES")]
    pub power_up: Option<String>,
    /// Cores to work on; all of them when no number is given. The results do not depend on it.
    #[arg(long, value_name = "N", value_parser = whole(1..=1024), allow_negative_numbers = true)]
    pub cores: Option<u16>,
    /// Run one part of the grid only: 3/16 is the third of sixteen. `coldboard merge` puts their journals together.
    #[arg(long, value_name = "K/N")]
    pub slice: Option<Slice>,
    /// Keep a journal: a line for each point as soon as it is there.
    #[arg(long, value_name = "FILE", conflicts_with = "go_on")]
    pub journal: Option<PathBuf>,
    /// Go on with a journal that was cut off.
    #[arg(long = "continue", value_name = "FILE")]
    pub go_on: Option<PathBuf>,
    /// Tell every 10 seconds how many points are done, where nobody watches at a terminal.
    #[arg(short, long)]
    pub verbose: bool,
    /// How the results are shown.
    #[command(flatten)]
    pub views: Views,
}

/// How the results of a sweep are shown.
#[derive(Debug, clap::Args)]
pub(crate) struct Views {
    /// Write the results as comma-separated values.
    #[arg(long, value_name = "FILE")]
    pub csv: Option<PathBuf>,
    /// Draw pass and fail over two axes (SVG).
    #[arg(long, value_name = "FILE")]
    pub svg: Option<PathBuf>,
    /// Print the results as JSON.
    #[arg(long)]
    pub json: bool,
    /// The axis from left to right: trial, voltage, temperature, corner, power-up or clock.
    #[arg(long, value_name = "AXIS")]
    pub across: Option<String>,
    /// The axis from top to bottom.
    #[arg(long, value_name = "AXIS")]
    pub down: Option<String>,
}

fn asked(arguments: &Arguments) -> Result<Asked, String> {
    let mut asked = Asked {
        trials: arguments.trials.clone(),
        slice: arguments.slice,
        interrupt: Interrupt(Some(signals::interrupted)),
        ..Asked::default()
    };
    if let Some(text) = &arguments.voltage {
        let (name, values) = sweep::named(text);
        asked.supply = name.map(str::to_owned);
        asked.voltages = sweep::voltages(values)?;
    }
    if let Some(text) = &arguments.temperature {
        asked.temperatures = sweep::temperatures(text)?;
    }
    if let Some(text) = &arguments.corner {
        asked.corners = sweep::corners(text)?;
    }
    if let Some(text) = &arguments.power_up {
        asked.power_ups = sweep::power_ups(text)?;
    }
    if let Some(text) = arguments.clock.as_ref().or(arguments.highest.as_ref()) {
        let (name, values) = sweep::named(text);
        asked.clock_name = name.map(str::to_owned);
        asked.clock = match arguments.highest {
            None => Clock::Rates(sweep::frequencies(values)?),
            Some(_) => Clock::Highest(sweep::range(values)?, usize::from(arguments.samples)),
        };
    }
    Ok(asked)
}

/// Runs the sweep.
pub(crate) fn run(arguments: &Arguments, all: &Shared, output: &mut Output) -> Exit {
    let asked = match asked(arguments) {
        Ok(asked) => asked,
        Err(sentence) => return unusable(output, &sentence),
    };
    let project = match read(&arguments.file, all, output) {
        Ok(project) => project,
        Err(exit) => return exit,
    };
    let [csv, svg] = arguments.views.files();
    let files = [("--journal", arguments.journal.as_deref()), ("--continue", arguments.go_on.as_deref()), csv, svg];
    if let Err(sentence) = outputs(project.paths(), &files) {
        return unusable(output, &sentence);
    }
    let plan = match Plan::new(&project, asked) {
        Ok(plan) => plan,
        Err(problems) => {
            output.diagnostics(project.sources(), &problems);
            return Exit::Unusable;
        }
    };
    let attention = signals::attend();
    let swept = swept(arguments, &plan, output).and_then(|sweep| {
        arguments.views.show(&sweep, output)?;
        Ok(sweep)
    });
    let sweep = match swept {
        Ok(sweep) => sweep,
        Err(sentence) => return unusable(output, &sentence),
    };
    let (done, total) = (sweep.rows.len(), plan.header().slice_points().count());
    if signals::interrupted() && done < total {
        let journal = arguments.journal.as_ref().or(arguments.go_on.as_ref());
        let further = journal.map_or_else(
            || "with --journal FILE what is done is kept, and --continue FILE goes on".to_owned(),
            |path| format!("--continue {} goes on", path.display()),
        );
        output.remark(&format!("interrupted after {done} of {total} points: {further}"));
        if sweep.rows.iter().all(Row::is_good) {
            return Exit::Interrupted;
        }
    }
    drop(attention);
    if sweep.is_good() { Exit::Good } else { Exit::Failed }
}

/// Runs what is not in the journal yet.
fn swept(arguments: &Arguments, plan: &Plan<'_>, output: &mut Output) -> Result<Sweep, String> {
    let mut known = Vec::new();
    let mut file = None;
    if let Some(path) = &arguments.go_on {
        let journal = taken_up(path, plan)?;
        for line in damaged(&path.display().to_string(), &journal) {
            output.remark(&format!("warning: {line}: its point is run again"));
        }
        let text = journal::whole(&journal.header, &journal.rows);
        file = Some(JournalFile::begin(path, &text)?);
        known = journal.rows;
    } else if let Some(path) = &arguments.journal {
        if path.exists() {
            return Err(format!(
                "{0} is there already: go on with it by --continue {0}, or name another file",
                path.display()
            ));
        }
        file = Some(JournalFile::begin(path, &journal::line(plan.header()))?);
    }
    let cores = arguments.cores.map(usize::from);
    let cores = cores.unwrap_or_else(|| std::thread::available_parallelism().map_or(1, usize::from));
    let total = plan.header().slice_points().count();
    let mut done = known.len();
    let mut good = known.iter().filter(|row| row.is_good()).count();
    let watched = output.is_interactive();
    let mut told = Instant::now();
    let mut each = |row: &Row| {
        if let Some(file) = &mut file {
            file.append(&journal::line(row))?;
        }
        done += 1;
        good += usize::from(row.is_good());
        if watched {
            output.progress(&progress(done, total, good));
        } else if arguments.verbose && told.elapsed() >= ELSEWHERE {
            output.remark(&format!("{done} of {total} points, {good} passed"));
            told = Instant::now();
        }
        Ok(())
    };
    let sweep = sweep::work(plan, cores, known, &mut each);
    if watched {
        output.progress("");
    }
    sweep
}

/// A journal that fits the plan.
fn taken_up(path: &Path, plan: &Plan<'_>) -> Result<journal::Journal, String> {
    let journal = read_journal(path)?;
    if let Some(why) = journal::unlike(plan.header(), &journal.header) {
        return Err(format!("{} cannot be gone on with: {why}. Begin a new journal", path.display()));
    }
    Ok(journal)
}

/// A journal.
pub(super) fn read_journal(path: &Path) -> Result<journal::Journal, String> {
    journal::read(&path.display().to_string(), &Disk.read(path)?)
}

/// The damaged lines of a journal, each with its place.
pub(super) fn damaged(name: &str, journal: &journal::Journal) -> Vec<String> {
    let lines = journal.damaged.iter();
    lines.map(|line| format!("{name}:{line}: this line is damaged, its checksum does not fit")).collect()
}

/// `[######....]  12 of 30 points, 10 passed`.
fn progress(done: usize, total: usize, good: usize) -> String {
    const WIDTH: usize = 30;
    let full = done * WIDTH / total.max(1);
    format!("[{}{}]  {done} of {total} points, {good} passed", "#".repeat(full), ".".repeat(WIDTH - full.min(WIDTH)))
}

impl Views {
    /// The options that name files, with their files.
    pub(super) fn files(&self) -> [(&'static str, Option<&Path>); 2] {
        [("--csv", self.csv.as_deref()), ("--svg", self.svg.as_deref())]
    }

    /// Writes the files and prints the answer.
    pub(super) fn show(&self, sweep: &Sweep, output: &mut Output) -> Result<(), String> {
        let (across, down) = (self.across.as_deref(), self.down.as_deref());
        let text = sweep_text::text(sweep, across, down)?;
        if let Some(path) = &self.csv {
            write(path, sweep_csv::csv(sweep).as_bytes())?;
        }
        if let Some(path) = &self.svg {
            write(path, sweep_svg::svg(sweep, across, down)?.as_bytes())?;
        }
        if self.json {
            output.json(sweep)?;
        } else {
            output.answer(&text);
        }
        Ok(())
    }
}
