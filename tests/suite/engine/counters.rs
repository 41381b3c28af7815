//! Counters, registers and latches of the library, run through long sequences against a plain model in Rust.

use super::bench::{Run, board, bus, circuit, drive, ns, settings};
use coldboard::circuit::Circuit;
use coldboard::language::ast::{Corner, PowerUp};
use coldboard::logic::{Level, Word};
use coldboard::quantity::Time;
use coldboard::run::Engine;
use coldboard::run::{NullSink, Pause};
use coldboard::simulate::Machine;

/// Four 74HC161 in a row: RCO of each enables the next.
fn chain() -> Circuit {
    board(
        "",
        "feed U1..U4 from VCC GND
         each i in 0..3 {
             U[i+1] 74HC161 {
                 /CLR = /clr  CLK = clk  /LOAD = /load  ENP = VCC  ENT = e[i]  RCO = e[i+1]
                 [A..D] = d[4*i..4*i+3]  Q[A..D] = q[4*i..4*i+3]
             }
         }
         R1 resistor 1 kohm { 1 = VCC  2 = e0 }",
    )
}

/// Clears, then counts through every value at 5 MHz. TI SCLS297D at 5 V and 25 C, between the 4.5 V and 6 V columns:
/// CLK to RCO about 23 ns, ENT to RCO 16 ns twice, ENT before CLK 32 ns: 87 ns, well inside 200 ns.
#[test]
fn four_counters_in_a_row_count_65536_clocks() {
    let circuit = chain();
    let stimuli: Vec<_> = ["clk", "/clr", "/load"].map(|p| circuit.net(p).expect(p)).to_vec();
    let how = settings(Corner::Typical, PowerUp::Unknown);
    let mut machine = Machine::new(&circuit, how, &stimuli);
    let [clk, clr, load] = stimuli[..] else { panic!() };
    machine.set(clr, Level::Zero);
    machine.set(load, Level::One);
    machine.clock(clk, ns(100), ns(100));
    machine.advance(ns(50), &mut NullSink);
    machine.set(clr, Level::One);
    let q = bus(&circuit, "q", 16);
    let carries = bus(&circuit, "e", 5);
    for count in 0..=65_536u64 {
        // Just before each rise everything has settled.
        let before_rise = Time::from_ps(99_999) + ns(200) * count as i64;
        assert_eq!(machine.advance(before_rise, &mut NullSink), Pause::Reached);
        let value = count & 0xFFFF;
        assert_eq!(machine.word(&q), Word::known(value));
        let rco = |stage: u32| u64::from(value % (1 << (4 * stage)) == (1 << (4 * stage)) - 1);
        let expected = (1..=4).fold(1, |word, stage| word | rco(stage) << stage);
        assert_eq!(machine.word(&carries), Word::known(expected), "carries at {value:#x}");
    }
    assert!(machine.violations().is_empty());
}

/// From 0x0FF0: the sixteenth rise must carry into the last counter. In the slowest corner at 5 V the carry needs
/// 51.3 ns to leave the first counter, passes two more in 46.7 ns each, and must stand 41 ns before the clock (TI
/// SCLS297D, -40..85 C, a third of the way from 4.5 V to 6 V): 185.7 ns.
fn carry_at(period: Time) -> (String, Vec<String>) {
    let circuit = chain();
    let mut run = Run::with(
        &circuit,
        settings(Corner::Slowest, PowerUp::Unknown),
        &[
            "clk", "/clr", "/load", "d15", "d14", "d13", "d12", "d11", "d10", "d9", "d8", "d7", "d6", "d5", "d4", "d3",
            "d2", "d1", "d0",
        ],
    );
    drive(&mut run.machine, &bus(&circuit, "d", 16), 0x0FF0);
    run.set("clk=0 /clr=0 /load=0").run(ns(200)).set("/clr=1").run(ns(200));
    let half = Time::from_ps(period.ps() / 2);
    run.set("clk=1").run(half).set("clk=0 /load=1").run(ns(1000));
    for _ in 0..16 {
        run.set("clk=1").run(half).set("clk=0").run(period - half);
    }
    run.settle();
    let word = run.machine.word(&bus(&circuit, "q", 16));
    (word.text(16), run.violations())
}

#[test]
fn a_carry_chain_has_a_highest_rate() {
    let (value, violations) = carry_at(ns(187));
    assert_eq!((value.as_str(), violations), ("0001000000000000", vec![]));
    let (value, violations) = carry_at(ns(184));
    // The last counter may have counted or not.
    assert_eq!(value, "000?000000000000".replace('?', "X"));
    assert_eq!(violations.len(), 1, "{violations:?}");
    assert!(violations[0].starts_with("U4 (74HC161) setup: ENT moved "), "{violations:?}");
}

