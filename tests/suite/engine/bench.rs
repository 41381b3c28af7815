//! A bench for the engine: a design as text, a machine on it, and a record of every change.

use coldboard::circuit::{ChipKey, Circuit, DiscreteKey, NetKey, elaborate};
use coldboard::diagnostic::{Diagnostic, any_error};
use coldboard::language::ast::{Corner, PowerUp};
use coldboard::language::parse;
use coldboard::logic::Level;
use coldboard::part::Library;
use coldboard::project::Project;
use coldboard::quantity::Time;
use coldboard::run::{NullSink, Pause, Settings, Sink};
use coldboard::simulate::Machine;
use coldboard::text::{MemoryFiles, Spanned};
use coldboard::trial;
use std::path::Path;
use std::sync::Arc;

/// The circuit of a design without errors. Its parts stand beside those of the library.
pub(crate) fn circuit(text: &str) -> Circuit {
    let mut library = Library::built_in();
    let file = library.add_source("test.board", text);
    let (tree, problems) = parse(file, text);
    assert!(!any_error(&problems), "{problems:?}");
    library.add(&tree);
    let problems = library.problems();
    assert!(!any_error(&problems), "{problems:?}");
    let (circuit, problems) = elaborate(None, &[tree], &library);
    assert!(!any_error(&problems), "{problems:?}");
    circuit.expect("a circuit")
}

/// The circuit of one board: rails, feeding of U1 to U99 and the like are the text's own business.
pub(crate) fn board(parts: &str, body: &str) -> Circuit {
    circuit(&format!("{parts}\nboard test {{ rail VCC 5 V  rail GND\n{body}\n}}"))
}

/// Settings without causes.
pub(crate) fn settings(corner: Corner, power_up: PowerUp) -> Settings {
    Settings { temperature: None, corner, power_up, ..Settings::TYPICAL }
}

/// The moment so many nanoseconds after power-up.
pub(crate) fn ns(count: i64) -> Time {
    Time::from_ns(count)
}

/// The moment so many picoseconds after power-up.
pub(crate) fn ps(count: i64) -> Time {
    Time::from_ps(count)
}

/// Every change of the watched nets.
#[derive(Clone, Debug, Default)]
pub(crate) struct Changes(pub(crate) Vec<(Time, NetKey, Level)>);

impl Sink for Changes {
    fn change(&mut self, time: Time, net: NetKey, level: Level) {
        self.0.push((time, net, level));
    }
}

/// A machine whose every net is watched, with hands to work it.
pub(crate) struct Run<'c> {
    pub(crate) circuit: &'c Circuit,
    pub(crate) machine: Machine<'c>,
    pub(crate) changes: Changes,
    /// Another machine on the same circuit, to which the same is done.
    pub(crate) twin: Option<Machine<'c>>,
}

