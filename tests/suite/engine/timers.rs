//! One-shots and oscillators that a resistor and a capacitor time.
//!
//! Widths are those of Fairchild DS005206 (MM74HC123A), TI SDLS043 (74123, 74LS123), Fairchild DS005354 and, for the
//! frequency of the 4060, the Philips 74HC4060 formula `f = 1 / (2.5 Rt Ct)` (from memory).

use super::bench::{Run, board, ns, settings};
use coldboard::circuit::Circuit;
use coldboard::delay::Rule;
use coldboard::language::ast::{Corner, PowerUp};
use coldboard::quantity::Time;
use coldboard::run::Settings;
use rand_chacha::ChaCha8Rng;
use rand_core::{Rng, SeedableRng};

/// One section of a 123 on its resistor and capacitor; the other one rests.
fn one_shot(number: &str, resistor: &str, capacitor: &str) -> Circuit {
    board(
        "",
        &format!(
            "feed U1 from VCC GND
             U1 {number} {{
                 1A = a  1B = b  /1CLR = clr  1Q = q  /1Q = nq  1REXT/CEXT = rc  1CEXT = c
                 2A = VCC  2B = GND  /2CLR = GND  2REXT/CEXT = open  2CEXT = open
             }}
             R1 resistor {resistor} {{ 1 = VCC  2 = rc }}
             C1 capacitor {capacitor} {{ 1 = rc  2 = c }}"
        ),
    )
}

/// Cleared, and ready for a trigger.
fn ready(circuit: &Circuit, corner: Corner) -> Run<'_> {
    let mut run = Run::with(circuit, settings(corner, PowerUp::Unknown), &["a", "b", "clr"]);
    run.set("a=0 b=0 clr=0").run(ns(1_000)).set("clr=1").run(ns(1_000));
    assert_eq!(run.levels("q nq"), "01");
    run.forget();
    run
}

/// When a net rose and fell, in picoseconds.
fn edges(run: &Run<'_>, path: &str) -> Vec<i64> {
    let net = run.net(path);
    let changes = run.changes.0.iter().filter(|change| change.1 == net);
    changes.map(|(time, ..)| time.ps()).collect()
}

/// The one pulse that there was, in picoseconds.
fn width(run: &Run<'_>, path: &str) -> i64 {
    let edges = edges(run, path);
    assert_eq!(edges.len(), 2, "{}", run.wave(path));
    edges[1] - edges[0]
}

fn ms(count: i64) -> Time {
    ns(count * 1_000_000)
}

#[test]
fn pulses_have_the_width_of_the_sheet() {
    let cases = [
        // DS005206: 10 kohm, 0.1 uF: 0.9, 1 and 1.1 ms.
        ("74HC123", "10 kohm", "100 nF", Corner::Fastest, 900_000_000),
        ("74HC123", "10 kohm", "100 nF", Corner::Typical, 1_000_000_000),
        ("74HC123", "10 kohm", "100 nF", Corner::Slowest, 1_100_000_000),
        // SDLS043: 4, 4.5 and 5 us at 10 kohm and 1000 pF; K = 0.33 from 1 uF up: 0.33 x 22 kohm x 1 uF = 7.26 ms.
        ("74LS123", "10 kohm", "1000 pF", Corner::Fastest, 4_000_000),
        ("74LS123", "10 kohm", "1000 pF", Corner::Typical, 4_500_000),
        ("74LS123", "10 kohm", "1000 pF", Corner::Slowest, 5_000_000),
        ("74LS123", "22 kohm", "1 uF", Corner::Typical, 7_260_000_000),
        // SDLS043: 0.28 x 20 x 10000 x (1 + 0.7 / 20) = 57960 ns.
        ("74123", "20 kohm", "10 nF", Corner::Typical, 57_960_000),
    ];
    for (number, resistor, capacitor, corner, expected) in cases {
        let circuit = one_shot(number, resistor, capacitor);
        // By B, by A, and by the end of a clear.
        for trigger in ["b=1", "a=0", "clr=1"] {
            let mut run = ready(&circuit, corner);
            match trigger {
                "b=1" => &mut run,
                "a=0" => run.set("a=1").run(ns(100)).set("b=1"),
                _ => run.set("clr=0").run(ns(100)).set("b=1"),
            };
            run.run(ns(1_000)).forget().set(trigger).run(ms(20));
            let found = (width(&run, "q"), width(&run, "nq"));
            assert_eq!(found, (expected, expected), "{number} {trigger} {corner:?}");
        }
    }
}

