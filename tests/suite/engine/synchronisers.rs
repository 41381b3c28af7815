//! Synchronisers: what a design says of two flip-flops, and what the engine makes of it.
//!
//! 74HC74 (TI SCLS094E, December 2015): 1D before 1CLK 25 ns at 4.5 V over -40..85 C. Two flip-flops in a row for a signal
//! that comes at any time are common practice; the second one takes 0 or 1, nobody knows which.

use super::bench::{run_trial, told};
use coldboard::trial::Report;

/// A signal d, the flip-flops of U1 in a row, U2 beside the first one and behind one that nothing has clocked.
fn board(said: &str) -> String {
    format!(
        "board b {{ rail VCC 4.5 V  rail GND  feed U1..U4 from VCC GND
        U1 74HC74 {{ 1D = d  1CLK = clk  /1CLR = VCC  /1PRE = VCC  1Q = first  /1Q = open
                    2D = {{SECOND}}  2CLK = clk  /2CLR = VCC  /2PRE = VCC  2Q = second  /2Q = open }}
        U2 74HC74 {{ 1D = first  1CLK = clk  /1CLR = VCC  /1PRE = VCC  1Q = beside  /1Q = open
                    2D = GND  2CLK = GND  /2CLR = VCC  /2PRE = VCC  2Q = never  /2Q = open }}
        U3 74HC04 {{ 1A = first  1Y = turned  [2..6]A = GND  [2..6]Y = open }}
        U4 74HC08 {{ 1A = first  1B = never  1Y = both  [2..4]A = GND  [2..4]B = GND  [2..4]Y = open }}
        {said} }}\n"
    )
}

/// d moves a nanosecond before a rise of clk; a clock later the second one looks.
fn tried(second: &str, said: &str, seed: u64, expected: &str) -> Report {
    let text = board(said).replace("{SECOND}", second);
    run_trial(&format!(
        "{text}trial t on b {{ corner slowest  power-up {}
        set d = low  set clk = low  run for 1 us
        set clk = high  run for 1 us  set clk = low  run for 1 us
        set clk = high  run for 1 us  set clk = low  run for 1 us
        set d = high  run for 1 ns  set clk = high  run for 1 us  expect first is unknown  set clk = low  run for 1 us
        set clk = high  run for 1 us  expect first is high  {expected} }}",
        match seed {
            0 => "unknown".to_owned(),
            _ => format!("random seed {seed}"),
        }
    ))
}

const SAID: &str = "synchroniser U1.1Q to U1.2Q \"d comes when it comes\"";

fn notes(report: &Report) -> Vec<String> {
    let notes = report.notes.iter().filter(|note| ["undecided", "by chance"].contains(&note.kind));
    notes.map(|note| format!("{} {} x{}", note.kind, note.place, note.count)).collect()
}

#[test]
fn the_second_flip_flop_takes_something_and_it_is_told() {
    for second in ["first", "turned"] {
        let report = tried(second, SAID, 0, "expect second is known");
        assert_eq!(told(&report), Vec::<String>::new(), "{second}");
        assert_eq!(notes(&report), ["undecided U1.1D x1", "by chance U1.2Q x1"], "{second}");
    }
    // Either value comes, by the seed, and the same one for the same seed.
    let high = |seed| {
        let report = tried("first", SAID, seed, "expect second is high");
        report.passed
    };
    let taken: Vec<bool> = (1..=16).map(high).collect();
    assert!(taken.contains(&true) && taken.contains(&false), "{taken:?}");
    assert_eq!(taken, (1..=16).map(high).collect::<Vec<bool>>());
}

#[test]
fn without_a_word_of_the_design_both_are_unknown_and_the_first_is_blamed() {
    let report = tried("first", "", 0, "expect second is unknown");
    assert!(report.failures.is_empty(), "{:?}", report.failures);
    let kinds: Vec<&str> = report.faults.iter().map(|fault| fault.kind).collect();
    assert_eq!(kinds, ["setup"]);
    assert_eq!(notes(&report), [] as [&str; 0]);
}

#[test]
fn what_else_is_unknown_stays_unknown() {
    // A flip-flop that listens to the first one as well, and is not named.
    let report = tried("first", SAID, 0, "expect beside is unknown  expect second is known");
    assert!(report.passed, "{:?} {:?}", report.failures, report.faults);
    // What comes to the second one hangs on a flip-flop that nothing has set.
    let report = tried("both", SAID, 0, "expect second is unknown");
    assert!(report.passed, "{:?} {:?}", report.failures, report.faults);
    assert_eq!(notes(&report), ["undecided U1.1D x1"]);
}
