//! Trials: what each statement does, and what a failed expectation says.

use super::bench::{Trial, ns, run_trial, told};
use coldboard::language::ast::{Corner, PowerUp};
use coldboard::logic::Level;
use coldboard::quantity::Time;
use coldboard::trial::{Options, Report};

const PARTS: &str = r#"
part count4 "four bits, 20 ns" {
    package DIP16 { 1 CLK in  2 /CLR in  3..6 Q[0..3] out  8 GND ground  16 VCC power }
    state q[0..3]
    on rise CLK { q = q + 1 }
    while CLR { q = 0 }
    Q = q
    grade T { columns min 25 C, typ 25 C, limit 0..70 C  at 5 V { delay CLK -> Q 10 20 40 ns  delay /CLR -> Q 10 20 40 ns } }
}
part quick4 "four bits, no sheet and so no delay" {
    package DIP16 { 1 CLK in  2 /CLR in  3..6 Q[0..3] out  8 GND ground  16 VCC power }
    state q[0..3]
    on rise CLK { q = q + 1 }
    while CLR { q = 0 }
    Q = q
}
part inverter "no sheet" { package DIP8 { 1 A in  3 Y out  4 GND ground  8 VCC power }  Y = not A }
"#;

/// A counter, and an inverter without delay, a button and two switches with pull-ups.
const BOARD: &str = "board b { rail VCC 5 V  rail GND  feed U1..U3 from VCC GND
    U1 count4 { CLK = clk  /CLR = /clr  Q[0..3] = q[0..3] }
    U3 quick4 { CLK = clk  /CLR = /clr  Q[0..3] = z[0..3] }
    U2 inverter { A = a  Y = y }
    R1 resistor 10 kohm { 1 = VCC  2 = key }    B1 button { 1 = key  2 = GND }
    R2 resistor 10 kohm { 1 = VCC  2 = choice } SW1 switch { 1 = choice  2 = GND }
    SW2 changeover { 1 = side  2 = VCC  3 = GND }
    R3 resistor 10 kohm { 1 = VCC  2 = /clr } }";

fn text(trial: &str) -> String {
    format!("{PARTS}\n{BOARD}\ntrial t on b {{\n{trial}\n}}")
}

fn run(trial: &str) -> Report {
    run_trial(&text(trial))
}

/// Runs a trial that must hold.
fn holds(trial: &str) -> Report {
    let report = run(trial);
    assert_eq!(told(&report), Vec::<String>::new());
    assert!(report.passed);
    report
}

/// The failures of a trial without their places: `EXPECTATION: FOUND at TIME`.
fn failures(trial: &str) -> Vec<String> {
    let report = run(trial);
    assert!(report.faults.is_empty() && !report.passed, "{:?}", told(&report));
    let line = |failure: &coldboard::trial::report::Failure| {
        format!("{}: {} at {}", failure.expectation, failure.found, failure.time)
    };
    report.failures.iter().map(line).collect()
}

const START: &str = "clock clk 1 MHz  drive /clr low for 2 clocks\n";

#[test]
fn clocks_are_counted_to_the_fall_of_the_last() {
    // Low first: rises at 0.5, 1.5, ... us, falls at 1, 2, ... us.
    let report = holds(&format!("{START} expect q = 0  run for 3 clocks  expect q = 3"));
    assert_eq!((report.end, report.clocks, report.expectations_passed), (Time::from_us(5), 5, 2));
    // Beginning while the clock is high: the next whole clock.
    let report = holds(&format!("{START} run for 700 ns  run for 1 clock  expect q = 2"));
    assert_eq!((report.end, report.clocks), (Time::from_us(4), 4));
    // A duty cycle: 20 % of 1 us high.
    let report = holds(
        "clock clk 1 MHz duty 20 %  drive /clr low for 1 clock  run for 799 ns  expect clk is low
        run for 1 ns  expect clk is high  run for 199 ns  expect clk is high  run for 1 ns  expect clk is low",
    );
    assert_eq!(report.end, Time::from_us(2));
}