/// DS005206 at 4.5 V: from a trigger to Q 26 ns, to /Q 29 ns; from a clear 23 and 25 ns.
#[test]
fn a_pulse_begins_and_is_cleared_after_the_delays_of_the_sheet() {
    let circuit = super::bench::circuit(
        "board t { rail VCC 4.5 V  rail GND  feed U1 from VCC GND
             U1 74HC123 { 1A = GND  1B = b  /1CLR = clr  1Q = q  /1Q = nq  1REXT/CEXT = rc  1CEXT = GND
                 2A = VCC  2B = GND  /2CLR = GND  2REXT/CEXT = open }
             R1 resistor 10 kohm { 1 = VCC  2 = rc }  C1 capacitor 100 nF { 1 = rc  2 = GND } }",
    );
    let mut run = Run::new(&circuit, &["b", "clr"]);
    run.set("b=0 clr=0").to(ns(1_000)).set("clr=1").to(ns(2_000)).forget();
    run.set("b=1").to(ns(10_000)).set("clr=0").to(ms(3));
    assert_eq!(run.wave("q"), "1@2026 0@10023");
    assert_eq!(run.wave("nq"), "0@2029 1@10025");
}

/// SDLS043: a trigger during a pulse starts the full width anew.
#[test]
fn a_trigger_within_a_pulse_prolongs_it() {
    let circuit = one_shot("74HC123", "10 kohm", "100 nF");
    let mut run = ready(&circuit, Corner::Typical);
    run.set("b=1").run(ns(300_000)).set("b=0").run(ns(300_000));
    run.set("b=1").run(ms(5));
    assert_eq!(width(&run, "q"), 1_600_000_000);
    // Neither the end of B, nor a trigger that the other inputs do not let in, is one.
    run.set("b=0").run(ns(1_000)).set("a=1").run(ns(1_000)).forget();
    run.set("b=1").run(ms(2));
    assert_eq!(run.wave("q"), "");
}

/// SDLS043: a trigger is not taken within 0.22 ns for each pF: 220 us at 1 uF.
#[test]
fn a_trigger_that_comes_too_soon_is_not_taken() {
    let circuit = one_shot("74LS123", "10 kohm", "1 uF");
    for (between, expected) in [(219_999_999, 3_300_000_000), (220_000_001, 3_520_000_001)] {
        let mut run = ready(&circuit, Corner::Typical);
        run.set("b=1").run(ns(100)).set("b=0").run(Time::from_ps(between - 100_000));
        run.set("b=1").run(ms(10));
        assert_eq!(width(&run, "q"), expected, "{between}");
    }
}

#[test]
fn a_trigger_that_may_have_been_leaves_the_pulse_unknown_until_it_is_over() {
    let circuit = one_shot("74HC123", "10 kohm", "100 nF");
    let mut run = ready(&circuit, Corner::Typical);
    run.set("b=X").run(ns(1_000));
    assert_eq!(run.levels("q nq"), "XX");
    run.set("b=0").run(ns(997_000));
    assert_eq!(run.levels("q nq"), "XX");
    run.run(ns(3_000));
    assert_eq!(run.levels("q nq"), "01");
    // Within a pulse: certainly high until its first end, certainly low after its second.
    run.set("b=1").run(ns(400_000)).set("b=0").run(ns(1_000)).set("b=X").run(ns(1_000));
    run.set("b=0").run(ns(590_000));
    assert_eq!(run.levels("q"), "1");
    run.run(ns(20_000));
    assert_eq!(run.levels("q"), "X");
    run.run(ns(380_000));
    assert_eq!(run.levels("q"), "X");
    run.run(ns(20_000));
    assert_eq!(run.levels("q"), "0");
}

#[test]
fn what_power_finds_is_over_after_one_pulse() {
    let circuit = one_shot("74HC123", "10 kohm", "100 nF");
    for (power_up, first) in [(PowerUp::Unknown, "X"), (PowerUp::One, "1"), (PowerUp::Zero, "0")] {
        let mut run = Run::with(&circuit, settings(Corner::Typical, power_up), &["a", "b", "clr"]);
        run.set("a=1 b=0 clr=1").to(ns(990_000));
        assert_eq!(run.levels("q"), first);
        run.to(ns(1_010_000));
        assert_eq!(run.levels("q"), "0");
    }
}

