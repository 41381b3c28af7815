//! Circuits that never come to rest, and those that do although they are loops.

use super::bench::{Run, board, ns, run_trial, settings, told};
use coldboard::circuit::Circuit;
use coldboard::language::ast::{Corner, PowerUp};
use coldboard::quantity::Time;
use coldboard::run::{Oscillation, Pause};

/// Gates without a sheet have no delay.
const PARTS: &str = r#"
part nand "no delay" { package DIP8 { 1 A in  2 B in  3 Y out  4 GND ground  8 VCC power }  Y = not (A and B) }
part buffer "no delay" { package DIP8 { 1 A in  3 Y out  4 GND ground  8 VCC power }  Y = A }
"#;

/// Runs until it is stopped.
fn stopped(run: &mut Run<'_>, until: Time) -> Oscillation {
    match run.machine.advance(until, &mut run.changes) {
        Pause::Oscillation(runaway) => runaway,
        other => panic!("{other:?} at {}", run.machine.now()),
    }
}

#[test]
fn a_loop_without_delay_is_named_in_order() {
    let circuit = board(
        PARTS,
        "feed U1..U4 from VCC GND
         U4 buffer { A = y  Y = out }
         U1 nand { A = en  B = c  Y = a }  U2 buffer { A = a  Y = b }  U3 buffer { A = b  Y = c }",
    );
    let mut run = Run::new(&circuit, &["en", "y"]);
    run.set("en=0 y=0").to(ns(100));
    assert_eq!(run.levels("a b c out"), "1110");
    run.set("en=1");
    let runaway = stopped(&mut run, ns(200));
    assert_eq!((runaway.time, runaway.without_delay), (ns(100), true));
    assert_ring(&runaway, &["U1.Y", "U2.Y", "U3.Y"]);
    assert!(runaway.sentence().starts_with("a loop without delay never settles: U"));
}

/// The loop may begin anywhere, but goes round in the order of the wires.
fn assert_ring(runaway: &Oscillation, ring: &[&str]) {
    let around = &runaway.around;
    assert_eq!(around.len(), ring.len(), "{around:?}");
    let start = ring.iter().position(|name| *name == around[0]).expect("one of the ring");
    let turned: Vec<&str> = (0..ring.len()).map(|at| ring[(start + at) % ring.len()]).collect();
    assert_eq!(around, &turned);
}

/// Three inverting gates in a ring, which an enable starts.
fn ring(closing: &str) -> Circuit {
    board(
        "",
        &format!(
            "feed U1, U2, U3 from VCC GND
             U1 74HC00 {{ 1A = en  1B = c  1Y = a  2A = clk  2B = other  2Y = quiet }}
             U2 74HC04 {{ 1A = a  1Y = b  2A = b  2Y = d }}
             U3 74HC74 {{ 1CLK = clk  1D = quiet  1Q = other  /1PRE = VCC  /1CLR = /clr }}
             {closing}"
        ),
    )
}

#[test]
fn a_ring_oscillator_is_stopped_and_named() {
    let circuit = ring("R1 resistor 1 ohm { 1 = d  2 = c }");
    let mut run = Run::new(&circuit, &["en", "clk", "/clr"]);
    run.set("en=0 clk=0 /clr=0").to(ns(500)).set("en=1");
    let runaway = stopped(&mut run, Time::from_ms(1000));
    assert!(!runaway.without_delay);
    assert!(runaway.time < Time::from_ms(10), "{}", runaway.time);
    // The resistor is part of the way round.
    assert_eq!(runaway.around.len(), 4, "{:?}", runaway.around);
    assert_ring(&runaway, &["U1.1Y", "U2.1Y", "U2.2Y", "R1"]);
}

/// A clock that runs beside the ring does not hide it.
#[test]
fn a_ring_is_found_while_a_clock_runs() {
    let circuit = ring("U4 74HC08 { 1A = d  1B = VCC  1Y = c }  feed U4 from VCC GND");
    let mut run = Run::new(&circuit, &["en", "clk", "/clr"]);
    let clk = run.net("clk");
    run.machine.clock(clk, ns(50), ns(50));
    run.set("en=0 /clr=0").to(ns(500)).set("/clr=1").to(ns(1000)).set("en=1");
    let runaway = stopped(&mut run, Time::from_ms(1000));
    assert_ring(&runaway, &["U1.1Y", "U2.1Y", "U2.2Y", "U4.1Y"]);
    assert_eq!(runaway.sentence().split(": ").next(), Some("a loop oscillates"));
}

