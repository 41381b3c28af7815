//! The first moments: what storage wakes up as, chips without supply, oscillators, and the reset that an RC makes.

use super::bench::{Run, board, bus, circuit, ns, run_trial, settings, told};
use coldboard::circuit::Circuit;
use coldboard::language::ast::{Corner, PowerUp};
use coldboard::logic::Word;
use coldboard::quantity::Time;
use coldboard::run::Engine;

/// Twenty-four stored bits: three registers that show them.
const REGISTERS: &str = "feed U1..U3 from VCC GND
    each i in 0..2 { U[i+1] 74HC574 { D[1..8] = d  CLK = clk  /OE = GND  Q[1..8] = q[8*i..8*i+7] } }";

fn woken(power_up: PowerUp) -> Word {
    let circuit = board("", REGISTERS);
    let mut run = Run::with(&circuit, settings(Corner::Typical, power_up), &["d", "clk"]);
    run.set("d=0 clk=0").to(ns(100));
    let q = bus(&circuit, "q", 24);
    run.machine.word(&q)
}

#[test]
fn storage_wakes_up_as_it_is_told() {
    let all = (1 << 24) - 1;
    assert_eq!(woken(PowerUp::Unknown), Word::all_unknown(all));
    assert_eq!(woken(PowerUp::Zero), Word::known(0));
    assert_eq!(woken(PowerUp::One), Word::known(all));
}

#[test]
fn a_seed_stands_for_one_way_to_wake_up() {
    let seeds: Vec<Word> = (0..20).map(|seed| woken(PowerUp::Random(seed))).collect();
    let again: Vec<Word> = (0..20).map(|seed| woken(PowerUp::Random(seed))).collect();
    assert_eq!(seeds, again);
    assert!(seeds.iter().all(|word| word.unknown == 0));
    let mut distinct: Vec<u64> = seeds.iter().map(|word| word.value).collect();
    distinct.sort_unstable();
    distinct.dedup();
    assert_eq!(distinct.len(), 20);
    // Chips of one circuit do not wake up alike, and both levels occur about as often.
    let ones: u32 = seeds.iter().map(|word| word.value.count_ones()).sum();
    assert!((160..320).contains(&ones), "{ones} of 480");
}

/// The first level of a clock is no edge for storage that woke up known, through however many gates it comes: a 393
/// counts falling edges, and its clock is first unknown, then low.
#[test]
fn known_storage_is_not_disturbed_by_the_first_levels() {
    let circuit = circuit(
        "board b { rail VCC 5 V  rail GND  feed U1, U2 from VCC GND
             U2 74HC04 { 1A = phi  1Y = x  2A = x  2Y = clk }
             U1 74HC393 { 1CLK = clk  1CLR = clr  1Q[A..D] = q[0..3]  2CLK = q3  2CLR = clr  2Q[A..D] = q[4..7] } }",
    );
    for (power_up, first) in [(PowerUp::Zero, 0), (PowerUp::One, 255), (PowerUp::Random(3), 0)] {
        let mut run = Run::with(&circuit, settings(Corner::Typical, power_up), &["phi", "clr"]);
        let q = bus(&circuit, "q", 8);
        let phi = run.net("phi");
        run.set("clr=0");
        run.machine.clock(phi, ns(500), ns(500));
        run.to(ns(400));
        let word = run.machine.word(&q);
        assert_eq!(word.unknown, 0, "{power_up:?}");
        if power_up != PowerUp::Random(3) {
            assert_eq!(word.value, first);
        }
        run.to(ns(1900));
        assert_eq!(run.machine.word(&q), Word::known((word.value + 1) & 255), "{power_up:?}");
    }
}

/// A clear that is active when power comes has cleared, whatever storage woke up as.
#[test]
fn a_clear_at_power_up_clears() {
    let circuit = board(
        "",
        "feed U1 from VCC GND
         U1 74HC161 { CLK = clk  /CLR = /clr  /LOAD = VCC  ENP = VCC  ENT = VCC  Q[A..D] = q[0..3]  [A..D] = GND }",
    );
    let mut run = Run::with(&circuit, settings(Corner::Typical, PowerUp::One), &["clk", "/clr"]);
    run.set("clk=0 /clr=0").to(Time::ZERO);
    assert_eq!(run.levels("q3 q2 q1 q0"), "0000");
    run.to(ns(100)).set("/clr=1").to(ns(200)).set("clk=1").to(ns(300));
    assert_eq!(run.levels("q3 q2 q1 q0"), "0001");
}

