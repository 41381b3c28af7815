//! How outputs move: delays by edge and corner, pulses that are too short, enabling and letting go.

use super::bench::{Run, board, ns, ps, settings};
use coldboard::language::ast::{Corner, PowerUp};

/// Parts of these tests. Each figure is chosen: fastest, typical and slowest are its three columns.
const PARTS: &str = r#"
part follower "10 ns up, 20 ns down" {
    package DIP8 { 1 A in  2 Y out  4 GND ground  8 VCC power }
    Y = A
    grade T {
        columns min 25 C, typ 25 C, limit 0..70 C
        at 5 V { delay A -> Y rise 5 10 15 ns  delay A -> Y fall 10 20 30 ns }
    }
}
part gate "two inputs, not equally fast" {
    package DIP8 { 1 A in  2 B in  3 Y out  4 GND ground  8 VCC power }
    Y = A and B
    grade T {
        columns min 25 C, typ 25 C, limit 0..70 C
        at 5 V { delay A -> Y 2 4 8 ns  delay B -> Y 5 10 20 ns }
    }
}
part driver "three-state" {
    package DIP8 { 1 A in  2 /OE in  3 Y three-state  4 GND ground  8 VCC power }
    Y = A when OE else off
    grade T {
        columns min 25 C, typ 25 C, limit 0..70 C
        at 5 V {
            delay   A -> Y         1  2  3 ns
            enable  /OE -> Y high  6 12 18 ns
            enable  /OE -> Y low   7 14 21 ns
            disable /OE -> Y high  4  8 12 ns
            disable /OE -> Y low   5  9 13 ns
        }
    }
}
part register "three-state register" {
    package DIP8 { 1 D in  2 /OE in  3 Q three-state  5 CLK in  4 GND ground  8 VCC power }
    state q
    on rise CLK { q = D }
    Q = q when OE else off
    grade T {
        columns min 25 C, typ 25 C, limit 0..70 C
        at 5 V {
            delay   CLK -> Q  10 20 30 ns
            enable  /OE -> Q   4  8 12 ns
            disable /OE -> Q   2  4  6 ns
        }
    }
}
part drain "open drain, quick to pull and slow to let go" {
    package DIP8 { 1 A in  2 Y open-drain  4 GND ground  8 VCC power }
    Y = 0 when A else off
    grade T {
        columns min 25 C, typ 25 C, limit 0..70 C
        at 5 V { delay A -> Y rise 15 30 45 ns  delay A -> Y fall 3 7 11 ns }
    }
}
"#;

#[test]
fn each_edge_has_its_delay_in_each_corner() {
    let circuit = board(PARTS, "feed U1 from VCC GND  U1 follower { A = a  Y = y }");
    for (corner, up, down) in [(Corner::Fastest, 5, 10), (Corner::Typical, 10, 20), (Corner::Slowest, 15, 30)] {
        let mut run = Run::with(&circuit, settings(corner, PowerUp::Unknown), &["a"]);
        run.set("a=0").to(ns(100)).forget().set("a=1").to(ns(200)).set("a=0").to(ns(300));
        assert_eq!(run.wave("y"), format!("1@{} 0@{}", 100 + up, 200 + down));
    }
}

/// A pulse as long as the delay of its first edge is seen, one that is a picosecond shorter is not.
#[test]
fn a_pulse_shorter_than_the_delay_is_swallowed_and_counted() {
    let circuit = board(PARTS, "feed U1 from VCC GND  U1 follower { A = a  Y = y }");
    for (rest, pulse, width) in [("a=0", "a=1", 10_000), ("a=1", "a=0", 20_000)] {
        let mut run = Run::new(&circuit, &["a"]);
        run.set(rest).to(ns(100)).forget();
        run.set(pulse).run(ps(width - 1)).set(rest).to(ns(200));
        assert_eq!(run.wave("y"), "");
        assert_eq!(run.machine.counters().filtered, 1);
        assert_eq!(run.machine.filtered(), [("U1.Y".to_owned(), 1)]);
        run.set(pulse).run(ps(width)).set(rest).to(ns(300));
        assert_eq!(run.wave("y").split(' ').count(), 2, "{}", run.wave("y"));
        assert_eq!(run.machine.counters().filtered, 1);
    }
}

/// 12 ns high come out 22 ns wide when falling takes 10 ns longer than rising.
#[test]
fn unequal_edges_stretch_a_pulse() {
    let circuit = board(PARTS, "feed U1 from VCC GND  U1 follower { A = a  Y = y }");
    let mut run = Run::new(&circuit, &["a"]);
    run.set("a=0").to(ns(100)).forget().set("a=1").to(ns(112)).set("a=0").to(ns(200));
    assert_eq!(run.wave("y"), "1@110 0@132");
}

