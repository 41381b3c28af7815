//! What sheets ask for: setup, hold, recovery, width and rate, at their limits and a picosecond beyond.

use super::bench::{Run, board, ns, ps, settings};
use coldboard::language::ast::{Corner, PowerUp};

/// Parts of these tests with chosen figures: what is needed at 25 C, and over 0 to 70 C.
const PARTS: &str = r#"
part flipflop "D flip-flop with clear" {
    package DIP8 { 1 D in  2 CLK in  3 /CLR in  5 Q out  4 GND ground  8 VCC power }
    state q
    on rise CLK { q = D }
    while CLR { q = 0 }
    Q = q
    grade T {
        columns typ 25 C, limit 25 C, limit 0..70 C
        at 5 V {
            delay    CLK -> Q              10 15 20 ns
            delay    /CLR -> Q             12 18 25 ns
            setup    D before CLK rise      - 20 25 ns
            hold     D after CLK rise       -  5  7 ns
            recovery /CLR before CLK rise   - 15 19 ns
            width    CLK high               - 30 40 ns
            width    CLK low                - 35 45 ns
            width    /CLR low               - 28 38 ns
            rate     CLK                    - 10  8 MHz
        }
    }
}
part register "two bits with a common enable" {
    package DIP8 { 1 D1 in  2 CLK in  3 /EN in  5 Q1 out  6 D2 in  7 Q2 out  4 GND ground  8 VCC power }
    state q[1..2]
    on rise CLK { q = (D2, D1) when EN else q }
    Q1 = q1
    Q2 = q2
    grade T {
        columns typ 25 C
        at 5 V {
            delay CLK -> Q1, Q2            10 ns
            setup D1, D2 before CLK rise   20 ns
            hold  D1, D2 after CLK rise     5 ns
            setup /EN before CLK rise      20 ns
        }
    }
}
part pair "two flip-flops with clocks of their own" {
    package DIP8 { 1 D1 in  2 CLK1 in  5 Q1 out  6 D2 in  3 CLK2 in  7 Q2 out  4 GND ground  8 VCC power }
    state q[1..2]
    on rise CLK1 { q1 = D1 }
    on rise CLK2 { q2 = D2 }
    Q1 = q1
    Q2 = q2
    grade T {
        columns typ 25 C
        at 5 V {
            delay CLK1 -> Q1            10 ns
            delay CLK2 -> Q2            10 ns
            hold  D1 after CLK1 rise    20 ns
            hold  D2 after CLK2 rise    20 ns
        }
    }
}
part latch "transparent latch" {
    package DIP8 { 1 D in  2 LE in  5 Q out  4 GND ground  8 VCC power }
    state q
    while LE { q = D }
    Q = q
    grade T {
        columns typ 25 C
        at 5 V {
            delay D, LE -> Q        10 ns
            setup D before LE fall  15 ns
            hold  D after LE fall    5 ns
            width LE high           25 ns
        }
    }
}
"#;

const FLIPFLOP: &str = "feed U1 from VCC GND  U1 flipflop { D = d  CLK = clk  /CLR = /clr  Q = q }";

/// A flip-flop that holds a known `q`, with its clock low for long.
fn flipflop<'c>(circuit: &'c coldboard::circuit::Circuit, q: &str) -> Run<'c> {
    let mut run = Run::new(circuit, &["d", "clk", "/clr"]);
    run.set(&format!("d={q} clk=0 /clr=1")).to(ns(200)).set("clk=1").to(ns(300)).set("clk=0").to(ns(500));
    assert_eq!((run.levels("q").as_str(), run.violations()), (q, vec![]));
    run
}

#[test]
fn data_must_stand_before_the_clock() {
    let circuit = board(PARTS, FLIPFLOP);
    let mut run = flipflop(&circuit, "0");
    run.set("d=1").run(ns(20)).set("clk=1").run(ns(100));
    assert_eq!((run.levels("q").as_str(), run.violations()), ("1", vec![]));
    let mut run = flipflop(&circuit, "0");
    run.set("d=1").run(ps(19_999)).set("clk=1").run(ns(100));
    assert_eq!(run.levels("q"), "X");
    assert_eq!(run.violations(), ["U1 (flipflop) setup: D moved 19.999 ns before CLK rose, 20 ns needed"]);
}