/// A chip whose supply pins reach no supply drives nothing, and the trial says so.
#[test]
fn a_chip_that_is_not_fed_drives_nothing() {
    let report = run_trial(
        "board b { rail VCC 5 V  rail GND  feed U1 from VCC GND
             U1 74HC541 { A[1..8] = a  Y[1..8] = y[0..7]  /OE1 = GND  /OE2 = GND }
             U2 74HC541 { A[1..8] = y[0..7]  Y[1..8] = z[0..7]  /OE1 = GND  /OE2 = GND } }
         trial t on b { set a = 1  run for 1 us  expect y = 0xFF  expect z is off }",
    );
    assert_eq!(told(&report), ["not-fed U2: U2 (74HC541) is not fed: it drives nothing (`coldboard check` tells why)"]);
    assert!(!report.passed && report.failures.is_empty());
}

/// Qantek QX14: at most 10 ms to start. Then every edge stands where the frequency says, to the picosecond.
#[test]
fn an_oscillator_starts_late_and_swings_exactly() {
    let circuit = board("", "feed X1, X2 from VCC GND  X1 OSC14 8 MHz { OUT = c8 }  X2 OSC14 3 MHz { OUT = c3 }");
    let mut run = Run::new(&circuit, &[]);
    let start = Time::from_ms(10);
    run.to(start - Time::from_ps(1));
    assert_eq!(run.levels("c8 c3"), "XX");
    run.to(start + Time::from_us(1000));
    for (path, half_periods) in [("c8", [62_500, 62_500]), ("c3", [166_667, 166_666])] {
        let net = run.net(path);
        let edges: Vec<i64> = run.changes.0.iter().filter(|c| c.1 == net && c.0 >= start).map(|c| c.0.ps()).collect();
        assert_eq!(edges[0], start.ps());
        for (at, pair) in edges.windows(2).enumerate() {
            assert_eq!(pair[1] - pair[0], half_periods[at % 2], "{path} edge {at}");
        }
        // Low first. 8 MHz: 16,000 edges in a millisecond, and the one at its end.
        let expected = 1_000_000_000 / (half_periods[0] + half_periods[1]) * 2;
        assert!((edges.len() as i64 - expected).abs() <= 1, "{path}: {}", edges.len());
    }
}

/// An oscillator with an enable that is slower than its swing still swings.
#[test]
fn the_enable_of_an_oscillator_does_not_slow_its_swing() {
    let circuit = board(
        r#"part can "oscillator with enable" {
            package DIP8 { 1 EN in  5 OUT three-state  4 GND ground  8 VCC power }
            oscillator osc
            OUT = osc when EN else off
            grade T { columns typ 25 C  at 5 V { enable EN -> OUT 200 ns  disable EN -> OUT 100 ns  start-up OUT 1 us } }
        }"#,
        "feed X1 from VCC GND  X1 can 10 MHz { EN = en  OUT = clk }  R1 resistor 10 kohm { 1 = GND  2 = clk }",
    );
    let mut run = Run::new(&circuit, &["en"]);
    run.set("en=1").to(ns(2025)).forget().to(ns(2200));
    assert_eq!(run.wave("clk"), "1@2050 0@2100 1@2150 0@2200");
    run.set("en=0").to(ns(3000));
    assert_eq!(run.levels("clk"), "L");
}

/// The reset of nearly every board: 10 kohm, 10 uF, a Schmitt inverter, a button across the capacitor.
const RESET: &str = "feed U1 from VCC GND
    R1 resistor 10 kohm { 1 = VCC  2 = rc }  C1 capacitor 10 uF { 1 = rc  2 = GND }  B1 button { 1 = rc  2 = GND }
    U1 74HC14 { 1A = rc  1Y = reset  2A = reset  2Y = /reset }";

/// t = R C ln(1 / (1 - VT+ / VCC)). R C is 100 ms; VT+ at 4.5 V is 1.7, 2.38, 3.15 V at least, typically, at most
/// (Philips 74HC/HCT14, September 1993): 47.4458, 75.2661, 120.3973 ms, by a pocket calculator.
const RESET_TIMES: [(Corner, i64); 3] =
    [(Corner::Fastest, 47_445_798), (Corner::Typical, 75_266_131), (Corner::Slowest, 120_397_280)];