/// Numbers that look random: the congruential generator of Knuth, The Art of Computer Programming 3.3.4, line 26.
struct Dice(u64);

impl Dice {
    fn roll(&mut self, sides: u64) -> u64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % sides
    }
}

/// TI SCLS298, function of the 163: clear and load wait for the clock, clear goes before load, load before counting.
#[test]
fn a_163_clears_and_loads_at_the_clock() {
    let circuit = board(
        "",
        "feed U1 from VCC GND
         U1 74HC163 { CLK = clk  /CLR = /clr  /LOAD = /load  ENP = p  ENT = t  RCO = rco
                      [A..D] = d[0..3]  Q[A..D] = q[0..3] }",
    );
    let names = ["clk", "/clr", "/load", "p", "t", "d0", "d1", "d2", "d3"];
    let mut run = Run::new(&circuit, &names);
    let control = ["/clr", "/load", "p", "t"].map(|path| run.net(path));
    let (d, q) = (bus(&circuit, "d", 4), bus(&circuit, "q", 4));
    let (mut dice, mut model) = (Dice(163), None::<u64>);
    run.set("clk=0");
    for step in 0..2000 {
        let (mode, data) = (dice.roll(16), dice.roll(16));
        // Mostly counting, so that the counter comes round.
        let mode = if dice.roll(4) > 0 { 15 } else { mode };
        drive(&mut run.machine, &control, mode);
        drive(&mut run.machine, &d, data);
        run.settle().run(ns(100));
        let [clr, load, p, t] = [3, 2, 1, 0].map(|bit| mode >> bit & 1 == 1);
        let rco = run.levels("rco");
        match (t, model) {
            (false, _) => assert_eq!(rco, "0", "step {step}"),
            (true, Some(value)) => {
                assert_eq!(rco, if value == 15 { "1" } else { "0" }, "step {step}")
            }
            (true, None) => assert_eq!(rco, "X", "step {step}"),
        }
        run.set("clk=1").settle().run(ns(100)).set("clk=0").settle().run(ns(100));
        model = match (clr, load) {
            (false, _) => Some(0),
            (true, false) => Some(data),
            (true, true) => model.map(|value| if p && t { (value + 1) % 16 } else { value }),
        };
        let expected = model.map_or(Word::all_unknown(15), Word::known);
        assert_eq!(run.machine.word(&q), expected, "step {step}");
    }
    assert_eq!(run.violations(), Vec::<String>::new());
}

/// Two 74HC193 by carry and borrow, as Philips 74HC/HCT193 (December 1990) shows them: /CO to UP, /BO to DOWN.
#[test]
fn two_193_count_up_and_down_together() {
    let circuit = board(
        "",
        "feed U1, U2 from VCC GND
         U1 74HC193 { UP = up  DOWN = down  /LOAD = /load  CLR = clr  [A..D] = d[0..3]  Q[A..D] = q[0..3]
                      /CO = co  /BO = bo }
         U2 74HC193 { UP = co  DOWN = bo  /LOAD = /load  CLR = clr  [A..D] = d[4..7]  Q[A..D] = q[4..7]
                      /CO = co2  /BO = bo2 }",
    );
    let names = ["up", "down", "/load", "clr", "d0", "d1", "d2", "d3", "d4", "d5", "d6", "d7"];
    let mut run = Run::new(&circuit, &names);
    let (d, q) = (bus(&circuit, "d", 8), bus(&circuit, "q", 8));
    run.set("up=1 down=1 /load=1 clr=1").settle().run(ns(200)).set("clr=0").settle().run(ns(200));
    let (mut dice, mut model) = (Dice(193), 0u64);
    for step in 0..3000 {
        match dice.roll(40) {
            0 => {
                model = dice.roll(256);
                drive(&mut run.machine, &d, model);
                run.settle().run(ns(200)).set("/load=0").settle().run(ns(200)).set("/load=1");
            }
            1 => {
                model = 0;
                run.set("clr=1").settle().run(ns(200)).set("clr=0");
            }
            2..=20 => {
                run.set("up=0").settle().run(ns(200));
                // Carry out of both: low while UP is low and every bit is high.
                assert_eq!(run.levels("co2"), if model == 255 { "0" } else { "1" }, "step {step}");
                run.set("up=1");
                model = (model + 1) & 255;
            }
            _ => {
                run.set("down=0").settle().run(ns(200));
                assert_eq!(run.levels("bo2"), if model == 0 { "0" } else { "1" }, "step {step}");
                run.set("down=1");
                model = model.wrapping_sub(1) & 255;
            }
        }
        run.settle().run(ns(200));
        assert_eq!(run.machine.word(&q), Word::known(model), "step {step}");
        assert_eq!(run.levels("co2 bo2"), "11", "step {step}");
    }
    assert_eq!(run.violations(), Vec::<String>::new());
    assert!(run.machine.forbidden().is_empty());
}