/// What hangs on the ring moves as often, but is not part of it.
#[test]
fn what_hangs_on_a_loop_is_not_named() {
    let circuit = board(
        PARTS,
        "feed U1..U7 from VCC GND
         U1 buffer { A = a  Y = p }  U2 buffer { A = p  Y = o }  U3 buffer { A = b  Y = r }
         U4 nand { A = en  B = b  Y = a }  U5 buffer { A = a  Y = b }  U6 buffer { A = r  Y = s }
         U7 nand { A = s  B = o  Y = t }",
    );
    let mut run = Run::new(&circuit, &["en"]);
    run.set("en=0").to(ns(100)).set("en=1");
    let runaway = stopped(&mut run, ns(200));
    assert_ring(&runaway, &["U4.Y", "U5.Y"]);
}

/// A flip-flop that divides by two is a loop as well, but the clock takes part in each turn of it.
#[test]
fn a_divider_may_run_for_as_long_as_its_clock() {
    let circuit = board(
        "",
        "feed U1 from VCC GND
         U1 74HC74 { 1CLK = clk  1D = /q  1Q = q  /1Q = /q  /1PRE = VCC  /1CLR = VCC }",
    );
    let mut run = Run::with(&circuit, settings(Corner::Typical, PowerUp::Zero), &["clk"]);
    let clk = run.net("clk");
    run.machine.clock(clk, ns(50), ns(50));
    // Two hundred thousand clocks, each the cause of the next level.
    run.to(Time::from_ms(20));
    assert_eq!(run.violations(), Vec::<String>::new());
}

#[test]
fn a_trial_that_runs_away_ends_with_the_sentence() {
    let report = run_trial(&format!(
        "{PARTS} board b {{ rail VCC 5 V  rail GND  feed U1, U2 from VCC GND
             U1 nand {{ A = en  B = b  Y = a }}  U2 buffer {{ A = a  Y = b }} }}
         trial t on b {{ set en = low  run for 1 us  set en = high  run for 1 s  expect a is high  run for 1 s }}"
    ));
    assert_eq!(report.faults.len(), 1);
    let fault = &report.faults[0];
    assert_eq!((fault.kind, fault.count, fault.first.expect("a time")), ("oscillation", 1, Time::from_us(1)));
    assert!(
        ["U1.Y -> U2.Y", "U2.Y -> U1.Y"]
            .iter()
            .any(|ring| fault.text == format!("a loop without delay never settles: {ring}")),
        "{}",
        fault.text
    );
    // Nothing after it is judged.
    assert!(!report.passed && report.failures.is_empty());
    assert_eq!(report.end, Time::from_us(1));
    assert_eq!(told(&report).len(), 1);
}

/// The set and reset latch of two NAND gates: unknown at first, both outputs high while both inputs are low, then what
/// the input that rises last says.
#[test]
fn a_latch_of_two_gates_comes_to_rest() {
    let circuit = board(
        "",
        "feed U1 from VCC GND
         U1 74HC00 { 1A = /s  1B = /q  1Y = q  2A = /r  2B = q  2Y = /q }",
    );
    let mut run = Run::new(&circuit, &["/s", "/r"]);
    run.set("/s=1 /r=1").to(ns(200));
    assert_eq!(run.levels("q /q"), "XX");
    run.set("/s=0 /r=0").to(ns(400));
    assert_eq!(run.levels("q /q"), "11");
    run.set("/s=1").to(ns(600));
    assert_eq!(run.levels("q /q"), "01");
    run.set("/r=1").to(ns(800));
    assert_eq!(run.levels("q /q"), "01");
    run.set("/s=0").to(ns(1000)).set("/s=1").to(ns(1200));
    assert_eq!(run.levels("q /q"), "10");
    // Both let go at once: nobody can say which way it falls, and the engine does not either.
    run.set("/s=0 /r=0").to(ns(1400)).set("/s=1 /r=1");
    let runaway = stopped(&mut run, Time::from_ms(1000));
    assert_ring(&runaway, &["U1.1Y", "U1.2Y"]);
}
