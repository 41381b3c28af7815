//! Where the two engines drift apart: the same trials by the command, with delays and without, must come to the same
//! report and the same exit code.

use assert_cmd::Command;
use std::fs;

/// The exit code, and all that a run prints.
fn run(design: &str, trial: &str, options: &[&str]) -> (i32, String) {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("b.board"), design).expect("written");
    let output = Command::cargo_bin("coldboard")
        .expect("the program")
        .current_dir(folder.path())
        .args(["run", "b.board", trial])
        .args(options)
        .output()
        .expect("it ran");
    let text = [output.stdout, output.stderr].concat();
    (output.status.code().expect("an exit code"), String::from_utf8(text).expect("text"))
}

/// What both engines say of a trial: the one with delays first.
fn both(design: &str, trial: &str) -> [(i32, String); 2] {
    [&[][..], &["--untimed"]].map(|options| run(design, trial, options))
}

/// The one line that begins with a word.
fn line<'t>(text: &'t str, word: &str) -> &'t str {
    let mut lines = text.lines().map(str::trim).filter(|line| line.starts_with(word));
    lines.next().unwrap_or_else(|| panic!("no `{word}` in {text}"))
}

/// Two drivers of one bus, each with an enable that is low.
const BUS: &str = "
board b {
    rail VCC 5 V
    rail GND
    feed U1, U2 from VCC GND
    connector J1 header-1x4 { 1 VCC  2 GND  3 one  4 two }
    U1 74HC125 {
        1A = VCC  /1OE = one  1Y = bus  2A = GND  /2OE = two  2Y = bus
        [3..4]A = GND  /[3..4]OE = VCC  [3..4]Y = open
    }
    U2 74HC04 { 1A = bus  1Y = seen  [2..6]A = GND  [2..6]Y = open }
}
trial ended on b {
    set one = low
    set two = high
    run for 1 us
    set two = low
    run for 2 us
    set two = high
    run for 5 us
}
trial lasting on b {
    set one = low
    set two = high
    run for 1 us
    set two = low
    run for 2 us
}
trial floating on b {
    set one = low
    set two = high
    run for 1 us
    set one = high
    run for 3 us
}
";

/// The second driver is on for 2 us: both its enable and its disable take as long.
#[test]
fn contention_that_ended_has_the_same_length() {
    for (code, text) in both(BUS, "ended") {
        let line = line(&text, "contention: ");
        assert_eq!(code, 1, "{text}");
        assert!(line.contains("longest 2 us"), "{line}");
        assert!(!line.contains("until the end"), "{line}");
    }
}

#[test]
fn contention_that_lasts_does_so_until_the_end() {
    for (code, text) in both(BUS, "lasting") {
        assert_eq!(code, 1, "{text}");
        assert!(line(&text, "contention: ").contains("until the end"), "{text}");
    }
}

#[test]
fn the_last_driver_of_a_floating_net_is_named() {
    for (code, text) in both(BUS, "floating") {
        let line = line(&text, "floating: bus ");
        assert_eq!(code, 0, "{text}");
        assert!(line.contains("U1.1Y"), "{line}");
    }
}

/// Two outputs that a switch joins while one is high and the other low.
const JOINED: &str = "
board b {
    rail VCC 5 V
    rail GND
    feed U1, U2 from VCC GND
    connector J1 header-1x4 { 1 VCC  2 GND  3 a  4 b }
    U1 74HC04 { 1A = a  1Y = y  [2..6]A = GND  [2..6]Y = open }
    U2 74HC04 { 1A = b  1Y = z  [2..6]A = GND  [2..6]Y = open }
    SW1 switch { 1 = y  2 = z }
    SW2 switch { 1 = y  2 = GND }
}
trial outputs on b {
    set a = low
    set b = high
    run for 1 us
    close SW1
    run for 2 us
    open SW1
    run for 1 us
}
trial rail on b {
    set a = low
    set b = high
    run for 1 us
    close SW2
    run for 2 us
    open SW2
    run for 1 us
}
";

#[test]
fn contention_through_a_contact_is_a_fault() {
    for (code, text) in both(JOINED, "outputs") {
        assert_eq!(code, 1, "{text}");
        let line = line(&text, "contention: ");
        assert!(line.contains("U1.1Y") || line.contains("U2.1Y"), "{line}");
        assert!(line.contains("longest 2 us"), "{line}");
    }
}

#[test]
fn contention_with_a_rail_through_a_contact_is_a_fault() {
    for (code, text) in both(JOINED, "rail") {
        assert_eq!(code, 1, "{text}");
        assert!(line(&text, "contention: ").contains("U1.1Y"), "{text}");
    }
}

/// A flip-flop that a hand clocks, and an oscillator behind a gate that stays shut.
const STOPPED: &str = "
board b {
    rail VCC 5 V
    rail GND
    feed X1, U1, U2 from VCC GND
    connector J1 header-1x5 { 1 VCC  2 GND  3 go  4 /reset  5 q }
    X1 OSC14 1 MHz { OUT = tick }
    U1 74HC74 {
        1D = VCC  1CLK = go  /1CLR = /reset  /1PRE = VCC  1Q = q  /1Q = open
        2D = GND  2CLK = GND  /2CLR = VCC  /2PRE = VCC  2Q = open  /2Q = open
    }
    U2 74HC08 { 1A = tick  1B = q  1Y = gated  [2..4]A = GND  [2..4]B = GND  [2..4]Y = open }
}
trial hand on b {
    count clocks on go
    set go = low
    drive /reset low for 1 us
    set /reset = high
    clock go 1 MHz
    run for 3 clocks
    set go = low
    run for 2 clocks
}
trial gated on b {
    count clocks on gated
    set go = low
    set /reset = low
    run for 20 ms
    run for 2 clocks
}
trial edge on b {
    count clocks on go
    set go = low
    set /reset = low
    run for 1 us
    run until q is high within 3 clocks
}
";

