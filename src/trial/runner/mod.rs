//! Running a prepared trial, step by step.

mod blocks;
mod expectations;
mod following;
mod found;
mod instructions;
mod stimulus;
mod strobe;
mod tables;
mod together;
mod unfilled;
mod vectors;
mod waiting;
mod watched;

use super::observer::{Goal, Observer, Progress, Unattended};
use super::options::Options;
use super::prepare::{Node, Prepared, Step, When};
use super::recorder::{Recorder, nets_of};
use super::report::Report;
use super::switches::Fed;
use crate::circuit::{ChipKey, Circuit, NetKey};
use crate::diagnostic::Diagnostic;
use crate::language::ast::Corner;
use crate::logic::Level;
use crate::quantity::Time;
use crate::run::wave::Waves;
use crate::run::{Engine, Settings, Sink};
use crate::simulate::Machine;
use crate::text::{Sources, Span};
use crate::untimed;
use following::Follower;
use rustc_hash::FxHashMap;
use std::collections::BTreeMap;
use unfilled::Unfilled;
use watched::{Awaited, ClockCounter, Never, Sequence, Show};

/// Runs a trial.
pub fn run(
    prepared: &Prepared,
    circuit: &Circuit,
    sources: &Sources,
    options: &Options,
    observer: &mut dyn Observer,
) -> Report {
    run_streaming(prepared, circuit, sources, options, observer, None)
}

/// Runs a trial. The changes of [`Options::stream`] go to a stream as they come, the levels at the beginning first.
pub fn run_streaming(
    prepared: &Prepared,
    circuit: &Circuit,
    sources: &Sources,
    options: &Options,
    observer: &mut dyn Observer,
    stream: Option<&mut dyn Sink>,
) -> Report {
    let fed = Fed::new(prepared, circuit, observer.has_hands());
    let mut machine = timed(prepared, &fed, options);
    machine.keep_past(options.memory.0 / 2);
    let machine = Box::new(machine);
    // As short a life as that of all else here.
    let stream = stream.map(|stream| -> &mut dyn Sink { stream });
    Runner::on(machine, prepared, &fed, sources, options, stream).run(observer)
}

/// Runs a trial with nobody looking on: the same result, but for the causes of what failed.
pub fn run_once(prepared: &Prepared, circuit: &Circuit, sources: &Sources, options: &Options) -> Report {
    let fed = Fed::new(prepared, circuit, false);
    let machine = Box::new(timed(prepared, &fed, options));
    Runner::on(machine, prepared, &fed, sources, options, None).run(&mut Unattended)
}

/// The engine with delays.
fn timed<'f>(prepared: &Prepared, fed: &'f Fed<'_>, options: &Options) -> Machine<'f> {
    Machine::new(&fed.circuit, settings(prepared, options), &prepared.stimuli)
}

/// Runs a trial without delays.
///
/// # Errors
/// What is in the circuit that comes out only by delays, each at its place.
pub fn run_untimed(
    prepared: &Prepared,
    circuit: &Circuit,
    sources: &Sources,
    options: &Options,
    observer: &mut dyn Observer,
) -> Result<Report, Vec<Diagnostic>> {
    let fed = Fed::new(prepared, circuit, false);
    let settings = settings(prepared, options);
    let machine = Box::new(untimed::Machine::new(&fed.circuit, settings, &prepared.stimuli)?);
    let mut runner = Runner::on(machine, prepared, &fed, sources, options, None);
    runner.report.untimed = true;
    Ok(runner.run(observer))
}

/// The trial's corner, temperature and power-up, or those that are asked for in their place.
fn settings(prepared: &Prepared, options: &Options) -> Settings {
    let corner = options.corner.or(prepared.corner);
    Settings {
        corner: corner.unwrap_or(Corner::Typical),
        temperature: options.temperature.or(prepared.temperature),
        power_up: options.power_up.unwrap_or(prepared.power_up),
        ..Settings::TYPICAL
    }
}

struct Runner<'a> {
    prepared: &'a Prepared,
    circuit: &'a Circuit,
    fed: &'a Fed<'a>,
    sources: &'a Sources,
    options: &'a Options,
    machine: Box<dyn Engine + 'a>,
    recorder: Recorder<'a>,
    report: Report,
    clock: Option<ClockCounter>,
    sequences: Vec<Sequence>,
    nevers: Vec<Never>,
    shows: Vec<Show>,
    /// The table of each `show now`, by its place.
    shown: BTreeMap<Span, usize>,
    /// The row of vectors that is compared at the next clock.
    awaited: Option<Awaited>,
    /// What the trial drives nets to, and since when.
    driven: FxHashMap<NetKey, (Time, Level)>,
    /// Nets that were driven to two levels at one moment: when first, and how often.
    pulses: Vec<(NetKey, Time, u64)>,
    follower: Follower,
    loaded: Vec<ChipKey>,
    unfilled: Unfilled,
    marks: Vec<(Time, NetKey, String)>,
    /// The period of the slowest clock that the trial gives.
    longest_clock: Time,
    ended: bool,
}

impl Runner<'_> {
    /// How far it is, told to the observer; and the end, if it is interrupted.
    fn progress(&mut self, goal: Goal, observer: &mut dyn Observer) {
        let clocks = self.clock.as_ref().map(|clock| clock.rises);
        let now = self.machine.now();
        observer.progress(Progress { now, clocks, goal });
        if self.options.interrupt.is_wanted() {
            self.report.interrupted = true;
            self.ended = true;
        }
    }
}