/// TI SCHS158F, function table: both enables must be low for data to enter, both of M and N for it to leave.
#[test]
fn a_173_takes_and_shows_data_when_it_is_told() {
    let circuit = board(
        "",
        "feed U1 from VCC GND
         U1 74HC173 { CLK = clk  CLR = clr  /G1 = g1  /G2 = g2  M = m  N = n  D[1..4] = d[0..3]  Q[1..4] = q[0..3] }",
    );
    let names = ["clk", "clr", "g1", "g2", "m", "n", "d0", "d1", "d2", "d3"];
    let mut run = Run::new(&circuit, &names);
    let (d, q) = (bus(&circuit, "d", 4), bus(&circuit, "q", 4));
    let control = ["g1", "g2", "m", "n"].map(|path| run.net(path));
    let (mut dice, mut model) = (Dice(173), None::<u64>);
    run.set("clk=0 clr=0");
    for step in 0..1000 {
        let (mode, data) = (dice.roll(16), dice.roll(16));
        drive(&mut run.machine, &control, mode);
        drive(&mut run.machine, &d, data);
        run.settle().run(ns(200));
        if dice.roll(20) == 0 {
            run.set("clr=1").settle().run(ns(200)).set("clr=0").settle().run(ns(200));
            model = Some(0);
        }
        run.set("clk=1").settle().run(ns(200)).set("clk=0").settle().run(ns(200));
        if mode >> 2 == 0 {
            model = Some(data);
        }
        let shown = run.levels("q0 q1 q2 q3");
        if mode & 3 != 0 {
            assert_eq!(shown, "ZZZZ", "step {step}");
        } else {
            let expected = model.map_or(Word::all_unknown(15), Word::known);
            assert_eq!(run.machine.word(&q), expected, "step {step}");
        }
    }
    assert_eq!(run.violations(), Vec::<String>::new());
}

/// TI SCLS140G, function table: transparent while LE is high, closed while it is low, off while /OE is high.
#[test]
fn a_373_is_open_closed_or_off() {
    let circuit = board(
        "",
        "feed U1 from VCC GND
         U1 74HC373 { LE = le  /OE = oe  D[1..8] = d[0..7]  Q[1..8] = q[0..7] }",
    );
    let names = ["le", "oe", "d0", "d1", "d2", "d3", "d4", "d5", "d6", "d7"];
    let mut run = Run::new(&circuit, &names);
    let (d, q) = (bus(&circuit, "d", 8), bus(&circuit, "q", 8));
    let (mut dice, mut model, mut open, mut off) = (Dice(373), None::<u64>, false, false);
    run.set("le=0 oe=0");
    let mut data = 0;
    for step in 0..2000 {
        match dice.roll(4) {
            0 => open = !open,
            1 => off = !off,
            _ => data = dice.roll(256),
        }
        drive(&mut run.machine, &d, data);
        run.set(if open { "le=1" } else { "le=0" });
        run.set(if off { "oe=1" } else { "oe=0" }).settle().run(ns(200));
        if open {
            model = Some(data);
        }
        if off {
            assert_eq!(run.levels("q0 q7"), "ZZ", "step {step}");
        } else {
            let expected = model.map_or(Word::all_unknown(255), Word::known);
            assert_eq!(run.machine.word(&q), expected, "step {step}");
        }
    }
    assert_eq!(run.violations(), Vec::<String>::new());
}

/// Two ripple counters of a 393 in a row divide by 256; each clocks the next with its falling edge (TI SCLS143).
#[test]
fn a_393_ripples_through_256_counts() {
    let circuit = circuit(
        "board b { rail VCC 5 V  rail GND  feed U1 from VCC GND
             U1 74HC393 { 1CLK = clk  1CLR = clr  1Q[A..D] = q[0..3]  2CLK = q3  2CLR = clr  2Q[A..D] = q[4..7] } }",
    );
    let mut run = Run::new(&circuit, &["clk", "clr"]);
    let q = bus(&circuit, "q", 8);
    run.set("clk=1 clr=1").settle().run(ns(200)).set("clr=0").settle().run(ns(200));
    for count in 0..600u64 {
        assert_eq!(run.machine.word(&q), Word::known(count & 255));
        run.set("clk=0").settle().run(ns(100)).set("clk=1").settle().run(ns(100));
    }
    assert_eq!(run.violations(), Vec::<String>::new());
}
