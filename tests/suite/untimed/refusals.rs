//! What comes out only by delays is refused, with its place; what looks like it but is sound runs.

use super::{Pair, circuit, net};
use coldboard::circuit::Circuit;
use coldboard::language::ast::{Corner, PowerUp};
use coldboard::logic::Level;
use coldboard::quantity::Time;
use coldboard::run::Settings;
use coldboard::untimed::Machine;

const SETTINGS: Settings =
    Settings { corner: Corner::Typical, temperature: None, power_up: PowerUp::Zero, ..Settings::TYPICAL };
/// Half a clock, in picoseconds.
const HALF: i64 = 1_000_000;

fn board(body: &str) -> Circuit {
    circuit(&format!("board test {{ rail VCC 5 V  rail GND  connector J header-1x2 {{ 1 clk  2 go }}\n{body}\n}}"))
}

/// What is said before anything runs: codes, messages, and that each has its place.
fn refused_at_once(body: &str) -> Vec<String> {
    let circuit = board(body);
    let clk = net(&circuit, "clk");
    let Err(problems) = Machine::new(&circuit, SETTINGS, &[clk]) else {
        return Vec::new();
    };
    assert!(problems.iter().all(|problem| !problem.labels.is_empty()));
    problems.into_iter().map(|problem| format!("{}: {}", problem.code, problem.message)).collect()
}

/// Runs a clock for some cycles in both engines; the reason when it is refused, and whether all was the same before.
fn run(body: &str, clocks: i64) -> Option<String> {
    let circuit = board(body);
    let (clk, go) = (net(&circuit, "clk"), net(&circuit, "go"));
    let mut pair = Pair::new(&circuit, Corner::Typical, PowerUp::Zero, &[clk, go]);
    pair.set(clk, Level::Zero);
    pair.set(go, Level::Zero);
    if let Some(refused) = pair.advance(Time::from_us(10)) {
        return Some(refused);
    }
    pair.set(go, Level::One);
    pair.clock(clk, HALF, HALF);
    for half in 1..=2 * clocks {
        let refused = pair.advance(Time::from_ps(10_000_000 + HALF * half - 10));
        if refused.is_some() {
            return refused;
        }
        let found = pair.differences(true);
        assert!(found.is_empty(), "half {half}: {found:?}");
    }
    None
}

fn says(found: Option<String>, word: &str) {
    let found = found.expect("it is refused");
    assert!(found.contains(word), "{found}");
}

/// A latch of two gates is no ring, but here a stimulus drives one of its nets as well.
#[test]
fn a_loop_of_gates_that_something_else_drives_is_a_ring() {
    let found = refused_at_once(
        "feed U1 from VCC GND
         U1 74HC00 { 1A = go  1B = clk  1Y = q  2A = go  2B = q  2Y = clk  [3..4]A = GND  [3..4]B = GND }",
    );
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(found[0].starts_with("untimed-ring: "), "{found:?}");
    assert!(found[0].contains("clk"), "{found:?}");
}

#[test]
fn gates_of_one_package_that_feed_each_other_are_no_ring() {
    let body = "feed U1 from VCC GND
         U1 74HC00 { 1A = clk  1B = go  1Y = a  2A = a  2B = a  2Y = b  3A = b  3B = go  3Y = c  4A = GND  4B = GND }";
    assert_eq!(run(body, 4), None);
}

#[test]
fn a_one_shot_times_itself() {
    let found = refused_at_once(
        "feed U1 from VCC GND
         U1 74HC123 { 1A = GND  1B = clk  /1CLR = VCC  1Q = q  /1Q = open  1REXT/CEXT = rc  1CEXT = c
             2A = GND  2B = GND  /2CLR = VCC  2Q = open  /2Q = open  2REXT/CEXT = open  2CEXT = open }
         R1 resistor 10 kohm { 1 = VCC  2 = rc }
         C1 capacitor 1 nF { 1 = rc  2 = c }",
    );
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(found[0].starts_with("untimed-timer: U1"), "{found:?}");
}

