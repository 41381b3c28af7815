//! The labels of a connector are incomplete, or disagree with those at the other end of its cable.
//!
//! # What it finds
//!
//! - Pins of a connector that the design does not speak of: neither labelled nor called `open`. One note for each
//!   connector.
//! - Cables that join pins of different labels, capitals aside. One finding for each cable: a warning when a label
//!   that disagrees stands at another pin of the other connector, because then the order is wrong; a note when the
//!   two ends only call their lines by other names.
//! - Labelled pins of a cabled connector that no wire of the cable reaches. One warning for each connector. Rails that
//!   are fed another way are left alone.
//!
//! # Why it hurts
//!
//! A connector that is turned round or counted from the other end is the most common fault of a machine of several
//! boards. In the best case data arrives in the wrong order, in the worst the supply arrives on a signal and kills
//! every chip behind it.
//!
//! # Cure
//!
//! Label each pin by what it carries, with the same word at both ends, and write `open` where there is nothing. Turn
//! the connector round, or the order of the pins on one board.
//!
//! # Example
//!
//! ```text
//! board left  { connector BUS header-1x3 { 1..2 m[0..1]   3 GND } }
//! board right { connector BUS header-1x3 { 1 GND   2..3 m[0..1] } }
//! assembly both { A: left   B: right   cable W1 ribbon 200 mm { A.BUS, B.BUS } }
//! ```
//!
//! # Source
//!
//! Common practice.

use crate::check::{Finding, Rule, Subject, page};
use crate::circuit::{Cable, Circuit, Connector, ConnectorKey, ConnectorPin};
use crate::diagnostic::Diagnostic;

pub(crate) const RULE: Rule = Rule {
    name: "connector-label",
    summary: "The labels of a connector are incomplete, or disagree with those at the other end of its cable.",
    documentation: page!("connector_label.rs"),
    find,
};

/// One pin of one connector.
type End = (ConnectorKey, usize);

fn find(subject: &Subject<'_>, findings: &mut Vec<Finding>) {
    let circuit = subject.circuit;
    for (key, connector) in circuit.connectors.iter() {
        findings.extend(unlabelled(circuit, key, connector));
        findings.extend(unreached(circuit, key, connector));
    }
    for cable in circuit.cables.values() {
        findings.extend(disagreement(circuit, cable));
    }
}

/// Pins of which nothing is said.
fn unlabelled(circuit: &Circuit, key: ConnectorKey, connector: &Connector) -> Option<Finding> {
    let pins = chosen(connector, |pin| pin.label.is_none() && !pin.open);
    let first = *pins.first()?;
    let verb = if pins.len() == 1 { "has" } else { "have" };
    let message = format!("{} of {} {verb} no label", numbers(&pins), connector.path);
    let problem = Diagnostic::note_only(RULE.name, message)
        .at(connector.span, "this connector")
        .note("whoever wires the other end cannot know what belongs there")
        .help("write a label for each pin, or `open` for one that leads nowhere");
    Some(Finding::new(circuit, connector.board, circuit.connector_pin_path(key, first), problem))
}

/// Labelled pins of a cabled connector at which no wire ends.
fn unreached(circuit: &Circuit, key: ConnectorKey, connector: &Connector) -> Option<Finding> {
    if connector.pins.iter().all(|pin| pin.cables.is_empty()) {
        return None;
    }
    let fed = |pin: &ConnectorPin| {
        let rail = pin.net.and_then(|net| circuit.nets[net].rail);
        rail.is_some_and(|rail| rail.fed.is_some())
    };
    let pins = chosen(connector, |pin| pin.cables.is_empty() && pin.label.is_some() && !pin.open && !fed(pin));
    let first = *pins.first()?;
    let verb = if pins.len() == 1 { "is" } else { "are" };
    let message = format!("{} of {} {verb} on no wire of its cable", numbers(&pins), connector.path);
    let problem = Diagnostic::warning(RULE.name, message)
        .at(connector.pins[first].span, "no wire ends here")
        .note("what should come in there floats, and what should go out arrives nowhere")
        .help("add the missing wire to the cable, or write `open` for the pin");
    Some(Finding::new(circuit, connector.board, circuit.connector_pin_path(key, first), problem))
}

