//! A statement of a trial to a step: its names looked up, its numbers computed.

use super::{Files, Images, Machine, Step, When};
use crate::circuit::{Circuit, DiscreteKey, DiscreteKind, NetKey, Signal};
use crate::diagnostic::Diagnostic;
use crate::electrical::Meter;
use crate::language::ast::{self, ShowWhen, TrialStatement, View};
use crate::language::expand::Scope;
use crate::quantity::Time;
use crate::text::{Sources, Span, Spanned};
use crate::trial::look::{Look, Wanted};
use rustc_hash::{FxHashMap, FxHashSet};
use std::sync::Arc;

/// What `step` takes from one pulse to the next when the trial does not say: a person's hand.
const HAND: Time = Time::from_ps(1_000_000_000);

/// Looks names up, with the variables in force.
pub(in crate::trial) struct Binder<'a> {
    pub(super) circuit: &'a Circuit,
    pub(super) sources: &'a Sources,
    /// How files come in; none once the trial runs.
    pub(super) images: Option<&'a Images<'a>>,
    pub(super) files: Arc<Files>,
    pub(super) procedures: Arc<[ast::Procedure]>,
    pub(super) problems: Vec<Diagnostic>,
    pub(in crate::trial) scope: Scope,
    /// The procedures that are being done.
    pub(super) doing: Vec<String>,
    /// Steps until now.
    pub(super) spent: u64,
    /// True once the trial runs: everything was found right before.
    pub(super) running: bool,
    /// True where every turn of a repetition is looked at, also when all are alike.
    pub(super) exact: bool,
    /// Steps that go on looking.
    pub(super) watches: u64,
    /// Signals by the flat names that they were asked for by.
    pub(super) known: FxHashMap<String, Signal>,
    /// What volts and LEDs are read by, once for all turns of a repetition.
    pub(super) net_meters: FxHashMap<NetKey, Option<Arc<Meter>>>,
    pub(super) led_meters: FxHashMap<DiscreteKey, Option<Arc<Meter>>>,
    /// The machine whose instructions the trial follows.
    pub(super) machine: Option<Machine>,
    /// Nets that are driven, and the same as a set.
    pub(super) stimuli: Vec<NetKey>,
    pub(super) driven: FxHashSet<NetKey>,
    /// Signals that were named, and their paths as a set.
    pub(super) mentioned: Vec<Signal>,
    pub(super) paths: FxHashSet<String>,
    /// How signals are shown, where it is not as a number.
    pub(super) looks: Vec<(Signal, Look)>,
}

