//! Random circuits of gates against plain evaluation: settled levels, unknown inputs, and the longest path.

use super::bench::{Run, circuit, ns, settings};
use coldboard::language::ast::{Corner, PowerUp};
use coldboard::logic::Level;
use proptest::prelude::*;
use std::fmt::Write;

/// Kinds of gates: name, formula, what it makes of its inputs, and its slowest delay from A and from B.
type Kind = (&'static str, &'static str, fn(bool, bool) -> bool, i64, i64);

const KINDS: [Kind; 7] = [
    ("g_and", "A and B", |a, b| a && b, 20, 31),
    ("g_or", "A or B", |a, b| a || b, 17, 12),
    ("g_nand", "not (A and B)", |a, b| !(a && b), 9, 9),
    ("g_nor", "not (A or B)", |a, b| !(a || b), 23, 7),
    ("g_xor", "A xor B", |a, b| a ^ b, 33, 29),
    ("g_same", "A = B", |a, b| a == b, 14, 26),
    ("g_not", "not A", |a, _| !a, 11, 0),
];

const INPUTS: usize = 6;

/// A gate: its kind, and which earlier signals are its inputs.
#[derive(Clone, Debug)]
struct Gate {
    kind: usize,
    a: usize,
    b: usize,
}

fn netlist() -> impl Strategy<Value = Vec<Gate>> {
    prop::collection::vec((0..KINDS.len(), any::<prop::sample::Index>(), any::<prop::sample::Index>()), 1..40).prop_map(
        |rows| {
            let rows = rows.into_iter().enumerate();
            // Mostly from what came last, so that the paths get long.
            let pick = |index: prop::sample::Index, count: usize| {
                let back = index.index(count.min(8));
                count - 1 - back
            };
            rows.map(|(at, (kind, a, b))| Gate { kind, a: pick(a, INPUTS + at), b: pick(b, INPUTS + at) }).collect()
        },
    )
}

/// The design of a netlist: signal n is the net sN.
fn design(gates: &[Gate]) -> String {
    let mut text = String::new();
    for (name, formula, _, a, b) in KINDS {
        let two = if name == "g_not" { "" } else { "2 B in" };
        let from_b = if name == "g_not" { String::new() } else { format!("delay B -> Y {} {} {b} ns", b / 4, b / 2) };
        let _ = writeln!(
            text,
            "part {name} \"a gate\" {{ package DIP8 {{ 1 A in  {two}  3 Y out  4 GND ground  8 VCC power }}
             Y = {formula}
             grade T {{ columns min 25 C, typ 25 C, limit 0..70 C
                 at 5 V {{ delay A -> Y {} {} {a} ns  {from_b} }} }} }}",
            a / 4,
            a / 2
        );
    }
    text += "board b { rail VCC 5 V  rail GND\n";
    for (at, gate) in gates.iter().enumerate() {
        let (name, ..) = KINDS[gate.kind];
        let b = if name == "g_not" { String::new() } else { format!("B = s{}", gate.b) };
        let _ =
            writeln!(text, "feed U{at} from VCC GND  U{at} {name} {{ A = s{}  {b}  Y = s{} }}", gate.a, INPUTS + at);
    }
    // Inputs that no gate uses are there all the same.
    text += "connector P header-1x6 { 1..6 s[0..5] } }\n";
    text
}

/// All signals, for given inputs.
fn evaluated(gates: &[Gate], inputs: u64) -> Vec<bool> {
    let mut signals: Vec<bool> = (0..INPUTS).map(|bit| inputs >> bit & 1 == 1).collect();
    for gate in gates {
        let (_, _, function, ..) = KINDS[gate.kind];
        signals.push(function(signals[gate.a], signals[gate.b]));
    }
    signals
}

/// The slowest way to each signal from any input, in nanoseconds.
fn longest(gates: &[Gate]) -> Vec<i64> {
    let mut paths = vec![0; INPUTS];
    for gate in gates {
        let (name, _, _, a, b) = KINDS[gate.kind];
        let through_b = if name == "g_not" { 0 } else { paths[gate.b] + b };
        paths.push((paths[gate.a] + a).max(through_b));
    }
    paths
}