#[test]
fn a_random_corner_lies_within_the_sheet_and_is_the_same_each_time() {
    let circuit = one_shot("74HC123", "10 kohm", "100 nF");
    let width = |seed| {
        let mut run = ready(&circuit, Corner::Random(seed));
        run.set("b=1").run(ms(3));
        width(&run, "q")
    };
    let widths: Vec<i64> = (1..=8).map(width).collect();
    assert!(widths.iter().all(|width| (899_900_000..=1_100_100_000).contains(width)), "{widths:?}");
    assert!(widths.iter().any(|&other| other != widths[0]));
    assert_eq!(widths[3], width(4));
}

/// A section without its parts is never known to end what it started.
#[test]
fn a_section_without_its_parts_knows_no_end() {
    let circuit = board(
        "",
        "feed U1 from VCC GND
         U1 74HC123 { 1A = GND  1B = b  /1CLR = clr  1Q = q  1REXT/CEXT = open
             2A = VCC  2B = GND  /2CLR = GND  2REXT/CEXT = open }",
    );
    let mut run = Run::new(&circuit, &["b", "clr"]);
    run.set("b=0 clr=0").run(ns(1_000)).set("clr=1").run(ns(1_000));
    assert_eq!(run.levels("q"), "0");
    run.set("b=1").run(ms(100));
    assert_eq!(run.levels("q"), "X");
}

const RIPPLE: &str = "feed U1 from VCC GND
    U1 74HC4060 { PHII = in  /PHIO = r  PHIO = c  MR = mr  Q4 = q4  Q14 = q14 }";

/// 1 / (2.5 x 100 kohm x 1 nF) = 4 kHz; Q4 is a sixteenth of it, Q14 a 16384th.
#[test]
fn a_4060_runs_from_its_resistor_and_capacitor() {
    let body = format!(
        "{RIPPLE}
         R1 resistor 100 kohm {{ 1 = r  2 = j }}  C1 capacitor 1 nF {{ 1 = c  2 = j }}
         R2 resistor 1 Mohm {{ 1 = j  2 = in }}"
    );
    let circuit = board("", &body);
    let mut run = Run::new(&circuit, &["mr"]);
    // The clear ends in the middle of a half period.
    run.set("mr=1").run(ns(1_060_000)).set("mr=0").run(ms(1)).forget().run(ms(5_000));
    let rises = |path| -> Vec<i64> { edges(&run, path).into_iter().step_by(2).collect() };
    let apart = |path| -> Vec<i64> { rises(path).windows(2).map(|pair| pair[1] - pair[0]).collect() };
    assert!(apart("c").iter().all(|&period| period == 250_000_000));
    assert!(apart("q4").iter().all(|&period| period == 16 * 250_000_000));
    assert!(apart("q4").len() > 1_000 && rises("q14").len() == 1);
    assert_eq!(run.levels("r c"), if run.levels("c") == "1" { "01" } else { "10" });
    assert!(run.violations().is_empty());
}

/// DS005354: the counter advances when PHII falls; at 4.5 V Q4 follows after 42 ns (typical), /PHIO is the inverse.
#[test]
fn a_4060_counts_the_falls_of_an_outside_clock() {
    let circuit = super::bench::circuit(&format!("board t {{ rail VCC 4.5 V  rail GND {RIPPLE} }}"));
    let mut run = Run::new(&circuit, &["mr", "in"]);
    run.set("mr=1 in=1").to(ns(1_000)).set("mr=0").to(ns(2_000)).forget();
    for at in 0..8 {
        run.set("in=0").run(ns(1_000)).set("in=1").run(ns(1_000));
        assert_eq!(run.levels("r c"), "01", "{at}");
    }
    // The eighth fall came at 2000 + 7 x 2000 ns.
    assert_eq!(run.wave("q4"), "1@16042");
}

/// SDLS043 gives K by a curve between 1000 pF and 1 uF, which the part has not: the report says what stands in.
#[test]
fn between_the_rated_points_only_the_ends_are_known() {
    let circuit = one_shot("74LS123", "10 kohm", "100 nF");
    // 0.33 and 0.45 of 1 ms, with the spread of the rated point: 4/4.5 and 5/4.5.
    for (corner, expected) in [(Corner::Fastest, 293_000_000), (Corner::Slowest, 500_000_000)] {
        let mut run = ready(&circuit, corner);
        run.set("b=1").run(ms(2));
        assert_eq!(width(&run, "q"), expected, "{corner:?}");
    }
    let run = Run::new(&circuit, &[]);
    let numbers = run.machine.rules().get(&Rule::TypicalIsLimit);
    assert!(numbers.is_some_and(|numbers| numbers.contains("74LS123")));
}

