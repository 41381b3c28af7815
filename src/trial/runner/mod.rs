//! Running a prepared trial.

mod found;

use super::condition::Ready;
use super::look::{Levels, Look, Wanted, cell, shown, word};
use super::prepare::{Prepared, Step, Wait, When};
use super::recorder::{Recorder, nets_of};
use super::report::{Failure, Filled, Finding, Report, Table};
use crate::circuit::{Circuit, NetKey, Signal};
use crate::language::ast::{Corner, Edge, PowerUp, Radix};
use crate::logic::Level;
use crate::quantity::{Temperature, Time};
use crate::simulate::wave::Waves;
use crate::simulate::{Machine, Outlook, Pause, Runaway, Settings};
use crate::text::{Sources, Span};

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
    /// A clock has been counted; false ends the trial there. The observer may put its hands on the machine.
    fn clock(&mut self, machine: &mut Machine<'_>, clocks: u64) -> bool;
}

/// Nobody looks on.
#[derive(Clone, Copy, Debug, Default)]
pub struct Unattended;

impl Observer for Unattended {
    fn clock(&mut self, _: &mut Machine<'_>, _: u64) -> bool {
        true
    }
}

/// Rows that a table keeps.
const MOST_ROWS: usize = 100_000;
/// Failures that are told.
const MOST_FAILURES: usize = 50;
/// A clock that does not move for so long stands still.
const STANDSTILL: Time = Time::from_ps(1_000_000_000_000);
/// When it has not moved for so long, it is looked whether anything can still move it; and again after twice as long.
const FIRST_LOOK: Time = Time::from_ps(100_000_000);

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
    let report = Runner::new(prepared, circuit, sources, options, asked).run(observer);
    if report.failures.is_empty() || asked {
        return report;
    }
    Runner::new(prepared, circuit, sources, options, true).run(&mut Unattended)
}

/// Runs a trial once, with nobody looking on: the same result, but for the causes of what did not hold.
pub fn run_once(
    prepared: &Prepared,
    circuit: &Circuit,
    sources: &Sources,
    options: &Options,
) -> Report {
    Runner::new(prepared, circuit, sources, options, false).run(&mut Unattended)
}

struct Runner<'a> {
    prepared: &'a Prepared,
    circuit: &'a Circuit,
    sources: &'a Sources,
    options: &'a Options,
    machine: Machine<'a>,
    recorder: Recorder,
    report: Report,
    clock: Option<ClockCounter>,
    sequences: Vec<Sequence>,
    nevers: Vec<Never>,
    shows: Vec<Show>,
    loaded: Vec<crate::circuit::ChipKey>,
    marks: Vec<(Time, NetKey, String)>,
    /// The period of the slowest clock that the trial gives.
    longest_clock: Time,
    ended: bool,
}

struct ClockCounter {
    net: NetKey,
    level: Level,
    rises: u64,
    moved: Time,
}

struct Sequence {
    edge: Edge,
    strobe: Strobe,
    signal: Signal,
    values: Vec<Wanted>,
    more: bool,
    next: usize,
    failed: bool,
    span: Span,
}

struct Strobe {
    net: Option<NetKey>,
    level: Level,
}

struct Never {
    ready: Ready,
    tripped: bool,
    span: Span,
}

struct Show {
    when: When,
    strobe: Strobe,
    next: Time,
    fields: Vec<(Signal, Look)>,
    table: usize,
}

/// How a stretch of time ended.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Outcome {
    /// The time is over.
    Over,
    /// What was waited for has come.
    Met,
    /// The clock stands still.
    Still,
    /// The run cannot go on, or the observer has had enough.
    Ended,
}

