//! A signal goes from one ground to another one that nothing joins to it.
//!
//! # What it finds
//!
//! Nets of an assembly on which chips of different grounds stand: no cable joins the two, nor a resistor of 10 ohm or less,
//! nor the poles of a supply. A board that stands alone is not asked: its bench joins the grounds.
//!
//! # Why it hurts
//!
//! A level is a voltage between a signal and ground. Between two supplies that nothing joins there may be any voltage, so
//! the far board reads nothing of use; what flows back flows through the clamps of its inputs.
//!
//! # Cure
//!
//! A ground wire in every cable that carries signals, better several: one beside each fast signal.
//!
//! # Example
//!
//! ```text
//! cable W1 jumper 200 mm { A.J1.1 to B.J1.1 }            # the signal, and no ground
//! supply PS1 5 V 1 A { plus = A.P.1   minus = A.P.2 }
//! supply PS2 5 V 1 A { plus = B.P.1   minus = B.P.2 }
//! ```
//!
//! # Source
//!
//! Common practice.

use crate::check::{Finding, Rule, Subject, page};
use crate::circuit::{ChipKey, Circuit, DiscreteKind, NetKey};
use crate::diagnostic::Diagnostic;
use crate::key::KeyVec;
use crate::part::{PinIndex, PinKind};
use crate::quantity::si::Ohms;
use std::collections::BTreeMap;

pub(crate) const RULE: Rule = Rule {
    name: "grounds-apart",
    summary: "A signal goes from one ground to another one that nothing joins to it.",
    documentation: page!("grounds_apart.rs"),
    find,
};

/// A resistor that joins two grounds: ohms.
const JOINS: Ohms = Ohms(10.0);

/// A signal, and a pin of each of two grounds on it.
struct Crossing {
    net: NetKey,
    pins: [(ChipKey, PinIndex); 2],
    others: Vec<NetKey>,
}

fn find(subject: &Subject<'_>, findings: &mut Vec<Finding>) {
    let circuit = subject.circuit;
    if !circuit.assembly {
        return;
    }
    let mut joined = joined(circuit);
    let mut ground = |chip: ChipKey| ground_of(circuit, chip).map(|net| first(&mut joined, net));
    // One finding for each pair of grounds.
    let mut crossings: BTreeMap<(NetKey, NetKey), Crossing> = BTreeMap::new();
    for (key, net) in circuit.nets.iter().filter(|(_, net)| net.rail.is_none()) {
        let mut pins = net.chip_pins.iter();
        let near = pins.find_map(|&(chip, pin)| Some(((chip, pin), ground(chip)?)));
        let Some((one, low)) = near else { continue };
        for &two in pins {
            let Some(high) = ground(two.0).filter(|&other| other != low) else {
                continue;
            };
            let crossing = crossings.entry((low.min(high), low.max(high))).or_insert_with(|| Crossing {
                net: key,
                pins: [one, two],
                others: Vec::new(),
            });
            crossing.others.push(key);
        }
    }
    for crossing in crossings.into_values() {
        findings.extend(report(circuit, crossing));
    }
}

fn report(circuit: &Circuit, mut crossing: Crossing) -> Option<Finding> {
    let [one, two] = crossing.pins;
    let name = |(chip, _): (ChipKey, PinIndex)| ground_of(circuit, chip).map(|net| circuit.nets[net].path.as_str());
    let net = &circuit.nets[crossing.net];
    let message = format!(
        "{} joins {} and {}, and nothing joins their grounds {} and {}",
        net.path,
        super::pin_in_words(circuit, one.0, one.1),
        super::pin_in_words(circuit, two.0, two.1),
        name(one)?,
        name(two)?
    );
    let mut problem = Diagnostic::error(RULE.name, message)
        .at(circuit.chips[one.0].span, "on one ground")
        .at(circuit.chips[two.0].span, "on another one")
        .note("a level is a voltage between a signal and ground: here the far board sees any level")
        .help("lead a ground wire beside the signal, in the same cable");
    crossing.others.dedup();
    if crossing.others.len() > 1 {
        problem = problem.note(super::and_as_many(circuit, &crossing.others));
    }
    Some(Finding::new(circuit, super::board_of(net), net.path.clone(), problem))
}

/// The ground of a chip that is fed.
fn ground_of(circuit: &Circuit, chip: ChipKey) -> Option<NetKey> {
    let row = &circuit.chips[chip];
    let mut pins = row.part.pins.iter().zip(&row.nets);
    let (_, net) = pins.find(|(pin, _)| pin.kind == PinKind::Ground)?;
    (*net).filter(|_| row.fed)
}

/// For each net another one that small resistors join it to; a net that leads to itself stands for all of them.
fn joined(circuit: &Circuit) -> KeyVec<NetKey, NetKey> {
    let mut joined: KeyVec<NetKey, NetKey> = circuit.nets.keys().collect();
    let small = circuit
        .discretes
        .values()
        .filter(|row| matches!(row.kind, DiscreteKind::Resistor(ohms) if ohms.ohms() <= JOINS));
    for row in small {
        if let [Some(one), Some(two)] = row.nets[..] {
            let (one, two) = (first(&mut joined, one), first(&mut joined, two));
            joined[one.max(two)] = one.min(two);
        }
    }
    joined
}

/// The net that stands for all that are joined to one.
fn first(joined: &mut KeyVec<NetKey, NetKey>, mut net: NetKey) -> NetKey {
    while joined[net] != net {
        joined[net] = joined[joined[net]];
        net = joined[net];
    }
    net
}
