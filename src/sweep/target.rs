//! What the clock axis and the voltage axis change in a circuit and its trial.

use crate::circuit::{Circuit, NetKey};
use crate::diagnostic::did_you_mean;
use crate::language::ast::{Trial, TrialStatement};
use crate::language::expand::Scope;
use crate::model::Changes;
use crate::quantity::{Frequency, Quantity, Voltage};
use crate::text::Sources;

/// What gives the clock: lines of the trial, or an oscillator can.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Target {
    /// `clock` lines on one net, as rows of the trial's body, and the net's path.
    Lines(Vec<usize>, String),
    /// An oscillator, by its path.
    Can(String),
}

impl Target {
    /// What it is, in words.
    pub fn words(&self) -> String {
        match self {
            Target::Lines(_, net) => format!("the clock on {net}"),
            Target::Can(path) => format!("the oscillator {path}"),
        }
    }

    /// Gives it a rate.
    pub fn set(&self, rate: Frequency, trial: &mut Trial, changes: &mut Changes) {
        match self {
            Target::Can(path) => {
                changes.frequencies.insert(path.clone(), rate);
            }
            Target::Lines(rows, _) => {
                for &row in rows {
                    if let TrialStatement::Clock { frequency, .. } = &mut trial.body[row].node {
                        frequency.node = Quantity::Frequency(rate);
                    }
                }
            }
        }
    }
}

/// Finds what a clock axis changes: the clock or the oscillator of a name; without one the only clock of the trial, or
/// else the only oscillator of the circuit.
///
/// # Errors
/// A sentence for a person when there is none, or several.
pub(crate) fn clock_target(
    trial: &Trial,
    circuit: &Circuit,
    sources: &Sources,
    name: Option<&str>,
) -> Result<Target, String> {
    let mut lines: Vec<(NetKey, Vec<usize>, String)> = Vec::new();
    for (row, statement) in trial.body.iter().enumerate() {
        let TrialStatement::Clock { path, .. } = &statement.node else {
            continue;
        };
        let net = circuit.signal_at(path, &Scope::default()).ok();
        let Some(net) = net.and_then(|signal| signal.nets.first().copied()) else {
            continue;
        };
        match lines.iter_mut().find(|(known, ..)| *known == net) {
            Some((_, rows, _)) => rows.push(row),
            None => lines.push((net, vec![row], sources.slice(path.span).to_owned())),
        }
    }
    let cans: Vec<&str> = (circuit.chips.values())
        .filter(|chip| chip.part.function.oscillator.is_some())
        .map(|chip| chip.path.as_str())
        .collect();
    let trial = &trial.name.node;
    if let Some(name) = name {
        let net = circuit.signal(name).ok();
        let net = net.and_then(|signal| signal.nets.first().copied());
        let line = lines.iter().find(|(known, ..)| Some(*known) == net);
        if let Some((_, rows, net)) = line {
            return Ok(Target::Lines(rows.clone(), net.clone()));
        }
        if cans.contains(&name) {
            return Ok(Target::Can(name.to_owned()));
        }
        let there: Vec<&str> = (lines.iter().map(|(.., net)| net.as_str())).chain(cans).collect();
        let help = match (did_you_mean(name, there.iter().copied()), there.as_slice()) {
            (Some(near), _) => near,
            (None, []) => "it has neither clocks nor oscillators".to_owned(),
            (None, some) => format!("it has: {}", some.join(", ")),
        };
        return Err(format!("`{name}` is no clock of the trial {trial} and no oscillator; {help}"));
    }
    match (lines.as_slice(), cans.as_slice()) {
        ([(_, rows, net)], _) => Ok(Target::Lines(rows.clone(), net.clone())),
        ([], [can]) => Ok(Target::Can((*can).to_owned())),
        ([], []) => {
            Err(format!("the trial {trial} has no `clock` line and its circuit no oscillator: no rate can be changed"))
        }
        ([], several) => Err(format!(
            "which oscillator? {}: write its name before the rates, as in {}=1MHz",
            several.join(", "),
            several[0]
        )),
        (several, _) => {
            let nets: Vec<&str> = several.iter().map(|(.., net)| net.as_str()).collect();
            Err(format!(
                "which clock of the trial {trial}? {}: write its name before the rates, as in {}=1MHz",
                nets.join(", "),
                nets[0]
            ))
        }
    }
}

/// Finds what a voltage axis changes: the bench supply of a name, or the rail of a board that stands alone; without a
/// name all of them, when they have one voltage.
///
/// # Errors
/// A sentence for a person when there is none, or they differ.
pub fn supplies(circuit: &Circuit, name: Option<&str>) -> Result<Vec<String>, String> {
    let what = if circuit.assembly { "supply" } else { "rail" };
    let there: Vec<(&str, Voltage)> = if circuit.assembly {
        let supplies = circuit.supplies.values();
        supplies.map(|supply| (supply.name.as_str(), supply.voltage)).collect()
    } else {
        let rails = circuit.nets.values();
        rails
            .filter_map(|net| Some((net.path.as_str(), net.rail?.declared)))
            .filter(|&(_, voltage)| voltage > Voltage::ZERO)
            .collect()
    };
    let names: Vec<&str> = there.iter().map(|(name, _)| *name).collect();
    let Some((first, voltage)) = there.first() else {
        return Err(format!("{} has no {what} with a voltage", circuit.name));
    };
    if let Some(name) = name {
        return match names.contains(&name) {
            true => Ok(vec![name.to_owned()]),
            false => {
                Err(format!("`{name}` is no {what} of {} with a voltage; it has: {}", circuit.name, names.join(", ")))
            }
        };
    }
    if there.iter().any(|(_, other)| other != voltage) {
        return Err(format!(
            "which {what} of {}? {} have different voltages: write its name before the values, as in {first}=4.5V",
            circuit.name,
            names.join(", ")
        ));
    }
    Ok(names.into_iter().map(str::to_owned).collect())
}