/// A cable that joins pins of different labels.
fn disagreement(circuit: &Circuit, cable: &Cable) -> Option<Finding> {
    let pairs: Vec<(End, End)> = (cable.wires.iter()).flat_map(|wire| differing(circuit, wire)).collect();
    let (first, second) = pairs.iter().copied().find(|pair| misplaced(circuit, *pair)).or(pairs.first().copied())?;
    let words = |end: End| {
        let label = label(circuit, end).unwrap_or("");
        format!("{} `{label}`", circuit.connector_pin_path(end.0, end.1))
    };
    let more = match pairs.len() {
        1 => String::new(),
        2 => ", and one more wire like it".to_owned(),
        pairs => format!(", and {} more wires like it", pairs - 1),
    };
    let message = format!("cable {} joins {} to {}{more}", cable.name, words(first), words(second));
    let wrong_order = misplaced(circuit, (first, second));
    let problem = if wrong_order {
        let help = if would_agree_turned(circuit, &pairs) {
            "turn one end of the cable round: add `reversed`, or take it away"
        } else {
            "bring the pins of both connectors into one order, or list the wires of the cable one by one"
        };
        Diagnostic::warning(RULE.name, message)
            .note("each label is at another pin of the other connector, so signals arrive in the wrong order")
            .help(help)
    } else {
        Diagnostic::note_only(RULE.name, message)
            .note("one line with two names is easily taken for two")
            .help("if they are meant to meet, use one word at both ends")
    };
    let pin = |end: End| &circuit.connectors[end.0].pins[end.1];
    let problem =
        problem.at(cable.span, "this cable").at(pin(first).span, "one end").at(pin(second).span, "the other end");
    let place = circuit.connector_pin_path(first.0, first.1);
    let board = circuit.connectors[first.0].board;
    Some(Finding::new(circuit, board, place, problem))
}

/// The ends of a wire whose label differs from that of its first labelled end.
fn differing(circuit: &Circuit, wire: &[End]) -> Vec<(End, End)> {
    let mut labelled = wire.iter().copied().filter(|end| {
        let net = circuit.connectors[end.0].pins[end.1].net;
        // Of a supply on a signal `rail-on-signal` speaks.
        let misled = net.is_some_and(|net| circuit.nets[net].signals_on_rail().next().is_some());
        label(circuit, *end).is_some() && !misled
    });
    let Some(first) = labelled.next() else {
        return Vec::new();
    };
    labelled.filter(|end| !agree(label(circuit, first), label(circuit, *end))).map(|end| (first, end)).collect()
}

fn label(circuit: &Circuit, end: End) -> Option<&str> {
    circuit.connectors[end.0].pins[end.1].label.as_deref()
}

fn agree(one: Option<&str>, two: Option<&str>) -> bool {
    one.zip(two).is_some_and(|(one, two)| one.eq_ignore_ascii_case(two))
}

/// True when one of two labels that meet stands at another pin of the other connector.
fn misplaced(circuit: &Circuit, (one, two): (End, End)) -> bool {
    let elsewhere = |end: End, other: End| {
        let pins = &circuit.connectors[other.0].pins;
        pins.iter().any(|pin| agree(pin.label.as_deref(), label(circuit, end)))
    };
    elsewhere(one, two) || elsewhere(two, one)
}

/// True when all pairs would agree with one of two connectors turned round.
fn would_agree_turned(circuit: &Circuit, pairs: &[(End, End)]) -> bool {
    pairs.iter().all(|&(one, two)| {
        let pins = circuit.connectors[two.0].pins.len();
        agree(label(circuit, one), label(circuit, (two.0, pins - 1 - two.1)))
    })
}

fn chosen(connector: &Connector, wanted: impl Fn(&ConnectorPin) -> bool) -> Vec<usize> {
    let pins = connector.pins.iter().enumerate();
    pins.filter(|(_, pin)| wanted(pin)).map(|(index, _)| index).collect()
}

