//! Both sides of a refit: rules, trials, rates, waves.

use super::choose::Chosen;
use super::current::at_rest;
use super::limits::limits;
use super::result::{Both, Difference, Pair, Refit, Reordered, Replaced, Side, Turned};
use crate::check::check;
use crate::circuit::{Circuit, NetKey, Signal};
use crate::diagnostic::{Diagnostic, any_error};
use crate::language::ast::{Corner, Trial};
use crate::model::Changes;
use crate::project::Project;
use crate::quantity::Time;
use crate::run::wave::{Bit, Waves};
use crate::sweep::{self, Clock, Highest, Outcome, Plan, Range, Rests, Verdict};
use crate::trial::recorder::nets_of;
use crate::trial::{self, Keep, Memory, Options, Record, Report};
use rayon::prelude::*;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// What both sides are tried with.
#[derive(Clone, Debug)]
pub struct Asked<'a> {
    /// Trials on the board or assembly.
    pub trials: Vec<&'a Trial>,
    pub corners: Vec<Corner>,
    /// The range in which the highest clock rates are looked for, and how many lower ones are tried; with the name of a
    /// net or oscillator.
    pub rate: Option<(Option<String>, Range, usize)>,
    /// Cores to work on.
    pub cores: usize,
}

/// Compares a board or assembly with itself after a refit.
///
/// # Errors
/// What is wrong with the circuit or the trials.
pub fn compare(project: &Project, on: &str, chosen: &Chosen, asked: &Asked<'_>) -> Result<Refit, Vec<Diagnostic>> {
    let changes = Changes { chips: chosen.chips.clone(), ..Changes::default() };
    let is = made(project, on, &Changes::default())?;
    let would = made(project, on, &changes)?;
    let recorded = recorded(&is, chosen);
    let rates = match &asked.rate {
        None => Both::default(),
        Some(_) => Both { is: rates(project, asked, &Changes::default())?, would: rates(project, asked, &changes)? },
    };
    let mut work = Vec::new();
    for trial in &asked.trials {
        work.extend(asked.corners.iter().map(|&corner| (*trial, corner)));
    }
    let pool = rayon::ThreadPoolBuilder::new().num_threads(asked.cores.max(1)).build();
    let pool =
        pool.map_err(|error| vec![Diagnostic::error("refit", format!("the work cannot be shared out: {error}"))])?;
    let pairs: Vec<Result<Pair, Vec<Diagnostic>>> = pool.install(|| {
        let pair = |&(trial, corner): &(&Trial, Corner)| {
            let sides = Both {
                is: ran(project, &is, trial, corner, &recorded)?,
                would: ran(project, &would, trial, corner, &recorded)?,
            };
            Ok(pair(trial, corner, sides))
        };
        work.par_iter().map(pair).collect()
    });
    let mut runs = Vec::new();
    for (at, pair) in pairs.into_iter().enumerate() {
        let mut pair = pair?;
        pair.outcome.is.highest = rates.is.get(at).cloned();
        pair.outcome.would.highest = rates.would.get(at).cloned();
        runs.push(pair);
    }
    Ok(Refit {
        on: is.name.clone(),
        replaced: chosen.replaced.clone(),
        kept: chosen.kept.clone(),
        edits: chosen.edits.clone(),
        findings: turned(findings(&is), findings(&would)),
        rules: rules(&runs, &chosen.replaced),
        at_rest: Both { is: at_rest(&is), would: at_rest(&would) },
        timing: Both { is: limits(project, &is)?, would: limits(project, &would)? },
        runs,
    })
}

fn made(project: &Project, on: &str, changes: &Changes) -> Result<Arc<Circuit>, Vec<Diagnostic>> {
    let (circuit, problems) = project.changed(Some(on), changes);
    match circuit {
        Some(circuit) if !any_error(&problems) => Ok(circuit),
        _ => Err(problems),
    }
}

/// The nets of the chips that are replaced; those that a trial speaks of are added for each trial.
fn recorded(circuit: &Circuit, chosen: &Chosen) -> BTreeSet<NetKey> {
    let replaced = chosen.chips.keys().filter_map(|path| circuit.chip(path));
    let nets = replaced.flat_map(|chip| circuit.chips[chip].nets.iter().flatten().copied());
    nets.filter(|&net| circuit.nets[net].rail.is_none()).collect()
}

