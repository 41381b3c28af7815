//! A net has only one pin, so it joins nothing.
//!
//! # What it finds
//!
//! Nets that a chip or a discrete names, and nothing else. When another net of the board has a name that is spelled
//! nearly alike, it is offered. An input alone on its net is an error, a discrete or a likely slip of the pen a
//! warning, and an output that nobody reads a note.
//!
//! A connector pin alone is no finding: a bus passes lines that this board does not use. Names that differ only in
//! their number (`m6`, `m7`) are never taken for one another.
//!
//! # Why it hurts
//!
//! A net comes into being by being named, so a slip in a name cuts one net into two: the board is made without that
//! trace, and an input is left floating.
//!
//! # Cure
//!
//! Give both ends the same name. Where an input needs nothing, tie it to a rail.
//!
//! # Example
//!
//! ```text
//! U1 74HC04 { 1A = phi    1Y = phi_n }
//! U2 74HC74 { 1CLK = phin   ... }          # phi_n was meant
//! ```
//!
//! # Source
//!
//! Common practice.

use crate::check::{Finding, Rule, Subject, page};
use crate::circuit::{BoardKey, Circuit, Net};
use crate::diagnostic::{Diagnostic, nearest};
use std::collections::BTreeMap;

pub(crate) const RULE: Rule = Rule {
    name: "single-pin-net",
    summary: "A net has only one pin, so it joins nothing.",
    documentation: page!("single_pin_net.rs"),
    find,
};

/// Offers beyond these help nobody, and each looks at all names of a board.
const MOST_OFFERS: usize = 200;
/// Shorter names are near to everything.
const SHORTEST: usize = 3;

fn find(subject: &Subject<'_>, findings: &mut Vec<Finding>) {
    let circuit = subject.circuit;
    let mut names: BTreeMap<BoardKey, Vec<&str>> = BTreeMap::new();
    for (board, name) in circuit.nets.values().flat_map(|net| &net.names) {
        names.entry(*board).or_default().push(name);
    }
    let mut offers = 0;
    for net in circuit.nets.values() {
        let [(board, name)] = net.names.as_slice() else {
            continue;
        };
        if super::pins_on(net) != 1 || !net.connector_pins.is_empty() || net.rail.is_some() {
            continue;
        }
        offers += 1;
        let near =
            (offers <= MOST_OFFERS).then(|| near_name(name, names.get(board).map_or(&[], Vec::as_slice))).flatten();
        findings.push(Finding::new(circuit, *board, net.path.clone(), report(circuit, net, near)));
    }
}

fn report(circuit: &Circuit, net: &Net, near: Option<&str>) -> Diagnostic {
    let error = Diagnostic::error;
    let (new, pin, why): (fn(_, String) -> _, _, _) = match (net.chip_pins.first(), net.discrete_pins.first()) {
        (Some(&(chip, index)), _) => {
            let row = &circuit.chips[chip];
            let pin = super::pin_in_words(circuit, chip, index);
            let off = super::disabled_outputs(circuit, row);
            let floats = !super::always_drives(&row.part, off, index);
            if row.part.pins[index].is_input() && floats {
                (error, pin, super::why_open(row))
            } else if near.is_some() {
                (Diagnostic::warning, pin, "its output reaches nobody, and the pin that was meant to read it floats")
            } else {
                (Diagnostic::note_only, pin, "its output reaches nobody")
            }
        }
        (None, Some(&(discrete, index))) => {
            let pin = format!("{}.{}", circuit.discretes[discrete].path, index + 1);
            (Diagnostic::warning, pin, "with one end in the air it does nothing")
        }
        (None, None) => (error, String::new(), ""),
    };
    let help = match near {
        Some(near) => format!("did you mean `{near}`?"),
        None => {
            "give the other end of the net the same name, or write `= open` when it leads nowhere on purpose".to_owned()
        }
    };
    new(RULE.name, format!("only {pin} is on the net {}", net.path)).at(net.span, "named once").note(why).help(help)
}

/// Another name of the board that is spelled nearly alike, not only numbered differently.
fn near_name<'a>(name: &str, names: &[&'a str]) -> Option<&'a str> {
    if name.len() < SHORTEST {
        return None;
    }
    let own = stem(name);
    let others = names.iter().copied();
    nearest(name, others.filter(|other| stem(other) != own))
}

/// A name without the number at its end.
fn stem(name: &str) -> &str {
    name.trim_end_matches(|c: char| c.is_ascii_digit())
}

#[cfg(test)]
mod tests {
    use super::near_name;
    use crate::check::rules::bench::{only, places};

    fn found(lines: &str) -> Vec<String> {
        places("single-pin-net", &format!("board b {{ rail VCC 5 V  rail GND  {lines} }}"))
    }

    #[test]
    fn a_slip_in_a_name_is_found_on_both_sides() {
        let lines = "U1 74HC04 { 1A = GND  1Y = phi_n }  U2 74HC04 { 1A = phin }";
        assert_eq!(found(lines), ["phi_n: warning", "phin: error"]);
        assert!(found("U1 74HC04 { 1A = GND  1Y = phi_n }  U2 74HC04 { 1A = phi_n }").is_empty());
    }

    #[test]
    fn the_near_name_is_offered() {
        let text = "board b { rail GND  connector J header-1x1 { 1 clock }
                        U1 74HC04 { 1A = clokc  2A = clock } }";
        let finding = only("single-pin-net", text);
        assert_eq!(finding.place, "clokc");
        assert_eq!(finding.diagnostic.message, "only U1.1A (pin 1) is on the net clokc");
        assert_eq!(finding.diagnostic.help.as_deref(), Some("did you mean `clock`?"));
    }

    #[test]
    fn names_that_differ_in_their_number_are_not_near() {
        assert_eq!(near_name("data7", &["data6", "data5", "data7"]), None);
        assert_eq!(near_name("data7", &["data6", "date7"]), Some("date7"));
        assert_eq!(near_name("q", &["d"]), None);
    }

    #[test]
    fn what_hangs_in_the_air_is_told_apart() {
        assert_eq!(found("U1 74HC04 { 1Y = spare }"), ["spare: note"]);
        assert_eq!(found("R1 resistor 1 kohm { 1 = VCC  2 = pulled }"), ["pulled: warning"]);
        assert_eq!(found("U1 74HC245 { A1 = x }"), ["x: error"]);
    }

    #[test]
    fn a_line_that_only_passes_a_connector_is_none() {
        assert!(found("connector J header-1x2 { 1..2 bus[0..1] }").is_empty());
    }
}
