//! Looking up every name of a trial, before anything runs.

mod conditions;
mod machine;
mod places;
mod stimuli;
mod values;

use super::condition::Ready;
use super::look::{Look, Wanted};
use crate::circuit::{ChipKey, Circuit, DiscreteKey, DiscreteKind, NetKey, Signal};
use crate::diagnostic::Diagnostic;
use crate::image::Image;
use crate::language::ast::{self, Corner, Edge, PowerUp, ShowWhen, TrialStatement};
use crate::quantity::{Temperature, Time};
use crate::text::{Sources, Span, Spanned};
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
    pub(super) steps: Vec<(Step, Span)>,
    /// Signals that it speaks of, for pictures.
    pub(super) mentioned: Vec<Signal>,
    /// How the signals of its tables are shown, where it is not as a number.
    pub(super) looks: Vec<(Signal, Look)>,
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
    Contact(DiscreteKey, u8),
    Pulse(NetKey, u64, Time),
    Run(Wait),
    Until(Ready, Wait),
    Expect(Ready),
    Within(Ready, Wait),
    Throughout(Ready, Wait),
    Never(Ready),
    Sequence { edge: Edge, strobe: Signal, signal: Signal, values: Vec<Wanted>, more: bool },
    Show(When, Vec<(Signal, Look)>),
    ShowInstructions(Vec<(String, Signal, Look)>),
    Profile,
    Agree,
    Remark(String),
}

#[derive(Clone, Debug)]
pub(super) enum Wait {
    Time(Time),
    Clocks(u64),
}

#[derive(Clone, Debug)]
pub(super) enum When {
    Clock,
    On(Edge, Signal),
    Every(Time),
    Now,
}

/// How images come in: by the path as it is written, and its place.
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
        circuit,
        sources,
        images,
        problems: Vec::new(),
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
        },
    };
    for statement in &trial.body {
        preparer.statement(&statement.node, statement.span);
    }
    preparer.check_clocks(&trial.body);
    if preparer.problems.is_empty() { Ok(preparer.prepared) } else { Err(preparer.problems) }
}

struct Preparer<'a> {
    circuit: &'a Circuit,
    sources: &'a Sources,
    images: &'a Images<'a>,
    problems: Vec<Diagnostic>,
    prepared: Prepared,
}

