//! Looking up every name of a trial, before anything runs.
//!
//! A step outside of repetitions is looked up once, and is then ready. What repeats is kept as it is written: it is walked
//! through once, so that every mistake is told before anything runs, and again while it runs. So a repetition takes no more
//! memory than its text.

mod bind;
mod conditions;
mod contacts;
mod machine;
mod places;
mod readings;
mod stimuli;
mod values;
mod vectors;
mod walk;

use super::condition::Ready;
use super::look::{Look, Wanted};
use super::vectors::Vectors;
use crate::circuit::{ChipKey, Circuit, DiscreteKey, NetKey, Signal};
use crate::diagnostic::Diagnostic;
use crate::image::Image;
use crate::language::ast::{self, Corner, Edge, PowerUp, TrialStatement};
use crate::quantity::{Temperature, Time};
use crate::text::{Sources, Span, Spanned};
use std::collections::BTreeMap;
use std::sync::Arc;

pub(super) use bind::Binder;
pub(super) use contacts::Contacts;
pub(super) use machine::Machine;

/// A trial whose names are all known.
#[derive(Clone, Debug)]
pub struct Prepared {
    /// Its name.
    pub name: String,
    /// Which delays the parts take, if it says so.
    pub corner: Option<Corner>,
    /// The temperature that the trial asks for.
    pub temperature: Option<Temperature>,
    /// What storage holds at power-up.
    pub power_up: PowerUp,
    /// The net whose rising edges count as clocks.
    pub(super) clock_net: Option<NetKey>,
    /// Nets that it drives.
    pub(super) stimuli: Vec<NetKey>,
    /// The machine whose instructions it follows.
    pub(super) machine: Option<Machine>,
    pub(super) steps: Vec<(Node, Span)>,
    /// Signals that it speaks of, for pictures.
    pub(super) mentioned: Vec<Signal>,
    /// How the signals of its tables are shown, where it is not as a number.
    pub(super) looks: Vec<(Signal, Look)>,
    /// What it does to contacts.
    pub(super) contacts: Contacts,
    /// The files that its steps name.
    pub(super) files: Arc<Files>,
    /// The procedures that its steps may do.
    pub(super) procedures: Arc<[ast::Procedure]>,
}

/// A step, or several.
#[derive(Clone, Debug)]
pub(super) enum Node {
    /// A step that is ready.
    Step(Step),
    /// A repetition or a procedure, as it is written.
    Block(Arc<TrialStatement>),
}

/// The contents of files, by the places that name them.
#[derive(Clone, Debug, Default)]
pub(super) struct Files {
    pub(super) images: BTreeMap<Span, Image>,
    pub(super) vectors: BTreeMap<Span, Arc<Vectors>>,
}

impl Prepared {
    /// The signals that the trial speaks of, in order.
    pub fn mentioned(&self) -> &[Signal] {
        &self.mentioned
    }

    /// How a signal is shown in the tables of the trial, where it is not as a number.
    pub fn look(&self, path: &str) -> Option<&Look> {
        let mut looks = self.looks.iter();
        looks.find(|(signal, _)| signal.path == path).map(|(_, look)| look)
    }
}

/// One step, with its names looked up.
#[derive(Clone, Debug)]
pub(super) enum Step {
    Clock(NetKey, Time, Time),
    Load(ChipKey, Image, i64),
    Drive(Signal, u64, Wait),
    Set(Signal, u64),
    Release(Signal),
    Press(DiscreteKey, Wait, Option<Time>),
    Contacts(Vec<(DiscreteKey, u8)>),
    /// Stimuli that begin together.
    Together(Vec<Step>),
    Pulse(NetKey, u64, Time),
    Run(Wait),
    Until(Ready, Wait),
    Expect(Ready),
    Within(Ready, Wait),
    Throughout(Ready, Wait),
    Never(Ready),
    Sequence {
        edge: Edge,
        strobe: Signal,
        signal: Signal,
        values: Vec<Wanted>,
        more: bool,
    },
    Show(When, Vec<(Signal, Look)>),
    /// For so long each row, or for a clock.
    Vectors(Arc<Vectors>, Option<Time>),
    Record(String, When, Vec<Signal>),
    ShowInstructions(Vec<(String, Signal, Look)>),
    Profile,
    Agree,
    Remark(String),
}

#[derive(Clone, Debug)]
pub(super) enum Wait {
    Time(Time),
    Clocks(u64),
    /// Whichever comes first.
    First(Time, u64),
}

#[derive(Clone, Debug)]
pub(super) enum When {
    Clock,
    On(Edge, Signal),
    Every(Time),
    Now,
}

/// How images and files of vectors (as their bytes) come in: by the path as it is written, and its place.
pub type Images<'a> = dyn Fn(&Spanned<String>) -> Result<Image, Vec<Diagnostic>> + 'a;