#[test]
fn an_rc_holds_reset_for_its_time() {
    let circuit = board("", RESET);
    for (corner, expected) in RESET_TIMES {
        let mut run = Run::with(&circuit, settings(corner, PowerUp::Unknown), &[]);
        run.to(Time::from_ms(20));
        assert_eq!(run.levels("rc reset /reset"), "L10");
        run.to(ns(expected) - Time::from_us(1));
        assert_eq!(run.levels("rc reset /reset"), "L10");
        run.to(ns(expected) + Time::from_us(1));
        assert_eq!(run.levels("rc reset /reset"), "H01");
    }
}

/// A button empties the capacitor at once; when it is let go the whole time begins anew.
#[test]
fn a_reset_button_starts_the_time_again() {
    let circuit = board("", RESET);
    for (corner, expected) in RESET_TIMES {
        let mut run = Run::with(&circuit, settings(corner, PowerUp::Unknown), &[]);
        let button = run.discrete("B1");
        run.to(Time::from_ms(200)).forget();
        run.machine.contact(button, 1);
        run.to(Time::from_ms(210));
        assert_eq!(run.levels("rc /reset"), "00");
        run.machine.contact(button, 0);
        run.to(Time::from_ms(230));
        assert_eq!(run.levels("rc /reset"), "L0");
        // Pressed again before it was over: it is not over any sooner.
        run.machine.contact(button, 1);
        run.to(Time::from_ms(240));
        run.machine.contact(button, 0);
        run.to(Time::from_ms(240) + ns(expected) - Time::from_us(1));
        assert_eq!(run.levels("/reset"), "0");
        run.to(Time::from_ms(240) + ns(expected) + Time::from_us(1));
        assert_eq!(run.levels("/reset"), "1");
    }
}

/// The nets rc and y change within a microsecond of these times: nanoseconds with the fastest, typical and slowest parts.
fn moves_at(circuit: &Circuit, times: [i64; 3], [before, after]: [&str; 2]) {
    let corners = [Corner::Fastest, Corner::Typical, Corner::Slowest];
    for (corner, expected) in corners.into_iter().zip(times) {
        let mut run = Run::with(circuit, settings(corner, PowerUp::Unknown), &[]);
        run.to(ns(expected) - Time::from_us(1));
        assert_eq!(run.levels("rc y"), before, "{corner:?}");
        run.to(ns(expected) + Time::from_us(1));
        assert_eq!(run.levels("rc y"), after, "{corner:?}");
    }
}

/// A bipolar input lets up to 0.4 mA out at low (TI SDLS049C, IIL), which fills the capacitor as well: through 10 kohm
/// to 5 V it goes towards 5 V + 0.4 mA * 10 kohm = 9 V. VT+ is 1.4, 1.6 and 1.9 V there, so that by hand
/// 100 ms * ln(9 / 7.6) = 16.908 ms and 100 ms * ln(9 / 7.4) = 19.574 ms; nobody guarantees that current, so that the
/// slowest is 100 ms * ln(5 / 3.1) = 47.804 ms.
#[test]
fn a_bipolar_input_helps_to_fill_a_capacitor() {
    let circuit = board(
        "",
        "feed U1 from VCC GND
         R1 resistor 10 kohm { 1 = VCC  2 = rc }  C1 capacitor 10 uF { 1 = rc  2 = GND }
         U1 74LS14 { 1A = rc  1Y = y }",
    );
    moves_at(&circuit, [16_907_633, 19_574_458, 47_803_580], ["L1", "H0"]);
}

/// With the capacitor to VCC and the resistor to ground the pulse is high: t = R C ln(VCC / VT-), VT- 2.0, 1.40, 0.9 V
/// at 4.5 V: 81.0930, 116.7605, 160.9438 ms.
#[test]
fn an_rc_turned_round_makes_a_high_pulse() {
    let circuit = board(
        "",
        "feed U1 from VCC GND
         R1 resistor 10 kohm { 1 = GND  2 = rc }  C1 capacitor 10 uF { 1 = rc  2 = VCC }
         U1 74HC14 { 1A = rc  1Y = y }",
    );
    moves_at(&circuit, [81_093_022, 116_760_516, 160_943_791], ["H0", "L1"]);
}

