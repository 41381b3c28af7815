//! A contact shorts a supply or an output.
//!
//! # What it finds
//!
//! Buttons, switches and changeover switches that join, when somebody works them:
//!
//! - two rails of different voltage: an error;
//! - an output that always drives to a rail, or to another such output: a warning.
//!
//! A resistor between keeps that away, and so does an open drain on ground. Two outputs that are joined at all times belong
//! to `outputs-fight`, one that stands on a rail to `output-on-rail`.
//!
//! # Why it hurts
//!
//! A supply that is shorted takes the whole machine down, burns the contact, and may burn a trace. An output that is
//! shorted carries the most that its transistor can for as long as somebody holds the button.
//!
//! # Cure
//!
//! Let the contact lead an input to the rail, and hold that input at the other level with a resistor of 10 kohm. Where a
//! contact has the upper hand of an output, put 1 kohm between the two.
//!
//! # Example
//!
//! ```text
//! SW1 button { 1 = VCC   2 = GND }                     # 2 was to be /reset
//! SW2 changeover { common = run   up = VCC   down = GND }
//! U1 74HC74 { 1Q = run   ... }                         # run is an output already
//! ```
//!
//! # Source
//!
//! Fairchild DS006494 (7404: one output may be shorted at a time, for a second); Philips 9397 750 14502 (74HC245: 35 mA for
//! each output is the absolute maximum). Shorted supplies: common practice.

use crate::check::{Finding, Rule, Subject, page};
use crate::circuit::{Circuit, Discrete, DiscreteKind, NetKey};
use crate::diagnostic::Diagnostic;
use crate::electrical::OperatingPoint;
use crate::electrical::drive::Enabled;
use crate::part::PinKind;
use crate::quantity::Voltage;

pub(crate) const RULE: Rule = Rule {
    name: "contact-short",
    summary: "A contact shorts a supply or an output.",
    documentation: page!("contact_short.rs"),
    find,
};

/// What holds one end of a contact.
enum End {
    Rail(Voltage),
    /// An output that always drives, in words.
    Output(String),
}

fn find(subject: &Subject<'_>, findings: &mut Vec<Finding>) {
    let circuit = subject.circuit;
    for contact in circuit.discretes.values() {
        for (one, two, worked) in joined(contact) {
            let ends = [one, two].map(|net| end(circuit, &subject.operating_point, net));
            let [Some(a), Some(b)] = ends else { continue };
            let paths = [one, two].map(|net| circuit.nets[net].path.as_str());
            if let Some(problem) = judge(contact, paths, worked, (&a, &b)) {
                let problem = problem.at(circuit.nets[one].span, paths[0]).at(circuit.nets[two].span, paths[1]);
                findings.push(Finding::new(circuit, contact.board, contact.path.clone(), problem));
                break;
            }
        }
    }
}

/// The pairs of nets that a contact joins, with the word for how.
fn joined(contact: &Discrete) -> Vec<(NetKey, NetKey, &'static str)> {
    let pairs: &[(usize, usize, &str)] = match contact.kind {
        DiscreteKind::Button => &[(0, 1, "while it is pressed")],
        DiscreteKind::Switch => &[(0, 1, "while it is closed")],
        DiscreteKind::Changeover => &[(0, 1, "while it is up"), (0, 2, "while it is down")],
        _ => &[],
    };
    let net = |pin: usize| contact.nets.get(pin).copied().flatten();
    let pairs = pairs.iter().filter_map(|&(a, b, worked)| {
        let (a, b) = (net(a)?, net(b)?);
        (a != b).then_some((a, b, worked))
    });
    pairs.collect()
}

fn end(circuit: &Circuit, operating_point: &OperatingPoint, key: NetKey) -> Option<End> {
    if let Some(rail) = circuit.nets[key].rail {
        return Some(End::Rail(rail.declared));
    }
    let driver = operating_point.nets[key].drivers.iter().find(|driver| {
        let chip = &circuit.chips[driver.chip];
        let open = chip.part.pins[driver.pin].kind == PinKind::OpenDrain;
        chip.fed && driver.enabled == Enabled::Always && !open
    })?;
    Some(End::Output(super::pin_in_words(circuit, driver.chip, driver.pin)))
}

fn judge(contact: &Discrete, [one, two]: [&str; 2], worked: &str, ends: (&End, &End)) -> Option<Diagnostic> {
    let path = &contact.path;
    let (new, message, why): (fn(&'static str, String) -> Diagnostic, _, _) = match ends {
        (End::Rail(a), End::Rail(b)) if a == b => return None,
        (End::Rail(a), End::Rail(b)) => (
            Diagnostic::error,
            format!("{path} shorts {one} ({a}) to {two} ({b}) {worked}"),
            "nothing but the supply limits the current",
        ),
        (End::Output(a), End::Output(b)) if a == b => return None,
        (End::Output(a), End::Output(b)) => (
            Diagnostic::warning,
            format!("{path} joins the outputs {a} and {b} {worked}"),
            "where they differ each of them shorts the other",
        ),
        (End::Output(output), End::Rail(_)) => (
            Diagnostic::warning,
            format!("{path} shorts the output {output} to {two} {worked}"),
            "when the output wants the other level it carries the most that it can",
        ),
        (End::Rail(_), End::Output(output)) => (
            Diagnostic::warning,
            format!("{path} shorts the output {output} to {one} {worked}"),
            "when the output wants the other level it carries the most that it can",
        ),
    };
    let problem = new(RULE.name, message).at(contact.span, "this contact");
    let help = "lead the contact to an input that a resistor of 10 kohm holds, or put 1 kohm between";
    Some(problem.note(why).help(help))
}
