//! A sweep of one design: every name looked up, every point countable.

use super::fingerprint::fingerprint;
use super::outcome::{Outcome, Verdict, outcome};
use super::result::{AXES, Axis, Header, Row, Searched, Slice};
use super::search::{self, Highest, Range};
use super::target::{Target, clock_target, supplies};
use super::{MOST_POINTS, MOST_VALUES};
use crate::circuit::{Chip, Circuit};
use crate::diagnostic::{Diagnostic, any_error};
use crate::language::ast::{Corner, PowerUp, Trial};
use crate::model::Changes;
use crate::project::Project;
use crate::quantity::{Frequency, Temperature, Voltage};
use crate::trial::{self, Interrupt, Options};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// What a person asks for; an empty list leaves an axis as the trial and the design say.
#[derive(Clone, Debug, Default)]
pub struct Asked {
    /// The trials by name; all of them when none is named.
    pub trials: Vec<String>,
    /// The supply or rail that the voltages are for.
    pub supply: Option<String>,
    /// Supply voltages.
    pub voltages: Vec<Voltage>,
    /// Temperatures of the parts.
    pub temperatures: Vec<Temperature>,
    /// Which delays the parts take.
    pub corners: Vec<Corner>,
    /// What storage holds at power-up.
    pub power_ups: Vec<PowerUp>,
    /// Clock rates.
    pub clock: Clock,
    /// The net or oscillator that the rates are for.
    pub clock_name: Option<String>,
    /// A part of the grid.
    pub slice: Option<Slice>,
    /// What is otherwise at every point.
    pub changes: Changes,
    /// Who can interrupt it.
    pub interrupt: Interrupt,
}

/// What is asked of the clock rate.
#[derive(Clone, Debug, Default)]
pub enum Clock {
    #[default]
    AsWritten,
    Rates(Vec<Frequency>),
    /// The highest rate that passes, and how many lower ones are tried.
    Highest(Range, usize),
}

/// A sweep that can be run.
#[derive(Debug)]
pub struct Plan<'a> {
    project: &'a Project,
    asked: Asked,
    trials: Vec<Planned<'a>>,
    header: Header,
}

/// A trial with what is changed for it.
#[derive(Debug)]
struct Planned<'a> {
    trial: &'a Trial,
    base: Arc<Circuit>,
    clock: Option<Target>,
    supplies: Vec<String>,
}

impl<'a> Plan<'a> {
    /// Looks every name up.
    ///
    /// # Errors
    /// All that is wrong with the design, its trials and what was asked.
    pub fn new(project: &'a Project, asked: Asked) -> Result<Plan<'a>, Vec<Diagnostic>> {
        let sentence = |sentence: String| vec![Diagnostic::error("sweep", sentence)];
        let chosen = choose(project, &asked.trials).map_err(sentence)?;
        let mut trials = Vec::new();
        let mut problems = Vec::new();
        let mut circuits: BTreeMap<&str, Arc<Circuit>> = BTreeMap::new();
        for trial in chosen {
            let on = trial.on.node.as_str();
            if !circuits.contains_key(on) {
                let (circuit, told) = project.changed(Some(on), &asked.changes);
                let fit = !any_error(&told);
                problems.extend(told);
                if let Some(circuit) = circuit.filter(|_| fit) {
                    circuits.insert(on, circuit);
                }
            }
            let Some(base) = circuits.get(on) else {
                continue;
            };
            match Planned::new(project, trial, base, &asked) {
                Ok(planned) => trials.push(planned),
                Err(told) => problems.extend(told),
            }
        }
        if any_error(&problems) {
            return Err(problems);
        }
        let header = header(project, &asked, &trials);
        if header.axes.iter().any(|axis| axis.values.len() > MOST_VALUES) || header.points() > MOST_POINTS {
            let message = format!("the grid has {} points; a sweep has {MOST_POINTS} at most", header.points());
            return Err(vec![Diagnostic::error("sweep", message).help("ask for fewer values")]);
        }
        Ok(Plan { project, asked, trials, header })
    }

    /// What all rows have in common.
    pub fn header(&self) -> &Header {
        &self.header
    }

    /// How long the run of a point may take beside others: more clocks are more work, and slow parts overlap more.
    pub(super) fn weight(&self, point: usize) -> (Option<Frequency>, u8) {
        let places = self.header.places(point);
        let place = |axis: usize| places.get(axis).copied().unwrap_or(0);
        let rate = match &self.asked.clock {
            Clock::Rates(rates) => rates.get(place(5)).copied(),
            Clock::AsWritten | Clock::Highest(..) => None,
        };
        let slowness = match self.asked.corners.get(place(3)) {
            Some(Corner::Slowest) => 2,
            Some(Corner::Fastest) => 0,
            Some(Corner::Typical | Corner::Random(_)) | None => 1,
        };
        (rate, slowness)
    }

    /// Runs one point of the grid; `None` when that was interrupted.
    pub fn run(&self, point: usize) -> Option<Row> {
        let places = self.header.places(point);
        let value = |axis: usize| places.get(axis).copied().unwrap_or(0);
        let planned = &self.trials[value(0)];
        let at = Point {
            changes: &self.asked.changes,
            voltage: self.asked.voltages.get(value(1)).copied(),
            options: Options {
                temperature: self.asked.temperatures.get(value(2)).copied(),
                corner: self.asked.corners.get(value(3)).copied(),
                power_up: self.asked.power_ups.get(value(4)).copied(),
                interrupt: self.asked.interrupt,
                ..Options::default()
            },
        };
        let (highest, outcome) = match &self.asked.clock {
            Clock::AsWritten => (None, planned.run(self.project, &at, None)),
            Clock::Rates(rates) => {
                let rate = rates.get(value(5)).copied();
                (None, planned.run(self.project, &at, rate))
            }
            Clock::Highest(range, samples) => {
                let (highest, outcome) = planned.search(self.project, &at, *range, *samples);
                (Some(highest), outcome)
            }
        };
        let row = || Row { point, at: self.header.at(point), highest, outcome };
        (!self.asked.interrupt.is_wanted()).then(row)
    }
}

/// The values of a point, but for its trial and its clock.
struct Point<'a> {
    changes: &'a Changes,
    voltage: Option<Voltage>,
    options: Options,
}