#[test]
fn data_must_stand_after_the_clock() {
    let circuit = board(PARTS, FLIPFLOP);
    let mut run = flipflop(&circuit, "0");
    run.set("d=1").run(ns(50)).set("clk=1").run(ns(5)).set("d=0").run(ns(100));
    assert_eq!((run.levels("q").as_str(), run.violations()), ("1", vec![]));
    let mut run = flipflop(&circuit, "0");
    run.set("d=1").run(ns(50)).set("clk=1").run(ps(4_999)).set("d=0").run(ns(100));
    assert_eq!(run.levels("q"), "X");
    assert_eq!(run.violations(), ["U1 (flipflop) hold: D moved 4.999 ns after CLK rose, 5 ns needed"]);
    // Cleared between: what the data did no longer matters.
    run.set("/clr=0").run(ns(100)).set("/clr=1").run(ns(100));
    assert_eq!(run.levels("q"), "0");
}

/// Data and clock in the same picosecond: too late to be set up.
#[test]
fn data_that_moves_with_the_clock_is_too_late() {
    let circuit = board(PARTS, FLIPFLOP);
    let mut run = flipflop(&circuit, "0");
    run.set("d=1 clk=1").run(ns(100));
    assert_eq!(run.levels("q"), "X");
    assert_eq!(run.violations(), ["U1 (flipflop) setup: D moved 0 ns before CLK rose, 20 ns needed"]);
    // A part that asks for hold alone: the data left just too early.
    let circuit = board(PARTS, "feed U1 from VCC GND  U1 pair { D1 = d  CLK1 = clk  Q1 = q }");
    let mut run = Run::new(&circuit, &["d", "clk"]);
    run.set("d=1 clk=0").to(ns(100)).set("d=0 clk=1").to(ns(200));
    assert_eq!(run.levels("q"), "X");
    assert_eq!(run.violations(), ["U1 (pair) hold: D1 moved 0 ns after CLK1 rose, 20 ns needed"]);
}

#[test]
fn a_clear_must_be_released_before_the_clock() {
    let circuit = board(PARTS, FLIPFLOP);
    for (wait, q, violations) in [
        (ps(15_000), "1", vec![]),
        (ps(14_999), "X", vec!["U1 (flipflop) recovery: /CLR was released 14.999 ns before CLK rose, 15 ns needed"]),
    ] {
        let mut run = flipflop(&circuit, "0");
        run.set("d=1 /clr=0").run(ns(100)).set("/clr=1").run(wait).set("clk=1").run(ns(100));
        assert_eq!(
            (run.levels("q").as_str(), run.violations()),
            (q, violations.iter().map(|v| v.to_string()).collect())
        );
    }
    // Released too late for a clock that stores the same, or asserted just before the clock: no matter.
    let mut run = flipflop(&circuit, "0");
    run.set("/clr=0").run(ns(100)).set("/clr=1").run(ns(1)).set("clk=1").run(ns(100));
    assert_eq!((run.levels("q").as_str(), run.violations()), ("0", vec![]));
    let mut run = flipflop(&circuit, "1");
    run.set("/clr=0").run(ns(1)).set("clk=1").run(ns(100));
    assert_eq!((run.levels("q").as_str(), run.violations()), ("0", vec![]));
}

#[test]
fn pulses_have_a_least_width() {
    let circuit = board(PARTS, FLIPFLOP);
    for (signal, rest, pulse, least, sentence) in [
        ("CLK", "clk=0", "clk=1", 30_000, "U1 (flipflop) pulse width: CLK was high for 29.999 ns only, 30 ns needed"),
        ("CLK", "clk=1", "clk=0", 35_000, "U1 (flipflop) pulse width: CLK was low for 34.999 ns only, 35 ns needed"),
        (
            "/CLR",
            "/clr=1",
            "/clr=0",
            28_000,
            "U1 (flipflop) pulse width: /CLR was low for 27.999 ns only, 28 ns needed",
        ),
    ] {
        for (width, q, violations) in [(least, None, vec![]), (least - 1, Some("X"), vec![sentence.to_owned()])] {
            let mut run = flipflop(&circuit, "1");
            run.set(rest).run(ns(200)).set(pulse).run(ps(width)).set(rest).run(ns(200));
            assert_eq!(run.violations(), violations, "{signal} {width}");
            if let Some(q) = q {
                assert_eq!(run.levels("q"), q, "{signal}");
            }
        }
    }
}

