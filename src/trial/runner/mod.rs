//! Running a prepared trial, step by step.

mod bench;
mod expectations;
mod found;
mod stimulus;
mod strobe;
mod tables;
mod unfilled;
mod waiting;

use super::prepare::{Prepared, Step, When};
use super::recorder::{Recorder, nets_of};
use super::report::Report;
use super::switches::Fed;
use crate::circuit::{ChipKey, Circuit, NetKey, Signal};
use crate::diagnostic::Diagnostic;
use crate::language::ast::{Corner, PowerUp};
use crate::quantity::{Temperature, Time};
use crate::simulate::wave::Waves;
use crate::simulate::{Machine, Settings};
use crate::text::{Sources, Span};
use crate::untimed;
use bench::Bench;
use expectations::{Never, Sequence};
use tables::Show;
use unfilled::Unfilled;
use waiting::ClockCounter;

/// What a person or a test may ask of a run.
#[derive(Clone, Debug, Default)]
pub struct Options {
    /// Instead of the trial's own corner.
    pub corner: Option<Corner>,
    /// Instead of the trial's own temperature.
    pub temperature: Option<Temperature>,
    /// Instead of the trial's own power-up.
    pub power_up: Option<PowerUp>,
    /// Signals to record.
    pub record: Vec<Signal>,
    /// The net whose causes are wanted, and when; at the end when no time is given.
    pub why: Option<(NetKey, Option<Time>)>,
    /// True to keep causes from the beginning: what the observer does would be missing in a second run.
    pub causes: bool,
}

/// Who looks on while a trial runs.
pub trait Observer {
    /// True when it may work contacts and drive nets.
    fn has_hands(&self) -> bool {
        true
    }

    /// A clock has been counted; false ends the trial there. The observer may put its hands on the machine.
    fn clock(&mut self, machine: &mut Machine<'_>, clocks: u64) -> bool;
}

/// Nobody looks on.
#[derive(Clone, Copy, Debug, Default)]
pub struct Unattended;

impl Observer for Unattended {
    fn has_hands(&self) -> bool {
        false
    }

    fn clock(&mut self, _: &mut Machine<'_>, _: u64) -> bool {
        true
    }
}

/// Runs a trial. When something did not hold, it is run a second time with causes kept, so that the report can say
/// why; both runs are the same to the picosecond.
pub fn run(
    prepared: &Prepared,
    circuit: &Circuit,
    sources: &Sources,
    options: &Options,
    observer: &mut dyn Observer,
) -> Report {
    let asked = options.why.is_some() || options.causes;
    let fed = Fed::new(prepared, circuit, observer.has_hands());
    let report = Runner::new(prepared, &fed, sources, options, asked).run(observer);
    if report.failures.is_empty() || asked {
        return report;
    }
    Runner::new(prepared, &fed, sources, options, true).run(&mut Unattended)
}

/// Runs a trial once, with nobody looking on: the same result, but for the causes of what did not hold.
pub fn run_once(
    prepared: &Prepared,
    circuit: &Circuit,
    sources: &Sources,
    options: &Options,
) -> Report {
    let fed = Fed::new(prepared, circuit, false);
    Runner::new(prepared, &fed, sources, options, false).run(&mut Unattended)
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
) -> Result<Report, Vec<Diagnostic>> {
    let (corner, temperature, power_up) = conditions(prepared, options);
    let settings = untimed::Settings {
        corner,
        temperature,
        power_up,
    };
    let fed = Fed::new(prepared, circuit, false);
    let machine = untimed::Machine::new(&fed.circuit, settings, &prepared.stimuli)?;
    let bench = Bench::Untimed(Box::new(machine));
    Ok(Runner::on(bench, prepared, &fed, sources, options).run(&mut Unattended))
}

/// The trial's corner, temperature and power-up, or those that are asked for in their place.
fn conditions(prepared: &Prepared, options: &Options) -> (Corner, Option<Temperature>, PowerUp) {
    let corner = options.corner.or(prepared.corner);
    (
        corner.unwrap_or(Corner::Typical),
        options.temperature.or(prepared.temperature),
        options.power_up.unwrap_or(prepared.power_up),
    )
}

struct Runner<'a> {
    prepared: &'a Prepared,
    circuit: &'a Circuit,
    fed: &'a Fed<'a>,
    sources: &'a Sources,
    options: &'a Options,
    machine: Bench<'a>,
    recorder: Recorder,
    report: Report,
    clock: Option<ClockCounter>,
    sequences: Vec<Sequence>,
    nevers: Vec<Never>,
    shows: Vec<Show>,
    loaded: Vec<ChipKey>,
    unfilled: Unfilled,
    marks: Vec<(Time, NetKey, String)>,
    /// The period of the slowest clock that the trial gives.
    longest_clock: Time,
    ended: bool,
}

