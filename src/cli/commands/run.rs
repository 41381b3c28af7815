//! `coldboard run`

use super::{read, step, unusable};
use crate::circuit::{Circuit, Signal};
use crate::cli::files::{outputs, suffixed, write};
use crate::cli::output::Output;
use crate::cli::{Arguments as All, Exit};
use crate::diagnostic::{Severity, any_error};
use crate::export::diagram::{DiagramOptions, diagram_with};
use crate::export::{report, vcd};
use crate::language::ast::{Corner, PowerUp, Radix, Trial};
use crate::logic::Level;
use crate::project::Project;
use crate::quantity::{Quantity, Temperature, Time};
use crate::sweep;
use crate::trial::{self, Options, Prepared, Report, Unattended};
use std::collections::BTreeSet;
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
    /// Which delays the parts take: fastest, typical, slowest, all (these three), random:SEED, random:1..20; several
    /// with commas between.
    #[arg(long, value_name = "CORNER")]
    pub corner: Option<String>,
    /// The temperature of the parts, such as `70C`; their delays hold for 0 to 70 C when none is given.
    #[arg(long, value_name = "TEMPERATURE", value_parser = temperature, allow_hyphen_values = true)]
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
    #[arg(long, value_name = "TIME", value_parser = time, requires = "diagram", allow_hyphen_values = true)]
    pub from: Option<Time>,
    /// Where the diagram ends.
    #[arg(long, value_name = "TIME", value_parser = time, requires = "diagram", allow_hyphen_values = true)]
    pub to: Option<Time>,
    /// Tell the chain of causes of a net's level: PATH, or PATH@TIME such as `A.r3@12.5us`.
    #[arg(long, value_name = "PATH[@TIME]")]
    pub why: Option<String>,
    /// Run without delays, for long programs: what depends on delays is refused, and nothing is said about timing.
    #[arg(long, conflicts_with_all = ["corner", "temperature", "why", "step", "vcd", "diagram"])]
    pub untimed: bool,
    /// Stop at each clock and wait for a person.
    #[arg(long, conflicts_with = "json")]
    pub step: bool,
}

/// A time of a run, such as `12.5us` or `12.5 us`.
fn time(text: &str) -> Result<Time, String> {
    if text.trim().is_empty() {
        return Err("a time is missing: write it as in 12.5us".to_owned());
    }
    let quantity = quantity(text)?;
    let time = quantity
        .as_time()
        .ok_or_else(|| format!("`{text}` is {}, not a time such as 12.5us", quantity.kind()))?;
    if time < Time::ZERO {
        return Err(format!("a run begins at 0, and `{text}` is before it"));
    }
    Ok(time)
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

/// The corners that are asked for; `None` stands for the trial's own.
fn corners(text: Option<&str>) -> Result<Vec<Option<Corner>>, String> {
    match text {
        None => Ok(vec![None]),
        Some(text) => Ok(sweep::corners(text)?.into_iter().map(Some).collect()),
    }
}

fn power_up(text: &str) -> Result<PowerUp, String> {
    match sweep::power_ups(text)?.as_slice() {
        [only] => Ok(*only),
        _ => Err(format!(
            "`{text}` is several states: `coldboard sweep` tries them all"
        )),
    }
}

/// Runs the trials.
pub fn run(arguments: &Arguments, all: &All, output: &mut Output) -> Exit {
    let asked = corners(arguments.corner.as_deref()).and_then(|corners| {
        pictures_are_meant(arguments)?;
        Ok((
            corners,
            arguments.power_up.as_deref().map(power_up).transpose()?,
        ))
    });
    let (corners, power_up) = match asked {
        Ok(asked) => asked,
        Err(sentence) => return unusable(output, &sentence),
    };
    let mut project = match read(&arguments.file, all, output) {
        Ok(project) => project,
        Err(exit) => return exit,
    };
    let files = [
        ("--vcd", arguments.vcd.as_deref()),
        ("--diagram", arguments.diagram.as_deref()),
    ];
    let chosen = outputs(project.paths(), &files).and_then(|()| choose(&project, arguments));
    let chosen = match chosen {
        Ok(chosen) => chosen,
        Err(sentence) => return unusable(output, &sentence),
    };
    let several = chosen.len() * corners.len() > 1;
    let mut reports: Vec<Report> = Vec::new();
    let mut beyond = false;
    // Several trials may be about one circuit.
    let mut checked: BTreeSet<String> = BTreeSet::new();
    let mut unsound: Vec<String> = Vec::new();
    for trial in chosen {
        let before = reports.len();
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
            if let Some((_, Some(time))) = options.why
                && time > report.end
            {
                output.remark(&format!(
                    "error: --why asks for {time}, but {} ended at {}",
                    report.trial, report.end
                ));
                beyond = true;
            }
            if !arguments.json {
                let gap = if reports.is_empty() { "" } else { "\n" };
                output.answer(&format!("{gap}{}", report::text(&report)));
            }
            if let Err(sentence) = pictures(arguments, &prepared, &report, several) {
                return unusable(output, &sentence);
            }
            reports.push(report);
        }
        let held = reports[before..].iter().any(|report| report.passed);
        if !arguments.json && held && checked.insert(circuit.name.clone()) {
            unsound.extend(at_rest(&circuit));
        }
    }
    for line in unsound {
        output.answer(&format!("\n{line}\n"));
    }
    if arguments.json {
        if let Err(sentence) = output.json(&reports) {
            return unusable(output, &sentence);
        }
    } else if reports.len() > 1 {
        let held = reports.iter().filter(|report| report.passed).count();
        output.answer(&format!("\n{held} of {} runs held\n", reports.len()));
    }
    if beyond {
        Exit::Unusable
    } else if reports.iter().all(|report| report.passed) {
        Exit::Good
    } else {
        Exit::Failed
    }
}