impl<'a> Binder<'a> {
    /// For a trial that is looked at before it runs.
    pub(super) fn new(
        circuit: &'a Circuit,
        sources: &'a Sources,
        procedures: Arc<[ast::Procedure]>,
        images: Option<&'a Images<'a>>,
    ) -> Binder<'a> {
        Binder {
            circuit,
            sources,
            images,
            files: Arc::default(),
            procedures,
            problems: Vec::new(),
            scope: Scope::default(),
            doing: Vec::new(),
            spent: 0,
            running: false,
            exact: false,
            watches: 0,
            known: FxHashMap::default(),
            net_meters: FxHashMap::default(),
            led_meters: FxHashMap::default(),
            machine: None,
            stimuli: Vec::new(),
            driven: FxHashSet::default(),
            mentioned: Vec::new(),
            paths: FxHashSet::default(),
            looks: Vec::new(),
        }
    }

    /// For a trial that runs.
    pub(in crate::trial) fn running(
        circuit: &'a Circuit,
        sources: &'a Sources,
        prepared: &super::Prepared,
    ) -> Binder<'a> {
        let files = prepared.files.clone();
        Binder { running: true, files, ..Binder::new(circuit, sources, prepared.procedures.clone(), None) }
    }

    /// What is wrong.
    pub(in crate::trial) fn faults(&self) -> &[Diagnostic] {
        &self.problems
    }

    /// A statement that is one step.
    pub(super) fn bind(&mut self, statement: &TrialStatement, span: Span) -> Option<Step> {
        let watches = matches!(
            statement,
            TrialStatement::ExpectNever(_)
                | TrialStatement::ExpectOn { .. }
                | TrialStatement::Show(ShowWhen::EachClock | ShowWhen::On(..) | ShowWhen::Every(_), _)
        );
        self.watches += u64::from(watches);
        match statement {
            TrialStatement::Clock { path, frequency, duty } => self.clock(path, frequency, duty.as_ref()),
            TrialStatement::Load { path, file, offset } => self.load(path, file, *offset),
            TrialStatement::LoadRandom { path, instructions, seed, without } => {
                self.load_random(path, instructions, *seed, without)
            }
            TrialStatement::Vectors { file, every } => {
                let (vectors, every) = (self.vectors(file), every.as_ref().map(|every| self.time(every)));
                match (vectors?, every) {
                    (vectors, None) => Some(Step::Vectors(vectors, None)),
                    (vectors, Some(every)) => Some(Step::Vectors(vectors, Some(every?))),
                }
            }
            TrialStatement::Record { file, when, signals } => self.record(file, when, signals),
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
            TrialStatement::Close(paths) => self.contacts(paths, 1),
            TrialStatement::Open(paths) => self.contacts(paths, 0),
            TrialStatement::Flip(path, up) => self
                .contact(path, &[DiscreteKind::Changeover], "a changeover switch")
                .map(|key| Step::Contacts(vec![(key, if *up { 1 } else { 2 })])),
            TrialStatement::Step { path, times, every } => {
                let every = every.as_ref().map_or(Some(HAND), |every| self.time(every));
                let (net, times) = (self.driven_net(path), self.times(times));
                Some(Step::Pulse(net?, times?, every?))
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
            TrialStatement::Agree(set) => self.following(set, Step::Agree),
            TrialStatement::Profile(set) => self.following(set, Step::Profile),
            TrialStatement::Show(when, fields) => self.show(when, fields),
            TrialStatement::Note(text) => Some(Step::Remark(text.clone())),
            TrialStatement::Each(_)
            | TrialStatement::Repeat { .. }
            | TrialStatement::Together(_)
            | TrialStatement::Do { .. }
            | TrialStatement::PowerUp(_)
            | TrialStatement::Corner(_)
            | TrialStatement::Temperature(_)
            | TrialStatement::Machine(_)
            | TrialStatement::CountClocks(_) => None,
        }
    }

    /// A column: a signal and how it is shown, or what is read from voltages and currents.
    pub(super) fn field(&mut self, field: &ast::Field) -> Option<(Signal, Look)> {
        let reading = match &field.view {
            View::Volts => self.volts(&field.path),
            View::Current => self.current(&field.path),
            View::Radix(radix) if self.is_leds(&field.path) => self.lit(&field.path, *radix),
            view => {
                let (signal, look) = (self.signal(&field.path), self.look(view));
                return signal.zip(look);
            }
        };
        reading.map(|(signal, reading)| (signal, Look::Reading(Arc::new(reading))))
    }

    fn show(&mut self, when: &ShowWhen, fields: &[ast::Field]) -> Option<Step> {
        let when = self.when(when);
        let fields: Vec<Option<(Signal, Look)>> = fields.iter().map(|field| self.field(field)).collect();
        let fields: Vec<(Signal, Look)> = fields.into_iter().collect::<Option<_>>()?;
        let named = |(_, look): &&(Signal, Look)| !matches!(look, Look::Radix(_) | Look::Reading(_));
        if !self.running {
            let new: Vec<_> = fields.iter().filter(named).filter(|look| !self.looks.contains(look)).cloned().collect();
            self.looks.extend(new);
        }
        Some(Step::Show(when?, fields))
    }

    /// Switches and buttons that are closed, or opened.
    fn contacts(&mut self, paths: &[ast::Path], position: u8) -> Option<Step> {
        let kinds = [DiscreteKind::Switch, DiscreteKind::Button];
        let keys: Vec<_> = paths.iter().map(|path| self.contact(path, &kinds, "a switch or a button")).collect();
        let keys: Option<Vec<_>> = keys.into_iter().map(|key| key.map(|key| (key, position))).collect();
        keys.map(Step::Contacts)
    }

    fn when(&mut self, when: &ShowWhen) -> Option<When> {
        match when {
            ShowWhen::EachClock => Some(When::Clock),
            ShowWhen::On(edge, path) => self.strobe(path).map(|signal| When::On(*edge, signal)),
            ShowWhen::Every(time) => self.time(time).map(When::Every),
            ShowWhen::Now | ShowWhen::EachInstruction => Some(When::Now),
        }
    }

    fn record(&mut self, file: &Spanned<String>, when: &ShowWhen, signals: &[ast::Path]) -> Option<Step> {
        let when = self.when(when);
        let signals: Vec<Option<Signal>> = signals.iter().map(|path| self.recorded(path)).collect();
        if file.node.is_empty() || file.node.starts_with('.') || file.node.contains(['/', '\\', ':']) {
            self.problems.push(
                Diagnostic::error("record", "a record is a plain file name: the folder is named when the trial is run")
                    .at(file.span, "")
                    .help(
                        "write it as in `record \"adder.csv\" each clock: a, sum`, and run it with `--record FOLDER`",
                    ),
            );
            return None;
        }
        let signals: Option<Vec<Signal>> = signals.into_iter().collect();
        Some(Step::Record(file.node.clone(), when?, signals?))
    }

    /// A signal under the name that it is written by, which heads its column.
    fn recorded(&mut self, path: &ast::Path) -> Option<Signal> {
        let signal = self.signal(path)?;
        let name = self.sources.slice(path.span).split_whitespace().collect::<String>();
        if name.contains(',') {
            self.problems.push(
                Diagnostic::error("record", "a comma ends a cell of the file")
                    .at(path.span, "so that this cannot head a column")
                    .help("record these signals one by one"),
            );
            return None;
        }
        Some(Signal { path: name, ..signal })
    }
}
