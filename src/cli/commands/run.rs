//! `coldboard run`

use super::attend::ProgressReporter;
use super::open::{read, unusable};
use super::step;
use super::values::{corners, power_up, temperature, time};
use super::waveform::Waveform;
use crate::circuit::{Circuit, Signal};
use crate::cli::exit::Exit;
use crate::cli::files::{outputs, suffixed, write};
use crate::cli::output::Output;
use crate::cli::shared::Shared;
use crate::cli::signals;
use crate::diagnostic::{Severity, any_error, count};
use crate::export::diagram::{DiagramOptions, diagram_with};
use crate::export::report;
use crate::language::ast::{Corner, PowerUp, Radix, Trial};
use crate::logic::Level;
use crate::project::Project;
use crate::quantity::{Temperature, Time};
use crate::run::Sink;
use crate::text::Sources;
use crate::trial::{self, Interrupt, Keep, Memory, Options, Prepared, Record, Report};
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

/// Run the trials of a design with real delays.
///
/// Ends with 0 when all passed, 1 when an expectation or a data-sheet limit failed, 2 when the input cannot be used.
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
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
    /// Write the files of `record` statements into this folder.
    #[arg(long, value_name = "FOLDER")]
    pub record: Option<PathBuf>,
    /// Run without delays, for long programs: what depends on delays is refused, and nothing is said about timing.
    #[arg(long, conflicts_with_all = ["corner", "temperature", "why", "step", "vcd", "diagram"])]
    pub untimed: bool,
    /// Stop at each clock and wait for a person.
    #[arg(long, conflicts_with = "json")]
    pub step: bool,
    /// What a run may take beside the design itself, for causes and for diagrams: 512MB when nothing is said.
    #[arg(long, value_name = "SIZE", default_value = "512MB", hide_default_value = true, allow_hyphen_values = true)]
    pub memory: Memory,
    /// Tell every 10 seconds how far a run is, where nobody watches at a terminal.
    #[arg(short, long)]
    pub verbose: bool,
}

/// Runs the trials.
pub(crate) fn run(arguments: &Arguments, all: &Shared, output: &mut Output) -> Exit {
    let asked = corners(arguments.corner.as_deref()).and_then(|corners| {
        pictures_are_meant(arguments)?;
        let power_up = arguments.power_up.as_deref().map(power_up).transpose()?;
        Ok((corners, power_up))
    });
    let (corners, power_up) = match asked {
        Ok(asked) => asked,
        Err(sentence) => return unusable(output, &sentence),
    };
    let mut project = match read(&arguments.file, all, output) {
        Ok(project) => project,
        Err(exit) => return exit,
    };
    let files = [("--vcd", arguments.vcd.as_deref()), ("--diagram", arguments.diagram.as_deref())];
    let chosen = outputs(project.paths(), &files).and_then(|()| choose(&project, arguments));
    let chosen = match chosen {
        Ok(chosen) => chosen,
        Err(sentence) => return unusable(output, &sentence),
    };
    let wanted = chosen.len() * corners.len();
    // A person who steps has `quit` for it.
    let _signal_guard = (!arguments.step).then(signals::attend);
    let paths: Vec<PathBuf> = project.paths().map(Path::to_owned).collect();
    let mut ran = Ran::default();
    for trial in chosen {
        if ran.is_interrupted() {
            break;
        }
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
        let mut run = Run {
            arguments,
            sources: project.sources(),
            circuit: &circuit,
            prepared: &prepared,
            several: wanted > 1,
            paths: &paths,
            output: &mut *output,
        };
        for &corner in &corners {
            if ran.is_interrupted() {
                break;
            }
            if let Err(exit) = run.one(corner, power_up, &mut ran) {
                // What was run is told all the same; the command ends with what went wrong.
                if arguments.json && !ran.reports.is_empty() {
                    let _ = output.json(&ran.reports);
                }
                return exit;
            }
        }
        let passed = ran.reports.iter().any(|report| report.passed && report.on == circuit.name);
        if !arguments.json && passed && ran.checked.insert(circuit.name.clone()) {
            ran.unsound.extend(at_rest(&circuit));
        }
    }
    finish(arguments, ran, wanted, output)
}

/// What came of several runs.
#[derive(Default)]
struct Ran {
    reports: Vec<Report>,
    /// A question asked for a time behind the end of a run.
    beyond: bool,
    /// Circuits that were checked: several trials may be about one.
    checked: BTreeSet<String>,
    /// What was found there.
    unsound: Vec<String>,
}

impl Ran {
    /// True when no further run is to begin. A run that was over before it looked tells nothing of an interruption.
    fn is_interrupted(&self) -> bool {
        signals::interrupted() || self.was_interrupted()
    }