impl<'a> Planned<'a> {
    fn new(
        project: &Project,
        trial: &'a Trial,
        base: &Arc<Circuit>,
        asked: &Asked,
    ) -> Result<Planned<'a>, Vec<Diagnostic>> {
        let images = |file: &_| project.image(file);
        trial::prepare(trial, base, project.sources(), &images)?;
        let told = |sentence: String| vec![Diagnostic::error("sweep", sentence)];
        let name = asked.clock_name.as_deref();
        let clock = match asked.clock {
            Clock::AsWritten => None,
            _ => Some(clock_target(trial, base, project.sources(), name).map_err(told)?),
        };
        let supplies = match asked.voltages.as_slice() {
            [] => Vec::new(),
            _ => supplies(base, asked.supply.as_deref()).map_err(told)?,
        };
        Ok(Planned { trial, base: base.clone(), clock, supplies })
    }

    /// Runs the trial at a point, with a clock rate of its own if one is given.
    fn run(&self, project: &Project, at: &Point<'_>, rate: Option<Frequency>) -> Outcome {
        let mut changes = at.changes.clone();
        let mut trial = self.trial.clone();
        let mut same = true;
        for name in &self.supplies {
            same = false;
            changes.voltages.extend(at.voltage.map(|voltage| (name.clone(), voltage)));
        }
        if let (Some(clock), Some(rate)) = (&self.clock, rate) {
            clock.set(rate, &mut trial, &mut changes);
            same &= !matches!(clock, Target::Can(_));
        }
        let circuit = if same {
            self.base.clone()
        } else {
            let (circuit, problems) = project.changed(Some(&trial.on.node), &changes);
            let wrong = problems.iter().find(|problem| any_error(std::slice::from_ref(problem)));
            match (circuit, wrong) {
                (Some(circuit), None) => circuit,
                (_, wrong) => {
                    let why = wrong.map_or_else(String::new, |problem| problem.message.clone());
                    return Outcome::not_run(Verdict::Fault, why);
                }
            }
        };
        if let Some(why) = outside_supply(&circuit) {
            return Outcome::not_run(Verdict::Supply, why);
        }
        let images = |file: &_| project.image(file);
        match trial::prepare(&trial, &circuit, project.sources(), &images) {
            Ok(prepared) => {
                let report = trial::run_once(&prepared, &circuit, project.sources(), &at.options);
                outcome(&report)
            }
            Err(problems) => {
                let why = problems.first().map_or_else(String::new, |problem| problem.message.clone());
                Outcome::not_run(Verdict::Fault, why)
            }
        }
    }

    fn search(&self, project: &Project, at: &Point<'_>, range: Range, samples: usize) -> (Highest, Outcome) {
        let mut runs: BTreeMap<String, Outcome> = BTreeMap::new();
        let mut run = |rate: Frequency| {
            let outcome = self.run(project, at, Some(rate));
            let passed = outcome.passed_all();
            runs.insert(rate.to_string(), outcome);
            passed
        };
        let mut highest = search::highest(range, samples, &mut run);
        let of = |rate: &Option<String>| rate.as_ref().and_then(|rate| runs.get(rate));
        let (passed, failed) = (of(&highest.passed), of(&highest.failed));
        highest.limit = failed.and_then(|outcome| outcome.first.clone());
        let outcome = passed.or(failed).cloned();
        let outcome = outcome.unwrap_or_else(|| Outcome::not_run(Verdict::Fault, String::new()));
        if outcome.verdict == Verdict::Supply {
            (highest.failed, highest.limit) = (None, None);
        }
        (highest, outcome)
    }
}