/// What a stretch of time is watched for.
#[derive(Clone, Copy)]
enum Until<'r> {
    Nothing,
    Holds(&'r Ready),
    Breaks(&'r Ready),
}

impl<'a> Runner<'a> {
    fn new(
        prepared: &'a Prepared,
        circuit: &'a Circuit,
        sources: &'a Sources,
        options: &'a Options,
        history: bool,
    ) -> Runner<'a> {
        let corner = options
            .corner
            .or(prepared.corner)
            .unwrap_or(Corner::Typical);
        let temperature = options.temperature.or(prepared.temperature);
        let power_up = options.power_up.unwrap_or(prepared.power_up);
        let mut machine = Machine::new(
            circuit,
            Settings {
                corner,
                temperature,
                power_up,
                history,
            },
            &prepared.stimuli,
        );
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
            sources,
            options,
            recorder,
            clock,
            sequences: Vec::new(),
            nevers: Vec::new(),
            shows: Vec::new(),
            loaded: Vec::new(),
            marks: Vec::new(),
            longest_clock: Time::ZERO,
            ended: false,
            report: Report {
                trial: prepared.name.clone(),
                on: circuit.name.clone(),
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
            Step::Load(chip, image, offset) => {
                if !self.loaded.contains(chip) {
                    self.machine.unload(*chip);
                }
                match self.machine.load(*chip, image, *offset) {
                    Ok(()) => self.loaded.push(*chip),
                    Err(fault) => {
                        let path = &self.circuit.chips[*chip].path;
                        self.fail(span, fault.sentence(path), None);
                        self.ended = true;
                    }
                }
            }
            Step::Set(signal, value) => self.set(signal, *value),
            Step::Release(signal) => signal
                .nets
                .iter()
                .for_each(|&net| self.machine.release(net)),
            Step::Hold(signal, value, wait) => {
                self.set(signal, *value);
                self.pass(wait, span, observer);
                signal
                    .nets
                    .iter()
                    .for_each(|&net| self.machine.release(net));
            }
            Step::Contact(discrete, position) => self.machine.contact(*discrete, *position),
            Step::Press(discrete, wait, bounce) => {
                self.bounce(*discrete, *bounce, 1, span, observer);
                self.pass(wait, span, observer);
                self.bounce(*discrete, *bounce, 0, span, observer);
            }
            Step::Pulse(net, times, every) => {
                let half = Time::from_ps((every.ps() / 2).max(1));
                for _ in 0..*times {
                    for level in [Level::Zero, Level::One] {
                        self.machine.set(*net, level);
                        self.pass(&Wait::Time(half), span, observer);
                    }
                    self.machine.set(*net, Level::Zero);
                    if self.ended {
                        break;
                    }
                }
            }
            Step::Run(wait) => self.pass(wait, span, observer),
            Step::Until(ready, wait) | Step::Within(ready, wait) => {
                match self.go(wait, Until::Holds(ready), observer) {
                    Outcome::Met => self.report.held += 1,
                    Outcome::Over => {
                        let found =
                            format!("{} at the end of the time", ready.form.found(&self.machine));
                        self.fail_on(span, ready, found);
                        self.ended |= matches!(step, Step::Until(..));
                    }
                    Outcome::Still => self.stands_still(span),
                    Outcome::Ended => {}
                }
            }
            Step::Expect(ready) => {
                if !self.moment(observer) {
                    return;
                }
                if ready.form.holds(&self.machine) {
                    self.report.held += 1;
                } else {
                    let found = ready.form.found(&self.machine);
                    self.fail_on(span, ready, found);
                }
            }
            Step::Throughout(ready, wait) => match self.go(wait, Until::Breaks(ready), observer) {
                Outcome::Met => {
                    let found = ready.form.found(&self.machine);
                    self.fail_on(span, ready, found);
                }
                Outcome::Over => self.report.held += 1,
                Outcome::Still => self.stands_still(span),
                Outcome::Ended => {}
            },
            Step::Never(ready) => {
                ready
                    .form
                    .nets()
                    .into_iter()
                    .for_each(|net| self.machine.stop_at(net, true));
                self.nevers.push(Never {
                    ready: ready.clone(),
                    tripped: false,
                    span,
                });
                if self.begun(observer) {
                    self.watch_nevers();
                }
            }
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
                let (edge, signal, values, more) = (*edge, signal.clone(), values.clone(), *more);
                self.sequences.push(Sequence {
                    edge,
                    strobe,
                    signal,
                    values,
                    more,
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

    fn set(&mut self, signal: &Signal, value: u64) {
        for (at, &net) in signal.nets.iter().rev().enumerate() {
            self.machine.set(
                net,
                if value >> at & 1 == 1 {
                    Level::One
                } else {
                    Level::Zero
                },
            );
        }
    }

    fn strobe(&mut self, signal: &Signal) -> Strobe {
        let net = signal.nets.first().copied();
        net.into_iter()
            .for_each(|net| self.machine.stop_at(net, true));
        Strobe {
            net,
            level: net.map_or(Level::U, |net| self.machine.level(net)),
        }
    }

    /// What a strobe finds on a signal is what is there just before its edge takes effect.
    fn keep(&mut self, signal: &Signal) {
        for &net in &signal.nets {
            self.machine.keep_before(net);
        }
    }

    /// A contact that bounces touches and lifts a few times before it rests.
    fn bounce(
        &mut self,
        discrete: crate::circuit::DiscreteKey,
        bounce: Option<Time>,
        rest: u8,
        span: Span,
        observer: &mut dyn Observer,
    ) {
        if let Some(bounce) = bounce {
            for (touch, share) in [(rest, 20), (1 - rest, 15), (rest, 25), (1 - rest, 40)] {
                self.machine.contact(discrete, touch);
                self.pass(
                    &Wait::Time(Time::from_ps((bounce.ps() / 100 * share).max(1))),
                    span,
                    observer,
                );
            }
        }
        self.machine.contact(discrete, rest);
    }

    // ---- time -------------------------------------------------------------------------------------------------

    /// Lets time pass, whatever happens in it.
    fn pass(&mut self, wait: &Wait, span: Span, observer: &mut dyn Observer) {
        if self.go(wait, Until::Nothing, observer) == Outcome::Still {
            self.stands_still(span);
        }
    }

    fn go(&mut self, wait: &Wait, until: Until<'_>, observer: &mut dyn Observer) -> Outcome {
        if self.ended {
            return Outcome::Ended;
        }
        let watched = match until {
            Until::Nothing => Vec::new(),
            Until::Holds(ready) | Until::Breaks(ready) => ready.form.nets(),
        };
        watched
            .iter()
            .for_each(|&net| self.machine.stop_at(net, true));
        let outcome = self.go_watched(wait, until, observer);
        for net in watched {
            if !self.is_needed(net) {
                self.machine.stop_at(net, false);
            }
        }
        outcome
    }

    /// Lets what was set in this very moment take effect; false when the run cannot go on.
    fn moment(&mut self, observer: &mut dyn Observer) -> bool {
        while !self.ended {
            let now = self.machine.now();
            match self.machine.advance(now, &mut self.recorder) {
                Pause::Reached => return true,
                Pause::Changed => self.ended |= !self.observe(observer),
                Pause::Runaway(runaway) => self.runaway(&runaway),
            }
        }
        false
    }

    /// As [`Runner::moment`], once time has begun to pass: what is set before it is there from the beginning.
    fn begun(&mut self, observer: &mut dyn Observer) -> bool {
        self.machine.has_begun() && self.moment(observer)
    }

    fn go_watched(
        &mut self,
        wait: &Wait,
        until: Until<'_>,
        observer: &mut dyn Observer,
    ) -> Outcome {
        let end = match wait {
            Wait::Time(time) => Some(self.machine.now() + *time),
            Wait::Clocks(_) => None,
        };
        let goal = match (wait, &self.clock) {
            (Wait::Clocks(count), Some(clock)) => clock.rises.saturating_add(*count),
            _ => u64::MAX,
        };
        if let Some(clock) = &mut self.clock {
            clock.moved = self.machine.now();
        }
        if !self.moment(observer) {
            return Outcome::Ended;
        }
        self.watch_nevers();
        let mut look = FIRST_LOOK;
        // Since when everything has to come again as it is, and when it would have.
        let mut round: Option<(Time, Outlook)> = None;
        loop {
            let met = match until {
                Until::Nothing => false,
                Until::Holds(ready) => ready.form.holds(&self.machine),
                Until::Breaks(ready) => !ready.form.holds(&self.machine),
            };
            if met {
                return Outcome::Met;
            }
            let moved = self.clock.as_ref().map_or(Time::ZERO, |clock| clock.moved);
            if self
                .clock
                .as_ref()
                .is_some_and(|clock| clock.rises >= goal && !clock.level.is_high())
            {
                return Outcome::Over;
            }
            let limit = end.unwrap_or(moved + STANDSTILL.max(self.longest_clock));
            let next_show = self
                .shows
                .iter()
                .map(|show| show.next)
                .min()
                .unwrap_or(Time::MAX);
            let look_at = match (&round, end) {
                (_, Some(_)) => Time::MAX,
                (Some((again, _)), None) => *again,
                (None, None) => moved + look,
            };
            let stop = limit.min(next_show).min(look_at);
            if end.is_none() && self.machine.next_event().is_none() {
                return Outcome::Still;
            }
            let pause = self.machine.advance(stop, &mut self.recorder);
            match pause {
                Pause::Runaway(runaway) => {
                    self.runaway(&runaway);
                    return Outcome::Ended;
                }
                Pause::Changed => {
                    round = None;
                    if !self.observe(observer) {
                        self.ended = true;
                        return Outcome::Ended;
                    }
                }
                Pause::Reached if stop == look_at && stop < limit => {
                    self.timed_rows();
                    let outlook = || self.machine.outlook();
                    match round.take() {
                        Some((_, before)) if before == outlook() => return Outcome::Still,
                        Some(_) => {}
                        None => {
                            let now = self.machine.now();
                            round = self.machine.round().map(|time| (now + time, outlook()));
                        }
                    }
                    look = Time::from_ps(look.ps() * 2);
                    if round.is_some() {
                        continue;
                    }
                    let since = self.machine.now() - moved;
                    while look <= since {
                        look = Time::from_ps(look.ps() * 2);
                    }
                }
                Pause::Reached if self.machine.now() >= limit => {
                    self.timed_rows();
                    let met = match until {
                        Until::Nothing => false,
                        Until::Holds(ready) => ready.form.holds(&self.machine),
                        Until::Breaks(ready) => !ready.form.holds(&self.machine),
                    };
                    return match (met, end) {
                        (true, _) => Outcome::Met,
                        (false, Some(_)) => Outcome::Over,
                        (false, None) => Outcome::Still,
                    };
                }
                Pause::Reached => self.timed_rows(),
            }
        }
    }

    /// True when something else than the present step wants to hear of a net.
    fn is_needed(&self, net: NetKey) -> bool {
        self.clock.as_ref().is_some_and(|clock| clock.net == net)
            || self
                .sequences
                .iter()
                .any(|sequence| sequence.strobe.net == Some(net))
            || self.shows.iter().any(|show| show.strobe.net == Some(net))
            || self
                .nevers
                .iter()
                .any(|never| never.ready.form.nets().contains(&net))
    }

    /// Looks at everything that waits for a change; false when the observer has had enough.
    fn observe(&mut self, observer: &mut dyn Observer) -> bool {
        self.watch_nevers();
        for at in 0..self.sequences.len() {
            let wanted = self.sequences[at].edge;
            if edge_of(&mut self.sequences[at].strobe, &self.machine) == Some(wanted) {
                self.next_in_sequence(at);
            }
        }
        for at in 0..self.shows.len() {
            if let When::On(wanted, _) = self.shows[at].when
                && edge_of(&mut self.shows[at].strobe, &self.machine) == Some(wanted)
            {
                self.row(at);
            }
        }
        let Some(clock) = &mut self.clock else {
            return true;
        };
        let level = self.machine.level(clock.net);
        let rose = level.is_high() && clock.level.is_low();
        if level != clock.level {
            clock.moved = self.machine.now();
            clock.level = level;
        }
        clock.rises += u64::from(rose);
        let rises = clock.rises;
        if rose {
            for at in 0..self.shows.len() {
                if matches!(self.shows[at].when, When::Clock) {
                    self.row(at);
                }
            }
            return observer.clock(&mut self.machine, rises);
        }
        true
    }

    // ---- expectations -----------------------------------------------------------------------------------------

    fn watch_nevers(&mut self) {
        for at in 0..self.nevers.len() {
            let never = &self.nevers[at];
            if !never.tripped && never.ready.form.holds(&self.machine) {
                let found = never.ready.form.found(&self.machine);
                let (span, net) = (never.span, never.ready.form.culprit(&self.machine));
                self.nevers[at].tripped = true;
                self.fail(span, found, net);
            }
        }
    }

    fn next_in_sequence(&mut self, at: usize) {
        let sequence = &mut self.sequences[at];
        if sequence.failed {
            return;
        }
        let number = sequence.next + 1;
        let levels = |net| self.machine.level_before(net);
        let Some(wanted) = sequence.values.get(sequence.next) else {
            if !sequence.more {
                sequence.failed = true;
                let found = format!(
                    "a strobe more than the {} that were expected; {} is {}",
                    sequence.values.len(),
                    sequence.signal.path,
                    shown(&levels, &sequence.signal, &Look::Radix(Radix::Hex))
                );
                let (span, net) = (sequence.span, sequence.strobe.net);
                self.fail(span, found, net);
            }
            return;
        };
        sequence.next += 1;
        let word = word(&levels, &sequence.signal);
        if word.unknown == 0 && wanted.has(word.value) {
            self.report.held += 1;
            return;
        }
        sequence.failed = true;
        let found = format!(
            "at strobe {number} {} is {}, expected {}",
            sequence.signal.path,
            shown(&levels, &sequence.signal, &wanted.look()),
            wanted.text
        );
        let width = sequence.signal.nets.len();
        let wanted = wanted.ranges.first().map_or(0, |&(first, _)| first);
        let wrong = sequence
            .signal
            .nets
            .iter()
            .enumerate()
            .find(|&(bit, &net)| {
                let level = levels(net);
                !level.is_known() || level.is_high() != (wanted >> (width - 1 - bit) & 1 == 1)
            });
        let (span, net) = (sequence.span, wrong.map(|(_, &net)| net));
        self.fail(span, found, net);
    }

    fn fail_on(&mut self, span: Span, ready: &Ready, found: String) {
        let net = ready.form.culprit(&self.machine);
        let found = format!("{found} (wanted: {})", ready.text);
        self.fail(span, found, net);
    }

    fn fail(&mut self, span: Span, found: String, net: Option<NetKey>) {
        if self.report.failures.len() >= MOST_FAILURES {
            return;
        }
        let time = self.machine.now();
        let causes = net.map_or(Vec::new(), |net| self.machine.why(net, time));
        if let Some(net) = net {
            self.marks
                .push((time, net, "expectation failed".to_owned()));
        }
        let expectation = self
            .sources
            .slice(span)
            .split_whitespace()
            .collect::<Vec<_>>()
            .join(" ");
        self.report.failures.push(Failure {
            place: self.sources.place(span),
            expectation,
            found,
            time,
            causes,
        });
    }

    fn stands_still(&mut self, span: Span) {
        let path = self
            .clock
            .as_ref()
            .map_or("", |clock| &self.circuit.nets[clock.net].path);
        let moved = self.clock.as_ref().map_or(Time::ZERO, |clock| clock.moved);
        let since = self.machine.now() - moved;
        let found = if since < STANDSTILL {
            format!("the clock on {path} stands still, and nothing can move it any more")
        } else {
            format!("the clock on {path} stands still: no edge for {STANDSTILL}")
        };
        let net = self.clock.as_ref().map(|clock| clock.net);
        self.fail(span, found, net);
        self.ended = true;
    }

    fn runaway(&mut self, runaway: &Runaway) {
        self.ended = true;
        self.report.faults.push(Finding {
            kind: "oscillation",
            place: runaway.around.first().cloned().unwrap_or_default(),
            text: runaway.sentence(),
            count: 1,
            first: Some(runaway.time),
        });
    }

    // ---- tables -----------------------------------------------------------------------------------------------

    fn open_table(&mut self, when: &When, fields: &[(Signal, Look)]) {
        let table = self.report.tables.len();
        let title = match when {
            When::Clock => "each clock".to_owned(),
            When::On(Edge::Rise, signal) => format!("rise of {}", signal.path),
            When::On(Edge::Fall, signal) => format!("fall of {}", signal.path),
            When::Every(time) => format!("every {time}"),
            When::Now => "now".to_owned(),
        };
        let columns = fields
            .iter()
            .map(|(signal, _)| signal.path.clone())
            .collect();
        self.report.tables.push(Table {
            when: title,
            columns,
            rows: Vec::new(),
            cut: false,
        });
        if matches!(when, When::Clock | When::On(..)) {
            fields.iter().for_each(|(signal, _)| self.keep(signal));
        }
        let strobe = match when {
            When::On(_, signal) => self.strobe(signal),
            _ => Strobe {
                net: None,
                level: Level::U,
            },
        };
        let next = match when {
            When::Every(time) => self.machine.now() + *time,
            _ => Time::MAX,
        };
        self.shows.push(Show {
            when: when.clone(),
            strobe,
            next,
            fields: fields.to_vec(),
            table,
        });
        if matches!(when, When::Now) {
            self.row(self.shows.len() - 1);
        }
    }

    fn row(&mut self, at: usize) {
        let show = &self.shows[at];
        let table = &mut self.report.tables[show.table];
        if table.rows.len() >= MOST_ROWS {
            table.cut = true;
            return;
        }
        let levels: &Levels<'_> = match show.when {
            When::Clock | When::On(..) => &|net| self.machine.level_before(net),
            When::Every(_) | When::Now => &|net| self.machine.level(net),
        };
        let values = show
            .fields
            .iter()
            .map(|(signal, look)| cell(levels, signal, look))
            .collect();
        table.rows.push((self.machine.now(), values));
    }

    /// Rows that stand at regular times.
    fn timed_rows(&mut self) {
        for at in 0..self.shows.len() {
            if let When::Every(time) = self.shows[at].when
                && self.shows[at].next <= self.machine.now()
            {
                self.row(at);
                self.shows[at].next += time;
            }
        }
    }

    // ---- the end ----------------------------------------------------------------------------------------------

    fn finish(&mut self) {
        for at in 0..self.sequences.len() {
            let sequence = &self.sequences[at];
            if !sequence.failed && sequence.next < sequence.values.len() {
                let found = format!(
                    "{} of {} strobes came",
                    sequence.next,
                    sequence.values.len()
                );
                let (span, net) = (sequence.span, sequence.strobe.net);
                self.fail(span, found, net);
            }
        }
        self.report.held += self.nevers.iter().filter(|never| !never.tripped).count() as u64;
        self.report.end = self.machine.now();
        self.report.clocks = self.clock.as_ref().map_or(0, |clock| clock.rises);
        self.report.counters = self.machine.counters();
        let rules = self.machine.rules().iter();
        self.report.rules = rules
            .map(|(rule, parts)| Filled {
                rule: rule.sentence(),
                parts: parts.iter().cloned().collect(),
            })
            .collect();
        self.findings();
        if let Some((net, time)) = self.options.why {
            self.report.why = self.machine.why(net, time.unwrap_or(self.machine.now()));
        }
        self.report.waves =
            self.recorder
                .waves(self.circuit, &self.options.record, self.machine.now());
        self.place_marks();
        self.report.passed = self.report.failures.is_empty() && self.report.faults.is_empty();
    }
}

fn edge_of(strobe: &mut Strobe, machine: &Machine<'_>) -> Option<Edge> {
    let level = machine.level(strobe.net?);
    let was = std::mem::replace(&mut strobe.level, level);
    match (was, level) {
        (was, now) if was.is_low() && now.is_high() => Some(Edge::Rise),
        (was, now) if was.is_high() && now.is_low() => Some(Edge::Fall),
        _ => None,
    }
}
