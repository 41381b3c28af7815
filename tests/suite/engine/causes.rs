//! Why a net has its level: chains of causes, down to a stimulus, a stored value, a memory word or a missing driver.

use super::bench::{Run, board, ns};
use coldboard::circuit::Circuit;
use coldboard::image::{self, Format};
use coldboard::language::ast::{Corner, PowerUp};
use coldboard::run::Settings;
use coldboard::simulate::Machine;

const PARTS: &str = r#"
part inverter "10 ns" { package DIP8 { 1 A in  3 Y out  4 GND ground  8 VCC power }
    Y = not A
    grade T { columns typ 25 C  at 5 V { delay A -> Y 10 ns } } }
part gate "10 ns" { package DIP8 { 1 A in  2 B in  3 Y out  4 GND ground  8 VCC power }
    Y = A and B
    grade T { columns typ 25 C  at 5 V { delay A, B -> Y 10 ns } } }
part register "20 ns" { package DIP8 { 1 D in  2 CLK in  3 Q out  4 GND ground  8 VCC power }
    state q
    on rise CLK { q = D }
    Q = q
    grade T { columns typ 25 C  at 5 V { delay CLK -> Q 20 ns  setup D before CLK rise 10 ns } } }
part counter "loads or counts" {
    package DIP8 { 1 D in  2 CLK in  3 Q out  5 /LOAD in  4 GND ground  8 VCC power }
    state q
    on rise CLK { q = D when LOAD else not q }
    Q = q
    grade T { columns typ 25 C  at 5 V { delay CLK -> Q 20 ns } } }
part driver "three-state" { package DIP8 { 1 A in  2 /OE in  3 Y three-state  4 GND ground  8 VCC power }
    Y = A when OE else off
    grade T { columns typ 25 C  at 5 V { delay A -> Y 10 ns  enable /OE -> Y 10 ns  disable /OE -> Y 10 ns } } }
part rom "two words" { package DIP8 { 1 A0 in  2 /OE in  3 Y three-state  4 GND ground  8 VCC power }
    memory cells 2 x 1 blank 1
    Y = cells at A0 when OE else off
    grade T { columns typ 25 C  at 5 V { delay A0 -> Y 50 ns  output-hold A0 -> Y 0 ns  enable /OE -> Y 20 ns  disable /OE -> Y 10 ns } } }
part ram "two words" {
    package DIP8 { 1 A0 in  2 /WE in  3 Y out  5 D in  4 GND ground  8 VCC power }
    memory cells 2 x 1
    while WE { cells at A0 = D }
    Y = cells at A0
    grade T { columns typ 25 C  at 5 V { delay A0, /WE, D -> Y 50 ns  output-hold A0 -> Y 0 ns } } }
"#;

fn bench(body: &str) -> Circuit {
    board(PARTS, body)
}

fn machine<'c>(circuit: &'c Circuit, stimuli: &[&str]) -> Run<'c> {
    let settings = Settings {
        temperature: None,
        corner: Corner::Typical,
        power_up: PowerUp::Unknown,
        history: true,
        ..Settings::TYPICAL
    };
    let mut run = Run::with(circuit, settings, stimuli);
    let nets: Vec<_> = stimuli.iter().map(|path| run.net(path)).collect();
    let without = Settings { history: false, ..settings };
    // It keeps no causes, but a checkpoint at every moment: causes must come out the same by running it again.
    let mut twin = Machine::new(circuit, without, &nets);
    twin.keep_past_every(1 << 20, 1);
    run.twin = Some(twin);
    run
}

/// The chain of a net now: `120 ns y 1 U2.Y (inverter), moved by A`.
fn why(run: &mut Run<'_>, path: &str) -> Vec<String> {
    let (net, now) = (run.net(path), run.machine.now());
    let steps = run.machine.why(net, now);
    let twin = run.twin.as_mut().expect("a twin");
    assert_eq!(twin.why(net, now), steps, "by running it again");
    let line =
        |step: &coldboard::run::Step| format!("{} {} {} {}", step.time, step.net, step.level.to_char(), step.text);
    steps.iter().map(line).collect()
}