fn set(run: &mut Run<'_>, inputs: u64, unknown: u64) {
    for bit in 0..INPUTS {
        let level = match (unknown >> bit & 1, inputs >> bit & 1) {
            (1, _) => Level::X,
            (_, 1) => Level::One,
            _ => Level::Zero,
        };
        let net = run.net(&format!("s{bit}"));
        run.machine.set(net, level);
    }
}

const NAMES: [&str; INPUTS] = ["s0", "s1", "s2", "s3", "s4", "s5"];

proptest! {
    #![proptest_config(ProptestConfig { cases: 60, failure_persistence: None, ..ProptestConfig::default() })]

    /// Known inputs: every net settles to what plain evaluation gives, and no later than its longest path allows.
    #[test]
    fn gates_settle_to_their_formulas_in_time(
        gates in netlist(),
        inputs in prop::collection::vec(0u64..1 << INPUTS, 2..8),
        seed in 0u64..9,
    ) {
        let circuit = circuit(&design(&gates));
        let paths = longest(&gates);
        for corner in [Corner::Fastest, Corner::Typical, Corner::Slowest, Corner::Random(seed)] {
            let mut run = Run::with(&circuit, settings(corner, PowerUp::Unknown), &NAMES);
            for (step, &inputs) in inputs.iter().enumerate() {
                let start = ns(10_000 * step as i64);
                run.to(start).forget();
                set(&mut run, inputs, 0);
                run.to(start + ns(9_000));
                prop_assert_eq!(run.machine.next_event(), None);
                for (signal, &expected) in evaluated(&gates, inputs).iter().enumerate() {
                    let net = run.net(&format!("s{signal}"));
                    let level = if expected { Level::One } else { Level::Zero };
                    prop_assert_eq!(run.machine.level(net), level, "s{} at step {}", signal, step);
                    let last = run.changes.0.iter().rfind(|change| change.1 == net).map(|change| change.0);
                    let limit = start + ns(paths[signal]);
                    prop_assert!(last.is_none_or(|last| last <= limit), "s{} moves at {:?}, after {}", signal, last, limit);
                }
            }
        }
    }

    /// Unknown inputs: a net that is known has that level whatever the unknown inputs are.
    #[test]
    fn a_known_level_does_not_hang_on_unknown_inputs(
        gates in netlist(),
        inputs in 0u64..1 << INPUTS,
        unknown in 0u64..1 << INPUTS,
    ) {
        let circuit = circuit(&design(&gates));
        let mut run = Run::new(&circuit, &NAMES);
        set(&mut run, inputs, 0);
        run.to(ns(10_000));
        set(&mut run, inputs, unknown);
        run.to(ns(20_000));
        let mut meanings = (0..1u64 << INPUTS).filter(|other| other & !unknown == inputs & !unknown);
        let first = evaluated(&gates, inputs);
        let same = meanings.clone().fold(vec![true; first.len()], |same, other| {
            let signals = evaluated(&gates, other);
            same.iter().zip(signals.iter().zip(&first)).map(|(same, (a, b))| *same && a == b).collect()
        });
        prop_assert!(meanings.next().is_some());
        for (signal, &same) in same.iter().enumerate() {
            let level = run.machine.level(run.net(&format!("s{signal}")));
            if level.is_known() {
                prop_assert!(same, "s{} claims to be {:?}", signal, level);
                prop_assert_eq!(level.is_high(), first[signal]);
            }
        }
        // And a level that was unknown becomes known again with its inputs.
        set(&mut run, inputs, 0);
        run.to(ns(30_000));
        for (signal, &expected) in first.iter().enumerate() {
            let level = run.machine.level(run.net(&format!("s{signal}")));
            prop_assert!(level.is_known() && level.is_high() == expected);
        }
    }
}