/// The trials of some names, in the order of the names; all of them without names.
pub(crate) fn choose<'a>(project: &'a Project, names: &[String]) -> Result<Vec<&'a Trial>, String> {
    let trials = project.trials();
    if trials.is_empty() {
        return Err("the design has no trial: write `trial NAME on BOARD { ... }`".to_owned());
    }
    if names.is_empty() {
        return Ok(trials.iter().collect());
    }
    let mut seen = BTreeSet::new();
    let mut chosen = Vec::new();
    for name in names {
        if !seen.insert(name) {
            return Err(format!("the trial {name} is named twice"));
        }
        chosen.push(project.trial_named(name)?);
    }
    Ok(chosen)
}

/// The parts that are outside the supply range of their families, in words.
pub(crate) fn outside_supply(circuit: &Circuit) -> Option<String> {
    let mut found: BTreeMap<String, Vec<&str>> = BTreeMap::new();
    for chip in circuit.chips.values().filter(|chip| chip.fed) {
        if let Some(text) = outside(chip) {
            found.entry(text).or_default().push(&chip.path);
        }
    }
    let words: Vec<String> = (found.iter()).map(|(text, chips)| format!("{text}: {}", chips.join(" "))).collect();
    (!words.is_empty()).then(|| words.join("; "))
}

fn outside(chip: &Chip) -> Option<String> {
    let family = chip.electrical.as_ref()?;
    let (least, most) = family.supply?;
    let within = least <= chip.supply && chip.supply <= most;
    (!within).then(|| format!("{} has {}, {} takes {least} to {most}", chip.number, chip.supply, family.name))
}

fn header(project: &Project, asked: &Asked, trials: &[Planned<'_>]) -> Header {
    let written = "as written";
    let texts = |values: Vec<String>| match values.as_slice() {
        [] => vec![written.to_owned()],
        _ => values,
    };
    fn strings<T: ToString>(values: &[T]) -> Vec<String> {
        values.iter().map(ToString::to_string).collect()
    }
    let mut values = vec![
        trials.iter().map(|planned| planned.trial.name.node.clone()).collect(),
        texts(strings(&asked.voltages)),
        texts(strings(&asked.temperatures)),
        texts(asked.corners.iter().map(|corner| corner_word(*corner)).collect()),
        texts(asked.power_ups.iter().map(|state| power_up_word(*state)).collect()),
    ];
    let mut search = None;
    match &asked.clock {
        Clock::AsWritten => values.push(texts(Vec::new())),
        Clock::Rates(rates) => values.push(strings(rates)),
        Clock::Highest(range, samples) => {
            search = Some(Searched {
                from: range.from.to_string(),
                to: range.to.to_string(),
                step: range.step.to_string(),
                samples: *samples,
            });
        }
    }
    let axes = AXES.iter().zip(values).map(|(name, values)| Axis { name: (*name).to_owned(), values });
    let mut changed: Vec<String> = Vec::new();
    for planned in trials {
        let clock = planned.clock.iter().map(|clock| format!("clock: {}", clock.words()));
        let supplies = (planned.supplies.iter()).map(|supply| format!("voltage: {supply}"));
        for words in clock.chain(supplies) {
            if !changed.contains(&words) {
                changed.push(words);
            }
        }
    }
    Header {
        coldboard: env!("CARGO_PKG_VERSION").to_owned(),
        design: fingerprint(project),
        axes: axes.collect(),
        changed,
        search,
        slice: asked.slice,
    }
}

/// A corner as it is asked for.
pub(crate) fn corner_word(corner: Corner) -> String {
    match corner {
        Corner::Fastest => "fastest".to_owned(),
        Corner::Typical => "typical".to_owned(),
        Corner::Slowest => "slowest".to_owned(),
        Corner::Random(seed) => format!("random:{seed}"),
    }
}

fn power_up_word(state: PowerUp) -> String {
    match state {
        PowerUp::Unknown => "unknown".to_owned(),
        PowerUp::Zero => "zero".to_owned(),
        PowerUp::One => "one".to_owned(),
        PowerUp::Random(seed) => format!("random:{seed}"),
    }
}
