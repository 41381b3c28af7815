//! `coldboard power`

use super::attend::ProgressReporter;
use super::open::{read, unusable};
use crate::circuit::{Circuit, NetKey, Signal};
use crate::cli::exit::Exit;
use crate::cli::output::Output;
use crate::cli::shared::Shared;
use crate::cli::signals;
use crate::diagnostic::any_error;
use crate::electrical::OperatingPoint;
use crate::electrical::power::{Activity, Power};
use crate::electrical::power_distribution::power_distribution;
use crate::export::power::{PowerReport, Run, json, text};
use crate::key::KeyVec;
use crate::logic::Level;
use crate::quantity::Time;
use crate::quantity::si::{Hertz, Seconds};
use crate::run::Sink;
use crate::trial::{self, Interrupt, Options};
use std::path::PathBuf;

/// Tell what chips, boards and supplies draw, at rest or while a trial runs.
///
/// Ends with 0, with 1 when the trial does not pass, with 2 when the design cannot be read, with 130 when the trial is
/// interrupted before anything failed.
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    /// The design file.
    pub file: PathBuf,
    /// The trial whose switching counts; the machine at rest when none is named.
    pub trial: Option<String>,
    /// The board or assembly, when no trial is named; the assembly of the file when neither is. A board by the name that it
    /// has in the assembly is told as it is there.
    #[arg(long, value_name = "NAME", conflicts_with = "trial")]
    pub on: Option<String>,
    /// Print the figures as JSON.
    #[arg(long)]
    pub json: bool,
}

/// Tells what a design draws.
pub(crate) fn run(arguments: &Arguments, all: &Shared, output: &mut Output) -> Exit {
    let mut project = match read(&arguments.file, all, output) {
        Ok(project) => project,
        Err(exit) => return exit,
    };
    let mut chosen = None;
    if let Some(name) = &arguments.trial {
        match project.trial_named(name) {
            Ok(trial) => chosen = Some(trial.clone()),
            Err(sentence) => return unusable(output, &sentence),
        }
    }
    let mut on = arguments.on.as_deref();
    let mut only = None;
    if let (Some(name), (Some(whole), _)) = (on, project.circuit(None)) {
        let mut boards = whole.boards.iter().filter(|_| whole.assembly);
        only = boards.find(|(_, board)| board.path == name).map(|(key, _)| key);
        on = on.filter(|_| only.is_none());
    }
    if let Some(trial) = &chosen {
        on = Some(trial.on.node.as_str());
        only = None;
    }
    let (circuit, problems) = project.circuit(on);
    output.diagnostics(project.sources(), &problems);
    let Some(circuit) = circuit.filter(|_| !any_error(&problems)) else {
        return Exit::Unusable;
    };
    let mut ran = None;
    let mut activity = None;
    if let Some(tree) = chosen {
        let images = |file: &crate::text::Spanned<String>| project.image(file);
        let prepared = match trial::prepare(&tree, &circuit, project.sources(), &images) {
            Ok(prepared) => prepared,
            Err(problems) => {
                output.diagnostics(project.sources(), &problems);
                return Exit::Unusable;
            }
        };
        let options = Options {
            stream: every_net(&circuit),
            interrupt: Interrupt(Some(signals::interrupted)),
            ..Options::default()
        };
        let mut rises = Rises(KeyVec::filled(circuit.nets.len(), (Level::U, 0)));
        let _signal_guard = signals::attend();
        let mut progress_reporter = ProgressReporter::new(output, &prepared.name, false);
        let sources = project.sources();
        let stream = Some(&mut rises as &mut dyn Sink);
        let report = trial::run_streaming(&prepared, &circuit, sources, &options, &mut progress_reporter, stream);
        drop(progress_reporter);
        if report.interrupted {
            output.remark(&format!("interrupted: the figures are those of the first {}", report.end));
        }
        activity = Some(rises.in_a_second(report.end));
        ran = Some(Run {
            trial: report.trial.clone(),
            time: report.end,
            passed: report.passed,
            interrupted: report.interrupted && report.failures.is_empty() && report.faults.is_empty(),
        });
    }
    let operating_point = OperatingPoint::new(&circuit);
    let power = Power::new(&circuit, &operating_point, activity.as_ref());
    let figures = PowerReport {
        circuit: &circuit,
        power: &power,
        net_currents: &power_distribution(&circuit, &operating_point, &power).nets,
        run: ran.as_ref(),
        only,
    };
    if arguments.json {
        output.answer_json(&json(figures));
    } else {
        output.answer(&text(figures));
    }
    match ran {
        Some(run) if run.interrupted => Exit::Interrupted,
        Some(run) if !run.passed => Exit::Failed,
        _ => Exit::Good,
    }
}

fn every_net(circuit: &Circuit) -> Vec<Signal> {
    let signal = |(key, net): (_, &crate::circuit::Net)| Signal { path: net.path.clone(), nets: vec![key] };
    circuit.nets.iter().map(signal).collect()
}

/// How often each net has risen, and its level.
struct Rises(KeyVec<NetKey, (Level, u64)>);

impl Sink for Rises {
    fn change(&mut self, _: Time, net: NetKey, level: Level) {
        let (last, count) = &mut self.0[net];
        *count += u64::from(!last.is_high() && level.is_high() && *last != Level::U);
        *last = level;
    }
}

impl Rises {
    /// How often each net rose in a second, in a run of some time.
    fn in_a_second(&self, time: Time) -> Activity {
        let Seconds(seconds) = time.seconds();
        let mut activity: Activity = KeyVec::filled(self.0.len(), Hertz::ZERO);
        for (net, &(_, count)) in self.0.iter() {
            if seconds > 0.0 {
                activity[net] = Hertz(count as f64 / seconds);
            }
        }
        activity
    }
}
