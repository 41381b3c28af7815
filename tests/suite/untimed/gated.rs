//! Registers and counters with enables, loads and clears, buses of outputs that never let go, and memories behind them: on
//! boards by chance both engines store the same at every clock, however long an enable was off.

use super::{Pair, circuit, net};
use crate::timing::arrivals::Numbers;
use coldboard::language::ast::{Corner, PowerUp};
use coldboard::logic::Level;
use coldboard::quantity::Time;

/// Half a clock, in picoseconds: longer than any way through these boards.
const HALF: i64 = 1_000_000;

/// Every input hangs on a net by chance; the enables are off for long.
fn board(seed: u64) -> String {
    let mut numbers = Numbers(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1);
    let mut nets: Vec<String> = Vec::new();
    for (letter, count) in [('c', 4), ('q', 8), ('e', 8), ('f', 4), ('k', 4), ('d', 2)] {
        nets.extend((0..count).map(|bit| format!("{letter}{bit}")));
    }
    // No buffer feeds a buffer.
    let buffered: Vec<String> = (0..8).map(|_| nets[numbers.below(nets.len() as u64) as usize].clone()).collect();
    let buffered = buffered.join(", ");
    nets.extend((0..8).map(|bit| format!("b{bit}")));
    let mut any = || nets[numbers.below(nets.len() as u64) as usize].clone();
    let mut several = |count: usize| (0..count).map(|_| any()).collect::<Vec<_>>().join(", ");
    let (q, e, f, k, d) = (several(8), several(8), several(4), several(4), several(2));
    let one: Vec<String> = (0..8).map(|_| several(1)).collect();
    format!(
        "board b {{ rail VCC 5 V  rail GND  connector J header-1x2 {{ 1 clk  2 /go }}
        feed U1..U9 from VCC GND
        U1 74HC163 {{ CLK = clk  /CLR = /go  /LOAD = VCC  [A..D] = GND  ENP = VCC  ENT = VCC  Q[A..D] = c[0..3]  RCO = rco }}
        U2 74HC377 {{ CLK = clk  /CLKEN = off0  D[1..8] = ({q})  Q[1..8] = q[0..7] }}
        U3 74HC574 {{ CLK = clk  /OE = GND  D[1..8] = ({e})  Q[1..8] = e[0..7] }}
        U4 74HC173 {{ CLK = clk  CLR = GND  M = GND  N = GND  /G1 = off1  /G2 = {}  D[1..4] = ({f})  Q[1..4] = f[0..3] }}
        U5 74HC163 {{ CLK = clk  /CLR = VCC  /LOAD = off2  ENP = {}  ENT = {}  [A..D] = ({k})  Q[A..D] = k[0..3]  RCO = open }}
        U6 74HC74 {{ 1D = {}  1CLK = clk  /1CLR = /go  /1PRE = VCC  1Q = d0  /1Q = nd0
            2D = {}  2CLK = clk  /2CLR = VCC  /2PRE = VCC  2Q = d1  /2Q = open }}
        U7 74HC00 {{ 1A = {}  1B = rco  1Y = off0  2A = {}  2B = c3  2Y = off1  3A = c2  3B = {}  3Y = off2
            4A = nd0  4B = ({d0})  4Y = odd }}
        U8 74HC541 {{ /OE1 = GND  /OE2 = GND  A[1..8] = ({buffered})  Y[1..8] = b[0..7] }}
        U9 74HC164 {{ CLK = clk  /CLR = /go  A = odd  B = VCC  Q[A..H] = open }} }}",
        one[0], one[1], one[2], one[3], one[4], one[5], one[6], one[7],
        d0 = d.split(", ").next().unwrap_or("c0"),
    )
}

#[test]
fn what_a_shut_gate_hides_is_never_missed() {
    let mut compared = 0;
    for seed in 1..=60 {
        let text = board(seed);
        let circuit = circuit(&text);
        let (clk, go) = (net(&circuit, "clk"), net(&circuit, "/go"));
        for (corner, power_up) in [
            (Corner::Typical, PowerUp::Random(seed)),
            (Corner::Slowest, PowerUp::Unknown),
            (Corner::Fastest, PowerUp::Zero),
        ] {
            let mut pair = Pair::new(&circuit, corner, power_up, &[clk, go]);
            pair.set(clk, Level::Zero);
            pair.set(go, Level::Zero);
            assert_eq!(pair.advance(Time::from_us(10)), None, "seed {seed}");
            pair.clock(clk, HALF, HALF);
            for clock in 1..=80 {
                if clock == 4 {
                    pair.set(go, Level::One);
                }
                let time = 10_000_000 + 2 * HALF * clock - 10;
                let refused = pair.advance(Time::from_ps(time));
                // With the shortest delays some hold times are not met.
                if !pair.timed.violations().is_empty() {
                    break;
                }
                assert_eq!(refused, None, "seed {seed}\n{text}");
                let found = pair.differences(true);
                assert!(found.is_empty(), "seed {seed}, {power_up:?}, clock {clock}: {found:#?}\n{text}");
                compared += 1;
            }
        }
    }
    assert!(compared > 8_000, "{compared} clocks");
}
