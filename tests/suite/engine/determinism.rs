//! The same circuit, settings and stimulus give the same events; the order of writing does not matter.

use super::bench::{Run, board, bus, circuit, drive, ns, ps, settings};
use coldboard::circuit::Circuit;
use coldboard::language::ast::{Corner, PowerUp};
use coldboard::logic::Level;
use coldboard::quantity::Time;
use coldboard::run::NullSink;
use coldboard::simulate::Machine;
use std::collections::BTreeMap;

const COUNTER: &str = "board counter { rail VCC 5 V  rail GND  feed U1..U3 from VCC GND
    connector P header-1x12 { 1 VCC  2 GND  3 clk  4 /clr  5..12 q[0..7] }
    U1 74HC161 { CLK = clk  /CLR = /clr  /LOAD = VCC  ENP = VCC  ENT = VCC  Q[A..D] = q[0..3]  RCO = carry  [A..D] = GND }
    U2 74HC161 { CLK = clk  /CLR = /clr  /LOAD = VCC  ENP = VCC  ENT = carry  Q[A..D] = q[4..7]  [A..D] = GND }
    U3 74HC86 { 1A = q0  1B = q4  1Y = x0  2A = q1  2B = q5  2Y = x1  3A = x0  3B = x1  3Y = x2  4A = x2  4B = carry  4Y = x3 } }\n";
const PORT: &str = "board port { rail VCC 5 V  rail GND  feed U1, U2 from VCC GND
    connector P header-1x12 { 1 VCC  2 GND  3 clk  4 /clr  5..12 d[0..7] }
    U1 74HC574 { D[1..8] = d[0..7]  CLK = tick  /OE = GND  Q[1..8] = o[0..7] }
    U2 74HC04 { 1A = clk  1Y = tick  2A = d7  2Y = n7  3A = d0  3Y = n0 } }\n";

fn joined(parts: &[&str]) -> Circuit {
    circuit(&parts.concat())
}

/// Every net's changes by the name that its own board gives it.
fn waves(circuit: &Circuit, corner: Corner) -> BTreeMap<String, Vec<(Time, Level)>> {
    let mut run = Run::with(circuit, settings(corner, PowerUp::Unknown), &["C.clk", "C./clr"]);
    let clk = run.net("C.clk");
    run.set("C./clr=0");
    run.machine.clock(clk, ns(60), ns(60));
    run.to(ns(90)).set("C./clr=1").to(Time::from_us(40));
    let mut waves: BTreeMap<String, Vec<(Time, Level)>> = BTreeMap::new();
    for &(time, net, level) in &run.changes.0 {
        for (board, name) in &circuit.nets[net].names {
            let path = format!("{}.{name}", circuit.boards[*board].path);
            let wave = waves.entry(path).or_default();
            // Of several levels in one moment only the last was ever there.
            wave.retain(|&(other, _)| other != time);
            wave.push((time, level));
        }
    }
    waves
}

#[test]
fn the_same_run_gives_the_same_events() {
    let bench = "assembly bench { C: counter  Q: port  cable W1 ribbon 12 way 300 mm { C.P, Q.P }
        supply PS1 5 V 1 A { plus = C.P.1  minus = C.P.2 } }";
    let circuit = joined(&[COUNTER, PORT, bench]);
    for corner in [Corner::Slowest, Corner::Random(7)] {
        let events = || {
            let mut run = Run::with(&circuit, settings(corner, PowerUp::Random(7)), &["C.clk", "C./clr"]);
            let clk = run.net("C.clk");
            run.machine.clock(clk, ns(60), ns(60));
            run.set("C./clr=1").to(Time::from_us(40));
            run.changes.0
        };
        let first = events();
        assert!(first.len() > 1000, "{}", first.len());
        assert_eq!(first, events());
    }
    assert_ne!(waves(&circuit, Corner::Random(1)), waves(&circuit, Corner::Random(2)));
}

#[test]
fn the_order_of_writing_changes_no_wave() {
    let one = "assembly bench { C: counter  Q: port  cable W1 ribbon 12 way 300 mm { C.P, Q.P }
        supply PS1 5 V 1 A { plus = C.P.1  minus = C.P.2 } }\n";
    let other = "assembly bench { supply PS1 5 V 1 A { minus = Q.P.2  plus = Q.P.1 }
        cable W1 ribbon 12 way 300 mm { Q.P, C.P }  Q: port  C: counter }\n";
    for corner in [Corner::Fastest, Corner::Typical, Corner::Slowest] {
        let first = waves(&joined(&[COUNTER, PORT, one]), corner);
        assert!(first.len() > 30);
        assert_eq!(first, waves(&joined(&[other, PORT, COUNTER]), corner), "{corner:?}");
    }
}