/// Nothing is swallowed while a circuit comes to its first levels, nor when a stimulus changes its mind.
#[test]
fn only_outputs_swallow() {
    let circuit = board(PARTS, "feed U1 from VCC GND  U1 gate { A = a  B = b  Y = y }");
    let mut run = Run::new(&circuit, &["a", "b"]);
    run.set("a=1 b=1").run(ns(1)).set("b=0").run(ns(50));
    run.machine.clock(run.net("a"), ns(10), ns(10));
    run.run(ns(55)).set("a=1").set("a=0").set("a=1").run(ns(50));
    assert_eq!(run.machine.filtered(), []);
}

/// When two inputs move in one picosecond, the slower path counts, in the fastest corner the faster one.
#[test]
fn of_two_inputs_at_once_the_worse_path_counts() {
    let circuit = board(PARTS, "feed U1 from VCC GND  U1 gate { A = a  B = b  Y = y }");
    for (corner, expected) in [(Corner::Fastest, "1@102"), (Corner::Typical, "1@110"), (Corner::Slowest, "1@120")] {
        let mut run = Run::with(&circuit, settings(corner, PowerUp::Unknown), &["a", "b"]);
        run.set("a=0 b=0").to(ns(100)).forget().set("a=1 b=1").to(ns(200));
        assert_eq!(run.wave("y"), expected, "{corner:?}");
    }
}

#[test]
fn enabling_and_letting_go_have_their_own_delays() {
    let circuit = board(PARTS, "feed U1 from VCC GND  U1 driver { A = a  /OE = oe  Y = y }");
    let mut run = Run::new(&circuit, &["a", "oe"]);
    run.set("a=1 oe=1").to(ns(100));
    // Off from the start: after the time that letting go takes.
    assert_eq!(run.levels("y"), "Z");
    run.forget().set("oe=0").to(ns(200)).set("oe=1").to(ns(300));
    run.set("a=0").to(ns(400)).set("oe=0").to(ns(500)).set("oe=1").to(ns(600));
    assert_eq!(run.wave("y"), "1@112 Z@208 0@414 Z@509");
}

/// An output that is still being enabled cannot be there sooner because its data moves: /OE to Y needs its 12 ns.
#[test]
fn data_that_moves_does_not_hurry_an_output_that_is_being_enabled() {
    let circuit = board(PARTS, "feed U1 from VCC GND  U1 driver { A = a  /OE = oe  Y = y }");
    let mut run = Run::new(&circuit, &["a", "oe"]);
    run.set("a=0 oe=1").to(ns(100)).forget();
    run.set("oe=0").to(ns(101)).set("a=1").to(ns(200));
    assert_eq!(run.wave("y"), "1@112");
    run.set("oe=1").to(ns(300)).forget().set("oe=0").to(ns(311)).set("a=0").to(ns(400));
    // Not before a low level can be there.
    assert_eq!(run.wave("y"), "0@314");
}

/// A register clocked at 100 ns shows its new value at 120 ns, also when it was enabled at 101 ns.
#[test]
fn an_enabled_output_still_waits_for_its_data() {
    let circuit = board(PARTS, "feed U1 from VCC GND  U1 register { D = d  CLK = clk  /OE = oe  Q = q }");
    let mut run = Run::new(&circuit, &["d", "clk", "oe"]);
    run.set("d=0 clk=0 oe=1").to(ns(50)).set("clk=1").to(ns(80)).set("clk=0 d=1").to(ns(100));
    run.forget().set("clk=1").to(ns(101)).set("oe=0").to(ns(200));
    assert_eq!(run.wave("q"), "1@120");
    // Once the data has been there for long, only the enable time counts.
    run.set("oe=1").to(ns(300)).forget().set("oe=0").to(ns(400));
    assert_eq!(run.wave("q"), "1@308");
}

/// An unknown enable: what was there may go or stay, so nobody knows the level.
#[test]
fn an_unknown_enable_makes_an_unknown_level() {
    let circuit = board(PARTS, "feed U1 from VCC GND  U1 driver { A = a  /OE = oe  Y = y }");
    let mut run = Run::new(&circuit, &["a", "oe"]);
    run.set("a=1 oe=0").to(ns(100)).forget().set("oe=X").to(ns(200)).set("oe=0").to(ns(300));
    assert_eq!(run.levels("y"), "1");
    assert!(run.wave("y").starts_with("X@"), "{}", run.wave("y"));
}

/// Unknown from when the earlier edge could be there, known again after the edge's own delay.
#[test]
fn an_unknown_level_comes_as_early_as_it_could() {
    let circuit = board(PARTS, "feed U1 from VCC GND  U1 follower { A = a  Y = y }");
    let mut run = Run::new(&circuit, &["a"]);
    run.set("a=1").to(ns(100)).forget().set("a=X").to(ns(200)).set("a=1").to(ns(300));
    assert_eq!(run.wave("y"), "X@110 1@210");
    run.set("a=0").to(ns(400)).forget().set("a=X").to(ns(500)).set("a=0").to(ns(600));
    assert_eq!(run.wave("y"), "X@410 0@520");
}

