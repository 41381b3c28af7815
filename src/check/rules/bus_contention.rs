//! Two outputs of a bus can be enabled at the same time.
//!
//! # What it finds
//!
//! Nets with several outputs that can let go. For each pair the logic behind their enables is searched for values that
//! enable both: through gates and decoders back to what is stored, what comes in by connectors, and switches.
//!
//! - Values of a single signal do it: an error.
//! - Only contacts that a person moves are among them: a warning.
//! - What is stored or comes from outside must keep them apart: a note, with the values that must not come up together.
//! - More than 24 signals or outputs, or too much to search: a note that nothing is proven.
//!
//! The finding tells the current that flows then, as in `outputs-fight`.
//!
//! A decoder that enables one of several at a time is proven to be safe, and nothing is said.
//!
//! # Why it hurts
//!
//! Two outputs that pull a line to different levels short the supply through themselves. The level on the line is wrong,
//! the chips get hot, and the dip of the rail disturbs the board.
//!
//! # Cure
//!
//! Derive the enables from one decoder ('138, '139), whose outputs exclude one another.
//!
//! # Example
//!
//! ```text
//! U1 74HC541 { /OE[1..2] = /pick   Y[1..8] = m[0..7]   ... }
//! U2 74HC541 { /OE[1..2] = /pick   Y[1..8] = m[0..7]   ... }       # an inverter is missing
//! ```
//!
//! # Source
//!
//! TI SCBA004 (bus contention); Philips 9397 750 14502 (74HC245: 35 mA for each output is the absolute maximum).

use crate::check::{Finding, Rule, Subject, page};
use crate::circuit::{ChipKey, Circuit, NetKey};
use crate::diagnostic::{Diagnostic, Severity};
use crate::electrical::Sheets;
use crate::electrical::drive::{Driver, Enabled};
use crate::hazard::cone::{Answer, Choice, Cone, Goal};
use crate::part::PinKind;
use std::collections::BTreeMap;

pub(crate) const RULE: Rule = Rule {
    name: "bus-contention",
    summary: "Two outputs of a bus can be enabled at the same time.",
    documentation: page!("bus_contention.rs"),
    find,
};

/// Of more outputs on one net only the pairs of the first ones are searched.
const MOST_OUTPUTS: usize = 24;

fn find(subject: &Subject<'_>, findings: &mut Vec<Finding>) {
    let circuit = subject.circuit;
    let sheets = Sheets::new(circuit);
    for (nets, drivers) in buses(subject) {
        let mut worst: Option<(Severity, Diagnostic)> = None;
        let first = drivers.iter().take(MOST_OUTPUTS);
        for (at, &one) in first.clone().enumerate() {
            for &two in first.clone().skip(at + 1) {
                let always = one.enabled == Enabled::Always && two.enabled == Enabled::Always;
                let certain = (worst.as_ref()).is_some_and(|(severity, _)| *severity == Severity::Error);
                if always || certain {
                    continue;
                }
                if let Some(problem) = judge(subject, &sheets, nets[0], one, two)
                    && worst.as_ref().is_none_or(|(severity, _)| problem.severity < *severity)
                {
                    worst = Some((problem.severity, problem));
                }
            }
        }
        if worst.is_none() && drivers.len() > MOST_OUTPUTS {
            let message = format!(
                "it is not proven that the {} outputs on {} never meet",
                drivers.len(),
                circuit.nets[nets[0]].path
            );
            let problem = Diagnostic::note_only(RULE.name, message)
                .at(circuit.nets[nets[0]].span, "this net")
                .note(format!("only the first {MOST_OUTPUTS} of them were compared"))
                .help("derive the enables from one decoder, whose outputs exclude one another");
            worst = Some((Severity::Note, problem));
        }
        if let Some((_, mut problem)) = worst {
            if nets.len() > 1 {
                problem = problem.note(super::and_as_many(circuit, &nets));
            }
            let net = &circuit.nets[nets[0]];
            findings.push(Finding::new(circuit, super::board_of(net), net.path.clone(), problem));
        }
    }
}