/// With delays as soon as all that swings has come round and nothing is different: some periods behind the start of the
/// oscillator at 10 ms.
#[test]
fn a_clock_that_stops_ends_the_run_at_once() {
    for trial in ["hand", "gated", "edge"] {
        for (code, text) in both(STOPPED, trial) {
            assert_eq!(code, 1, "{trial}: {text}");
            assert!(text.contains("nothing can move it any more"), "{trial}: {text}");
            assert!(text.contains(" ms simulated"), "{trial}: {text}");
        }
    }
}

/// A counter, a transceiver from A to B, and a register of the same clock behind it. 40 clocks after the reset the counter
/// is at 40 - 2 * 16 = 8, and the register has what it showed before: 7.
fn transceiver(number: &str, control: &str, stored: u32) -> String {
    format!(
        "
board b {{
    rail VCC 5 V
    rail GND
    feed U1..U3 from VCC GND
    connector J1 header-1x6 {{ 1 VCC  2 GND  3 clk  4 /reset  5 on  6 off }}
    U1 74HC161 {{
        CLK = clk  /CLR = /reset  /LOAD = VCC  ENP = VCC  ENT = VCC  [A..D] = GND
        Q[A..D] = q[0..3]  RCO = open
    }}
    U2 {number} {{ {control}  A[1..4] = q[0..3]  A[5..8] = GND  B[1..4] = d[0..3]  B[5..8] = open }}
    U3 74HC574 {{
        CLK = clk  /OE = GND  D[1..4] = d[0..3]  D[5..8] = GND  Q[1..4] = r[0..3]  Q[5..8] = open
    }}
}}
trial through on b {{
    set clk = low
    set on = high
    set off = low
    drive /reset low for 1 us
    set /reset = high
    clock clk 1 MHz
    run for 40 clocks
    expect q = 8 and r = {stored}
}}
"
    )
}

#[test]
fn transceivers_that_are_on_pass_a_signal() {
    let tied = "CLKAB = GND  CLKBA = GND  SAB = GND  SBA = GND";
    let mut wrong = Vec::new();
    for (number, control, stored) in [
        ("74HC245", "DIR = on  /OE = off".to_owned(), 7),
        ("74HC640", "DIR = on  /OE = off".to_owned(), 8),
        ("74HC645", "DIR = on  /OE = off".to_owned(), 7),
        ("74LS623", "OEAB = on  /OEBA = on".to_owned(), 7),
        ("74HCT646", format!("DIR = on  /OE = off  {tied}"), 7),
        ("74HCT652", format!("OEAB = on  /OEBA = on  {tied}"), 7),
    ] {
        let [timed, untimed] = both(&transceiver(number, &control, stored), "through");
        assert_eq!(timed.0, 0, "{number}: {}", timed.1);
        if untimed.0 != 0 {
            wrong.push(format!("{number}: {}", untimed.1));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// A switch that two gates debounce, and the same pair with its inputs in other hands.
const PAIR: &str = "
board b {
    rail VCC 5 V
    rail GND
    feed U1 from VCC GND
    connector J1 header-1x3 { 1 VCC  2 GND  3 q }
    R1..R2 resistor 10 kohm { 1 = VCC  2 = (/set, /clear) }
    SW1 changeover { common = GND  up = /set  down = /clear }
    U1 74HC00 {
        1A = /set  1B = nq  1Y = q  2A = /clear  2B = q  2Y = nq
        [3..4]A = GND  [3..4]B = GND  [3..4]Y = open
    }
}
board open {
    rail VCC 5 V
    rail GND
    feed U1 from VCC GND
    connector J1 header-1x5 { 1 VCC  2 GND  3 /set  4 /clear  5 q }
    U1 74HC00 {
        1A = /set  1B = nq  1Y = q  2A = /clear  2B = q  2Y = nq
        [3..4]A = GND  [3..4]B = GND  [3..4]Y = open
    }
}
trial turned on b {
    run for 1 us
    expect q is high and nq is low
    flip SW1 down
    run for 1 us
    expect q is low and nq is high
    flip SW1 up
    run for 1 us
    expect q is high and nq is low
}
trial in_turn on open {
    set /set = low
    set /clear = high
    run for 1 us
    set /set = high
    run for 1 us
    expect q is high and nq is low
    set /clear = low
    run for 1 us
    set /clear = high
    run for 1 us
    expect q is low and nq is high
}
trial together on open {
    set /set = low
    set /clear = low
    run for 1 us
    expect q is high and nq is high
    set /set = high
    set /clear = high
    run for 1 ms
}
";

#[test]
fn a_pair_of_gates_stores_what_a_switch_says() {
    for trial in ["turned", "in_turn"] {
        for (code, text) in both(PAIR, trial) {
            assert_eq!(code, 0, "{trial}: {text}");
        }
    }
}

/// Both low make both outputs high, which is no fault by itself; which of the two wins when both are released is not known: with delays
/// they swing and never settle.
#[test]
fn both_inputs_of_a_pair_released_together_are_reported() {
    for (code, text) in both(PAIR, "together") {
        assert_eq!(code, 1, "{text}");
        assert!(text.contains("U1"), "{text}");
    }
}