/// The highest rates, trials first and then corners.
fn rates(project: &Project, asked: &Asked<'_>, changes: &Changes) -> Result<Vec<Highest>, Vec<Diagnostic>> {
    let Some((name, range, samples)) = &asked.rate else {
        return Ok(Vec::new());
    };
    let plan = Plan::new(
        project,
        sweep::Asked {
            trials: asked.trials.iter().map(|trial| trial.name.node.clone()).collect(),
            corners: asked.corners.clone(),
            clock: Clock::Highest(*range, *samples),
            clock_name: name.clone(),
            changes: changes.clone(),
            ..sweep::Asked::default()
        },
    )?;
    let swept = sweep::work(&plan, asked.cores, Vec::new(), &mut |_| Ok(()));
    let swept = swept.map_err(|sentence| vec![Diagnostic::error("refit", sentence)])?;
    Ok(swept.rows.into_iter().filter_map(|row| row.highest).collect())
}

/// What each of the two runs that are compared may take.
const ROOM: Memory = Memory(2 << 30);

/// A run of one side; none where a part is outside its supply range.
struct Ran {
    outcome: Outcome,
    report: Option<Report>,
}

fn ran(
    project: &Project,
    circuit: &Circuit,
    trial: &Trial,
    corner: Corner,
    recorded: &BTreeSet<NetKey>,
) -> Result<Ran, Vec<Diagnostic>> {
    if let Some(why) = sweep::outside_supply(circuit) {
        return Ok(Ran { outcome: Outcome::not_run(Verdict::Supply, why), report: None });
    }
    let images = |file: &_| project.image(file);
    let prepared = trial::prepare(trial, circuit, project.sources(), &images)?;
    let mut nets = recorded.clone();
    nets.extend(nets_of(prepared.mentioned()));
    let signal = |net: NetKey| Signal { path: circuit.nets[net].path.clone(), nets: vec![net] };
    let options = Options {
        corner: Some(corner),
        record: Record { signals: nets.into_iter().map(signal).collect(), keep: Keep::First, ..Record::default() },
        memory: ROOM,
        ..Options::default()
    };
    let report = trial::run_once(&prepared, circuit, project.sources(), &options);
    Ok(Ran { outcome: sweep::outcome(&report), report: Some(report) })
}

fn pair(trial: &Trial, corner: Corner, sides: Both<Ran>) -> Pair {
    let side = |ran: &Ran| Side { run: ran.outcome.clone(), highest: None };
    let mut pair = Pair {
        trial: trial.name.node.clone(),
        corner: sweep::corner_word(corner),
        outcome: Both { is: side(&sides.is), would: side(&sides.would) },
        faults: Turned::default(),
        difference: None,
        reordered: None,
        compared: None,
    };
    if let (Some(is), Some(would)) = (&sides.is.report, &sides.would.report) {
        // A fault at one place is the same fault, though its times may differ.
        pair.faults = turned(faults(is), faults(would));
        pair.difference = difference(&is.waves, &would.waves);
        pair.reordered = reordered(&is.waves, &would.waves);
        let compared = is.waves.end.min(would.waves.end);
        pair.compared = (compared < is.end.min(would.end)).then(|| compared.to_string());
    }
    pair
}

fn faults(report: &Report) -> BTreeMap<(String, String), String> {
    let row = |fault: &trial::report::Finding| ((fault.kind.to_owned(), fault.place.clone()), fault.text.clone());
    report.faults.iter().map(row).collect()
}

fn findings(circuit: &Circuit) -> BTreeMap<(String, String), String> {
    let row = |finding: crate::check::Finding| {
        let text = format!("{}: {}", finding.rule, finding.diagnostic.message);
        ((finding.rule.to_owned(), finding.place), text)
    };
    check(circuit).into_iter().map(row).collect()
}

/// What only one side has, by key.
fn turned<K: Ord, T>(is: BTreeMap<K, T>, would: BTreeMap<K, T>) -> Turned<T> {
    let only = |one: &BTreeMap<K, T>, other: &BTreeMap<K, T>| -> BTreeSet<usize> {
        let keys = one.keys().enumerate().filter(|(_, key)| !other.contains_key(key));
        keys.map(|(at, _)| at).collect()
    };
    let (gone, come) = (only(&is, &would), only(&would, &is));
    let pick = |all: BTreeMap<K, T>, wanted: BTreeSet<usize>| {
        let all = all.into_values().enumerate();
        all.filter(|(at, _)| wanted.contains(at)).map(|(_, item)| item).collect()
    };
    Turned { gone: pick(is, gone), come: pick(would, come) }
}