    /// True when the last run was interrupted.
    fn was_interrupted(&self) -> bool {
        self.reports.last().is_some_and(|report| report.interrupted)
    }
}

/// The last words, and how the command ends.
fn finish(arguments: &Arguments, ran: Ran, wanted: usize, output: &mut Output) -> Exit {
    let not_run = wanted - ran.reports.len();
    let interrupted = ran.was_interrupted() || not_run > 0;
    for line in ran.unsound {
        output.answer(&format!("\n{line}\n"));
    }
    let reports = ran.reports;
    if arguments.json {
        if let Err(sentence) = output.json(&reports) {
            return unusable(output, &sentence);
        }
    } else if wanted > 1 {
        let passed = reports.iter().filter(|report| report.passed).count();
        output.answer(&format!("\n{passed} of {wanted} runs passed\n"));
    }
    if not_run > 0 {
        let runs = count(not_run, "run");
        output.remark(&format!("interrupted: {runs} not begun"));
    }
    let fails = |report: &Report| !report.failures.is_empty() || !report.faults.is_empty();
    if ran.beyond {
        Exit::Unusable
    } else if reports.iter().any(fails) {
        Exit::Failed
    } else if interrupted {
        Exit::Interrupted
    } else {
        Exit::Good
    }
}

/// One trial, to be run in one corner or several.
struct Run<'r> {
    arguments: &'r Arguments,
    sources: &'r Sources,
    circuit: &'r Circuit,
    prepared: &'r Prepared,
    /// Several runs are wanted, whose files get names of their own.
    several: bool,
    /// The files of the design, which nothing overwrites.
    paths: &'r [PathBuf],
    output: &'r mut Output,
}

impl Run<'_> {
    /// Runs it once, and tells what came of it.
    ///
    /// # Errors
    /// When the command cannot go on.
    fn one(&mut self, corner: Option<Corner>, power_up: Option<PowerUp>, ran: &mut Ran) -> Result<(), Exit> {
        let arguments = self.arguments;
        let options = options(arguments, self.circuit, self.prepared, corner, power_up);
        let options = options.map_err(|sentence| unusable(self.output, &sentence))?;
        let (report, written) = self.report(&options)?;
        if let Some((_, Some(time))) = options.why
            && time > report.end
        {
            let (word, ended) = match report.interrupted {
                true => ("", "was interrupted"),
                false => ("error: ", "ended"),
            };
            self.output.remark(&format!("{word}--why asks for {time}, but {} {ended} at {}", report.trial, report.end));
            ran.beyond |= !report.interrupted;
        }
        if !arguments.json {
            let gap = if ran.reports.is_empty() { "" } else { "\n" };
            self.output.answer(&format!("{gap}{}", report::text(&report)));
        }
        let recorded = self.records(&report);
        let drawn = self.diagram(&report).and(recorded);
        ran.reports.push(report);
        written.and(drawn).map_err(|sentence| unusable(self.output, &sentence))
    }

    /// The report, and what became of the waveform file: a run of an hour is told of even when the disk is full.
    fn report(&mut self, options: &Options) -> Result<(Report, Result<(), String>), Exit> {
        let (arguments, sources) = (self.arguments, self.sources);
        let (prepared, circuit) = (self.prepared, self.circuit);
        if arguments.untimed {
            let mut progress_reporter = ProgressReporter::new(self.output, &prepared.name, arguments.verbose);
            let report = trial::run_untimed(prepared, circuit, sources, options, &mut progress_reporter);
            drop(progress_reporter);
            let report = report.map_err(|problems| {
                self.output.diagnostics(sources, &problems);
                Exit::Unusable
            })?;
            return Ok((report, Ok(())));
        }
        let mut waveform = match self.waveform(options) {
            Ok(waveform) => waveform,
            Err(sentence) => return Err(unusable(self.output, &sentence)),
        };
        let stream = waveform.as_mut().map(|waveform| waveform as &mut dyn Sink);
        let report = if arguments.step {
            let mut person = step::InteractiveSession::new(circuit, prepared, self.output);
            trial::run_streaming(prepared, circuit, sources, options, &mut person, stream)
        } else {
            let mut progress_reporter = ProgressReporter::new(self.output, &prepared.name, arguments.verbose);
            trial::run_streaming(prepared, circuit, sources, options, &mut progress_reporter, stream)
        };
        let written = waveform.map_or(Ok(()), |waveform| waveform.finish(report.end));
        Ok((report, written))
    }

    /// The waveform file, begun.
    fn waveform(&self, options: &Options) -> Result<Option<Waveform>, String> {
        let Some(path) = &self.arguments.vcd else {
            return Ok(None);
        };
        let corner = options.corner.or(self.prepared.corner);
        let path = self.named(path, corner.unwrap_or(Corner::Typical));
        Waveform::begin(&path, self.circuit, &options.stream).map(Some)
    }

    /// `waves.vcd` of the trial `tune` in the slowest corner is `waves-tune-slowest.vcd`, where there are several runs.
    fn named(&self, path: &Path, corner: Corner) -> PathBuf {
        if !self.several {
            return path.to_owned();
        }
        let corner = match corner {
            Corner::Random(seed) => format!("random{seed}"),
            corner => report::corner_word(corner).to_owned(),
        };
        suffixed(path, &format!("{}-{corner}", self.prepared.name))
    }

    /// Writes the vectors that the trial recorded.
    fn records(&mut self, report: &Report) -> Result<(), String> {
        for recorded in &report.records {
            if recorded.cut {
                self.output.remark(&format!("{}: cut after {} rows", recorded.file, recorded.lines.len() - 1));
            }
            let Some(folder) = &self.arguments.record else {
                self.output.remark(&format!("{} is not written: name a folder with --record", recorded.file));
                continue;
            };
            let path = self.named(&folder.join(&recorded.file), report.corner);
            outputs(self.paths.iter().map(PathBuf::as_path), &[("--record", Some(&path))])?;
            let text = recorded.lines.iter().flat_map(|line| [line, "\n"]).collect::<String>();
            write(&path, text.as_bytes())?;
        }
        Ok(())
    }

    /// Draws the diagram that is asked for.
    fn diagram(&mut self, report: &Report) -> Result<(), String> {
        let arguments = self.arguments;
        let Some(path) = &arguments.diagram else {
            return Ok(());
        };
        if let Some(from) = arguments.from.filter(|&from| from >= report.end) {
            if report.interrupted {
                self.output.remark(&format!(
                    "no diagram: it would begin at {from}, but {} was interrupted at {}",
                    report.trial, report.end
                ));
                return Ok(());
            }
            return Err(format!("the diagram would begin at {from}, but {} ended at {}", report.trial, report.end));
        }
        let from = arguments.from.unwrap_or(Time::ZERO);
        if report.waves.start > from {
            self.output.remark(&format!(
                "the diagram of {} begins at {}: there was no room for what came before (--from and --to draw a part of the run, --memory gives more room)",
                report.trial, report.waves.start
            ));
        }
        let options = DiagramOptions {
            from: from.max(report.waves.start),
            to: arguments.to.unwrap_or(report.waves.end),
            width: 1200,
            title: format!("{} on {}, {}", report.trial, report.on, report::corner_word(report.corner)),
            radix: Radix::Hex,
        };
        let words = |signal: &str, levels: &[Level]| self.prepared.look(signal)?.word(levels);
        let picture = diagram_with(&report.waves, &options, &words);
        write(&self.named(path, report.corner), picture.as_bytes())
    }
}

