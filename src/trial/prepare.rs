//! Looking up every name of a trial, before anything runs.

use super::condition::{Form, Ready};
use super::look::{Look, Wanted};
use crate::circuit::{Chip, ChipKey, Circuit, DiscreteKey, DiscreteKind, NetKey, Signal};
use crate::diagnostic::{Diagnostic, count, did_you_mean};
use crate::image::Image;
use crate::language::ast::{
    self, Condition, ConditionKind, Corner, Duration, Edge, Named, Path, PowerUp, ShowWhen,
    SignalValue, TrialStatement, TrialValue, View,
};
use crate::language::expand::Scope;
use crate::logic::Word;
use crate::quantity::{Quantity, Temperature, Time};
use crate::simulate::LoadFault;
use crate::text::{Sources, Span, Spanned};
use std::sync::Arc;

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
        looks
            .find(|(signal, _)| signal.path == path)
            .map(|(_, look)| look)
    }
}

/// One step, with its names looked up.
#[derive(Clone, Debug)]
pub(super) enum Step {
    Clock(NetKey, Time, Time),
    Load(ChipKey, Image, i64),
    Hold(Signal, u64, Wait),
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
    Sequence {
        edge: Edge,
        strobe: Signal,
        signal: Signal,
        values: Vec<Wanted>,
        more: bool,
    },
    Show(When, Vec<(Signal, Look)>),
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
            steps: Vec::new(),
            mentioned: Vec::new(),
            looks: Vec::new(),
        },
    };
    for statement in &trial.body {
        preparer.statement(&statement.node, statement.span);
    }
    preparer.check_clocks(&trial.body);
    if preparer.problems.is_empty() {
        Ok(preparer.prepared)
    } else {
        Err(preparer.problems)
    }
}

struct Preparer<'a> {
    circuit: &'a Circuit,
    sources: &'a Sources,
    images: &'a Images<'a>,
    problems: Vec<Diagnostic>,
    prepared: Prepared,
}

/// The most nets that are one number.
const MOST_BITS: usize = 64;

/// What `step` takes from one pulse to the next when the trial does not say: a person's hand.
const HAND: Time = Time::from_ps(1_000_000_000);