#[test]
fn a_chain_ends_at_a_stimulus() {
    let circuit = bench(
        "feed U1..U3 from VCC GND  U1 inverter { A = a  Y = x }  U2 inverter { A = x  Y = y }
        U3 gate { A = y  B = b  Y = z }",
    );
    let mut run = machine(&circuit, &["a", "b"]);
    run.set("a=0 b=1").to(ns(50)).set("b=0").to(ns(100)).set("b=1").to(ns(105)).set("a=1").to(ns(200));
    assert_eq!(
        why(&mut run, "z"),
        [
            "135 ns z 1 U3.Y (gate), moved by A",
            "125 ns y 1 U2.Y (inverter), moved by A",
            "115 ns x 0 U1.Y (inverter), moved by A",
            "105 ns a 1 the stimulus on a",
        ]
    );
    // What holds from the beginning on was there when power came.
    run.set("a=0").to(ns(300));
    assert_eq!(why(&mut run, "b"), ["100 ns b 1 the stimulus on b"]);
    assert_eq!(why(&mut run, "VCC"), ["0 ns VCC 1 a rail"]);
    // Any moment can be asked for.
    let steps = run.machine.why(run.net("x"), ns(110));
    assert_eq!((steps[0].time, steps.len()), (ns(0), 2));
}

#[test]
fn a_chain_ends_at_storage_that_was_never_defined() {
    let circuit =
        bench("feed U1, U2 from VCC GND  U1 register { D = d  CLK = clk  Q = q }  U2 inverter { A = q  Y = y }");
    let mut run = machine(&circuit, &["d", "clk"]);
    run.set("d=0 clk=0").to(ns(100));
    assert_eq!(
        why(&mut run, "y"),
        ["0 ns y X U2.Y (inverter), from A", "0 ns q X U1.Q (register): what it stores has never been defined",]
    );
    run.set("clk=1").to(ns(200));
    assert_eq!(why(&mut run, "q"), ["120 ns q 0 U1.Q (register), moved by CLK, from D", "0 ns d 0 the stimulus on d",]);
    // Too late for the clock.
    run.set("clk=0").to(ns(295)).set("d=1").to(ns(300)).set("clk=1").to(ns(400));
    assert_eq!(
        why(&mut run, "y"),
        [
            "330 ns y X U2.Y (inverter), moved by A",
            "320 ns q X U1.Q (register), moved by CLK: what it stores was lost at 300 ns, when a requirement was not met",
        ]
    );
}

/// The register was clocked, but what came in was unknown: that is the cause, not that it was never clocked.
#[test]
fn a_chain_ends_where_nobody_drives() {
    let circuit = bench(
        "feed U1, U3 from VCC GND  U1 register { D = d  CLK = clk  Q = q }  U2 inverter { A = clk  Y = d }
        U3 register { CLK = clk  Q = r }",
    );
    let mut run = machine(&circuit, &["clk"]);
    run.set("clk=0").to(ns(100)).set("clk=1").to(ns(200));
    // U2 is not fed.
    assert_eq!(
        why(&mut run, "q"),
        [
            "100 ns q X U1.Q (register), moved by CLK, from D",
            "0 ns d Z everybody who could drive it has let go since power-up"
        ]
    );
    assert_eq!(why(&mut run, "r"), ["100 ns r X U3.Q (register), moved by CLK, from D", "0 ns U3.D Z not connected"]);
}

/// Data that is unknown, but not looked at, is not to blame.
#[test]
fn what_is_not_looked_at_is_not_blamed() {
    let circuit = bench("feed U1 from VCC GND  U1 counter { D = d  CLK = clk  /LOAD = load  Q = q }");
    let mut run = machine(&circuit, &["clk", "load"]);
    run.set("clk=0 load=1").to(ns(100)).set("clk=1").to(ns(200));
    assert_eq!(why(&mut run, "q"), ["0 ns q X U1.Q (counter): what it stores has never been defined"]);
    run.set("clk=0 load=0").to(ns(300)).set("clk=1").to(ns(400));
    assert_eq!(why(&mut run, "q"), ["300 ns q X U1.Q (counter), moved by CLK, from D", "0 ns d Z nobody drives it"]);
}

#[test]
fn a_chain_ends_at_a_memory_word() {
    let circuit = bench(
        "feed U1, U2 from VCC GND  U1 rom { A0 = a  /OE = oe  Y = y }
        U2 ram { A0 = a  /WE = we  D = d  Y = z }",
    );
    let mut run = machine(&circuit, &["a", "oe", "we", "d"]);
    let rom = run.chip("U1");
    let image = image::read(Format::Raw, "x.bin", &[0, 1]).expect("bytes");
    run.both(|machine| machine.load(rom, &image, 0).expect("it fits"));
    run.set("a=0 oe=0 we=1 d=1").to(ns(100)).set("a=1").to(ns(200));
    assert_eq!(why(&mut run, "y"), ["150 ns y 1 U1.Y (rom) reads a memory word, moved by A0"]);
    assert_eq!(why(&mut run, "z"), ["0 ns z X U2.Y (ram) reads a memory word that nothing has defined"]);
    // Until the access time has passed, the word is not there; that does not make it undefined.
    let steps = run.machine.why(run.net("y"), ns(120));
    let texts: Vec<&str> = steps.iter().map(|step| step.text.as_str()).collect();
    assert_eq!(texts, ["U1.Y (rom) is on its way to a memory word, moved by A0", "the stimulus on a"]);
    run.set("we=0").to(ns(300));
    assert_eq!(why(&mut run, "z"), ["250 ns z 1 U2.Y (ram) reads a memory word, moved by /WE"]);
    // An unknown address is a cause of its own.
    run.set("we=1 a=X").to(ns(400));
    assert_eq!(why(&mut run, "y"), ["300 ns y X U1.Y (rom), moved by A0", "300 ns a X the stimulus on a"]);
}