/// Every arc of every chip has a delay of its own, between those of the fastest and the slowest corner.
#[test]
fn a_random_corner_draws_each_delay_in_its_range() {
    let circuit = board(
        r#"part gate "two inputs" {
            package DIP8 { 1 A in  2 B in  3 Y out  4 GND ground  8 VCC power }
            Y = A xor B
            grade T {
                columns min 25 C, typ 25 C, limit 0..70 C
                at 5 V { delay A -> Y rise 4 10 24 ns  delay A -> Y fall 30 40 50 ns  delay B -> Y 60 70 80 ns }
            }
        }"#,
        "each i in 0..99 { feed U[i] from VCC GND  U[i] gate { A = a  B = b  Y = y[i] } }",
    );
    let measure = |seed: u64| {
        let mut run = Run::with(&circuit, settings(Corner::Random(seed), PowerUp::Unknown), &["a", "b"]);
        run.set("a=0 b=0").to(ns(1000)).set("a=1").to(ns(2000)).set("a=0").to(ns(3000));
        run.set("b=1").to(ns(4000));
        let nets = bus(&circuit, "y", 100);
        let delay = |net, after: Time| {
            let change = run.changes.0.iter().find(|change| change.1 == net && change.0 > after);
            change.expect("it moves").0 - after
        };
        let delays = nets.iter().map(|&net| [delay(net, ns(1000)), delay(net, ns(2000)), delay(net, ns(3000))]);
        delays.collect::<Vec<_>>()
    };
    let delays = measure(11);
    for (arc, least, most) in [(0, 4, 24), (1, 30, 50), (2, 60, 80)] {
        let mut found: Vec<Time> = delays.iter().map(|of_gate| of_gate[arc]).collect();
        assert!(found.iter().all(|&delay| ns(least) <= delay && delay <= ns(most)), "{found:?}");
        found.sort();
        found.dedup();
        // A hundred numbers out of twenty thousand: nearly all are different, and they reach far into both ends.
        assert!(found.len() > 95, "{}", found.len());
        assert!(found[0] < ns(least + 2) && found[found.len() - 1] > ns(most - 2));
    }
    assert_eq!(delays, measure(11));
    assert_ne!(delays, measure(12));
}

/// What moves in one picosecond is one moment, however it is set.
#[test]
fn what_moves_together_is_one_moment() {
    let circuit =
        board("", "feed U1 from VCC GND  U1 74HC574 { D[1..8] = d[0..7]  CLK = clk  /OE = GND  Q[1..8] = q[0..7] }");
    let names = ["clk", "d0", "d1", "d2", "d3", "d4", "d5", "d6", "d7"];
    let nets = bus(&circuit, "d", 8);
    let run = |forward: bool| {
        let mut run = Run::new(&circuit, &names);
        run.set("clk=0");
        drive(&mut run.machine, &nets, 0x0F);
        run.to(ns(200));
        let mut sets: Vec<String> = (0..8).map(|bit| format!("d{bit}={}", u8::from(bit > 3))).collect();
        sets.push("clk=1".to_owned());
        if !forward {
            sets.reverse();
        }
        sets.iter().for_each(|set| {
            run.set(set);
        });
        run.run(ps(100_000));
        (run.levels("q0 q1 q2 q3 q4 q5 q6 q7"), run.violations())
    };
    let (levels, violations) = run(true);
    assert_eq!(levels, "XXXXXXXX");
    assert_eq!(violations.len(), 8);
    assert_eq!(run(false), (levels, violations));
}

/// What nobody watches comes out the same: a cable with pulses shorter than its delay, a clock, and every net between.
#[test]
fn watching_changes_nothing() {
    let bench = "assembly bench { C: counter  Q: port  cable W1 ribbon 12 way 3 m { C.P, Q.P }
        supply PS1 5 V 1 A { plus = C.P.1  minus = C.P.2 } }";
    let circuit = joined(&[COUNTER, PORT, bench]);
    let (clk, clear) = (circuit.net("C.clk").expect("C.clk"), circuit.net("C./clr").expect("C./clr"));
    let machine = |watched: bool| {
        let mut machine = Machine::new(&circuit, settings(Corner::Random(3), PowerUp::Unknown), &[clk, clear]);
        circuit.nets.keys().for_each(|net| machine.watch(net, watched));
        machine.set(clear, Level::Zero);
        machine.clock(clk, ns(31), ns(33));
        machine
    };
    let (mut watched, mut unwatched) = (machine(true), machine(false));
    for step in 1..4_000 {
        if step == 20 {
            watched.set(clear, Level::One);
            unwatched.set(clear, Level::One);
        }
        // By hand for a while: a stimulus that has swung goes on as one that does not.
        if step == 3_000 {
            watched.set(clk, Level::Zero);
            unwatched.set(clk, Level::Zero);
        }
        if step > 3_000 && step % 40 == 0 {
            let level = if step % 80 == 0 { Level::One } else { Level::Zero };
            watched.set(clk, level);
            unwatched.set(clk, level);
        }
        watched.advance(Time::from_ns(5 * step), &mut NullSink);
        unwatched.advance(Time::from_ns(5 * step), &mut NullSink);
        for (net, row) in circuit.nets.iter() {
            assert_eq!(watched.level(net), unwatched.level(net), "{} at {step}", row.path);
        }
    }
    let (a, b) = (watched.counters(), unwatched.counters());
    assert_eq!((a.events, a.evaluations), (b.events, b.evaluations));
}