/// Ten is decoded, clears the counter, and is gone: a pulse as wide as its own delays.
#[test]
fn a_counter_that_clears_itself_makes_its_pulse_of_delays() {
    let body = "feed U1, U2 from VCC GND
         U1 74HC161 { CLK = clk  /CLR = clear  /LOAD = VCC  ENP = VCC  ENT = VCC  [A..D] = GND  Q[A..D] = q[0..3]  RCO = open }
         U2 74HC00 { 1A = q1  1B = q3  1Y = clear  [2..4]A = GND  [2..4]B = GND }";
    says(run(body, 20), "pulse");
    // By its load input it counts to nine, and nothing depends on delays.
    let sound = "feed U1, U2 from VCC GND
         U1 74HC161 { CLK = clk  /CLR = go  /LOAD = load  ENP = VCC  ENT = VCC  [A..D] = GND  Q[A..D] = q[0..3]  RCO = open }
         U2 74HC00 { 1A = q0  1B = q3  1Y = load  [2..4]A = GND  [2..4]B = GND }";
    assert_eq!(run(sound, 40), None);
}

#[test]
fn a_gate_and_an_inverter_make_a_pulse_of_a_delay() {
    let body = "feed U1..U3 from VCC GND
         U1 74HC04 { 1A = clk  1Y = nclk  [2..6]A = GND }
         U2 74HC08 { 1A = clk  1B = nclk  1Y = pulse  [2..4]A = GND  [2..4]B = GND }
         U3 74HC74 { 1D = /q  1CLK = pulse  /1CLR = go  /1PRE = VCC  1Q = q  /1Q = /q
             2D = GND  2CLK = GND  /2CLR = VCC  /2PRE = VCC }";
    says(run(body, 4), "pulse");
}

/// A line that clocks a flip-flop is handed from one driver to another at each clock. Both drive it high: a pull-up bridges
/// the gap, and with none, or with a pull-down, there may be a pulse.
#[test]
fn a_clock_line_that_is_handed_over_may_give_a_pulse() {
    let body = |pull: &str, one: &str| {
        format!(
            "feed U1..U3 from VCC GND
             U1 74HC74 {{ 1D = nq  1CLK = clk  /1CLR = go  /1PRE = VCC  1Q = q  /1Q = nq
                 2D = GND  2CLK = GND  /2CLR = VCC  /2PRE = VCC }}
             U2 74HC125 {{ /1OE = q  1A = VCC  1Y = line  /2OE = nq  2A = {one}  2Y = line
                 [3..4]A = GND  /[3..4]OE = VCC }}
             {pull}
             U3 74HC74 {{ 1D = nd  1CLK = line  /1CLR = go  /1PRE = VCC  1Q = d  /1Q = nd
                 2D = GND  2CLK = GND  /2CLR = VCC  /2PRE = VCC }}"
        )
    };
    let pull = |rail: &str| format!("R1 resistor 4.7 kohm {{ 1 = {rail}  2 = line }}");
    assert_eq!(run(&body(&pull("VCC"), "VCC"), 10), None);
    says(run(&body(&pull("GND"), "VCC"), 10), "lets go of it");
    says(run(&body("", "VCC"), 10), "lets go of it");
    // The other driver gives a low level: they fight for it as they change over.
    says(run(&body(&pull("VCC"), "GND"), 10), "lets go of it");
}