/// A temperature, if parts can be asked to work at it.
///
/// # Errors
/// Outside the widest range that sheets speak of, -55 to 125 C.
pub fn temperature(asked: Temperature) -> Result<Temperature, String> {
    let range = Temperature::from_raw(-55_000)..=Temperature::from_raw(125_000);
    if range.contains(&asked) {
        Ok(asked)
    } else {
        Err(format!("sheets speak of -55 to 125 C, not of {asked}"))
    }
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
            TrialStatement::Clock {
                path,
                frequency,
                duty,
            } => self.clock(path, frequency, duty.as_ref()),
            TrialStatement::Load { path, file, offset } => self.load(path, file, *offset),
            TrialStatement::Hold(path, value, duration) => {
                let (signal, wait) = (self.driven(path), self.wait(duration));
                signal.zip(wait).and_then(|(signal, wait)| {
                    let value = self.value(&signal, value, path.span)?;
                    Some(Step::Hold(signal, value, wait))
                })
            }
            TrialStatement::Set(path, value) => self.driven(path).and_then(|signal| {
                let value = self.value(&signal, value, path.span)?;
                Some(Step::Set(signal, value))
            }),
            TrialStatement::Release(path) => self.driven(path).map(Step::Release),
            TrialStatement::Press {
                path,
                duration,
                bounce,
            } => {
                let contact = self.contact(path, &[DiscreteKind::Button], "a button");
                let wait = self.wait(duration);
                let bounce = bounce.as_ref().and_then(|bounce| self.time(bounce));
                contact
                    .zip(wait)
                    .map(|(contact, wait)| Step::Press(contact, wait, bounce))
            }
            TrialStatement::Close(path) => self
                .contact(path, &[DiscreteKind::Switch], "a switch")
                .map(|key| Step::Contact(key, 1)),
            TrialStatement::Open(path) => self
                .contact(path, &[DiscreteKind::Switch], "a switch")
                .map(|key| Step::Contact(key, 0)),
            TrialStatement::Flip(path, up) => self
                .contact(path, &[DiscreteKind::Changeover], "a changeover switch")
                .map(|key| Step::Contact(key, if *up { 1 } else { 2 })),
            TrialStatement::Step { path, times, every } => {
                let every = every.as_ref().map_or(Some(HAND), |every| self.time(every));
                let net = self.driven_net(path);
                net.zip(every)
                    .map(|(net, every)| Step::Pulse(net, *times, every))
            }
            TrialStatement::RunFor(duration) => self.wait(duration).map(Step::Run),
            TrialStatement::RunUntil(condition, duration) => {
                let (ready, wait) = (self.ready(condition), self.wait(duration));
                ready
                    .zip(wait)
                    .map(|(ready, wait)| Step::Until(ready, wait))
            }
            TrialStatement::Expect(condition) => self.ready(condition).map(Step::Expect),
            TrialStatement::ExpectWithin(condition, duration) => {
                let (ready, wait) = (self.ready(condition), self.wait(duration));
                ready
                    .zip(wait)
                    .map(|(ready, wait)| Step::Within(ready, wait))
            }
            TrialStatement::ExpectFor(condition, duration) => {
                let (ready, wait) = (self.ready(condition), self.wait(duration));
                ready
                    .zip(wait)
                    .map(|(ready, wait)| Step::Throughout(ready, wait))
            }
            TrialStatement::ExpectNever(condition) => self.ready(condition).map(Step::Never),
            TrialStatement::ExpectOn {
                edge,
                strobe,
                signal,
                values,
                more,
            } => {
                let signals = self.strobe(strobe).zip(self.signal(signal));
                signals.and_then(|(strobe, signal)| {
                    let values: Vec<Option<Wanted>> = values
                        .iter()
                        .map(|value| self.wanted(&signal, value))
                        .collect();
                    let values: Option<Vec<Wanted>> = values.into_iter().collect();
                    Some(Step::Sequence {
                        edge: *edge,
                        strobe,
                        signal,
                        values: values?,
                        more: *more,
                    })
                })
            }
            TrialStatement::Show(when, fields) => self.show(when, fields),
            TrialStatement::Note(text) => Some(Step::Remark(text.clone())),
        };
        if let Some(step) = step {
            self.prepared.steps.push((step, span));
        }
    }

    fn signal(&mut self, path: &Path) -> Option<Signal> {
        match self.circuit.signal_at(path, &Scope::default()) {
            Ok(signal) if signal.nets.len() > MOST_BITS => {
                let message = format!(
                    "`{}` has {} bits; a trial takes {MOST_BITS} at once",
                    signal.path,
                    signal.nets.len()
                );
                self.problems.push(
                    Diagnostic::error("width", message)
                        .at(path.span, "too wide")
                        .help("speak of a part of it, as in `m[0..63]`"),
                );
                None
            }
            Ok(signal) => {
                if !self.prepared.mentioned.contains(&signal) {
                    self.prepared.mentioned.push(signal.clone());
                }
                Some(signal)
            }
            Err(problem) => {
                self.problems.push(problem);
                None
            }
        }
    }

    fn driven(&mut self, path: &Path) -> Option<Signal> {
        let signal = self.signal(path)?;
        let is_rail = |net: &&NetKey| {
            self.circuit.nets[**net]
                .rail
                .is_some_and(|rail| rail.fed.is_some())
        };
        if let Some(rail) = signal.nets.iter().find(is_rail) {
            let message = format!(
                "`{}` is a rail; a trial cannot drive it",
                self.circuit.nets[*rail].path
            );
            self.problems.push(
                Diagnostic::error("rail", message)
                    .at(path.span, "driven here")
                    .help("drive a net that a resistor or a switch joins to the rail"),
            );
            return None;
        }
        self.prepared.stimuli.extend(&signal.nets);
        Some(signal)
    }

    fn net(&mut self, path: &Path) -> Option<NetKey> {
        self.strobe(path)
            .and_then(|signal| signal.nets.first().copied())
    }

    fn driven_net(&mut self, path: &Path) -> Option<NetKey> {
        self.strobe(path)?;
        self.driven(path)?.nets.first().copied()
    }

    /// A signal of one net.
    fn strobe(&mut self, path: &Path) -> Option<Signal> {
        let signal = self.signal(path)?;
        if signal.nets.len() == 1 {
            return Some(signal);
        }
        let message = format!(
            "`{}` has {} bits; one net is wanted here",
            signal.path,
            signal.nets.len()
        );
        self.problems.push(
            Diagnostic::error("one-net", message)
                .at(path.span, "a bus")
                .help("name one of its nets"),
        );
        None
    }

    /// A discrete of one of some kinds.
    fn contact(
        &mut self,
        path: &Path,
        kinds: &[DiscreteKind],
        wanted: &str,
    ) -> Option<DiscreteKey> {
        let name = self.sources.slice(path.span).to_owned();
        let found = self.circuit.discrete(&name);
        if let Some(key) = found
            && kinds.contains(&self.circuit.discretes[key].kind)
        {
            return Some(key);
        }
        let fitting = self
            .circuit
            .discretes
            .values()
            .filter(|discrete| kinds.contains(&discrete.kind));
        let names: Vec<&str> = fitting.map(|discrete| discrete.path.as_str()).collect();
        let help =
            did_you_mean(&name, names.iter().copied()).unwrap_or_else(|| match names.as_slice() {
                [] => format!("put {wanted} on a board first"),
                some => format!("write one of: {}", some.join(", ")),
            });
        self.problems.push(
            Diagnostic::error(
                "unknown-contact",
                format!("`{name}` is not {wanted} of this circuit"),
            )
            .at(path.span, format!("{wanted} is wanted here"))
            .help(help),
        );
        None
    }

    fn temperature(&mut self, written: Spanned<Quantity>) {
        let taken = written.node.as_temperature();
        let taken = taken.ok_or_else(|| "a temperature stands here".to_owned());
        match taken.and_then(temperature) {
            Ok(temperature) => self.prepared.temperature = Some(temperature),
            Err(message) => self.problems.push(
                Diagnostic::error("unit", message)
                    .at(written.span, "")
                    .help("write it as in `temperature 70 C`"),
            ),
        }
    }

    fn clock(
        &mut self,
        path: &Path,
        frequency: &Spanned<Quantity>,
        duty: Option<&Spanned<Quantity>>,
    ) -> Option<Step> {
        let net = self.driven_net(path)?;
        self.prepared.clock_net = self.prepared.clock_net.or(Some(net));
        let period = frequency
            .node
            .as_frequency()
            .and_then(|frequency| frequency.period());
        let period = period.filter(|period| period.ps() >= 2);
        let Some(period) = period else {
            self.problems.push(
                Diagnostic::error(
                    "unit",
                    "a clock needs a frequency above zero, and at most 500 GHz",
                )
                .at(frequency.span, "")
                .help("write it with its unit: `1 MHz`"),
            );
            return None;
        };
        let share = match duty.map(|duty| (duty.node, duty.span)) {
            None => 50_000,
            Some((Quantity::Percent(share), _)) if (1_000..=99_000).contains(&share) => share,
            Some((_, span)) => {
                self.problems.push(
                    Diagnostic::error("unit", "a duty cycle lies between 1 % and 99 %")
                        .at(span, "")
                        .help("write `duty 40 %`"),
                );
                return None;
            }
        };
        let high = (i128::from(period.ps()) * i128::from(share) / 100_000).max(1) as i64;
        Some(Step::Clock(
            net,
            Time::from_ps((period.ps() - high).max(1)),
            Time::from_ps(high),
        ))
    }

    fn load(&mut self, path: &Path, file: &Spanned<String>, offset: i64) -> Option<Step> {
        let name = self.sources.slice(path.span).to_owned();
        let image = match (self.images)(file) {
            Ok(image) => Some(image),
            Err(problems) => {
                self.problems.extend(problems);
                None
            }
        };
        let found = self.circuit.chip(&name);
        let has_memory = |chip: &Chip| !chip.part.function.memories.is_empty();
        let Some(chip) = found.filter(|&chip| has_memory(&self.circuit.chips[chip])) else {
            let with_memory = self.circuit.chips.values().filter(|chip| has_memory(chip));
            let names: Vec<&str> = with_memory.map(|chip| chip.path.as_str()).collect();
            let help = did_you_mean(&name, names.iter().copied()).unwrap_or_else(|| {
                match names.as_slice() {
                    [] => "there is no memory in this circuit".to_owned(),
                    some => format!("the memories are: {}", some.join(", ")),
                }
            });
            let problem = match found {
                None => Diagnostic::error("unknown-chip", format!("there is no chip `{name}`"))
                    .at(path.span, "not known here"),
                Some(chip) => {
                    let number = &self.circuit.chips[chip].number;
                    let message = format!("`{name}` is a {number}, which has no memory to load");
                    Diagnostic::error("no-memory", message).at(path.span, "a memory is wanted here")
                }
            };
            self.problems.push(problem.help(help));
            return None;
        };
        let image = image?;
        if let Err(fault) = LoadFault::check(&self.circuit.chips[chip].part, &image, offset) {
            self.problems.push(
                Diagnostic::error("image", fault.sentence(&name))
                    .at(file.span, "this image")
                    .help("load a smaller image, mend the offset, or name another chip"),
            );
            return None;
        }
        Some(Step::Load(chip, image, offset))
    }

    fn value(&mut self, signal: &Signal, value: &SignalValue, span: Span) -> Option<u64> {
        match value {
            SignalValue::Low => Some(0),
            SignalValue::High => Some(Word::mask(signal.nets.len() as u32)),
            SignalValue::Number(number) => self.fitting(signal, *number, span),
            SignalValue::Named(named) => {
                let wanted = self.named(signal, named)?;
                if let &[(first, last)] = wanted.ranges.as_slice()
                    && first == last
                {
                    return Some(first);
                }
                let message = format!("{} stands for several values", named.name);
                self.problems.push(
                    Diagnostic::error("several-values", message)
                        .at(named.span, "one is to be driven")
                        .help("write the number"),
                );
                None
            }
        }
    }

    /// A number as the bits of a signal; a negative one in two's complement.
    fn fitting(&mut self, signal: &Signal, number: i64, span: Span) -> Option<u64> {
        let width = signal.nets.len() as u32;
        let mask = Word::mask(width);
        let fits = if number >= 0 {
            number as u64 <= mask
        } else {
            width >= 64 || number >= -(1i64 << (width - 1))
        };
        if fits {
            return Some(number as u64 & mask);
        }
        let bits = count(signal.nets.len(), "bit");
        let message = format!("{number} does not fit the {bits} of `{}`", signal.path);
        self.problems.push(
            Diagnostic::error("width", message)
                .at(span, "too large")
                .help(format!("the largest is {mask}")),
        );
        None
    }

    /// A number or a name, as the values of a signal that it stands for.
    fn wanted(&mut self, signal: &Signal, value: &TrialValue) -> Option<Wanted> {
        match value {
            TrialValue::Number(number) => {
                let value = self.fitting(signal, number.node, number.span)?;
                let digits = signal.nets.len().div_ceil(4);
                Some(Wanted {
                    ranges: vec![(value, value)],
                    // As wide as what is found is shown.
                    text: format!("0x{value:0digits$X}"),
                    table: Arc::default(),
                })
            }
            TrialValue::Named(named) => self.named(signal, named),
        }
    }

    fn named(&mut self, signal: &Signal, named: &Named) -> Option<Wanted> {
        let (table, ranges) = match self.circuit.names.find(named) {
            Ok(found) => found,
            Err(problem) => {
                self.problems.push(problem);
                return None;
            }
        };
        let mask = Word::mask(signal.nets.len() as u32);
        if let Some((_, large)) = ranges.iter().find(|&&(_, last)| last > mask) {
            let (name, bits) = (&named.name, count(signal.nets.len(), "bit"));
            let message = format!(
                "{name} is {large}, which does not fit the {bits} of `{}`",
                signal.path
            );
            self.problems.push(
                Diagnostic::error("width", message)
                    .at(named.span, "too large")
                    .help(format!("the largest value is {mask}")),
            );
            return None;
        }
        Some(Wanted {
            ranges: ranges.clone(),
            text: named.name.clone(),
            table: table.clone(),
        })
    }

    fn look(&mut self, view: &View) -> Option<Look> {
        match view {
            View::Radix(radix) => Some(Look::Radix(*radix)),
            View::Characters => Some(Look::Characters),
            View::Names(word) => match self.circuit.names.table(word) {
                Ok(table) => Some(Look::Names(table.clone())),
                Err(problem) => {
                    self.problems.push(problem);
                    None
                }
            },
        }
    }

    fn time(&mut self, quantity: &Spanned<Quantity>) -> Option<Time> {
        let time = quantity.node.as_time().filter(|time| *time > Time::ZERO);
        if time.is_none() {
            self.problems.push(
                Diagnostic::error("unit", "a time above zero is wanted here")
                    .at(quantity.span, "")
                    .help("write it with its unit: `5 ms`"),
            );
        }
        time
    }

    fn wait(&mut self, duration: &Duration) -> Option<Wait> {
        match duration {
            Duration::Time(quantity) => self.time(quantity).map(Wait::Time),
            Duration::Clocks(count) => Some(Wait::Clocks(*count)),
        }
    }

    fn ready(&mut self, condition: &Condition) -> Option<Ready> {
        let text = self
            .sources
            .slice(condition.span)
            .split_whitespace()
            .collect::<Vec<_>>()
            .join(" ");
        self.form(condition).map(|form| Ready { form, text })
    }

    fn form(&mut self, condition: &Condition) -> Option<Form> {
        Some(match &condition.kind {
            ConditionKind::Is(path, status) => Form::Is(self.signal(path)?, *status),
            ConditionKind::Equals(path, TrialValue::Number(number), equal) => {
                let signal = self.signal(path)?;
                let value = self.fitting(&signal, number.node, condition.span)?;
                Form::Equals(signal, value, *equal)
            }
            ConditionKind::Equals(path, value, equal) => {
                let signal = self.signal(path)?;
                let wanted = self.wanted(&signal, value)?;
                Form::Among(signal, wanted, *equal)
            }
            ConditionKind::Not(inner) => Form::Not(Box::new(self.form(inner)?)),
            ConditionKind::And(members) => Form::And(self.forms(members)?),
            ConditionKind::Or(members) => Form::Or(self.forms(members)?),
        })
    }

    fn forms(&mut self, members: &[Condition]) -> Option<Vec<Form>> {
        // Every member is looked at, so that all mistakes are told.
        let forms: Vec<Option<Form>> = members.iter().map(|member| self.form(member)).collect();
        forms.into_iter().collect()
    }

    fn show(&mut self, when: &ShowWhen, fields: &[ast::Field]) -> Option<Step> {
        let when = match when {
            ShowWhen::EachClock => Some(When::Clock),
            ShowWhen::On(edge, path) => self.strobe(path).map(|signal| When::On(*edge, signal)),
            ShowWhen::Every(time) => self.time(time).map(When::Every),
            ShowWhen::Now => Some(When::Now),
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
        self.prepared
            .looks
            .extend(fields.iter().filter(named).cloned());
        Some(Step::Show(when?, fields))
    }

    /// Clocks can only be counted when something says which net they are on.
    fn check_clocks(&mut self, body: &[Spanned<TrialStatement>]) {
        // A name that means no net has been told already.
        let says_which = |statement: &Spanned<TrialStatement>| {
            let node = &statement.node;
            matches!(
                node,
                TrialStatement::Clock { .. } | TrialStatement::CountClocks(_)
            )
        };
        if self.prepared.clock_net.is_some() || body.iter().any(says_which) {
            return;
        }
        let counts = |duration: &Duration| matches!(duration, Duration::Clocks(_));
        let counting = body.iter().find(|statement| match &statement.node {
            TrialStatement::Hold(_, _, duration)
            | TrialStatement::RunFor(duration)
            | TrialStatement::RunUntil(_, duration)
            | TrialStatement::ExpectWithin(_, duration)
            | TrialStatement::ExpectFor(_, duration)
            | TrialStatement::Press { duration, .. } => counts(duration),
            TrialStatement::Show(ShowWhen::EachClock, _) => true,
            _ => false,
        });
        if let Some(statement) = counting {
            self.problems.push(
                Diagnostic::error("no-clock", "this counts clocks, but the trial does not say on which net")
                    .at(statement.span, "clocks of what?")
                    .help("write `clock NET 1 MHz`, or `count clocks on NET` for an oscillator on a board"),
            );
        }
    }
}