/// What the electrical check has against a design whose trial held: a run knows no voltages.
fn at_rest(circuit: &Circuit) -> Option<String> {
    let findings = crate::check::check(circuit);
    let errors = findings
        .iter()
        .filter(|finding| finding.diagnostic.severity == Severity::Error);
    let mut rules: Vec<&str> = errors.map(|finding| finding.rule).collect();
    rules.sort_unstable();
    rules.dedup();
    (!rules.is_empty()).then(|| {
        format!(
            "but `coldboard check` finds errors in {}, so that it may fail at the bench: {}",
            circuit.name,
            rules.join(", ")
        )
    })
}

/// The trials that are asked for.
fn choose(project: &Project, arguments: &Arguments) -> Result<Vec<Trial>, String> {
    let trials = project.trials();
    if trials.is_empty() {
        return Err(format!(
            "{} has no trial: write `trial NAME on BOARD {{ ... }}`",
            arguments.file.display()
        ));
    }
    if arguments.trials.is_empty() {
        return Ok(trials.to_vec());
    }
    let named = arguments.trials.iter();
    named
        .map(|name| project.trial_named(name).cloned())
        .collect()
}

fn options(
    arguments: &Arguments,
    circuit: &Circuit,
    prepared: &Prepared,
    corner: Option<Corner>,
    power_up: Option<PowerUp>,
) -> Result<Options, String> {
    let signal = |path: &str| circuit.signal(path).map_err(|error| error.line());
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
                return Err(step::one_of(circuit, path, &nets));
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

/// Looks at what is asked for beside the report, before anything is run.
fn pictures_are_meant(arguments: &Arguments) -> Result<(), String> {
    if !arguments.signals.is_empty() && arguments.vcd.is_none() && arguments.diagram.is_none() {
        return Err(
            "--signals says what to record: say with --vcd FILE or --diagram FILE where it goes"
                .to_owned(),
        );
    }
    if let (Some(from), Some(to)) = (arguments.from, arguments.to)
        && from >= to
    {
        return Err(format!(
            "the diagram would begin at {from} and end at {to}: --from must be the earlier one"
        ));
    }
    Ok(())
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
            of_run(path, report)
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
        if let Some(from) = arguments.from.filter(|&from| from >= report.end) {
            return Err(format!(
                "the diagram would begin at {from}, but {} ended at {}",
                report.trial, report.end
            ));
        }
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
fn of_run(path: &Path, report: &Report) -> PathBuf {
    let corner = match report.corner {
        Corner::Random(seed) => format!("random{seed}"),
        corner => report::corner_word(corner),
    };
    suffixed(path, &format!("{}-{corner}", report.trial))
}
