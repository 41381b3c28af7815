//! Timers as far as they have no clock yet: what starts them; and what is stored under a condition.

use super::*;

const PINS: &str = "1 A in\n1 B in\n1 CLK in\n4 D[1..4] in\n4 Q[1..4] out\n1 Y out";

fn bench(body: &str) -> Bench {
    let mut bench = Bench::of(PINS, body);
    bench.set("A=0 B=0 CLK=0 D=0000");
    bench
}

/// One clock pulse with these levels.
fn tick(bench: &mut Bench, levels: &str) -> Started {
    bench.set(levels).set("CLK=1");
    let started = bench.scratch.started();
    bench.set("CLK=0");
    started
}

#[test]
fn what_stands_under_a_condition_has_the_upper_hand_of_what_stands_before() {
    let body = "state q[1..4]
        on rise CLK {
            q = D
            when A { q[1..2] = 0  when B { q[4] = 1 } }
        }
        Q = q  Y = 0 when A else B";
    for (levels, expected) in [
        ("D=0111 A=0 B=1", "0111"),
        ("D=0111 A=1 B=0", "0100"),
        ("D=0111 A=1 B=1", "1100"),
        // What is the same either way stays known.
        ("D=0111 A=X B=0", "01XX"),
        ("D=1100 A=X B=X", "1100"),
        ("D=0100 A=1 B=X", "X100"),
    ] {
        let mut bench = bench(body);
        tick(&mut bench, levels);
        assert_eq!(bench.get("Q"), expected, "{levels}");
    }
}

#[test]
fn a_timer_starts_certainly_or_perhaps() {
    let body = "timer busy
        on rise CLK { when A { start busy } }
        while B { busy = 0 }
        Q = D  Y = busy";
    let started = |certain, perhaps| Started { certain, perhaps };
    for (levels, expected, y) in [
        ("A=1", started(1, 0), "1"),
        ("A=0", started(0, 0), "0"),
        ("A=X", started(0, 1), "X"),
        ("A=1 B=1", started(1, 0), "0"),
    ] {
        let mut bench = bench(body);
        bench.set("B=1").set("B=0");
        assert_eq!(tick(&mut bench, levels), expected, "{levels}");
        assert_eq!(bench.get("Y"), y, "{levels}");
    }
    // The clock itself may not have come.
    let mut bench = bench(body);
    bench.set("B=1").set("B=0").set("A=1").set("CLK=X");
    assert_eq!(bench.scratch.started(), started(0, 1));
    assert_eq!(bench.get("Y"), "X");
    // Kept as it is, it is not started.
    let mut bench = self::bench(body);
    tick(&mut bench, "A=1");
    assert_eq!(tick(&mut bench, "A=0"), started(0, 0));
    assert_eq!(bench.get("Y"), "1");
}

#[test]
fn what_the_chip_clears_is_known_when_power_comes() {
    let body = "state q[1..4]  power-up zero q[2..3]  on rise CLK { q = D }  Q = q  Y = A or B";
    assert_eq!(bench(body).get("Q"), "X00X");
}

#[test]
fn a_memory_is_written_in_stretches_and_under_conditions() {
    let body = "memory cells 16 x 4 blank 5
        on rise CLK {
            when A { cells at D = 3 }
            when B { cells at D for 4 = unknown  cells at 0 = 1 }
        }
        Q = cells at D  Y = A or B";
    let mut bench = bench(body);
    tick(&mut bench, "D=0110 A=1");
    assert_eq!(bench.get("Q"), "0011");
    tick(&mut bench, "A=0 B=1 D=0101");
    for (at, expected) in [("0011", "0101"), ("0100", "XXXX"), ("0110", "XXXX"), ("0111", "XXXX")] {
        bench.set("A=0 B=0").set(&format!("D={at}"));
        assert_eq!(bench.get("Q"), expected, "{at}");
    }
    bench.set("D=1000");
    assert_eq!(bench.get("Q"), "0101");
    // Perhaps written: 0011, or 0101 as before.
    tick(&mut bench, "A=X");
    bench.set("A=0");
    assert_eq!(bench.get("Q"), "0XX1");
    bench.set("D=0000");
    assert_eq!(bench.get("Q"), "0001");
}

#[test]
fn mistakes_of_timers_are_told() {
    let complaint = |body: &str| {
        let (part, problems) = load(&source(PINS, &format!("{body}  Q = D  Y = A and B and CLK")));
        assert!(part.is_none(), "{body}");
        problems[0].message.clone()
    };
    for (body, expected) in [
        ("timer busy  while A { start busy }", "a timer starts at an edge, not as long as something is"),
        ("timer busy  on rise A { busy = B }", "a timer is started, or ended by 0"),
        ("state q  on rise A { start q }", "`q` is no timer"),
        ("timer busy at R A", "no such pin in the package"),
        ("timer busy[1..2] at A B", "2 to be timed, but 1 pins"),
        ("oscillator Y at A B", "there is nothing to read under the name `Y`"),
        ("memory m 16 x 4  on rise A { m at D for 3 = 0 }", "a stretch of 3 words cannot be written"),
        ("memory m 16 x 4  on rise A { m at D for 32 = 0 }", "a stretch of 32 words cannot be written"),
        ("state q  on rise A { when B { q = 1 } q = 0 }", "`q` is set twice"),
        (
            "timer busy  on rise A { start busy }  family HC { source \"x\" columns typ 25 C at 5 V { delay A -> Y 5 ns } }",
            "the sheet HC does not say how long `busy` runs",
        ),
        (
            "timer busy  on rise A { start busy }  family HC { source \"x\" columns typ 25 C at 5 V { duration busy 50 % } }",
            "no resistor and no capacitor time `busy`",
        ),
        (
            "timer busy  on rise A { start busy }  family HC { source \"x\" columns typ 25 C at 5 V { duration busi 5 ms } }",
            "there is no timer `busi`",
        ),
        (
            "timer busy  on rise A { start busy }  family HC { source \"x\" columns typ 25 C at 5 V { duration busy with 1..2 V 5 ms } }",
            "a resistance or a capacitance is wanted here, not a voltage",
        ),
    ] {
        assert_eq!(complaint(body), expected, "{body}");
    }
}