#[test]
fn a_bus_tells_who_drives_who_let_go_and_who_fights() {
    let circuit = bench(
        "feed U1..U3 from VCC GND  U1 driver { A = a  /OE = oe1  Y = m }  U2 driver { A = b  /OE = oe2  Y = m }
        U3 inverter { A = m  Y = y }",
    );
    let mut run = machine(&circuit, &["a", "b", "oe1", "oe2"]);
    run.set("a=0 b=1 oe1=0 oe2=1").to(ns(100)).set("oe1=1").to(ns(200));
    assert_eq!(
        why(&mut run, "y"),
        [
            "120 ns y X U3.Y (inverter), moved by A",
            "110 ns m Z U1.Y (driver) lets go, moved by /OE",
            "100 ns oe1 1 the stimulus on oe1",
        ]
    );
    run.set("oe1=0").to(ns(300)).set("oe2=0").to(ns(400));
    assert_eq!(
        why(&mut run, "m"),
        ["310 ns m X U2.Y (driver) drives against U1.Y, moved by /OE", "300 ns oe2 0 the stimulus on oe2",]
    );
    // U1 lets go: what is left is what U2 drives.
    run.set("oe1=1").to(ns(500));
    assert_eq!(why(&mut run, "m"), ["410 ns m 1 U2.Y (driver), moved by /OE", "300 ns oe2 0 the stimulus on oe2"]);
}

/// What a fight makes unknown is not blamed on the word that takes part in it.
#[test]
fn a_memory_that_fights_is_told_as_a_fight() {
    let circuit =
        bench("feed U1, U2 from VCC GND  U1 rom { A0 = a  /OE = oe1  Y = m }  U2 driver { A = b  /OE = oe2  Y = m }");
    let mut run = machine(&circuit, &["a", "b", "oe1", "oe2"]);
    run.set("a=0 b=0 oe1=1 oe2=0").to(ns(100)).set("oe1=0").to(ns(200));
    assert_eq!(why(&mut run, "m"), ["120 ns m X U1.Y (rom) drives against U2.Y with a memory word, moved by /OE"]);
    run.set("oe2=1").to(ns(300)).set("oe2=0").to(ns(400));
    assert_eq!(
        why(&mut run, "m"),
        ["310 ns m X U2.Y (driver) drives against U1.Y, moved by /OE", "300 ns oe2 0 the stimulus on oe2",]
    );
}

#[test]
fn pulls_and_contacts_are_named() {
    let circuit = bench(
        "feed U1, U2 from VCC GND  U1 driver { A = a  /OE = oe  Y = m }  R1 resistor 10 kohm { 1 = VCC  2 = m }
        B1 button { 1 = m  2 = GND }  R2 resistor 1 kohm { 1 = m  2 = n }  U2 inverter { A = n  Y = y }",
    );
    let mut run = machine(&circuit, &["a", "oe"]);
    run.set("a=0 oe=0").to(ns(100)).set("oe=1").to(ns(200));
    assert_eq!(
        why(&mut run, "m"),
        ["110 ns m H R1 pulls it to VCC; U1.Y (driver) lets go, moved by /OE", "100 ns oe 1 the stimulus on oe",]
    );
    assert_eq!(
        why(&mut run, "y"),
        [
            "120 ns y 0 U2.Y (inverter), moved by A",
            "110 ns n H R2 joins it to m",
            "110 ns m H R1 pulls it to VCC; U1.Y (driver) lets go, moved by /OE",
            "100 ns oe 1 the stimulus on oe",
        ]
    );
    let button = run.discrete("B1");
    run.both(|machine| machine.contact(button, 1));
    run.to(ns(300));
    assert_eq!(why(&mut run, "m"), ["200 ns m 0 B1 joins it to GND"]);
}