/// What `step` takes from one pulse to the next when the trial does not say: a person's hand.
const HAND: Time = Time::from_ps(1_000_000_000);

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
        let step = match statement {
            TrialStatement::PowerUp(power_up) => {
                self.prepared.power_up = *power_up;
                return;
            }
            TrialStatement::Corner(corner) => {
                self.prepared.corner = Some(*corner);
                return;
            }
            TrialStatement::Temperature(temperature) => {
                self.temperature(*temperature);
                return;
            }
            TrialStatement::CountClocks(path) => {
                self.prepared.clock_net = self.net(path);
                return;
            }
            TrialStatement::Clock { path, frequency, duty } => self.clock(path, frequency, duty.as_ref()),
            TrialStatement::Load { path, file, offset } => self.load(path, file, *offset),
            TrialStatement::LoadRandom { path, instructions, seed, without } => {
                self.load_random(path, instructions, *seed, without)
            }
            TrialStatement::Drive(path, value, duration) => {
                let (signal, wait) = (self.driven(path), self.wait(duration));
                signal.zip(wait).and_then(|(signal, wait)| {
                    let value = self.value(&signal, value, path.span)?;
                    Some(Step::Drive(signal, value, wait))
                })
            }
            TrialStatement::Set(path, value) => self.driven(path).and_then(|signal| {
                let value = self.value(&signal, value, path.span)?;
                Some(Step::Set(signal, value))
            }),
            TrialStatement::Release(path) => self.driven(path).map(Step::Release),
            TrialStatement::Press { path, duration, bounce } => {
                let contact = self.contact(path, &[DiscreteKind::Button], "a button");
                let wait = self.wait(duration);
                let bounce = bounce.as_ref().and_then(|bounce| self.time(bounce));
                contact.zip(wait).map(|(contact, wait)| Step::Press(contact, wait, bounce))
            }
            TrialStatement::Close(path) => {
                self.contact(path, &[DiscreteKind::Switch], "a switch").map(|key| Step::Contact(key, 1))
            }
            TrialStatement::Open(path) => {
                self.contact(path, &[DiscreteKind::Switch], "a switch").map(|key| Step::Contact(key, 0))
            }
            TrialStatement::Flip(path, up) => self
                .contact(path, &[DiscreteKind::Changeover], "a changeover switch")
                .map(|key| Step::Contact(key, if *up { 1 } else { 2 })),
            TrialStatement::Step { path, times, every } => {
                let every = every.as_ref().map_or(Some(HAND), |every| self.time(every));
                let net = self.driven_net(path);
                net.zip(every).map(|(net, every)| Step::Pulse(net, *times, every))
            }
            TrialStatement::RunFor(duration) => self.wait(duration).map(Step::Run),
            TrialStatement::RunUntil(condition, duration) => {
                let (ready, wait) = (self.ready(condition), self.wait(duration));
                ready.zip(wait).map(|(ready, wait)| Step::Until(ready, wait))
            }
            TrialStatement::Expect(condition) => self.ready(condition).map(Step::Expect),
            TrialStatement::ExpectWithin(condition, duration) => {
                let (ready, wait) = (self.ready(condition), self.wait(duration));
                ready.zip(wait).map(|(ready, wait)| Step::Within(ready, wait))
            }
            TrialStatement::ExpectFor(condition, duration) => {
                let (ready, wait) = (self.ready(condition), self.wait(duration));
                ready.zip(wait).map(|(ready, wait)| Step::Throughout(ready, wait))
            }
            TrialStatement::ExpectNever(condition) => self.ready(condition).map(Step::Never),
            TrialStatement::ExpectOn { edge, strobe, signal, values, more } => {
                let signals = self.strobe(strobe).zip(self.signal(signal));
                signals.and_then(|(strobe, signal)| {
                    let values: Vec<Option<Wanted>> = values.iter().map(|value| self.wanted(&signal, value)).collect();
                    let values: Option<Vec<Wanted>> = values.into_iter().collect();
                    Some(Step::Sequence { edge: *edge, strobe, signal, values: values?, more: *more })
                })
            }
            TrialStatement::Show(ShowWhen::EachInstruction, fields) => {
                self.instruction_fields(fields, span).map(Step::ShowInstructions)
            }
            TrialStatement::Show(when, fields) => self.show(when, fields),
            TrialStatement::Machine(machine) => {
                self.machine(machine);
                return;
            }
            TrialStatement::Agree(set) => self.following(set, Step::Agree),
            TrialStatement::Profile(set) => self.following(set, Step::Profile),
            TrialStatement::Note(text) => Some(Step::Remark(text.clone())),
        };
        if let Some(step) = step {
            self.prepared.steps.push((step, span));
        }
    }

    fn show(&mut self, when: &ShowWhen, fields: &[ast::Field]) -> Option<Step> {
        let when = match when {
            ShowWhen::EachClock => Some(When::Clock),
            ShowWhen::On(edge, path) => self.strobe(path).map(|signal| When::On(*edge, signal)),
            ShowWhen::Every(time) => self.time(time).map(When::Every),
            ShowWhen::Now | ShowWhen::EachInstruction => Some(When::Now),
        };
        let fields: Vec<Option<(Signal, Look)>> = fields
            .iter()
            .map(|field| {
                let (signal, look) = (self.signal(&field.path), self.look(&field.view));
                signal.zip(look)
            })
            .collect();
        let fields: Vec<(Signal, Look)> = fields.into_iter().collect::<Option<_>>()?;
        let named = |(_, look): &&(Signal, Look)| !matches!(look, Look::Radix(_));
        self.prepared.looks.extend(fields.iter().filter(named).cloned());
        Some(Step::Show(when?, fields))
    }
}