/// 10 MHz: 100 ns from rise to rise.
#[test]
fn a_clock_has_a_highest_rate() {
    let circuit = board(PARTS, FLIPFLOP);
    for (period, violations) in
        [(100_000, vec![]), (99_999, vec!["U1 (flipflop) rate: CLK rose again after 99.999 ns, 100 ns needed"])]
    {
        let mut run = flipflop(&circuit, "1");
        run.set("clk=1").run(ns(50)).set("clk=0").run(ps(period - 50_000)).set("clk=1").run(ns(200));
        let expected: Vec<String> = violations.iter().map(|text| text.to_string()).collect();
        assert_eq!(run.violations(), expected);
        assert_eq!(run.levels("q"), if violations.is_empty() { "1" } else { "X" });
    }
}

#[test]
fn the_slowest_corner_asks_for_more() {
    let circuit = board(PARTS, FLIPFLOP);
    for (corner, least) in
        [(Corner::Fastest, 20), (Corner::Typical, 20), (Corner::Slowest, 25), (Corner::Random(1), 25)]
    {
        let mut run = Run::with(&circuit, settings(corner, PowerUp::Zero), &["d", "clk", "/clr"]);
        run.set("d=0 clk=0 /clr=1").to(ns(200)).set("d=1").run(ns(least)).set("clk=1").run(ns(100));
        assert_eq!(run.violations(), Vec::<String>::new(), "{corner:?}");
        let mut run = Run::with(&circuit, settings(corner, PowerUp::Zero), &["d", "clk", "/clr"]);
        run.set("d=0 clk=0 /clr=1").to(ns(200)).set("d=1").run(ns(least) - ps(1)).set("clk=1").run(ns(100));
        assert_eq!(run.violations().len(), 1, "{corner:?}");
    }
}

/// One row a place, however often it happens: how often, when first, the worst and when that was.
#[test]
fn a_place_is_told_once_with_count_first_and_worst() {
    let circuit = board(PARTS, FLIPFLOP);
    let mut run = flipflop(&circuit, "0");
    let mut level = 0;
    for early in [12, 3, 9] {
        level = 1 - level;
        run.set(&format!("d={level}")).run(ns(early)).set("clk=1").run(ns(100)).set("clk=0").run(ns(100));
    }
    let violations = run.machine.violations();
    let [violation] = &violations[..] else { panic!("{violations:?}") };
    assert_eq!((violation.count, violation.first), (3, ns(512)));
    assert_eq!((violation.worst, violation.worst_at), (ns(3), ns(715)));
    assert_eq!(violation.least, ns(20));
}

/// Two bits of a register; each becomes unknown alone.
const REGISTER: &str = "feed U1 from VCC GND  U1 register { D1 = d1  D2 = d2  CLK = clk  /EN = en  Q1 = q1  Q2 = q2 }";

fn register(circuit: &coldboard::circuit::Circuit) -> Run<'_> {
    let mut run = Run::new(circuit, &["d1", "d2", "clk", "en"]);
    run.set("d1=0 d2=0 clk=0 en=0").to(ns(100)).set("clk=1").to(ns(200)).set("clk=0").to(ns(300));
    run
}