/// The pulse may also come through a gate behind the line; where a steady level holds that shut, nothing comes of it.
#[test]
fn a_handover_counts_through_a_gate_that_is_open() {
    let body = |gate: &str| {
        format!(
            "feed U1..U4 from VCC GND
             U1 74HC74 {{ 1D = nq  1CLK = clk  /1CLR = go  /1PRE = VCC  1Q = q  /1Q = nq
                 2D = GND  2CLK = GND  /2CLR = VCC  /2PRE = VCC }}
             U2 74HC125 {{ /1OE = q  1A = VCC  1Y = line  /2OE = nq  2A = VCC  2Y = line
                 [3..4]A = GND  /[3..4]OE = VCC }}
             R1 resistor 4.7 kohm {{ 1 = GND  2 = line }}
             U4 74HC08 {{ 1A = line  1B = {gate}  1Y = tick  [2..4]A = GND  [2..4]B = GND }}
             U3 74HC74 {{ 1D = nd  1CLK = tick  /1CLR = go  /1PRE = VCC  1Q = d  /1Q = nd
                 2D = GND  2CLK = GND  /2CLR = VCC  /2PRE = VCC }}"
        )
    };
    says(run(&body("VCC"), 10), "may give a pulse");
    assert_eq!(run(&body("GND"), 10), None);
}

/// Two flip-flops of one clock in a row are sound; a clock as data is not.
#[test]
fn data_that_moves_with_its_clock_is_a_race() {
    let chain = "feed U1 from VCC GND
         U1 74HC74 { 1D = /b  1CLK = clk  /1CLR = go  /1PRE = VCC  1Q = a  /1Q = open
             2D = a  2CLK = clk  /2CLR = go  /2PRE = VCC  2Q = b  /2Q = /b }";
    assert_eq!(run(chain, 10), None);
    let race = "feed U1 from VCC GND
         U1 74HC74 { 1D = clk  1CLK = clk  /1CLR = go  /1PRE = VCC  1Q = a  /1Q = open
             2D = GND  2CLK = GND  /2CLR = VCC  /2PRE = VCC }";
    says(run(race, 4), "comes first");
}

/// A register that is clocked by a divider looks at what the divider's own clock has just moved.
#[test]
fn data_in_front_of_a_divided_clock_is_a_race() {
    let body = "feed U1, U2 from VCC GND
         U1 74HC163 { CLK = clk  /CLR = go  /LOAD = VCC  ENP = VCC  ENT = VCC  [A..D] = GND  Q[A..D] = q[0..3]  RCO = open }
         U2 74HC74 { 1D = q0  1CLK = q1  /1CLR = go  /1PRE = VCC  1Q = a  /1Q = open
             2D = GND  2CLK = GND  /2CLR = VCC  /2PRE = VCC }";
    says(run(body, 10), "comes first");
    // What moves at the other edge of the divider is there long before.
    let sound = "feed U1..U3 from VCC GND
         U1 74HC163 { CLK = clk  /CLR = go  /LOAD = VCC  ENP = VCC  ENT = VCC  [A..D] = GND  Q[A..D] = q[0..3]  RCO = open }
         U3 74HC04 { 1A = q0  1Y = n0  [2..6]A = GND }
         U2 74HC74 { 1D = q1  1CLK = q0  /1CLR = go  /1PRE = VCC  1Q = a  /1Q = open
             2D = GND  2CLK = GND  /2CLR = VCC  /2PRE = VCC }";
    assert_eq!(run(sound, 20), None);
}