#[test]
fn clocks_of_an_oscillator_can_be_counted() {
    let text = "board b { rail VCC 5 V  rail GND  feed X1 from VCC GND  X1 OSC14 1 MHz { OUT = clk } }
        trial t on b { count clocks on clk  run for 3 clocks }";
    let report = run_trial(text);
    assert_eq!(told(&report), Vec::<String>::new());
    // It starts after 10 ms (Qantek QX14), low; then rises at 0.5, 1.5, 2.5 us, and falls half a microsecond later.
    assert_eq!((report.end, report.clocks), (Time::from_ms(10) + Time::from_us(3), 3));
}

#[test]
fn what_is_set_takes_effect_before_anything_is_expected() {
    holds(
        "set a = low  expect y is high  set a = high  expect y is low
        set a = low  expect y is high for 10 ns
        set a = high  expect y is low within 10 ns
        set a = low  run until y is high within 10 ns
        set a = high  expect never y is high  run for 10 ns",
    );
    // The other way round: what was true before the moment does not count.
    assert_eq!(
        failures("set a = low  run for 1 us  set a = high  expect y is high within 10 ns"),
        ["expect y is high within 10 ns: y is low at the end of the time (wanted: y is high) at 1.01 us"]
    );
}

#[test]
fn within_waits_and_goes_on_at_once() {
    let report =
        holds(&format!("{START} expect q = 3 within 10 us  expect q = 3 for 999 ns  expect q = 4 within 1 ns"));
    // The third rise is at 4.5 us, 20 ns earlier than the output.
    assert_eq!(report.end, ns(5_520));
    assert_eq!(
        failures(&format!("{START} expect q = 3 within 2 clocks  expect q = 2")),
        ["expect q = 3 within 2 clocks: q is 0x2 at the end of the time (wanted: q = 3) at 4 us"]
    );
    // `run until` that is not met ends the trial.
    assert_eq!(
        failures(&format!("{START} run until q = 9 within 2 us  expect q = 11")),
        ["run until q = 9 within 2 us: q is 0x2 at the end of the time (wanted: q = 9) at 4 us"]
    );
}

#[test]
fn a_condition_for_a_time_must_stay() {
    holds(&format!("{START} expect q = 0 for 519 ns  run for 1 ns  expect q = 1 for 999 ns"));
    assert_eq!(
        failures(&format!("{START} expect q = 0 for 3 clocks  expect q = 1")),
        ["expect q = 0 for 3 clocks: q is 0x1 (wanted: q = 0) at 2.52 us"]
    );
    // Unknown is not equal.
    assert_eq!(
        failures("clock clk 1 MHz  expect q = 0 for 1 us"),
        ["expect q = 0 for 1 us: q is 0x? (wanted: q = 0) at 0 ns"]
    );
}

#[test]
fn never_holds_to_the_end_and_is_told_once() {
    let report = holds(&format!("{START} expect never q = 4  run for 3 clocks"));
    assert_eq!(report.expectations_passed, 1);
    assert_eq!(
        failures(&format!("{START} expect never q = 3  expect never q = 1  run for 40 clocks  expect q = 0xA")),
        [
            "expect never q = 1: q is 0x1 at 2.52 us",
            "expect never q = 3: q is 0x3 at 4.52 us",
            "expect q = 0xA: q is 0x8 (wanted: q = 0xA) at 42 us",
        ]
    );
}

/// What stands on the signal just before the edge takes effect, also in a part that takes no time.
#[test]
fn a_sequence_reads_the_signal_just_before_each_edge() {
    for signal in ["q", "z"] {
        holds(&format!("{START} expect on rise clk: {signal} = 0, 1, 2, 3  run for 4 clocks"));
        holds(&format!("{START} expect on fall clk: {signal} = 1, 2, 3, 4  run for 4 clocks"));
    }
    assert_eq!(
        failures(&format!("{START} expect on rise clk: z = 0, 1, 5, 3  run for 4 clocks")),
        ["expect on rise clk: z = 0, 1, 5, 3: at strobe 3 z is 0x2, expected 0x5 at 4.5 us"]
    );
}