impl<'a> Runner<'a> {
    fn new(
        prepared: &'a Prepared,
        fed: &'a Fed<'a>,
        sources: &'a Sources,
        options: &'a Options,
        history: bool,
    ) -> Runner<'a> {
        let (corner, temperature, power_up) = conditions(prepared, options);
        let settings = Settings {
            corner,
            temperature,
            power_up,
            history,
        };
        let machine = Machine::new(&fed.circuit, settings, &prepared.stimuli);
        let bench = Bench::Timed(Box::new(machine));
        Runner::on(bench, prepared, fed, sources, options)
    }

    fn on(
        mut machine: Bench<'a>,
        prepared: &'a Prepared,
        fed: &'a Fed<'a>,
        sources: &'a Sources,
        options: &'a Options,
    ) -> Runner<'a> {
        let circuit = &*fed.circuit;
        let (corner, temperature, power_up) = conditions(prepared, options);
        let mut recorder = Recorder::new(circuit);
        for net in nets_of(&options.record) {
            machine.watch(net, true);
            recorder.begin(Time::ZERO, net, machine.level(net));
        }
        let clock = prepared.clock_net.map(|net| {
            machine.stop_at(net, true);
            ClockCounter {
                net,
                level: machine.level(net),
                rises: 0,
                moved: Time::ZERO,
            }
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
            loaded: Vec::new(),
            unfilled: Unfilled::new(circuit),
            marks: Vec::new(),
            longest_clock: Time::ZERO,
            ended: false,
            report: Report {
                trial: prepared.name.clone(),
                on: circuit.name.clone(),
                untimed: machine.is_untimed(),
                corner,
                temperature,
                power_up,
                passed: false,
                end: Time::ZERO,
                clocks: 0,
                held: 0,
                failures: Vec::new(),
                faults: Vec::new(),
                notes: Vec::new(),
                tables: Vec::new(),
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
        for (step, span) in &prepared.steps {
            if self.ended {
                break;
            }
            self.step(step, *span, observer);
        }
        self.finish();
        self.report
    }

    fn step(&mut self, step: &Step, span: Span, observer: &mut dyn Observer) {
        match step {
            Step::Remark(text) => self.report.remarks.push(text.clone()),
            Step::Clock(net, low, high) => {
                self.longest_clock = self.longest_clock.max(*low + *high);
                self.machine.clock(*net, *low, *high);
            }
            Step::Load(chip, image, offset) => self.load(*chip, image, *offset, span),
            Step::Set(signal, value) => self.set(signal, *value),
            Step::Release(signal) => self.release(signal),
            Step::Hold(signal, value, wait) => {
                self.set(signal, *value);
                self.pass(wait, span, observer);
                self.release(signal);
            }
            Step::Contact(discrete, position) => self.machine.contact(*discrete, *position),
            Step::Press(discrete, wait, bounce) => {
                self.press(*discrete, wait, *bounce, span, observer);
            }
            Step::Pulse(net, times, every) => self.pulses(*net, *times, *every, span, observer),
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
            Step::Sequence {
                edge,
                strobe,
                signal,
                values,
                more,
            } => {
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
            Step::Show(when, fields) => {
                if matches!(when, When::Now) {
                    self.moment(observer);
                } else {
                    self.begun(observer);
                }
                self.open_table(when, fields);
            }
        }
    }

    fn finish(&mut self) {
        self.close_expectations();
        self.report.end = self.machine.now();
        self.report.clocks = self.clock.as_ref().map_or(0, |clock| clock.rises);
        self.report.counters = self.machine.counters();
        self.report.rules = self.machine.rules();
        self.findings();
        // Behind the end nothing has a cause.
        let end = self.machine.now();
        if let Some((net, time)) = self.options.why
            && time.is_none_or(|time| time <= end)
        {
            self.report.why = self.machine.why(net, time.unwrap_or(end));
        }
        self.report.waves =
            self.recorder
                .waves(self.circuit, &self.options.record, self.machine.now());
        self.place_marks();
        self.report.passed = self.report.failures.is_empty() && self.report.faults.is_empty();
    }
}
