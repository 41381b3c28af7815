//! A chip has no capacitor of about 100 nF at its supply pins.
//!
//! # What it finds
//!
//! Chips that are fed, but that no capacitor of 10 nF to 1 uF decouples. A capacitor counts for a chip when its
//! `decouples` names it and it stands between the chip's own power and ground. One that several chips share counts as
//! long as there are 10 nF of it for each.
//!
//! # Why it hurts
//!
//! When outputs switch, a chip draws its current within a few nanoseconds. The wires from the supply are too long to
//! bring it in that time; without a store beside the chip its own supply dips, its inputs see another threshold, and
//! flip-flops nearby lose what they hold. It shows as faults that come and go with what the rest of the board does.
//!
//! A large capacitor does not help: by itself it is too slow. A very small one holds too little charge.
//!
//! # Cure
//!
//! One ceramic capacitor of 100 nF for each chip, as close to its supply pins as it goes.
//!
//! # Example
//!
//! ```text
//! C1..C3 capacitor 100 nF decouples U1..U3
//! ```
//!
//! # Source
//!
//! TI SCLS315Q (0.1 uF for a device with a single supply); Hitachi, HD74AC Series Common Information, page 44 (0.10 uF
//! for each device); Intel, 80386 Hardware Reference Manual, page 11-3 (the least: 0.01 uF for each device). The upper
//! limit: common practice.

use crate::check::{Finding, Rule, Subject, page};
use crate::circuit::{Chip, ChipKey, Discrete, DiscreteKind};
use crate::diagnostic::Diagnostic;
use crate::key::KeyVec;
use crate::part::PinKind;
use crate::quantity::Capacitance;

pub(crate) const RULE: Rule = Rule {
    name: "missing-decoupling",
    summary: "A chip has no capacitor of about 100 nF at its supply pins.",
    documentation: page!("missing_decoupling.rs"),
    find,
};

/// 10 nF: the least for each chip.
const LEAST: Capacitance = Capacitance::from_raw(10_000_000);
/// 1 uF: the most for a capacitor that is quick enough.
const MOST: Capacitance = Capacitance::from_raw(1_000_000_000);

/// The best that was found at a chip, the better the later.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Store {
    None,
    /// A capacitor that does not help, and why.
    Useless(String),
    Good,
}

fn find(subject: &Subject<'_>, findings: &mut Vec<Finding>) {
    let circuit = subject.circuit;
    let mut stores: KeyVec<ChipKey, Store> = KeyVec::filled(circuit.chips.len(), Store::None);
    for discrete in circuit.discretes.values() {
        if let DiscreteKind::Capacitor(value) = discrete.kind {
            let chips = &discrete.decouples;
            for &chip in chips {
                let store = judge(&circuit.chips[chip], discrete, value, chips.len());
                if store > stores[chip] {
                    stores[chip] = store;
                }
            }
        }
    }
    for (key, chip) in circuit.chips.iter().filter(|(_, chip)| chip.fed) {
        if chip.part.pins_of(PinKind::Power).next().is_none() {
            continue;
        }
        let message = match &stores[key] {
            Store::Good => continue,
            Store::None => format!("no capacitor decouples {}", chip.path),
            Store::Useless(why) => format!("{} is not decoupled: {why}", chip.path),
        };
        let problem = Diagnostic::warning(RULE.name, message)
            .at(chip.span, "its supply dips whenever its outputs switch")
            .note("the wires from the supply are too long to bring the current of an edge within its few nanoseconds")
            .help(format!("put 100 nF close to its supply pins: `capacitor 100 nF decouples {}`", chip.reference));
        findings.push(Finding::new(circuit, chip.board, chip.path.clone(), problem));
    }
}

/// What a capacitor is worth to one of the chips that it decouples.
fn judge(chip: &Chip, capacitor: &Discrete, value: Capacitance, shared: usize) -> Store {
    let on = |kind: PinKind, pin: usize| {
        let net = capacitor.nets.get(pin).copied().flatten();
        let mut pins = chip.part.pins_of(kind);
        net.is_some() && pins.any(|supply| chip.nets[supply] == net)
    };
    let between = |a: usize, b: usize| on(PinKind::Power, a) && on(PinKind::Ground, b);
    let path = &capacitor.path;
    let share = value.raw() / i64::try_from(shared.max(1)).unwrap_or(i64::MAX);
    if !between(0, 1) && !between(1, 0) {
        Store::Useless(format!("{path} does not stand between its power and ground"))
    } else if value < LEAST {
        Store::Useless(format!("{path} with {value} holds too little charge"))
    } else if value > MOST {
        Store::Useless(format!("{path} with {value} is too slow for the edges of logic"))
    } else if share < LEAST.raw() {
        Store::Useless(format!("{path} with {value} is shared by {shared} chips"))
    } else {
        Store::Good
    }
}

#[cfg(test)]
mod tests {
    use crate::check::rules::bench::{only, places};

    fn board(lines: &str) -> String {
        format!(
            "board b {{ rail VCC 5 V  rail VDD 3.3 V  rail GND  feed U1..U2 from VCC GND  U1..U2 74HC04 {{ }} {lines} }}"
        )
    }

    fn found(lines: &str) -> Vec<String> {
        places("missing-decoupling", &board(lines))
    }

    #[test]
    fn each_chip_needs_a_capacitor() {
        assert_eq!(found(""), ["U1: warning", "U2: warning"]);
        assert_eq!(found("C1 capacitor 100 nF decouples U1"), ["U2: warning"]);
        assert!(found("C1..C2 capacitor 100 nF decouples U1..U2").is_empty());
    }

    #[test]
    fn ten_nanofarad_to_one_microfarad_pass() {
        for (value, passes) in [("9.9 nF", false), ("10 nF", true), ("1 uF", true), ("1.1 uF", false)] {
            let lines = format!("C1..C2 capacitor {value} decouples U1..U2");
            assert_eq!(found(&lines).is_empty(), passes, "{value}");
        }
        let lines = "C1 capacitor 100 nF decouples U1  C2 capacitor 10 uF decouples U2";
        let finding = only("missing-decoupling", &board(lines));
        assert_eq!(finding.diagnostic.message, "U2 is not decoupled: C2 with 10 uF is too slow for the edges of logic");
    }

    #[test]
    fn a_shared_capacitor_counts_while_there_is_enough_for_each() {
        assert!(found("C1 capacitor 20 nF decouples U1..U2").is_empty());
        assert_eq!(found("C1 capacitor 19 nF decouples U1..U2").len(), 2);
    }

    #[test]
    fn a_capacitor_elsewhere_does_not_count() {
        let lines = "C1 capacitor 100 nF decouples U1  C2 capacitor 100 nF decouples U2 { 1 = VDD  2 = GND }";
        let finding = only("missing-decoupling", &board(lines));
        assert_eq!(finding.place, "U2");
        assert_eq!(finding.diagnostic.message, "U2 is not decoupled: C2 does not stand between its power and ground");
        let turned = "C1 capacitor 100 nF decouples U1  C2 capacitor 100 nF decouples U2 { 1 = GND  2 = VCC }";
        assert!(found(turned).is_empty());
    }

    #[test]
    fn a_chip_without_supply_needs_none_yet() {
        assert!(places("missing-decoupling", "board b { U1 74HC04 { } }").is_empty());
    }
}