#[test]
fn a_sequence_must_be_complete_and_without_more_is_all() {
    assert_eq!(
        failures(&format!("{START} expect on rise clk: q = 0, 1, 2  run for 2 clocks")),
        ["expect on rise clk: q = 0, 1, 2: 2 of 3 strobes came at 4 us"]
    );
    assert_eq!(
        failures(&format!("{START} expect on rise clk: q = 0, 1  run for 4 clocks")),
        ["expect on rise clk: q = 0, 1: a strobe more than the 2 that were expected; q is 0x2 at 4.5 us"]
    );
    let report = holds(&format!("{START} expect on rise clk: q = 0, 1, more  run for 4 clocks"));
    assert_eq!(report.expectations_passed, 2);
    // An edge that was on its way before the statement is none of its business, one behind it is the first.
    holds("set clk = low  set /clr = low  run for 1 us  set /clr = high  run for 1 us
        set clk = high  expect on rise clk: q = 1  run for 1 us  set clk = low  run for 1 us  set clk = high  run for 1 us");
}

#[test]
fn tables_show_values_at_their_moments() {
    let report = holds(&format!(
        "{START} show each clock: q, z as binary, key
         show on fall clk: q as decimal
         show every 800 ns: q
         run for 2 clocks
         show now: q as signed, choice"
    ));
    let rows = |at: usize| -> Vec<String> {
        let rows = report.tables[at].rows.iter();
        rows.map(|(time, values)| format!("{time} {}", values.join(" "))).collect()
    };
    let titles: Vec<&str> = report.tables.iter().map(|table| table.when.as_str()).collect();
    assert_eq!(titles, ["each clock", "fall of clk", "every 800 ns", "now"]);
    assert_eq!(report.tables[0].columns, ["q", "z", "key"]);
    assert_eq!(rows(0), ["2.5 us 0 0000 1", "3.5 us 1 0001 1"]);
    assert_eq!(rows(1), ["3 us 1", "4 us 2"]);
    assert_eq!(rows(2), ["2.8 us 1", "3.6 us 2"]);
    assert_eq!(rows(3), ["4 us 2 1"]);
}

/// The changes of a net.
fn waves(trial: &str, net: &str) -> Vec<(Time, Level)> {
    let trial = Trial::open(&text(trial), &[]);
    let signal = trial.circuit.signal(net).expect(net);
    let options = Options { record: vec![signal].into(), ..Options::default() };
    let report = trial.run(&options);
    assert_eq!(told(&report), Vec::<String>::new());
    report.waves.signals[0].bits[0].changes.clone()
}

/// It touches three times before it rests, and lifts three times when it is let go.
#[test]
fn a_button_is_pressed_for_its_time_and_bounces() {
    let plain = waves("run for 1 ms  press B1 for 5 ms  run for 1 ms", "key");
    let times: Vec<(i64, char)> = plain.iter().map(|(time, level)| (time.ps() / 1_000_000, level.to_char())).collect();
    assert_eq!(times, [(0, 'H'), (1000, '0'), (6000, 'H')]);
    let bouncing = waves("run for 1 ms  press B1 for 5 ms bounce 1 ms  run for 1 ms", "key");
    let levels: String = bouncing.iter().map(|(_, level)| level.to_char()).collect();
    assert_eq!(levels, "H0H0H0H0H0H");
    let at = |index: usize| bouncing[index].0;
    assert_eq!(at(1), Time::from_ms(1));
    // At rest 1 ms after the first touch, let go 5 ms later, at rest again 1 ms after that.
    assert_eq!(at(5), Time::from_ms(2));
    assert_eq!(at(6), Time::from_ms(7));
    assert_eq!(at(10), Time::from_ms(8));
}

#[test]
fn switches_stay_where_they_are_put() {
    holds(
        "expect choice is high  expect side is high
        close SW1  expect choice is low  open SW1  expect choice is high
        flip SW2 down  expect side is low  run for 1 ms  flip SW2 up  expect side is high",
    );
}

#[test]
fn steps_are_pulses_by_hand() {
    let report = holds("drive /clr low for 1 us  step clk 5 times  expect q = 5");
    assert_eq!(report.end, Time::from_us(1) + Time::from_ms(5));
    let report = holds("drive /clr low for 1 us  step clk 3 times every 10 us  expect q = 3");
    assert_eq!(report.end, Time::from_us(31));
    let wave = waves("drive /clr low for 1 us  step clk 2 times every 10 us  run for 1 us", "clk");
    let levels: String = wave.iter().map(|(_, level)| level.to_char()).collect();
    assert!(levels.ends_with("01010"), "{levels}");
    assert_eq!(wave[wave.len() - 1].0, Time::from_us(21));
}

#[test]
fn a_net_that_is_let_go_is_left_to_the_board() {
    holds(
        "set /clr = low  expect /clr is low  release /clr  expect /clr is high
        drive a high for 1 us  expect a is off  expect y is unknown",
    );
    // A bus takes numbers, negative ones in two's complement.
    let wide = "board w { connector P header-1x8 { 1..8 m[0..7] } }
        trial t on w { set m = 0xA5  expect m = 165  set m = -1  expect m = 0xFF  set m = high  expect m = -1
            set m0 = low  expect m = 0xFE  expect m[0..3] = 14 }";
    let report = run_trial(wide);
    assert_eq!(told(&report), Vec::<String>::new());
}

#[test]
fn a_clock_that_stands_still_ends_the_trial() {
    let still = failures(&format!("{START} set clk = low  run for 3 clocks  expect q = 9"));
    let gone = "run for 3 clocks: the clock on clk stands still, and nothing can move it any more";
    assert!(still.len() == 1 && still[0].starts_with(gone), "{still:?}");
    // Another clock goes on, and moves nothing but itself: after a few rounds that is known.
    let report = run("count clocks on clk  clock a 1 MHz  set clk = low  run for 3 clocks");
    assert!(report.failures[0].found.contains("nothing can move it any more"), "{:?}", report.failures);
    assert!(report.end < Time::from_ms(1), "{}", report.end);
    // A clock of five seconds is slow, but moves.
    let report = holds("clock clk 0.2 Hz  drive /clr low for 1 clock  run for 2 clocks  expect q = 2");
    assert_eq!(report.end, Time::from_ms(15_000));
}

#[test]
fn a_failed_expectation_says_where_what_when_and_why() {
    let report = run("clock clk 1 MHz\n  run for 2 clocks\n  expect   q = 2");
    assert!(!report.passed);
    let [failure] = &report.failures[..] else { panic!("{:?}", report.failures) };
    let line = text("").lines().position(|line| line.starts_with("trial")).expect("there") + 4;
    assert_eq!(failure.place, format!("t.board:{line}:3"));
    assert_eq!(failure.expectation, "expect q = 2");
    assert_eq!(failure.found, "q is 0x? (wanted: q = 2)");
    assert_eq!(failure.time, Time::from_us(2));
    let causes: Vec<String> = failure.causes.iter().map(|step| format!("{} {}", step.net, step.text)).collect();
    assert_eq!(causes, ["q3 U1.Q3 (count4): what it stores has never been defined"]);
    // The bit that is wrong is the one that is looked behind.
    let report = run(&format!("{START} run for 2 clocks  expect q = 3"));
    let causes: Vec<String> =
        report.failures[0].causes.iter().map(|step| format!("{} {}", step.net, step.text)).collect();
    assert_eq!(causes[0], "q0 U1.Q0 (count4), moved by CLK");
    assert_eq!(causes[1], "clk the stimulus on clk");
}

/// Unknown is neither this nor that, and `not` does not change it.
#[test]
fn conditions_are_certain_or_do_not_hold() {
    let start = "set a = high  set clk = low ";
    holds(&format!(
        "{start} expect y is low and not a is low  expect y is high or a is high  expect not (y is high and q = 3)
         expect q is unknown  expect not q is known  expect a != 0  expect q is unknown or q = 3"
    ));
    for condition in
        ["q = 3", "q != 3", "not q = 3", "not q != 3", "q0 is high", "not q0 is high", "not (q0 is low or y is high)"]
    {
        assert_eq!(failures(&format!("{start} expect {condition}")).len(), 1, "{condition}");
    }
    // Known bits that differ are enough.
    let text = "board w { connector P header-1x2 { 1..2 m[0..1] } } trial t on w { set m0 = high  expect m != 2  expect not m = 0 }";
    assert_eq!(told(&run_trial(text)), Vec::<String>::new());
}

#[test]
fn corner_and_power_up_are_the_trials_unless_asked_otherwise() {
    let trial = Trial::open(&text("corner slowest  power-up one  set clk = low  expect q = 15"), &[]);
    let report = trial.run(&Options::default());
    assert_eq!((report.corner, report.power_up, report.passed), (Corner::Slowest, PowerUp::One, true));
    let options = Options { corner: Some(Corner::Random(4)), power_up: Some(PowerUp::Zero), ..Options::default() };
    let report = trial.run(&options);
    assert_eq!((report.corner, report.power_up, report.passed), (Corner::Random(4), PowerUp::Zero, false));
    let trial = Trial::open(&text("set clk = low"), &[]);
    let report = trial.run(&Options::default());
    assert_eq!((report.corner, report.power_up), (Corner::Typical, PowerUp::Unknown));
}

#[test]
fn the_question_why_is_answered() {
    let trial = Trial::open(&text(&format!("{START} run for 2 clocks")), &[]);
    let net = trial.circuit.net("q1").expect("q1");
    for (time, level) in [(None, Level::One), (Some(ns(3000)), Level::Zero)] {
        let report = trial.run(&Options { why: Some((net, time)), ..Options::default() });
        assert!(report.passed);
        assert_eq!(report.why[0].level, level);
    }
}

#[test]
fn mistakes_are_told_before_anything_runs() {
    let mistakes = |trial: &str| Trial::open(&text(trial), &[]).mistakes();
    assert_eq!(
        mistakes("set qq = 1  press SW1 for 1 ms  expect q = 16  run for 3 clocks  clock q 1 MHz  load U9 from \"x\""),
        [
            "unknown-signal: there is no net, pin or bus `qq` | qq",
            "unknown-contact: SW1 is a switch, not a button | SW1",
            "width: 16 does not fit the 4 bits of `q` | q = 16",
            "one-net: `q` has 4 bits; one net is wanted here | q",
            "unreadable: there is no file x | \"x\"",
            "unknown-chip: there is no chip `U9` | U9",
        ]
    );
    assert_eq!(
        mistakes("run for 3 clocks"),
        ["no-clock: this counts clocks, but the trial does not say on which net | run for 3 clocks"]
    );
    assert_eq!(
        mistakes("set VCC = low  expect on rise q: z = 1  show on rise q: z  set q = -9  step GND 3 times"),
        [
            "rail: `VCC` is a rail; a trial cannot drive it | VCC",
            "one-net: `q` has 4 bits; one net is wanted here | q",
            "one-net: `q` has 4 bits; one net is wanted here | q",
            "width: -9 does not fit the 4 bits of `q` | q",
            "rail: `GND` is a rail; a trial cannot drive it | GND",
        ]
    );
    let wide =
        "board w { connector P header-2x35 { 1..70 m[0..69] } }  trial t on w { set m = 0  expect m = 1  show now: m }";
    assert_eq!(Trial::open(wide, &[]).mistakes(), ["width: `m` has 70 bits; a trial takes 64 at once | m"; 3]);
}

#[test]
fn sixty_four_bits_are_one_number() {
    let text = "board w { connector P header-2x32 { 1..64 m[0..63] } }
        trial t on w { set m = -1  expect m = -1  expect m63 is high  show now: m as signed, m
            set m = 0x7FFFFFFFFFFFFFFF  expect m != -1  expect m63 is low }";
    let report = run_trial(text);
    assert_eq!(told(&report), Vec::<String>::new());
    assert_eq!(report.tables[0].rows[0].1, ["-1", "FFFFFFFFFFFFFFFF"]);
}

/// The second run, which keeps causes, is the first one again.
#[test]
fn a_report_is_the_same_every_time() {
    let trial =
        Trial::open(&text(&format!("corner random seed 3  {START} run for 9 clocks  expect q = 1  show now: q")), &[]);
    let json = || serde_json::to_string(&trial.run(&Options::default())).expect("JSON");
    assert_eq!(json(), json());
}