/// An output that is wired to a rail fights with the supply, and a chip beyond the supply range of its family is at fault
/// (HC: 2 to 6 V, TI SCLS131D).
#[test]
fn what_a_supply_does_not_stand_is_a_fault() {
    let trial = |rail: &str, y: &str| {
        let report = run_trial(&format!(
            "board b {{ rail VCC {rail}  rail GND  feed U1 from VCC GND
                U1 74HC04 {{ 1A = a  1Y = {y}  [2..6]A = GND }} }}
            trial t on b {{ set a = high  run for 1 us  set a = low  run for 1 us }}"
        ));
        assert_eq!(report.passed, report.faults.is_empty());
        let faults = report.faults.iter();
        let told = faults.map(|fault| format!("{} {}: {}", fault.kind, fault.place, fault.text));
        told.collect::<Vec<_>>().join("\n")
    };
    assert_eq!(trial("5 V", "y"), "");
    let high = trial("5 V", "VCC");
    assert!(high.starts_with("contention VCC: U1.1Y (low) and the supply (high)"), "{high}");
    let low = trial("5 V", "GND");
    assert!(low.starts_with("contention GND: the supply (low) and U1.1Y (high)"), "{low}");
    let fed = trial("7 V", "y");
    assert!(fed.starts_with("wrong-supply U1: U1 (74HC04) is fed with 7 V"), "{fed}");
}

/// Plain physics: what hangs on a rail behind an open switch has no supply; a fuse is no switch.
#[test]
fn a_supply_behind_a_switch_is_as_the_switch_stands() {
    let with = |part: &str, first: &str, last: &str| {
        let report = run_trial(&format!(
            "board one {{ rail VIN 5 V  rail VCC 5 V  rail GND  {part}
                feed U1 from VCC GND  U1 74HC04 {{ 1A = a  1Y = y  [2..6]A = GND }}
                connector J1 header-1x2 {{ 1 VIN  2 GND }} }}
            trial t on one {{ {first}  set a = 0  expect y = 1 within 1 us  {last} }}"
        ));
        let all = report.faults.iter().chain(&report.notes);
        let told: Vec<String> = all.map(|found| format!("{}: {}", found.kind, found.text)).collect();
        (report.passed, told)
    };
    let none = Vec::<String>::new();
    let switch = "S1 switch { 1 = VIN  2 = VCC }";
    let dead = |on: &str, how: &str| {
        let text = format!(
            "not-fed: VCC hangs on {on} behind S1, which this trial leaves as it is: 1 chip without supply (begin with `{how} S1`)"
        );
        (false, vec![text])
    };
    assert_eq!(with(switch, "", ""), dead("VIN", "close"));
    assert_eq!(with(switch, "open S1", ""), dead("VIN", "close"));
    assert_eq!(with(switch, "close S1", ""), (true, none.clone()));
    let doubtful = "switched-supply: VCC hangs on VIN behind S1: a run takes it as fed at all times, however S1 stands";
    for (first, last) in [("", "close S1"), ("close S1", "open S1  run for 1 us")] {
        let found = with(switch, first, last);
        assert_eq!(found, (true, vec![doubtful.to_owned()]), "{first}");
    }
    let lever = "S1 changeover { common = VIN  up = VCC }";
    assert_eq!(with(lever, "", ""), (true, none.clone()));
    assert_eq!(with(lever, "flip S1 down", ""), dead("VIN", "flip"));
    let fuse = "R1 resistor 1 ohm { 1 = VIN  2 = VCC }";
    assert_eq!(with(fuse, "", ""), (true, none.clone()));
    let both = "R1 resistor 1 ohm { 1 = VIN  2 = mid }  S1 switch { 1 = mid  2 = VCC }";
    assert_eq!(with(both, "", ""), dead("mid", "close"));
    assert_eq!(with(both, "close S1", ""), (true, none));
}

/// The same in an assembly, of which one board is switched on and the other one is not.
#[test]
fn a_board_behind_an_open_switch_is_silent() {
    let run = |first: &str| {
        run_trial(&format!(
            "board one {{ rail VIN 5 V  rail VCC 5 V  rail GND  S1 switch {{ 1 = VIN  2 = VCC }}
                feed U1 from VCC GND  U1 74HC04 {{ 1A = GND  1Y = y  [2..6]A = GND }}
                R1 resistor 10 kohm {{ 1 = y  2 = GND }}
                connector J1 header-1x2 {{ 1 VIN  2 GND }} }}
            assembly two {{ A: one  B: one
                supply PS1 5 V 1 A {{ plus = A.J1.1  minus = A.J1.2  plus = B.J1.1  minus = B.J1.2 }} }}
            trial t on two {{ {first}  run for 1 us  expect A.y is high  expect B.y is low }}"
        ))
    };
    let report = run("close A.S1");
    assert!(report.failures.is_empty(), "{:?}", report.failures);
    let faults: Vec<&str> = (report.faults.iter()).map(|fault| fault.place.as_str()).collect();
    assert_eq!(faults, ["B.VCC"]);
    assert!(run("close A.S1  close B.S1").faults.is_empty());
}