impl<'a> Runner<'a> {
    fn on(
        mut machine: Box<dyn Engine + 'a>,
        prepared: &'a Prepared,
        fed: &'a Fed<'a>,
        sources: &'a Sources,
        options: &'a Options,
        stream: Option<&'a mut dyn Sink>,
    ) -> Runner<'a> {
        let circuit = &*fed.circuit;
        let settings = settings(prepared, options);
        let bytes = options.memory.0 / 4;
        let mut recorder = Recorder::new(circuit, &options.record, bytes, stream);
        let signals = options.record.signals.iter().chain(&options.stream);
        for net in nets_of(signals) {
            machine.watch(net, true);
            recorder.change(Time::ZERO, net, machine.level(net));
        }
        machine.pause_to_look(true);
        let clock = prepared.clock_net.map(|net| {
            machine.stop_at(net, true);
            ClockCounter { net, level: machine.level(net), rises: 0, moved: Time::ZERO }
        });
        Runner {
            prepared,
            circuit,
            fed,
            sources,
            options,
            recorder,
            clock,
            sequences: Vec::new(),
            nevers: Vec::new(),
            shows: Vec::new(),
            shown: BTreeMap::new(),
            awaited: None,
            driven: FxHashMap::default(),
            pulses: Vec::new(),
            follower: Follower::default(),
            loaded: Vec::new(),
            unfilled: Unfilled::new(circuit),
            marks: Vec::new(),
            longest_clock: Time::ZERO,
            ended: false,
            report: Report {
                trial: prepared.name.clone(),
                on: circuit.name.clone(),
                untimed: false,
                corner: settings.corner,
                temperature: settings.temperature,
                power_up: settings.power_up,
                passed: false,
                interrupted: false,
                end: Time::ZERO,
                clocks: 0,
                expectations_passed: 0,
                failures: Vec::new(),
                faults: Vec::new(),
                notes: Vec::new(),
                tables: Vec::new(),
                records: Vec::new(),
                remarks: Vec::new(),
                rules: Vec::new(),
                counters: machine.counters(),
                why: Vec::new(),
                waves: Waves::default(),
            },
            machine,
        }
    }

    fn run(mut self, observer: &mut dyn Observer) -> Report {
        let prepared = self.prepared;
        for (node, span) in &prepared.steps {
            if self.ended {
                break;
            }
            match node {
                Node::Step(step) => self.step(step, *span, observer),
                Node::Block(statement) => self.block(statement, *span, observer),
            }
        }
        self.finish();
        self.report
    }

    fn step(&mut self, step: &Step, span: Span, observer: &mut dyn Observer) {
        match step {
            Step::Remark(text) => {
                if !self.report.remarks.contains(text) {
                    self.report.remarks.push(text.clone());
                }
            }
            Step::Vectors(vectors, every) => self.vectors(vectors, *every, span, observer),
            Step::Record(file, when, signals) => {
                self.begun(observer);
                self.open_record(file, when, signals);
            }
            Step::Clock(net, low, high) => {
                self.longest_clock = self.longest_clock.max(*low + *high);
                self.machine.clock(*net, *low, *high);
            }
            Step::Load(chip, image, offset) => self.load(*chip, image, *offset, span),
            Step::Set(signal, value) => self.set(signal, *value),
            Step::Release(signal) => self.release(signal),
            Step::Contacts(contacts) => {
                contacts.iter().for_each(|&(contact, position)| self.machine.contact(contact, position));
            }
            Step::Drive(..) | Step::Press(..) | Step::Pulse(..) => self.together(&[step], span, observer),
            Step::Together(steps) => self.together(&steps.iter().collect::<Vec<_>>(), span, observer),
            Step::Run(wait) => self.pass(wait, span, observer),
            Step::Until(ready, wait) => {
                self.ended |= !self.expect_within(ready, wait, span, observer);
            }
            Step::Within(ready, wait) => {
                self.expect_within(ready, wait, span, observer);
            }
            Step::Expect(ready) => self.expect(ready, span, observer),
            Step::Throughout(ready, wait) => self.expect_throughout(ready, wait, span, observer),
            Step::Never(ready) => self.expect_never(ready, span, observer),
            Step::Sequence { edge, strobe, signal, values, more } => {
                self.begun(observer);
                let strobe = self.strobe(strobe);
                self.keep(signal);
                self.sequences.push(Sequence {
                    edge: *edge,
                    strobe,
                    signal: signal.clone(),
                    values: values.clone(),
                    more: *more,
                    next: 0,
                    failed: false,
                    span,
                });
            }
            Step::ShowInstructions(fields) => {
                self.begun(observer);
                self.show_instructions(fields);
            }
            Step::Profile => {
                self.begun(observer);
                self.profile();
            }
            Step::Agree => {
                self.begun(observer);
                self.agree(span);
            }
            Step::Show(when, fields) => {
                if matches!(when, When::Now) {
                    self.moment(observer);
                    self.show_now(fields, span);
                } else {
                    self.begun(observer);
                    self.open_table(when, fields);
                }
            }
        }
    }

    fn finish(&mut self) {
        if !self.report.interrupted {
            self.close_expectations();
            self.finish_instructions();
        }
        self.report.end = self.machine.now();
        self.report.clocks = self.clock.as_ref().map_or(0, |clock| clock.rises);
        self.report.counters = self.machine.counters();
        self.findings();
        self.pulses_of_no_length();
        // Behind the end nothing has a cause.
        let end = self.machine.now();
        if let Some((net, time)) = self.options.why
            && time.is_none_or(|time| time <= end)
        {
            self.report.why = self.machine.why(net, time.unwrap_or(end));
        }
        self.report.waves = self.recorder.waves(self.circuit, &self.options.record.signals, self.machine.now());
        self.place_marks();
        self.report.passed =
            self.report.failures.is_empty() && self.report.faults.is_empty() && !self.report.interrupted;
    }
}