#[test]
fn the_end_of_a_pulse_is_told_as_its_cause() {
    let circuit = one_shot("74HC123", "10 kohm", "100 nF");
    let settings = Settings { history: true, ..settings(Corner::Typical, PowerUp::Unknown) };
    let mut run = Run::with(&circuit, settings, &["a", "b", "clr"]);
    run.set("a=0 b=0 clr=0").run(ns(1_000)).set("clr=1").run(ns(1_000));
    run.set("b=1").run(ms(2));
    let steps = run.machine.why(run.net("q"), run.machine.now());
    assert_eq!(steps[0].text, "U1.1Q (74HC123): its time is over, started by 1B");
}

/// Whatever the unknown levels were: what is known of Q at a moment is what a run shows in which they were known.
#[test]
fn what_is_known_of_a_pulse_holds_for_every_trigger_that_may_have_been() {
    let circuit = one_shot("74HC123", "10 kohm", "100 nF");
    let mut random = ChaCha8Rng::seed_from_u64(123);
    let mut known = 0;
    for _ in 0..60 {
        // Each step moves one input and then lets 50 to 700 us pass.
        let steps: Vec<(usize, char, i64)> = (0..14)
            .map(|_| {
                let level = ['0', '1', '0', '1', 'X'][random.next_u32() as usize % 5];
                let time = 50_000_000 + i64::from(random.next_u32() % 650_000) * 1_000;
                (random.next_u32() as usize % 3, level, time)
            })
            .collect();
        let truth = waves(&circuit, &steps, |level| level);
        for _ in 0..6 {
            // Each unknown stretch was one or the other all the time.
            let copy = waves(&circuit, &steps, |level| match level {
                'X' => ['0', '1'][random.next_u32() as usize % 2],
                level => level,
            });
            for (at, (one, other)) in truth.iter().zip(&copy).enumerate() {
                assert!(one == other || *one == 'X', "moment {at} of {steps:?}: {truth:?} {copy:?}");
            }
        }
        known += truth.iter().filter(|level| **level != 'X').count();
    }
    assert!(known > 500, "{known}");
}

/// Q 1 us and 49 us after each step, from a cleared start.
fn waves(circuit: &Circuit, steps: &[(usize, char, i64)], mut take: impl FnMut(char) -> char) -> Vec<char> {
    let mut run = ready(circuit, Corner::Typical);
    let mut levels = Vec::new();
    // As `ready` leaves them.
    let mut last = [('0', '0'), ('0', '0'), ('1', '1')];
    for &(input, level, time) in steps {
        // A level that stays unknown stays what it is.
        if level != last[input].0 {
            last[input] = (level, take(level));
        }
        run.set(&format!("{}={}", ["a", "b", "clr"][input], last[input].1));
        for (wait, looks) in [(1_000_000, true), (48_000_000, true), (time - 49_000_000, false)] {
            run.run(Time::from_ps(wait));
            if looks {
                levels.extend(run.levels("q").chars());
            }
        }
    }
    levels
}

/// What a trial drives by hand is no resistor and no capacitor.
#[test]
fn driving_what_times_a_chip_makes_its_time_unknown() {
    let circuit = one_shot("74HC123", "10 kohm", "100 nF");
    let mut run = Run::new(&circuit, &["a", "b", "clr", "rc"]);
    run.set("a=0 b=0 clr=0").run(ns(1_000)).set("clr=1").run(ns(1_000));
    run.set("b=1").run(ms(10));
    assert_eq!(run.levels("q"), "X");
    let body = format!(
        "{RIPPLE} R1 resistor 100 kohm {{ 1 = r  2 = j }}  C1 capacitor 1 nF {{ 1 = c  2 = j }}
         R2 resistor 1 Mohm {{ 1 = j  2 = in }}"
    );
    let circuit = board("", &body);
    let mut run = Run::new(&circuit, &["mr", "in"]);
    run.set("mr=0 in=0").run(ms(1));
    assert_eq!(run.levels("c"), "X");
}