/// What the electrical check has against a design whose trial passed: a run knows no voltages.
fn at_rest(circuit: &Circuit) -> Option<String> {
    let findings = crate::check::check(circuit);
    let errors = findings.iter().filter(|finding| finding.diagnostic.severity == Severity::Error);
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
        return Err(format!("{} has no trial: write `trial NAME on BOARD {{ ... }}`", arguments.file.display()));
    }
    if arguments.trials.is_empty() {
        return Ok(trials.to_vec());
    }
    let named = arguments.trials.iter();
    named.map(|name| project.trial_named(name).cloned()).collect()
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
    let signals: Vec<Signal> = match arguments.signals.as_slice() {
        _ if !recording => Vec::new(),
        [] => prepared.mentioned().to_vec(),
        [only] if only == "all" => circuit.nets.values().map(|net| signal(&net.path)).collect::<Result<_, _>>()?,
        paths => paths.iter().map(|path| signal(path.trim())).collect::<Result<_, _>>()?,
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
        stream: if arguments.vcd.is_some() { signals.clone() } else { Vec::new() },
        record: Record {
            signals: if arguments.diagram.is_some() { signals } else { Vec::new() },
            from: arguments.from,
            to: arguments.to,
            keep: Keep::Last,
        },
        why,
        memory: arguments.memory,
        interrupt: Interrupt((!arguments.step).then_some(signals::interrupted as fn() -> bool)),
    })
}

/// Looks at what is asked for beside the report, before anything is run.
fn pictures_are_meant(arguments: &Arguments) -> Result<(), String> {
    if !arguments.signals.is_empty() && arguments.vcd.is_none() && arguments.diagram.is_none() {
        return Err("--signals says what to record: say with --vcd FILE or --diagram FILE where it goes".to_owned());
    }
    if let (Some(from), Some(to)) = (arguments.from, arguments.to)
        && from >= to
    {
        return Err(format!("the diagram would begin at {from} and end at {to}: --from must be the earlier one"));
    }
    Ok(())
}