#[test]
fn open_drains_pull_a_wire_low_together() {
    let circuit = board(
        PARTS,
        "feed U1, U2 from VCC GND  U1 drain { A = a  Y = y }  U2 drain { A = b  Y = y }
         R1 resistor 4.7 kohm { 1 = VCC  2 = y }",
    );
    let mut run = Run::new(&circuit, &["a", "b"]);
    run.set("a=0 b=0").to(ns(100));
    assert_eq!(run.levels("y"), "H");
    run.forget().set("a=1").to(ns(200)).set("b=1").to(ns(300)).set("a=0").to(ns(400)).set("b=0").to(ns(600));
    // Pulled at once, let go by the last one, lifted by the resistor: two pins of 10 pF and an inch of copper of 3.6 pF
    // take 4.7 kohm ln 2 = 77 ns to half the supply.
    let wave = run.wave("y");
    assert!(wave.starts_with("0@107 H@506.9"), "{wave}");
    assert!(run.machine.contentions().is_empty() && run.machine.floating().is_empty());
}

/// What is wrong when the net y has not risen once, weakly, at a moment in nanoseconds.
fn rises(run: &Run<'_>, at: f64) -> Option<String> {
    let wave = run.wave("y");
    let rose = wave.strip_prefix("H@").and_then(|time| time.parse::<f64>().ok());
    let good = rose.is_some_and(|rose| (rose - at).abs() < 0.01);
    (!good).then(|| format!("{wave}, expected at {at}"))
}

/// An open drain of 15, 30 or 45 ns lets go of a net that 47 kohm lift and a CMOS input listens to: RC ln (1 / (1 - share)),
/// the exponential of every handbook, to the least, the middle and the most that the input may take for high: 30, 50 and
/// 70 % (TI SCLS094E). Two pins of 10 pF (common practice) and an inch of 3.6 pF (Johnson and Graham, equation 9-15). In the
/// fastest corner part of that may be in the sheet's own figure, so the longer one of the two counts.
#[test]
fn a_pull_up_takes_its_time_to_lift_a_net() {
    let circuit = board(
        PARTS,
        "feed U1, U2 from VCC GND  U1 drain { A = a  Y = y }  U2 follower { A = y  Y = open }
         R1 resistor 47 kohm { 1 = VCC  2 = y }",
    );
    let lift = |share: f64| 47e3 * 23.606e-12 * -(1.0 - share).ln() * 1e9;
    let corners =
        [(Corner::Fastest, lift(0.3)), (Corner::Typical, 30.0 + lift(0.5)), (Corner::Slowest, 45.0 + lift(0.7))];
    for (corner, after) in corners {
        let mut run = Run::with(&circuit, settings(corner, PowerUp::Unknown), &["a"]);
        run.set("a=1").to(ns(5_000)).forget().set("a=0").to(ns(10_000));
        assert_eq!(rises(&run, 5_000.0 + after), None, "{corner:?}");
        // Pulled low before it has risen: it never was high.
        run.set("a=1").to(ns(15_000)).forget();
        run.set("a=0").to(ns(15_300)).set("a=1").to(ns(20_000));
        assert_eq!(run.wave("y"), "", "{corner:?}");
    }
}

/// 2 m of ribbon cable are 10 ns (1.51 ns a foot, PVC ribbon cable sheet, specification 100-4136).
#[test]
fn a_cable_adds_its_time_and_passes_on_what_it_gets() {
    let text = format!(
        "{PARTS}
         board left {{ rail VCC 5 V  rail GND  connector P header-1x4 {{ 1 VCC  2 GND  3 a  4 y }}
             feed U1 from VCC GND  U1 follower {{ A = a  Y = y }} }}
         board right {{ rail VCC 5 V  rail GND  connector P header-1x4 {{ 1 VCC  2 GND  3 open  4 y }}
             feed U1 from VCC GND  U1 follower {{ A = y  Y = z }} }}
         assembly both {{ A: left  B: right  cable W1 ribbon 4 way 2 m {{ A.P, B.P }}
             supply PS1 5 V 1 A {{ plus = A.P.1  minus = A.P.2 }} }}"
    );
    let circuit = super::bench::circuit(&text);
    let mut run = Run::new(&circuit, &["A.a"]);
    run.set("A.a=0").to(ns(100)).forget().set("A.a=1").to(ns(111)).set("A.a=0").to(ns(300));
    // 11 ns are long enough for the output, however long the cable is.
    assert_eq!(run.wave("A.y"), "1@120 0@141");
    assert_eq!(run.machine.counters().filtered, 0);
}
