//! `coldboard run`

use super::{open, step, unusable};
use crate::circuit::{Circuit, Signal};
use crate::cli::files::write;
use crate::cli::output::Output;
use crate::cli::{Arguments as All, Exit};
use crate::diagnostic::any_error;
use crate::export::diagram::{DiagramOptions, diagram_with};
use crate::export::{report, vcd};
use crate::language::ast::{Corner, PowerUp, Radix};
use crate::logic::Level;
use crate::project::Project;
use crate::quantity::{Quantity, Temperature, Time};
use crate::trial::{self, Options, Prepared, Report, Unattended};
use std::path::{Path, PathBuf};

/// Run the trials of a design with real delays.
///
/// Ends with 0 when all held, 1 when an expectation or a requirement of a sheet did not, 2 when the input cannot be used.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// The design file.
    pub file: PathBuf,
    /// The trials to run; all of them when none is named.
    pub trials: Vec<String>,
    /// Which delays the parts take: fastest, typical, slowest, all (these three), or random:SEED.
    #[arg(long, value_name = "CORNER")]
    pub corner: Option<String>,
    /// The temperature of the parts, such as `70C`; their delays hold for 0 to 70 C when none is given.
    #[arg(long, value_name = "TEMPERATURE", value_parser = temperature)]
    pub temperature: Option<Temperature>,
    /// What storage holds at power-up: unknown, zero, one, or random:SEED.
    #[arg(long, value_name = "STATE")]
    pub power_up: Option<String>,
    /// Print the results as JSON.
    #[arg(long)]
    pub json: bool,
    /// Write the recorded signals as an IEEE 1364 VCD file.
    #[arg(long, value_name = "FILE")]
    pub vcd: Option<PathBuf>,
    /// Draw the recorded signals as a timing diagram (SVG).
    #[arg(long, value_name = "FILE")]
    pub diagram: Option<PathBuf>,
    /// The signals to record, with commas between; those that the trial speaks of when none is named, `all` for every net.
    #[arg(long, value_name = "PATHS", value_delimiter = ',')]
    pub signals: Vec<String>,
    /// Where the diagram begins.
    #[arg(long, value_name = "TIME", value_parser = time)]
    pub from: Option<Time>,
    /// Where the diagram ends.
    #[arg(long, value_name = "TIME", value_parser = time)]
    pub to: Option<Time>,
    /// Tell the chain of causes of a net's level: PATH, or PATH@TIME such as `A.r3@12.5us`.
    #[arg(long, value_name = "PATH[@TIME]")]
    pub why: Option<String>,
    /// Run without delays, for long programs: what depends on delays is refused, and nothing is said about timing.
    #[arg(long, conflicts_with_all = ["corner", "temperature", "why", "step", "vcd", "diagram"])]
    pub untimed: bool,
    /// Stop at each clock and wait for a person.
    #[arg(long)]
    pub step: bool,
}

/// A time such as `12.5us` or `12.5 us`.
fn time(text: &str) -> Result<Time, String> {
    let quantity = quantity(text)?;
    quantity
        .as_time()
        .ok_or_else(|| format!("`{text}` is {}, not a time such as 12.5us", quantity.kind()))
}

/// A temperature such as `70C`.
fn temperature(text: &str) -> Result<Temperature, String> {
    let quantity = quantity(text)?;
    let temperature = quantity.as_temperature().ok_or_else(|| {
        format!(
            "`{text}` is {}, not a temperature such as 70C",
            quantity.kind()
        )
    })?;
    trial::temperature(temperature)
}

fn quantity(text: &str) -> Result<Quantity, String> {
    text.parse::<Quantity>().map_err(|error| error.to_string())
}

fn seed(text: &str) -> Option<u64> {
    text.strip_prefix("random")
        .and_then(|rest| match rest.strip_prefix(':') {
            Some(number) => number.parse().ok(),
            None => rest.is_empty().then_some(1),
        })
}