/// The rules that only one side rests on, with the parts. Where a part rests on the same rule as the one in whose socket
/// it stands, nothing has turned.
fn rules(runs: &[Pair], replaced: &[Replaced]) -> Turned<Rests> {
    let gather = |side: &dyn Fn(&Pair) -> &Side| {
        let rests = runs.iter().flat_map(|pair| &side(pair).run.rules);
        let parts = rests.flat_map(|rests| rests.parts.iter().map(|part| (rests.rule.clone(), part.clone())));
        parts.collect::<BTreeSet<(String, String)>>()
    };
    let (is, would) = (gather(&|pair| &pair.outcome.is), gather(&|pair| &pair.outcome.would));
    let in_socket = |rule: &str, part: &str, of: fn(&Replaced) -> (&str, &str), there: &BTreeSet<(String, String)>| {
        let others = replaced.iter().map(of).filter(|(mine, _)| *mine == part);
        let mut names = others.map(|(_, other)| other).chain([part]);
        names.any(|name| there.contains(&(rule.to_owned(), name.to_owned())))
    };
    let only = |one: &BTreeSet<(String, String)>, other, of: fn(&Replaced) -> (&str, &str)| {
        let mut rests: Vec<Rests> = Vec::new();
        for (rule, part) in one.iter().filter(|(rule, part)| !in_socket(rule, part, of, other)) {
            match rests.last_mut().filter(|last| last.rule == *rule) {
                Some(last) => last.parts.push(part.clone()),
                None => rests.push(Rests { rule: rule.clone(), parts: vec![part.clone()] }),
            }
        }
        rests
    };
    Turned {
        gone: only(&is, &would, |chip| (&chip.from, &chip.to)),
        come: only(&would, &is, |chip| (&chip.to, &chip.from)),
    }
}

fn bits(waves: &Waves) -> impl Iterator<Item = &Bit> {
    waves.signals.iter().flat_map(|signal| &signal.bits)
}

/// The changes of a net by what a person would call its levels.
fn worded(bit: &Bit) -> Vec<(Time, &'static str)> {
    let mut changes: Vec<(Time, &'static str)> = Vec::with_capacity(bit.changes.len());
    for &(time, level) in &bit.changes {
        let word = level.word();
        if changes.last().is_none_or(|(_, last)| *last != word) {
            changes.push((time, word));
        }
    }
    changes
}

/// The first moment, while both run, at which a net has another level.
fn difference(is: &Waves, would: &Waves) -> Option<Difference> {
    let end = is.end.min(would.end);
    let mut first: Option<(Time, &str, Both<&'static str>)> = None;
    for (a, b) in bits(is).zip(bits(would)) {
        let (a_changes, b_changes) = (worded(a), worded(b));
        let (mut i, mut j) = (0, 0);
        while i < a_changes.len() || j < b_changes.len() {
            let next = |changes: &[(Time, &str)], at: usize| changes.get(at).map(|change| change.0);
            let time = match (next(&a_changes, i), next(&b_changes, j)) {
                (Some(a), Some(b)) => a.min(b),
                (a, b) => a.or(b).unwrap_or(end),
            };
            let found = first.as_ref().is_some_and(|(first, ..)| time >= *first);
            if time > end || found {
                break;
            }
            i += usize::from(next(&a_changes, i) == Some(time));
            j += usize::from(next(&b_changes, j) == Some(time));
            let word = |changes: &[(Time, &'static str)], passed: usize| {
                passed.checked_sub(1).map_or("unknown", |last| changes[last].1)
            };
            let level = Both { is: word(&a_changes, i), would: word(&b_changes, j) };
            if level.is != level.would {
                first = Some((time, &a.name, level));
                break;
            }
        }
    }
    first.map(|(time, net, level)| Difference { net: net.to_owned(), time: time.to_string(), level })
}

/// The net whose levels come in another order, and the earliest of them.
fn reordered(is: &Waves, would: &Waves) -> Option<Reordered> {
    let mut first: Option<(Time, Reordered)> = None;
    for (a, b) in bits(is).zip(bits(would)) {
        let (a_changes, b_changes) = (worded(a), worded(b));
        let same = a_changes.iter().zip(&b_changes).take_while(|(a, b)| a.1 == b.1).count();
        let (one, other) = (a_changes.get(same), b_changes.get(same));
        let times = one.into_iter().chain(other).map(|change| change.0);
        let Some(time) = times.min() else { continue };
        // Near the end the slower side may only not have come so far.
        if (one.is_none() && time > is.end) || (other.is_none() && time > would.end) {
            continue;
        }
        if first.as_ref().is_none_or(|(first, _)| time < *first) {
            let told = Reordered {
                net: a.name.clone(),
                change: same + 1,
                time: Both {
                    is: one.map(|change| change.0.to_string()),
                    would: other.map(|change| change.0.to_string()),
                },
                level: Both { is: one.map(|change| change.1), would: other.map(|change| change.1) },
            };
            first = Some((time, told));
        }
    }
    first.map(|(_, told)| told)
}
