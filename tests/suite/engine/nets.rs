//! What a net becomes when several drive it, or nobody: contention, floating, pulls, series resistors, contacts.

use super::bench::{Run, board, ns, settings};
use coldboard::language::ast::{Corner, PowerUp};
use coldboard::logic::Level;
use coldboard::quantity::Time;
use coldboard::run::NullSink;
use coldboard::simulate::Machine;

/// Three-state drivers of these tests: enabled in 5 ns, let go in 20 ns, and one that lets go in 80 ns.
const PARTS: &str = r#"
part driver "three-state" {
    package DIP8 { 1 A in  2 /OE in  3 Y three-state  4 GND ground  8 VCC power }
    Y = A when OE else off
    grade QUICK {
        columns typ 25 C
        at 5 V { delay A -> Y 4 ns  enable /OE -> Y 5 ns  disable /OE -> Y 20 ns }
    }
    grade SLOW {
        columns typ 25 C
        at 5 V { delay A -> Y 4 ns  enable /OE -> Y 5 ns  disable /OE -> Y 80 ns }
    }
}
part listener "one input" {
    package DIP8 { 1 A in  2 Y out  4 GND ground  8 VCC power }
    Y = A
    grade T { columns typ 25 C  at 5 V { delay A -> Y 10 ns } }
}
"#;

fn two(grade: &str) -> String {
    format!(
        "feed U1..U3 from VCC GND
         U1 driver-{grade} {{ A = a  /OE = oe1  Y = m }}
         U2 driver-{grade} {{ A = b  /OE = oe2  Y = m }}
         U3 listener {{ A = m  Y = y }}"
    )
}

const TWO_STIMULI: [&str; 4] = ["a", "b", "oe1", "oe2"];

/// Handing a bus over, from U1 to U2 in one moment: both drive it from 105 to 120 ns.
#[test]
fn a_short_overlap_is_a_bus_that_changes_hands() {
    let circuit = board(PARTS, &two("QUICK"));
    let mut run = Run::new(&circuit, &TWO_STIMULI);
    run.set("a=0 b=1 oe1=0 oe2=1").to(ns(100)).forget();
    run.set("oe1=1 oe2=0").to(ns(200)).set("oe1=0 oe2=1").to(ns(300));
    assert_eq!(run.wave("m"), "X@105 1@120 X@205 0@220");
    let [fight] = &run.machine.contentions()[..] else { panic!("one place") };
    assert_eq!((fight.low.as_str(), fight.high.as_str()), ("U1.Y", "U2.Y"));
    assert_eq!((fight.count, fight.first), (2, ns(105)));
    assert_eq!((fight.longest, fight.total), (ns(15), ns(30)));
    assert!(!fight.lasting && fight.is_turnaround());
}

#[test]
fn a_long_overlap_is_a_fight() {
    let circuit = board(PARTS, &two("SLOW"));
    let mut run = Run::new(&circuit, &TWO_STIMULI);
    run.set("a=0 b=1 oe1=0 oe2=1").to(ns(200)).set("oe1=1 oe2=0").to(ns(400));
    let [fight] = &run.machine.contentions()[..] else { panic!("one place") };
    // U2 drives from 205 ns on, U1 lets go at 280 ns.
    assert_eq!((fight.count, fight.longest, fight.lasting), (1, ns(75), false));
    assert!(!fight.is_turnaround());
}

#[test]
fn two_that_drive_for_good_fight_to_the_end() {
    let circuit = board(PARTS, &two("QUICK"));
    let mut run = Run::new(&circuit, &TWO_STIMULI);
    run.set("a=1 b=0 oe1=0 oe2=1").to(ns(100)).set("oe2=0").to(ns(110));
    let [fight] = &run.machine.contentions()[..] else { panic!("one place") };
    assert_eq!((fight.low.as_str(), fight.high.as_str()), ("U2.Y", "U1.Y"));
    assert!(fight.lasting && !fight.is_turnaround());
    assert_eq!(run.levels("m y"), "X1");
    run.to(ns(200));
    assert_eq!(run.levels("m y"), "XX");
    assert_eq!(run.machine.contentions()[0].longest, ns(95));
}

/// Who drives the same level does not fight.
#[test]
fn equal_levels_do_not_fight() {
    let circuit = board(PARTS, &two("QUICK"));
    let mut run = Run::new(&circuit, &TWO_STIMULI);
    run.set("a=1 b=1 oe1=0 oe2=0").to(ns(100));
    assert_eq!(run.levels("m"), "1");
    assert!(run.machine.contentions().is_empty());
}

/// A bus that nobody holds: the listener does not know, and it is told who let go last.
#[test]
fn a_net_that_nobody_drives_floats() {
    let circuit = board(PARTS, &two("QUICK"));
    let mut run = Run::new(&circuit, &TWO_STIMULI);
    run.set("a=1 b=1 oe1=1 oe2=0").to(ns(100));
    assert!(run.machine.floating().is_empty());
    run.set("oe2=1").to(ns(200)).set("oe2=0").to(ns(300)).set("oe2=1").to(ns(330));
    assert_eq!(run.levels("m"), "Z");
    let [floating] = &run.machine.floating()[..] else { panic!("one place") };
    assert_eq!(floating.listener, "U3.A");
    assert_eq!(floating.last_driver.as_deref(), Some("U2.Y"));
    // From 120 to 205 ns, and since 320 ns.
    assert_eq!((floating.count, floating.first, floating.longest), (2, ns(120), ns(85)));
    assert!(floating.lasting);
    run.to(ns(400));
    assert_eq!(run.levels("y"), "X");
}