#[test]
fn only_the_bit_that_moved_becomes_unknown() {
    let circuit = board(PARTS, REGISTER);
    let mut run = register(&circuit);
    run.set("d2=1").run(ns(50)).set("d1=1").run(ns(10)).set("clk=1").run(ns(100));
    assert_eq!(run.levels("q1 q2"), "X1");
    assert_eq!(run.violations().len(), 1);
    // Both in one edge, before it and after it.
    let mut run = register(&circuit);
    run.set("d1=1 d2=1").run(ns(10)).set("clk=1").run(ns(100));
    assert_eq!((run.levels("q1 q2").as_str(), run.violations().len()), ("XX", 2));
    let mut run = register(&circuit);
    run.set("d1=1 d2=1").run(ns(50)).set("clk=1").run(ns(1)).set("d1=0 d2=0").run(ns(100));
    assert_eq!((run.levels("q1 q2").as_str(), run.violations().len()), ("XX", 2));
    let mut run = register(&circuit);
    run.set("d1=1 d2=1").run(ns(50)).set("clk=1").run(ns(1)).set("d1=0").run(ns(1)).set("d2=0").run(ns(100));
    assert_eq!((run.levels("q1 q2").as_str(), run.violations().len()), ("XX", 2));
}

#[test]
fn what_cannot_matter_is_not_told() {
    let circuit = board(PARTS, REGISTER);
    // The enable is off: the data may do what it likes.
    let mut run = register(&circuit);
    run.set("en=1").run(ns(50)).set("d1=1").run(ns(10)).set("clk=1").run(ns(1)).set("d2=1").run(ns(100));
    assert_eq!((run.levels("q1 q2").as_str(), run.violations()), ("00", vec![]));
    // The enable itself may move late when the data is what is stored already.
    let mut run = register(&circuit);
    run.set("en=1").run(ns(10)).set("clk=1").run(ns(100));
    assert_eq!((run.levels("q1 q2").as_str(), run.violations()), ("00", vec![]));
    // Not when it is something else, and then only that bit is lost.
    let mut run = register(&circuit);
    run.set("d2=1").run(ns(50)).set("en=1").run(ns(10)).set("clk=1").run(ns(100));
    assert_eq!(run.levels("q1 q2"), "0X");
    assert_eq!(run.violations(), ["U1 (register) setup: /EN moved 10 ns before CLK rose, 20 ns needed"]);
}

/// TI SCLS297D: data before the clock 30 ns at 4.5 V, but only while /LOAD is low.
#[test]
fn a_counter_that_counts_does_not_look_at_its_data() {
    let circuit = board(
        "",
        "feed U1 from VCC GND
         U1 74HC161 { CLK = clk  /CLR = /clr  /LOAD = /load  ENP = VCC  ENT = VCC  [A..D] = (a, a, a, a)
                      Q[A..D] = q[0..3] }",
    );
    for (load, expected, told) in [("/load=1", "0001", false), ("/load=0", "XXXX", true)] {
        let mut run = Run::new(&circuit, &["clk", "/clr", "/load", "a"]);
        run.set("clk=0 a=0 /clr=0").set(load).to(ns(200)).set("/clr=1").to(ns(400));
        run.set("a=1").run(ns(5)).set("clk=1").run(ns(200));
        assert_eq!(run.levels("q3 q2 q1 q0"), expected);
        assert_eq!(!run.violations().is_empty(), told, "{:?}", run.violations());
    }
}

/// Two clocks in one package: the hold time of the first runs on while the second clocks.
#[test]
fn each_clock_of_a_package_has_its_own_hold_time() {
    let circuit =
        board(PARTS, "feed U1 from VCC GND  U1 pair { D[1..2] = d[1..2]  CLK1 = c1  CLK2 = c2  Q1 = q1  Q2 = q2 }");
    let mut run = Run::new(&circuit, &["d1", "d2", "c1", "c2"]);
    run.set("d1=1 d2=1 c1=0 c2=0").to(ns(100)).set("c1=1").run(ns(5)).set("c2=1").run(ns(5)).set("d1=0").run(ns(100));
    assert_eq!(run.levels("q1 q2"), "X1");
    assert_eq!(run.violations(), ["U1 (pair) hold: D1 moved 10 ns after CLK1 rose, 20 ns needed"]);
    // Only the newest edge of a clock counts: what an older one stored is gone.
    let mut run = Run::new(&circuit, &["d1", "d2", "c1", "c2"]);
    run.set("d1=1 d2=1 c1=0 c2=0").to(ns(100)).set("c1=1").run(ns(4)).set("c1=0").run(ns(4)).set("c1=1").run(ns(15));
    run.set("d1=0").run(ns(100));
    assert_eq!(run.levels("q1"), "X");
    assert_eq!(run.violations(), ["U1 (pair) hold: D1 moved 15 ns after CLK1 rose, 20 ns needed"]);
}