impl<'c> Run<'c> {
    /// A machine in the typical corner with unknown storage that drives these nets.
    pub(crate) fn new(circuit: &'c Circuit, stimuli: &[&str]) -> Run<'c> {
        Run::with(circuit, settings(Corner::Typical, PowerUp::Unknown), stimuli)
    }

    pub(crate) fn with(circuit: &'c Circuit, settings: Settings, stimuli: &[&str]) -> Run<'c> {
        let nets: Vec<NetKey> = stimuli.iter().map(|path| circuit.net(path).expect(path)).collect();
        let mut machine = Machine::new(circuit, settings, &nets);
        for net in circuit.nets.keys() {
            machine.watch(net, true);
        }
        Run { circuit, machine, changes: Changes::default(), twin: None }
    }

    /// The machine, and its twin if it has one.
    pub(crate) fn both(&mut self, mut act: impl FnMut(&mut Machine<'c>)) {
        act(&mut self.machine);
        self.twin.iter_mut().for_each(act);
    }

    pub(crate) fn net(&self, path: &str) -> NetKey {
        self.circuit.net(path).expect(path)
    }

    pub(crate) fn chip(&self, path: &str) -> ChipKey {
        self.circuit.chip(path).expect(path)
    }

    pub(crate) fn discrete(&self, path: &str) -> DiscreteKey {
        self.circuit.discrete(path).expect(path)
    }

    /// Drives nets from now on: `"clk=0 d=1 e=Z"`.
    pub(crate) fn set(&mut self, levels: &str) -> &mut Self {
        for pair in levels.split_whitespace() {
            let (path, level) = pair.split_once('=').expect("name=level");
            let level = level.chars().next().and_then(Level::from_char);
            let (net, level) = (self.net(path), level.expect("a level"));
            self.both(|machine| machine.set(net, level));
        }
        self
    }

    /// Runs up to a moment.
    pub(crate) fn to(&mut self, time: Time) -> &mut Self {
        let pause = self.machine.advance(time, &mut self.changes);
        assert_eq!(pause, Pause::Reached, "at {}", self.machine.now());
        if let Some(twin) = &mut self.twin {
            assert_eq!(twin.advance(time, &mut NullSink), Pause::Reached);
        }
        self
    }

    /// Runs for a time.
    pub(crate) fn run(&mut self, time: Time) -> &mut Self {
        self.to(self.machine.now() + time)
    }

    /// Runs until nothing is on its way.
    pub(crate) fn settle(&mut self) -> &mut Self {
        while let Some(time) = self.machine.next_event() {
            self.to(time);
        }
        self
    }

    /// The levels of nets as the standard's characters: `levels("q3 q2 q1 q0")` is such as `01XZ`.
    pub(crate) fn levels(&self, paths: &str) -> String {
        let nets = paths.split_whitespace().map(|path| self.net(path));
        nets.map(|net| self.machine.level(net).to_char()).collect()
    }

    /// The changes of one net so far: `"0@10ns 1@12.5ns"` in nanoseconds.
    pub(crate) fn wave(&self, path: &str) -> String {
        let net = self.net(path);
        let changes = self.changes.0.iter().filter(|change| change.1 == net);
        let text = changes.map(|(time, _, level)| format!("{}@{}", level.to_char(), time.ns()));
        text.collect::<Vec<_>>().join(" ")
    }

    /// Forgets the changes so far.
    pub(crate) fn forget(&mut self) -> &mut Self {
        self.changes.0.clear();
        self
    }

    /// What the sheets say was not met, as sentences.
    pub(crate) fn violations(&self) -> Vec<String> {
        let violations = self.machine.violations();
        violations.iter().map(|violation| violation.sentence(self.circuit)).collect()
    }
}

/// The nets of `stem0`, `stem1`, ... as a bus, the most significant first.
pub(crate) fn bus(circuit: &Circuit, stem: &str, bits: usize) -> Vec<NetKey> {
    let net = |bit: usize| {
        let path = format!("{stem}{bit}");
        circuit.net(&path).expect("a bit of the bus")
    };
    (0..bits).rev().map(net).collect()
}

/// Drives a bus.
pub(crate) fn drive(machine: &mut Machine<'_>, nets: &[NetKey], value: u64) {
    for (bit, &net) in nets.iter().rev().enumerate() {
        let high = value >> bit & 1 == 1;
        machine.set(net, if high { Level::One } else { Level::Zero });
    }
}

/// Runs until nothing is on its way, without a record.
pub(crate) fn quiet(machine: &mut Machine<'_>) {
    while let Some(time) = machine.next_event() {
        assert_eq!(machine.advance(time, &mut NullSink), Pause::Reached);
    }
}

/// A design with one trial, and what came of it.
pub(crate) struct Trial {
    project: Project,
    trial: coldboard::language::ast::Trial,
    pub(crate) circuit: Arc<Circuit>,
}

impl Trial {
    /// A design without errors, with the images that it loads.
    pub(crate) fn open(text: &str, images: &[(&str, &[u8])]) -> Trial {
        let files = MemoryFiles::default().with("t.board", text);
        let files = images.iter().fold(files, |files, (path, bytes)| files.with(path, *bytes));
        let mut project = Project::open(&files, Path::new("t.board"), Library::built_in());
        assert!(!any_error(project.diagnostics()), "{:?}", project.diagnostics());
        let trial = project.trials()[0].clone();
        let (circuit, problems) = project.circuit(Some(&trial.on.node));
        assert!(!any_error(&problems), "{problems:?}");
        Trial { project, trial, circuit: circuit.expect("a circuit") }
    }

    fn prepared(&self) -> Result<trial::Prepared, Vec<Diagnostic>> {
        let images = |file: &Spanned<String>| self.project.image(file);
        trial::prepare(&self.trial, &self.circuit, self.project.sources(), &images)
    }

    /// Runs it.
    pub(crate) fn run(&self, options: &trial::Options) -> trial::Report {
        let prepared = self.prepared().expect("no mistakes");
        let sources = self.project.sources();
        trial::run(&prepared, &self.circuit, sources, options, &mut trial::Unattended)
    }

    /// What is wrong with it: code, message, and the text that it points at.
    pub(crate) fn mistakes(&self) -> Vec<String> {
        let problems = self.prepared().expect_err("a mistake");
        let line = |problem: &Diagnostic| {
            let at = problem.labels.first().map(|label| label.span);
            let slice = at.map_or("", |span| self.project.sources().slice(span));
            format!("{}: {} | {slice}", problem.code, problem.message)
        };
        problems.iter().map(line).collect()
    }
}

/// Runs the one trial of a design.
pub(crate) fn run_trial(text: &str) -> trial::Report {
    Trial::open(text, &[]).run(&trial::Options::default())
}

/// What failed and what was at fault, one line each: `t.board:1:2 what: found`.
pub(crate) fn told(report: &trial::Report) -> Vec<String> {
    let failures = report
        .failures
        .iter()
        .map(|failure| format!("{} {}: {} at {}", failure.place, failure.expectation, failure.found, failure.time));
    let faults = report.faults.iter().map(|fault| format!("{} {}: {}", fault.kind, fault.place, fault.text));
    failures.chain(faults).collect()
}