/// Six inverters of 9 ns (TI SCLS079) are slower than a flip-flop of 20 ns (TI SCLS094): the new bit overtakes the clock.
#[test]
fn a_clock_that_comes_later_than_the_data_is_skewed() {
    let late = "feed U1, U2 from VCC GND
         U1 74HC04 { 1A = clk  1Y = c1  2A = c1  2Y = c2  3A = c2  3Y = c3  4A = c3  4Y = c4  5A = c4  5Y = c5  6A = c5  6Y = late }
         U2 74HC74 { 1D = /b  1CLK = clk  /1CLR = go  /1PRE = VCC  1Q = a  /1Q = open
             2D = a  2CLK = late  /2CLR = go  /2PRE = VCC  2Q = b  /2Q = /b }";
    says(run(late, 10), "later clock or enable");
    // The same when nothing has moved in front of the late one for many clocks.
    let seldom = "feed U1..U3 from VCC GND
         U1 74HC04 { 1A = clk  1Y = c1  2A = c1  2Y = c2  3A = c2  3Y = c3  4A = c3  4Y = c4  5A = c4  5Y = c5  6A = c5  6Y = late }
         U2 74HC74 { 1D = q3  1CLK = clk  /1CLR = go  /1PRE = VCC  1Q = a  /1Q = open
             2D = a  2CLK = late  /2CLR = go  /2PRE = VCC  2Q = b  /2Q = open }
         U3 74HC163 { CLK = clk  /CLR = go  /LOAD = VCC  ENP = VCC  ENT = VCC  [A..D] = GND  Q[A..C] = open  QD = q3  RCO = open }";
    says(run(seldom, 20), "later clock or enable");
    // One gate is faster than a flip-flop.
    let gated = "feed U1, U2 from VCC GND
         U1 74HC08 { 1A = clk  1B = go  1Y = late  [2..4]A = GND  [2..4]B = GND }
         U2 74HC74 { 1D = /b  1CLK = clk  /1CLR = go  /1PRE = VCC  1Q = a  /1Q = open
             2D = a  2CLK = late  /2CLR = go  /2PRE = VCC  2Q = b  /2Q = /b }";
    assert_eq!(run(gated, 10), None);
}

const RAM: &str = "A[4..14] = GND  DQ[0..3] = q[0..3]  DQ[4..7] = q[0..3]  /CE = GND  /OE = VCC";

#[test]
fn an_address_that_moves_while_a_memory_is_written() {
    let body = format!(
        "feed U1, U2 from VCC GND
         U1 74HC163 {{ CLK = clk  /CLR = go  /LOAD = VCC  ENP = VCC  ENT = VCC  [A..D] = GND  Q[A..D] = q[0..3]  RCO = open }}
         U2 62256-70 {{ A[0..3] = q[0..3]  {RAM}  /WE = GND }}"
    );
    says(run(&body, 10), "address");
}

/// The write pulse is the low half of the clock, the address moves at its rise: the pulse is over by then.
#[test]
fn a_write_pulse_of_half_a_clock_is_sound() {
    let body = format!(
        "feed U1..U3 from VCC GND
         U1 74HC163 {{ CLK = clk  /CLR = go  /LOAD = VCC  ENP = VCC  ENT = VCC  [A..D] = GND  Q[A..D] = q[0..3]  RCO = open }}
         U2 62256-70 {{ A[0..3] = q[0..3]  {RAM}  /WE = /pulse }}
         U3 74HC32 {{ 1A = clk  1B = GND  1Y = /pulse  [2..4]A = GND  [2..4]B = GND }}"
    );
    assert_eq!(run(&body, 20), None);
}

#[test]
fn buses_that_are_handed_over_and_pulled_up_are_the_same() {
    let body = "feed U1..U4 from VCC GND
         U1 74HC163 { CLK = clk  /CLR = go  /LOAD = VCC  ENP = VCC  ENT = VCC  [A..D] = GND  Q[A..D] = q[0..3]  RCO = open }
         U2 74HC541 { /OE1 = q2  /OE2 = q3  A[1..4] = q[0..3]  A[5..8] = GND  Y[1..8] = d[0..7] }
         U3 74HC541 { /OE1 = n2  /OE2 = q3  A[1..4] = VCC  A[5..8] = q[0..3]  Y[1..8] = d[0..7] }
         U4 74HC04 { 1A = q2  1Y = n2  [2..6]A = GND }
         U5 74HC574 { CLK = clk  /OE = GND  D[1..8] = d[0..7]  Q[1..8] = r[0..7] }
         feed U5 from VCC GND
         RN1 network bussed 9 pins 10 kohm { 1 = VCC  2..9 = d[0..7] }";
    assert_eq!(run(body, 40), None);
}
