//! Long and short networks of resistors and switches, with delays and without: what comes out at their far ends.
//!
//! The levels follow from IEEE Std 1164: through a resistor 1 is H and 0 is L; L and H together are W, which is unknown to
//! an input; a strong level overrides weak ones; 0 and 1 together are X. Where no current flows, no voltage is lost over a
//! resistor (Ohm's law), so that a ladder without loads has the level of its driven end everywhere.

use assert_cmd::Command;
use serde_json::{Value, json};
use std::fs;

/// Stages of a network.
const LENGTHS: [usize; 2] = [3, 300];

/// A board with such parts, and gates whose inputs are the nets `n0` and the last; and what a trial does with it.
fn design(stages: usize, parts: &str, trial: &str) -> String {
    let text = format!(
        "board network \"of resistors and switches\" {{
    rail VCC 5 V
    rail GND
    feed U1 from VCC GND
    connector J1 header-1x4 {{ 1 VCC  2 GND  3 n0  4 n<N> }}
    {parts}
    U1 74HC04 {{ 1A = n0  1Y = /first  2A = n<N>  2Y = /last  [3..6]A = GND }}
    C1 capacitor 100 nF decouples U1
}}
trial t on network {{
    {trial}
}}
"
    );
    text.replace("<N>", &stages.to_string())
        .replace("<N-1>", &(stages - 1).to_string())
        .replace("<N/2>", &(stages / 2).to_string())
}

/// The report of one trial, with delays or without.
fn report(text: &str, untimed: bool) -> (i32, Value) {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("network.board"), text).expect("written");
    let mut arguments = vec!["run", "network.board", "--json"];
    if untimed {
        arguments.push("--untimed");
    }
    let output = Command::cargo_bin("coldboard")
        .expect("the program")
        .current_dir(folder.path())
        .args(arguments)
        .output()
        .expect("it ran");
    let value = serde_json::from_slice(&output.stdout)
        .unwrap_or_else(|fault| panic!("{fault}: {}", String::from_utf8_lossy(&output.stderr)));
    (output.status.code().expect("an exit code"), value)
}

/// All expectations hold in both engines, however long the network is. `<ALL>` closes all switches in turn, and
/// `<BACK>` from the other end.
fn holds(parts: &str, trial: &str) {
    for stages in LENGTHS {
        let trial = trial.replace("<ALL>", &close(0..stages)).replace("<BACK>", &close((0..stages).rev()));
        let text = design(stages, parts, &trial);
        for untimed in [false, true] {
            let (code, value) = report(&text, untimed);
            assert_eq!(code, 0, "{stages}, untimed {untimed}: {value:#}");
        }
    }
}

/// Closes some switches.
fn close(numbers: impl Iterator<Item = usize>) -> String {
    numbers.map(|at| format!("close SW{at}\n")).collect()
}

const LADDER: &str = "each i in 0..<N-1> { R[i] resistor 1 kohm { 1 = n[i]  2 = n[i+1] } }";

#[test]
fn a_ladder_takes_the_level_of_the_end_that_is_driven() {
    holds(
        LADDER,
        "set n0 = high
         run for 1 us
         expect n<N> is high and n<N/2> is high and /last is low
         set n0 = low
         run for 1 us
         expect n<N> is low and n<N/2> is low and /last is high
         release n0
         set n<N> = high
         run for 1 us
         expect n0 is high and n<N/2> is high and /first is low
         set n0 = low
         run for 1 us
         expect n0 is low and n<N> is high and n<N/2> is unknown",
    );
}

#[test]
fn a_pull_up_reaches_through_a_ladder_and_a_pull_down_makes_it_unknown() {
    holds(
        &format!("{LADDER} RU resistor 10 kohm {{ 1 = n<N>  2 = VCC }}"),
        "run for 1 us
         expect n0 is high and /first is low
         set n0 = high
         run for 1 us
         expect n<N> is high
         set n0 = low
         run for 1 us
         expect n0 is low and n<N> is unknown and n<N/2> is unknown
         release n0
         run for 1 us
         expect n0 is high and n<N> is high",
    );
    holds(
        &format!("{LADDER} each i in 0..<N-1> {{ P[i] resistor 100 kohm {{ 1 = n[i+1]  2 = GND }} }}"),
        "run for 1 us
         expect n0 is low and n<N> is low
         set n0 = high
         run for 1 us
         expect n0 is high and n<N> is unknown
         set n0 = low
         run for 1 us
         expect n<N> is low",
    );
}

const CHAIN: &str = "each i in 0..<N-1> { SW[i] switch { 1 = n[i]  2 = n[i+1] } }";

#[test]
fn an_open_switch_in_the_middle_of_a_chain_leaves_the_far_half_to_its_pull() {
    for all in ["<ALL>", "<BACK>"] {
        let trial = format!(
            "set n0 = low
             {all}
             run for 1 us
             expect n<N> is low and /last is high
             open SW<N/2>
             run for 1 us
             expect n0 is low and n<N/2> is low and n<N> is high and /last is low
             set n0 = high
             close SW<N/2>
             run for 1 us
             expect n<N> is high and n<N/2> is high
             release n0
             run for 1 us
             expect n0 is high and /first is low
             open SW0
             run for 1 us
             expect n0 is off and n1 is high"
        );
        holds(&format!("{CHAIN} RU resistor 10 kohm {{ 1 = n<N>  2 = VCC }}"), &trial);
    }
}

#[test]
fn drivers_against_each_other_through_closed_switches_are_contention() {
    for stages in LENGTHS {
        let trial = format!(
            "set n0 = low
             set n<N> = high
             {}
             run for 1 us
             expect n0 is unknown and n<N/2> is unknown and n<N> is unknown
             open SW<N/2>
             run for 1 us
             expect n0 is low and n<N/2> is low and n<N> is high",
            close(0..stages)
        );
        let text = design(stages, CHAIN, &trial);
        for untimed in [false, true] {
            let (_, value) = report(&text, untimed);
            let report = &value[0];
            assert_eq!((&report["expectations_passed"], &report["failures"]), (&json!(2), &json!([])));
            if untimed {
                continue;
            }
            // For 1 us, at both drivers.
            let faults = report["faults"].as_array().expect("faults");
            let places: Vec<_> = faults.iter().map(|fault| &fault["place"]).collect();
            assert_eq!(places, [&json!("n0"), &json!(format!("n{stages}"))]);
            for fault in faults {
                assert_eq!(fault["kind"], "contention");
                let text = fault["text"].as_str().expect("text");
                assert!(text.ends_with("longest 1 us"), "{text}");
            }
        }
    }
}

#[test]
fn loops_hold_nothing_up_and_pass_both_ways() {
    // A ring of resistors, and what it gives when nobody drives it any more: nothing.
    holds(
        &format!("{LADDER} RL resistor 1 kohm {{ 1 = n<N>  2 = n0 }}"),
        "set n1 = high
         run for 1 us
         expect n0 is high and n<N> is high
         release n1
         run for 1 us
         expect n0 is off and n1 is off and n<N> is off",
    );
    // A ring of switches goes the other way round when one opens, and falls in two when another one does.
    holds(
        &format!("{CHAIN} SWL switch {{ 1 = n<N>  2 = n0 }}"),
        "set n0 = high
         <ALL>
         close SWL
         run for 1 us
         expect n<N> is high and n<N/2> is high
         open SW<N/2>
         run for 1 us
         expect n<N> is high and n<N/2> is high
         open SWL
         run for 1 us
         expect n<N/2> is high and n<N> is off
         close SWL
         open SW0
         run for 1 us
         expect n<N> is high and n1 is off",
    );
}