#[test]
fn a_net_that_nobody_ever_drove_floats_from_the_start() {
    let circuit = board(PARTS, "feed U1 from VCC GND  U1 listener { A = m  Y = y }  U2 listener { A = y  Y = m }");
    let mut run = Run::new(&circuit, &[]);
    run.to(ns(100));
    // U2 is not fed, so it drives nothing.
    assert_eq!(run.levels("m y"), "ZX");
    let [floating] = &run.machine.floating()[..] else { panic!("one place") };
    assert_eq!((floating.last_driver.as_deref(), floating.first), (None, Time::ZERO));
    assert_eq!((floating.count, floating.longest), (1, ns(100)));
}

/// IEEE Std 1164-1993, resolution table: 0 and H are 0; H alone is H.
#[test]
fn a_pull_loses_against_an_output_and_holds_a_net_that_is_let_go() {
    let body = format!("{} R1 resistor 10 kohm {{ 1 = m  2 = VCC }}", two("QUICK"));
    let circuit = board(PARTS, &body);
    let mut run = Run::new(&circuit, &TWO_STIMULI);
    run.set("a=0 b=0 oe1=0 oe2=1").to(ns(100)).forget().set("oe1=1").to(ns(200));
    assert_eq!(run.wave("m"), "H@120");
    assert_eq!(run.levels("y"), "1");
    assert!(run.machine.floating().is_empty() && run.machine.contentions().is_empty());
}

/// IEEE Std 1164-1993, resolution table: H and L are W.
#[test]
fn two_pulls_against_each_other_are_unknown() {
    let circuit = board(
        PARTS,
        "feed U1 from VCC GND  U1 listener { A = m  Y = y }
         R1 resistor 10 kohm { 1 = VCC  2 = m }  R2 resistor 10 kohm { 1 = GND  2 = m }",
    );
    let mut run = Run::new(&circuit, &[]);
    run.to(ns(100));
    assert_eq!(run.levels("m y"), "WX");
}

#[test]
fn a_series_resistor_passes_a_weak_level_that_an_output_overrules() {
    let circuit = board(
        PARTS,
        "feed U1, U3 from VCC GND
         U1 driver-QUICK { A = a  /OE = oe1  Y = m }  U3 listener { A = m  Y = y }
         R1 resistor 1 kohm { 1 = s  2 = m }",
    );
    let mut run = Run::new(&circuit, &["a", "oe1", "s"]);
    run.set("a=0 oe1=1 s=1").to(ns(100));
    assert_eq!(run.levels("m y"), "H1");
    run.set("oe1=0").to(ns(200));
    assert_eq!(run.levels("m y s"), "001");
    // The other way round: let go of both ends, and nobody holds the net up.
    run.set("oe1=1 s=Z").to(ns(300));
    assert_eq!(run.levels("m s"), "ZZ");
}

/// What a pull-up gives to a net reaches the net behind a series resistor from the beginning.
#[test]
fn a_pull_reaches_through_a_series_resistor() {
    let circuit = board(
        PARTS,
        "feed U1 from VCC GND  U1 listener { A = n  Y = y }
         R1 resistor 10 kohm { 1 = VCC  2 = m }  R2 resistor 1 kohm { 1 = m  2 = n }",
    );
    let mut run = Run::new(&circuit, &[]);
    run.to(ns(100));
    assert_eq!(run.levels("m n y"), "HH1");
}

/// A ring of links remembers nothing: when the driver lets go, the nets float.
#[test]
fn a_ring_of_links_does_not_hold_itself_up() {
    for links in [
        "R1 resistor 1 kohm { 1 = m  2 = n }  R2 resistor 1 kohm { 1 = m  2 = n }",
        "R1 resistor 1 kohm { 1 = m  2 = n }  R2 resistor 1 kohm { 1 = n  2 = o }
         R3 resistor 1 kohm { 1 = o  2 = m }",
        "SW1 switch { 1 = m  2 = n }  SW2 switch { 1 = m  2 = n }",
        "SW1 switch { 1 = m  2 = n }  R1 resistor 1 kohm { 1 = n  2 = m }",
    ] {
        let body = format!("feed U1 from VCC GND  U1 listener {{ A = n  Y = y }}  {links}");
        let circuit = board(PARTS, &body);
        let mut run = Run::new(&circuit, &["m"]);
        for path in ["SW1", "SW2"] {
            if let Some(switch) = circuit.discrete(path) {
                run.machine.contact(switch, 1);
            }
        }
        run.set("m=1").to(ns(100));
        assert_eq!(run.levels("y"), "1", "{links}");
        run.set("m=0").to(ns(200));
        assert_eq!(run.levels("y"), "0", "{links}");
        run.set("m=Z").to(ns(300));
        assert_eq!(run.levels("m n y"), "ZZX", "{links}");
    }
}