/// The corners that are asked for; `None` stands for the trial's own.
fn corners(text: Option<&str>) -> Result<Vec<Option<Corner>>, String> {
    let Some(text) = text else {
        return Ok(vec![None]);
    };
    Ok(match text {
        "fastest" => vec![Some(Corner::Fastest)],
        "typical" => vec![Some(Corner::Typical)],
        "slowest" => vec![Some(Corner::Slowest)],
        "all" => vec![
            Some(Corner::Fastest),
            Some(Corner::Typical),
            Some(Corner::Slowest),
        ],
        other => match seed(other) {
            Some(seed) => vec![Some(Corner::Random(seed))],
            None => {
                return Err(format!(
                    "`{other}` is no corner: write fastest, typical, slowest, all or random:SEED"
                ));
            }
        },
    })
}

fn power_up(text: &str) -> Result<PowerUp, String> {
    Ok(match text {
        "unknown" => PowerUp::Unknown,
        "zero" => PowerUp::Zero,
        "one" => PowerUp::One,
        other => PowerUp::Random(seed(other).ok_or_else(|| {
            format!("`{other}` is no state: write unknown, zero, one or random:SEED")
        })?),
    })
}

/// Runs the trials.
pub fn run(arguments: &Arguments, all: &All, output: &mut Output) -> Exit {
    let asked = corners(arguments.corner.as_deref()).and_then(|corners| {
        Ok((
            corners,
            arguments.power_up.as_deref().map(power_up).transpose()?,
        ))
    });
    let (corners, power_up) = match asked {
        Ok(asked) => asked,
        Err(sentence) => return unusable(output, &sentence),
    };
    let mut project = match open(&arguments.file, all, output) {
        Ok(project) => project,
        Err(exit) => return exit,
    };
    if any_error(project.diagnostics()) {
        output.diagnostics(project.sources(), project.diagnostics());
        return Exit::Unusable;
    }
    output.diagnostics(project.sources(), project.diagnostics());
    let chosen = match choose(&project, arguments) {
        Ok(chosen) => chosen,
        Err(sentence) => return unusable(output, &sentence),
    };
    let several = chosen.len() * corners.len() > 1;
    let mut reports: Vec<Report> = Vec::new();
    for index in chosen {
        let trial = project.trials()[index].clone();
        let (circuit, problems) = project.circuit(Some(&trial.on.node));
        output.diagnostics(project.sources(), &problems);
        // A shorted supply leaves a circuit, but nothing that could be run.
        let Some(circuit) = circuit.filter(|_| !any_error(&problems)) else {
            return Exit::Unusable;
        };
        let images = |file: &crate::text::Spanned<String>| project.image(file);
        let prepared = match trial::prepare(&trial, &circuit, project.sources(), &images) {
            Ok(prepared) => prepared,
            Err(problems) => {
                output.diagnostics(project.sources(), &problems);
                return Exit::Unusable;
            }
        };
        for &corner in &corners {
            let options = match options(arguments, &circuit, &prepared, corner, power_up) {
                Ok(options) => options,
                Err(sentence) => return unusable(output, &sentence),
            };
            let report = if arguments.untimed {
                match trial::run_untimed(&prepared, &circuit, project.sources(), &options) {
                    Ok(report) => report,
                    Err(problems) => {
                        output.diagnostics(project.sources(), &problems);
                        return Exit::Unusable;
                    }
                }
            } else if arguments.step {
                let mut person = step::Person::new(&circuit, &prepared, output);
                trial::run(
                    &prepared,
                    &circuit,
                    project.sources(),
                    &options,
                    &mut person,
                )
            } else {
                trial::run(
                    &prepared,
                    &circuit,
                    project.sources(),
                    &options,
                    &mut Unattended,
                )
            };
            if !arguments.json {
                let gap = if reports.is_empty() { "" } else { "\n" };
                output.answer(&format!("{gap}{}", report::text(&report)));
            }
            if let Err(sentence) = pictures(arguments, &prepared, &report, several) {
                return unusable(output, &sentence);
            }
            reports.push(report);
        }
    }
    if arguments.json {
        match serde_json::to_string_pretty(&reports) {
            Ok(text) => output.answer(&format!("{text}\n")),
            Err(error) => {
                return unusable(
                    output,
                    &format!("the results cannot be written as JSON: {error}"),
                );
            }
        }
    } else if reports.len() > 1 {
        let held = reports.iter().filter(|report| report.passed).count();
        output.answer(&format!("\n{held} of {} runs held\n", reports.len()));
    }
    if reports.iter().all(|report| report.passed) {
        Exit::Good
    } else {
        Exit::Failed
    }
}