#[test]
fn a_loop_that_nothing_has_set_is_told() {
    let circuit = bench("feed U1, U2 from VCC GND  U1 gate { A = s  B = y  Y = x }  U2 inverter { A = x  Y = y }");
    let mut run = machine(&circuit, &["s"]);
    run.set("s=1").to(ns(100));
    assert_eq!(
        why(&mut run, "y"),
        [
            "0 ns y X U2.Y (inverter), from A",
            "0 ns x X U1.Y (gate), moved by A, from B",
            "0 ns y X and so round in a loop that nothing has set",
        ]
    );
}

/// Two drivers give the same level, and the first lets go: from then on it is the second's.
#[test]
fn a_level_that_goes_on_is_that_of_the_driver_that_is_left() {
    let circuit = bench(
        "feed U1..U3 from VCC GND  U1 driver { A = VCC  /OE = s1  Y = m }  U2 driver { A = VCC  /OE = s2  Y = m }
        U3 inverter { A = m  Y = y }",
    );
    let mut run = machine(&circuit, &["s1", "s2"]);
    run.set("s1=0 s2=1").to(ns(100)).set("s2=0").to(ns(150));
    assert_eq!(why(&mut run, "y")[1], "0 ns m 1 U1.Y (driver), moved by /OE");
    run.to(ns(200)).set("s1=1").to(ns(300));
    assert_eq!(
        why(&mut run, "y"),
        [
            "0 ns y 0 U3.Y (inverter), moved by A",
            "210 ns m 1 goes on: U2.Y (driver), moved by /OE",
            "100 ns s2 0 the stimulus on s2",
        ]
    );
}

/// An output that stays unknown is so because of what its input is by now, not of what that was when it all began.
#[test]
fn what_stays_unknown_is_blamed_on_what_is_unknown_now() {
    let circuit = bench(
        "feed U1..U4 from VCC GND  U1 driver { A = f  /OE = s1  Y = m }  U2 driver { A = q  /OE = s2  Y = m }
        U3 inverter { A = m  Y = y }  U4 register { D = VCC  CLK = clk  Q = q }",
    );
    let mut run = machine(&circuit, &["s1", "s2", "clk"]);
    run.set("s1=0 s2=1 clk=0").to(ns(50));
    assert!(why(&mut run, "y").last().expect("a cause").contains(" f Z "));
    run.set("s1=1").to(ns(100)).set("s2=0").to(ns(200));
    let chain = why(&mut run, "y");
    assert_eq!(chain[1], "110 ns m X U2.Y (driver), moved by /OE, from A");
    assert_eq!(chain[2], "0 ns q X U4.Q (register): what it stores has never been defined");
    // What stores looked at its input once.
    run.set("clk=1").to(ns(300));
    assert_eq!(why(&mut run, "y")[1], "230 ns m 1 U2.Y (driver), moved by A");
}

#[test]
fn an_oscillator_swings_by_itself() {
    let circuit = bench("feed X1, U1 from VCC GND  X1 OSC14 1 MHz { OUT = clk }  U1 inverter { A = clk  Y = y }");
    let mut run = machine(&circuit, &[]);
    run.to(ns(10_000_600));
    assert_eq!(
        why(&mut run, "y"),
        ["10.00051 ms y 0 U1.Y (inverter), moved by A", "10.0005 ms clk 1 X1.OUT (OSC14) by itself"]
    );
}

/// Without history nothing is kept, and nothing is claimed.
#[test]
fn without_history_there_is_no_answer() {
    let circuit = bench("feed U1 from VCC GND  U1 inverter { A = a  Y = y }");
    let mut run = Run::new(&circuit, &["a"]);
    run.set("a=0").to(ns(100));
    assert!(run.machine.why(run.net("y"), ns(100)).is_empty());
}

/// Keeping causes changes no event.
#[test]
fn history_only_looks_on() {
    let circuit = bench(
        "feed U1..U3 from VCC GND  U1 register { D = y  CLK = clk  Q = q }  U2 inverter { A = q  Y = y }
        U3 driver { A = q  /OE = y  Y = m }  R1 resistor 1 kohm { 1 = VCC  2 = m }",
    );
    let waves = [false, true].map(|history| {
        let settings = Settings {
            temperature: None,
            corner: Corner::Random(3),
            power_up: PowerUp::Random(3),
            history,
            ..Settings::TYPICAL
        };
        let mut run = Run::with(&circuit, settings, &["clk"]);
        let clk = run.net("clk");
        run.both(|machine| machine.clock(clk, ns(40), ns(40)));
        run.to(ns(5000));
        run.changes.0
    });
    assert_eq!(waves[0], waves[1]);
    assert!(waves[0].len() > 100);
}