/// Looks up every name of a trial.
///
/// # Errors
/// Everything in it that is unknown or does not fit.
pub fn prepare(
    trial: &ast::Trial,
    circuit: &Circuit,
    sources: &Sources,
    images: &Images<'_>,
) -> Result<Prepared, Vec<Diagnostic>> {
    let mut preparer = Preparer {
        binder: Binder::new(circuit, sources, trial.procedures.clone(), Some(images)),
        prepared: Prepared {
            name: trial.name.node.clone(),
            corner: None,
            temperature: None,
            power_up: PowerUp::Unknown,
            clock_net: None,
            stimuli: Vec::new(),
            machine: None,
            steps: Vec::new(),
            mentioned: Vec::new(),
            looks: Vec::new(),
            contacts: Contacts::default(),
            files: Arc::default(),
            procedures: trial.procedures.clone(),
        },
        counting: None,
    };
    for statement in &trial.body {
        preparer.statement(&statement.node, statement.span);
    }
    preparer.finish()
}

struct Preparer<'a> {
    binder: Binder<'a>,
    prepared: Prepared,
    /// The first step that counts clocks.
    counting: Option<Span>,
}

/// A temperature, if parts can be asked to work at it.
///
/// # Errors
/// Outside the widest range that sheets speak of, -55 to 125 C.
pub fn temperature(asked: Temperature) -> Result<Temperature, String> {
    let range = Temperature::from_raw(-55_000)..=Temperature::from_raw(125_000);
    if range.contains(&asked) { Ok(asked) } else { Err(format!("sheets speak of -55 to 125 C, not of {asked}")) }
}

impl Preparer<'_> {
    fn statement(&mut self, statement: &TrialStatement, span: Span) {
        match statement {
            TrialStatement::PowerUp(power_up) => self.prepared.power_up = *power_up,
            TrialStatement::Corner(corner) => self.prepared.corner = Some(*corner),
            TrialStatement::Temperature(temperature) => {
                self.prepared.temperature = self.binder.temperature(*temperature).or(self.prepared.temperature);
            }
            TrialStatement::Machine(machine) => self.binder.machine(machine),
            TrialStatement::CountClocks(path) => self.prepared.clock_net = self.binder.net(path),
            TrialStatement::Each(_)
            | TrialStatement::Repeat { .. }
            | TrialStatement::Together(_)
            | TrialStatement::Do { .. } => {
                let Preparer { binder, prepared, counting } = self;
                binder.walk(statement, span, &mut |_, step, span| {
                    note(step, span, &mut prepared.contacts, counting);
                    true
                });
                prepared.steps.push((Node::Block(Arc::new(statement.clone())), span));
            }
            _ => {
                let step = self.binder.bind(statement, span);
                self.binder.spend(&step, span);
                if let Some(step) = step {
                    if let Step::Clock(net, ..) = step {
                        self.prepared.clock_net = self.prepared.clock_net.or(Some(net));
                    }
                    note(&step, span, &mut self.prepared.contacts, &mut self.counting);
                    self.prepared.steps.push((Node::Step(step), span));
                }
            }
        }
    }

    fn finish(mut self) -> Result<Prepared, Vec<Diagnostic>> {
        if let (None, Some(span), true) = (self.prepared.clock_net, self.counting, self.binder.problems.is_empty()) {
            self.binder.problems.push(
                Diagnostic::error("no-clock", "this counts clocks, but the trial does not say on which net")
                    .at(span, "clocks of what?")
                    .help("write `clock NET 1 MHz`, or `count clocks on NET` for an oscillator on a board"),
            );
        }
        if !self.binder.problems.is_empty() {
            return Err(self.binder.problems);
        }
        let Binder { stimuli, mentioned, looks, files, machine, .. } = self.binder;
        Ok(Prepared { stimuli, mentioned, looks, files, machine, ..self.prepared })
    }
}

/// Remembers what a step does to contacts, and whether it counts clocks.
fn note(step: &Step, span: Span, contacts: &mut Contacts, counting: &mut Option<Span>) {
    contacts.note(step);
    if counting.is_none() && step.counts_clocks() {
        *counting = Some(span);
    }
}

impl Step {
    fn counts_clocks(&self) -> bool {
        match self {
            Step::Drive(_, _, wait)
            | Step::Press(_, wait, _)
            | Step::Run(wait)
            | Step::Until(_, wait)
            | Step::Within(_, wait)
            | Step::Throughout(_, wait) => matches!(wait, Wait::Clocks(_)),
            Step::Together(steps) => steps.iter().any(Step::counts_clocks),
            Step::Vectors(_, every) => every.is_none(),
            Step::Show(when, _) | Step::Record(_, when, _) => matches!(when, When::Clock),
            _ => false,
        }
    }
}