/// The trials that are asked for, as rows of the project's list.
fn choose(project: &Project, arguments: &Arguments) -> Result<Vec<usize>, String> {
    let trials = project.trials();
    let names: Vec<&str> = trials
        .iter()
        .map(|trial| trial.name.node.as_str())
        .collect();
    let file = arguments.file.display();
    if names.is_empty() {
        return Err(format!(
            "{file} has no trial: write `trial NAME on BOARD {{ ... }}`"
        ));
    }
    if arguments.trials.is_empty() {
        return Ok((0..names.len()).collect());
    }
    arguments
        .trials
        .iter()
        .map(|wanted| {
            names.iter().position(|name| name == wanted).ok_or_else(|| {
                let near = crate::diagnostic::did_you_mean(wanted, names.iter().copied());
                let help = near.unwrap_or_else(|| format!("it has: {}", names.join(", ")));
                format!("{file} has no trial `{wanted}`; {help}")
            })
        })
        .collect()
}

fn options(
    arguments: &Arguments,
    circuit: &Circuit,
    prepared: &Prepared,
    corner: Option<Corner>,
    power_up: Option<PowerUp>,
) -> Result<Options, String> {
    let signal = |path: &str| circuit.signal(path).map_err(|error| error.to_string());
    let recording = arguments.vcd.is_some() || arguments.diagram.is_some();
    let record: Vec<Signal> = match arguments.signals.as_slice() {
        _ if !recording => Vec::new(),
        [] => prepared.mentioned().to_vec(),
        [only] if only == "all" => circuit
            .nets
            .values()
            .map(|net| signal(&net.path))
            .collect::<Result<_, _>>()?,
        paths => paths
            .iter()
            .map(|path| signal(path.trim()))
            .collect::<Result<_, _>>()?,
    };
    let why = match &arguments.why {
        None => None,
        Some(question) => {
            let (path, at) = match question.rsplit_once('@') {
                Some((path, at)) => (path, Some(time(at)?)),
                None => (question.as_str(), None),
            };
            let nets = signal(path)?.nets;
            let [net] = nets.as_slice() else {
                return Err(format!(
                    "`{path}` has {} bits; ask for one of its nets",
                    nets.len()
                ));
            };
            Some((*net, at))
        }
    };
    Ok(Options {
        corner,
        temperature: arguments.temperature,
        power_up,
        record,
        why,
        causes: arguments.step,
    })
}

/// Writes the waveform file and the diagram of a run. Several runs get names of their own.
fn pictures(
    arguments: &Arguments,
    prepared: &Prepared,
    report: &Report,
    several: bool,
) -> Result<(), String> {
    let name = |path: &Path| {
        if several {
            beside(path, report)
        } else {
            path.to_owned()
        }
    };
    if let Some(path) = &arguments.vcd {
        let mut bytes = Vec::new();
        vcd::write(&report.waves, &report.on, &mut bytes).map_err(|error| error.to_string())?;
        write(&name(path), &bytes)?;
    }
    if let Some(path) = &arguments.diagram {
        let options = DiagramOptions {
            from: arguments.from.unwrap_or(report.waves.start),
            to: arguments.to.unwrap_or(report.waves.end),
            width: 1200,
            title: format!(
                "{} on {}, {}",
                report.trial,
                report.on,
                report::corner_word(report.corner)
            ),
            radix: Radix::Hex,
        };
        let words = |signal: &str, levels: &[Level]| prepared.look(signal)?.word(levels);
        let picture = diagram_with(&report.waves, &options, &words);
        write(&name(path), picture.as_bytes())?;
    }
    Ok(())
}

/// `waves.vcd` of the trial `tune` in the slowest corner is `waves-tune-slowest.vcd`.
fn beside(path: &Path, report: &Report) -> PathBuf {
    let stem = path.file_stem().unwrap_or_default().to_string_lossy();
    let extension = path.extension().unwrap_or_default().to_string_lossy();
    let corner = match report.corner {
        Corner::Random(seed) => format!("random{seed}"),
        corner => report::corner_word(corner),
    };
    path.with_file_name(format!("{stem}-{}-{corner}.{extension}", report.trial))
}