/// A chip, and the nets that enable one of its outputs.
type Enables = (ChipKey, Vec<Option<NetKey>>);

/// Nets with several outputs that can let go, those with the same enables together.
pub(super) fn buses(subject: &Subject<'_>) -> Vec<(Vec<NetKey>, Vec<Driver>)> {
    let circuit = subject.circuit;
    let mut found: Vec<(Vec<NetKey>, Vec<Driver>)> = Vec::new();
    let mut known: BTreeMap<Vec<Enables>, usize> = BTreeMap::new();
    for (key, operating_point) in subject.operating_point.nets.iter() {
        let drivers: Vec<Driver> = (operating_point.drivers.iter().copied())
            .filter(|driver| {
                let chip = &circuit.chips[driver.chip];
                let open = chip.part.pins[driver.pin].kind == PinKind::OpenDrain;
                chip.fed && !open && driver.enabled != Enabled::Never
            })
            .collect();
        if drivers.is_empty() || drivers.iter().all(|driver| driver.enabled == Enabled::Always) {
            continue;
        }
        let enables = |driver: &Driver| {
            let chip = &circuit.chips[driver.chip];
            let reads = chip.part.function.reads_of_off(driver.bit).inputs;
            let inputs = chip.part.function.inputs.iter().enumerate();
            let nets = inputs.filter(|(bit, _)| reads >> bit & 1 == 1);
            let nets: Vec<Option<NetKey>> = nets.map(|(_, &pin)| chip.nets[pin]).collect();
            (driver.chip, nets)
        };
        let signature: Vec<_> = drivers.iter().map(enables).collect();
        match known.get(&signature) {
            Some(&at) => found[at].0.push(key),
            None => {
                known.insert(signature, found.len());
                found.push((vec![key], drivers));
            }
        }
    }
    found
}

fn judge(subject: &Subject<'_>, sheets: &Sheets, net: NetKey, one: Driver, two: Driver) -> Option<Diagnostic> {
    let circuit = subject.circuit;
    let goals = [Goal::Drives(one, true), Goal::Drives(two, true)];
    let mut cone = Cone::new(circuit, &subject.operating_point, &goals);
    let path = &circuit.nets[net].path;
    let pin = |driver: Driver| super::pin_in_words(circuit, driver.chip, driver.pin);
    let both = format!("{} and {}", pin(one), pin(two));
    let (severity, message, note) = match cone.search(&goals) {
        Answer::Never => return None,
        Answer::Unknown => (
            Severity::Note,
            format!("it is not proven that {both} never drive {path} together"),
            "their enables depend on more signals than were searched".to_owned(),
        ),
        Answer::When(choice) => {
            let choice = cone.least(&goals, choice);
            let severity = severity(circuit, &choice);
            let when = match (choice.is_empty(), severity) {
                (true, _) => "they do so whatever the signals are".to_owned(),
                (_, Severity::Note) => {
                    format!("nothing but what is stored or comes in keeps this away: {}", cone.words(&choice))
                }
                _ => format!("they do so when {}", cone.words(&choice)),
            };
            (severity, format!("{both} can drive {path} at the same time"), when)
        }
    };
    let flows = super::what_flows(circuit, sheets, (one.chip, one.pin), (two.chip, two.pin));
    let problem = Diagnostic::new(severity, RULE.name, message)
        .at(circuit.chips[two.chip].span, format!("{} drives", circuit.pin_path(two.chip, two.pin)))
        .at(circuit.chips[one.chip].span, format!("{} drives", circuit.pin_path(one.chip, one.pin)))
        .note(note);
    let problem = match flows {
        Some(flows) => problem.note(flows),
        None => problem,
    };
    Some(problem.help("derive the enables from one decoder, whose outputs exclude one another"))
}

/// How sure it is that a choice comes up.
pub(super) fn severity(circuit: &Circuit, choice: &Choice) -> Severity {
    if choice.len() < 2 {
        Severity::Error
    } else if choice.keys().all(|&variable| super::is_contact(circuit, variable)) {
        Severity::Warning
    } else {
        Severity::Note
    }
}