#[test]
fn a_latch_must_see_its_data_around_the_moment_it_closes() {
    let circuit = board(PARTS, "feed U1 from VCC GND  U1 latch { D = d  LE = le  Q = q }");
    let start = |circuit| {
        let mut run = Run::new(circuit, &["d", "le"]);
        run.set("d=0 le=1").to(ns(100));
        run
    };
    for (before, q, violations) in [
        (15_000, "1", vec![]),
        (14_999, "X", vec!["U1 (latch) setup: D moved 14.999 ns before LE fell, 15 ns needed".to_owned()]),
    ] {
        let mut run = start(&circuit);
        run.set("d=1").run(ps(before)).set("le=0").run(ns(100));
        assert_eq!((run.levels("q").as_str(), run.violations()), (q, violations));
    }
    for (after, q, violations) in [
        (5_000, "0", vec![]),
        (4_999, "X", vec!["U1 (latch) hold: D moved 4.999 ns after LE fell, 5 ns needed".to_owned()]),
    ] {
        let mut run = start(&circuit);
        run.set("le=0").run(ps(after)).set("d=1").run(ns(100));
        assert_eq!((run.levels("q").as_str(), run.violations()), (q, violations));
    }
    // While it is open it may follow whatever it likes, and opening again clears up what was unknown.
    let mut run = start(&circuit);
    run.set("d=1").run(ns(2)).set("d=0").run(ns(2)).set("le=0").run(ns(100));
    assert_eq!(run.levels("q"), "X");
    run.set("le=1").run(ns(100));
    assert_eq!(run.levels("q"), "0");
}

/// A clock that is unknown for a while may have ticked: what is stored is what it was only where that is the same.
#[test]
fn an_unknown_clock_may_have_ticked() {
    let circuit = board(PARTS, REGISTER);
    let mut run = register(&circuit);
    run.set("d2=1").run(ns(50)).set("clk=X").run(ns(100));
    assert_eq!(run.levels("q1 q2"), "0X");
    let mut run = register(&circuit);
    run.set("d2=1").run(ns(50)).set("clk=1").run(ns(50)).set("d1=1").run(ns(50)).set("clk=X").run(ns(50));
    assert_eq!(run.levels("q1 q2"), "01", "from high to unknown is no rise");
    run.set("clk=1").run(ns(50));
    assert_eq!(run.levels("q1 q2"), "X1", "from unknown to high may be one");
}

/// A pulse that is too short for a clock is told even when it stores what is there; its storage is not to be trusted.
#[test]
fn a_gated_clock_that_spikes_is_told() {
    let circuit = board(
        PARTS,
        "feed U1, U2 from VCC GND
         U2 74HC08 { 1A = phi  1B = gate  1Y = clk  2A = GND  2B = GND  3A = GND  3B = GND  4A = GND  4B = GND }
         U1 flipflop { D = d  CLK = clk  /CLR = VCC  Q = q }",
    );
    let mut run = Run::new(&circuit, &["phi", "gate", "d"]);
    run.set("d=0 phi=0 gate=1").to(ns(200)).set("phi=1").to(ns(300)).set("phi=0").to(ns(400));
    assert_eq!((run.levels("q").as_str(), run.violations()), ("0", vec![]));
    // The gate falls 12 ns after the clock has risen: TI SCLS081I, 10 ns typical at 4.5 V, lets that through.
    run.set("d=1").to(ns(500)).set("phi=1").run(ns(12)).set("gate=0").to(ns(700));
    assert_eq!(run.levels("q"), "X");
    assert_eq!(run.violations(), ["U1 (flipflop) pulse width: CLK was high for 12 ns only, 30 ns needed"]);
}