/// `pin 3`, `pins 3 and 4`.
fn numbers(pins: &[usize]) -> String {
    let numbers: Vec<String> = pins.iter().map(|index| (index + 1).to_string()).collect();
    let word = if pins.len() == 1 { "pin" } else { "pins" };
    format!("{word} {}", super::list(&numbers))
}

#[cfg(test)]
mod tests {
    use crate::check::rules::bench::{only, places};

    fn cabled(left: &str, right: &str, cable: &str) -> String {
        format!(
            "board left {{ rail VCC 5 V  rail GND  connector J header-1x4 {{ {left} }} }}
             board right {{ rail VCC 5 V  rail GND  connector J header-1x4 {{ {right} }} }}
             assembly both {{ A: left  B: right  {cable} }}"
        )
    }

    fn found(left: &str, right: &str, cable: &str) -> Vec<String> {
        places("connector-label", &cabled(left, right, cable))
    }

    const STRAIGHT: &str = "cable W1 ribbon 1 m { A.J, B.J }";
    const REVERSED: &str = "cable W1 ribbon 1 m reversed { A.J, B.J }";
    const UP: &str = "1..4 m[0..3]";
    const DOWN: &str = "1..4 m[3..0]";

    #[test]
    fn pins_without_a_label_are_one_note() {
        let finding = only("connector-label", "board b { connector J header-1x4 { 1 a  3 open } }");
        assert_eq!(finding.place, "J.2");
        assert_eq!(finding.diagnostic.message, "pins 2 and 4 of J have no label");
        let full = "board b { connector J header-1x2 { 1 a  2 open } }";
        assert!(places("connector-label", full).is_empty());
    }

    #[test]
    fn equal_labels_are_none_whatever_their_capitals() {
        assert!(found(UP, UP, STRAIGHT).is_empty());
        assert!(found(UP, DOWN, REVERSED).is_empty());
        assert!(found("1 CLK 2..4 open", "1 clk 2..4 open", STRAIGHT).is_empty());
    }

    #[test]
    fn a_turned_connector_is_one_warning_that_knows_the_cure() {
        for (right, cable) in [(DOWN, STRAIGHT), (UP, REVERSED)] {
            let finding = only("connector-label", &cabled(UP, right, cable));
            assert_eq!(finding.place, "A.J.1");
            assert_eq!(finding.diagnostic.severity.word(), "warning");
            assert_eq!(
                finding.diagnostic.help.as_deref(),
                Some("turn one end of the cable round: add `reversed`, or take it away")
            );
        }
        let finding = only("connector-label", &cabled(UP, DOWN, STRAIGHT));
        assert_eq!(finding.diagnostic.message, "cable W1 joins A.J.1 `m0` to B.J.1 `m3`, and 3 more wires like it");
    }

    #[test]
    fn a_shifted_order_is_a_warning_and_another_name_a_note() {
        let finding = only("connector-label", &cabled(UP, "1..3 m[1..3]  4 m0", STRAIGHT));
        assert!(finding.diagnostic.help.is_some_and(|help| help.starts_with("bring the pins")));
        assert_eq!(found("1 phi 2..4 x[2..4]", "1 clock 2..4 x[2..4]", STRAIGHT), ["A.J.1: note"]);
    }

    #[test]
    fn a_pin_that_the_cable_leaves_out_is_found() {
        let wires = "cable W1 jumper 100 mm { A.J.1 to B.J.1  A.J.2 to B.J.2 }";
        assert_eq!(found(UP, "1..2 m[0..1] 3..4 open", wires), ["A.J.3: warning"]);
        assert!(found(UP, UP, "").is_empty());
    }

    #[test]
    fn a_rail_that_is_fed_needs_no_wire() {
        let wires = "cable W1 jumper 100 mm { A.J.1 to B.J.1 }
                     supply PS1 5 V 1 A { plus = A.J.2  minus = A.J.3 }";
        assert!(found("1 a 2 VCC 3 GND 4 open", "1 a 2..4 open", wires).is_empty());
        let unfed = "cable W1 jumper 100 mm { A.J.1 to B.J.1 }";
        assert_eq!(found("1 a 2 VCC 3..4 open", "1 a 2..4 open", unfed), ["A.J.2: warning"]);
    }
}