#[test]
fn a_button_and_a_switch_join_their_nets_while_they_are_closed() {
    let circuit = board(
        PARTS,
        "feed U1 from VCC GND  U1 listener { A = n  Y = y }
         R1 resistor 10 kohm { 1 = VCC  2 = n }
         B1 button { 1 = n  2 = GND }  SW1 switch { 1 = s  2 = n }",
    );
    let mut run = Run::new(&circuit, &["s"]);
    let (button, switch) = (run.discrete("B1"), run.discrete("SW1"));
    run.set("s=0").to(ns(100));
    assert_eq!(run.levels("n y"), "H1");
    run.machine.contact(button, 1);
    run.to(ns(200));
    assert_eq!(run.levels("n y"), "00");
    run.machine.contact(button, 0);
    run.to(ns(300));
    assert_eq!(run.levels("n y"), "H1");
    // A closed switch passes a level as it is, both ways.
    run.machine.contact(switch, 1);
    run.to(ns(400));
    assert_eq!(run.levels("n y"), "00");
    run.set("s=Z").to(ns(500));
    assert_eq!(run.levels("n s"), "HH");
    // A button that ties a driven net to ground is a fight between the two.
    run.set("s=1").to(ns(600));
    run.machine.contact(button, 1);
    run.to(ns(700));
    assert_eq!(run.levels("n"), "X");
    let fights = run.machine.contentions();
    assert!(fights.iter().any(|fight| fight.low == "B1"), "{fights:?}");
}

#[test]
fn a_changeover_joins_its_common_pin_to_one_side_or_the_other() {
    let circuit = board(
        PARTS,
        "feed U1 from VCC GND  U1 listener { A = c  Y = y }
         SW1 changeover { 1 = c  2 = VCC  3 = GND }",
    );
    let mut run = Run::new(&circuit, &[]);
    let switch = run.discrete("SW1");
    run.to(ns(100));
    assert_eq!(run.levels("c y"), "11");
    run.machine.contact(switch, 2);
    run.to(ns(200));
    assert_eq!(run.levels("c y"), "00");
    run.machine.contact(switch, 0);
    run.to(ns(300));
    assert_eq!(run.levels("c y"), "ZX");
    assert!(run.machine.contentions().is_empty());
}

/// Keys of a matrix: row 1 is pulled low and found in both columns when three keys are down, as every keyboard without
/// diodes shows it (common practice).
#[test]
fn three_keys_of_a_matrix_show_a_fourth() {
    let circuit = board(
        PARTS,
        "feed U1, U2 from VCC GND
         U1 listener { A = c1  Y = y1 }  U2 listener { A = c2  Y = y2 }
         RN1 network isolated 4 pins 10 kohm { 1 = VCC  2 = c1  3 = VCC  4 = c2 }
         B1 button { 1 = r1  2 = c1 }  B2 button { 1 = r2  2 = c1 }  B3 button { 1 = r2  2 = c2 }",
    );
    let mut run = Run::new(&circuit, &["r1", "r2"]);
    run.set("r1=0 r2=Z").to(ns(100));
    assert_eq!(run.levels("c1 c2"), "HH");
    for (key, expected) in [("B1", "0H"), ("B2", "0H"), ("B3", "00")] {
        let key = run.discrete(key);
        run.machine.contact(key, 1);
        run.run(ns(100));
        assert_eq!(run.levels("c1 c2"), expected);
    }
    let key = run.discrete("B2");
    run.machine.contact(key, 0);
    run.run(ns(100));
    assert_eq!(run.levels("c1 c2 r2"), "0HH");
}

/// A hand on a net that nobody watched finds it as it is, and leaves it so.
#[test]
fn a_hand_on_a_net_finds_the_level_that_it_has() {
    let circuit = board("", "feed U1 from VCC GND  U1 74HC04 { 1A = a  1Y = x  2A = x  2Y = y  [3..6]A = GND }");
    let net = |path: &str| circuit.net(path).expect("a net");
    let (a, x, y) = (net("a"), net("x"), net("y"));
    let plain = settings(Corner::Typical, PowerUp::Unknown);
    let mut machine = Machine::new(&circuit, plain, &[a]);
    let levels = |machine: &Machine<'_>| (machine.level(x), machine.level(y));
    machine.set(a, Level::Zero);
    machine.advance(ns(100), &mut NullSink);
    assert_eq!(levels(&machine), (Level::One, Level::Zero));
    machine.force(x);
    assert_eq!(levels(&machine), (Level::One, Level::Zero));
    machine.set(x, Level::Zero);
    machine.advance(ns(200), &mut NullSink);
    // IEEE Std 1164: a forced 0 against a forced 1 is X.
    assert_eq!(levels(&machine), (Level::X, Level::X));
    machine.release(x);
    machine.set(a, Level::One);
    machine.advance(ns(300), &mut NullSink);
    assert_eq!(levels(&machine), (Level::Zero, Level::One));
}
