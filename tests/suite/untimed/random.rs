//! Boards by chance: what both engines store is the same, or the one without delays says that it cannot know.

use super::{Pair, circuit, net};
use crate::timing::agreement::synchronous;
use crate::timing::arrivals::Numbers;
use coldboard::language::ast::{Corner, PowerUp};
use coldboard::logic::Level;
use coldboard::quantity::Time;
use coldboard::run::NullSink;
use coldboard::untimed;

/// Half a clock, in picoseconds: longer than any way through these boards.
const HALF: i64 = 1_000_000;

#[test]
fn synchronous_boards_are_the_same_at_every_clock() {
    let mut compared = 0;
    for seed in 1..=40 {
        let circuit = circuit(&synchronous(seed));
        let clk = net(&circuit, "clk");
        for (corner, power_up) in [(Corner::Typical, PowerUp::Random(seed)), (Corner::Slowest, PowerUp::Unknown)] {
            let mut pair = Pair::new(&circuit, corner, power_up, &[clk]);
            pair.set(clk, Level::Zero);
            assert_eq!(pair.advance(Time::from_us(10)), None);
            pair.clock(clk, HALF, HALF);
            for clock in 1..=60 {
                let time = 10_000_000 + 2 * HALF * clock - 10;
                let refused = pair.advance(Time::from_ps(time));
                if !pair.timed.violations().is_empty() {
                    break;
                }
                assert_eq!(refused, None, "seed {seed}");
                let found = pair.differences(true);
                assert!(
                    found.is_empty(),
                    "seed {seed}, {power_up:?}, clock {clock}: {found:#?}\n{}",
                    synchronous(seed)
                );
                compared += 1;
            }
        }
    }
    assert!(compared > 1500, "{compared} clocks");
}

/// A board that does what a careful person would not: gated and divided clocks, clears from logic, latches.
pub(crate) fn wild(seed: u64) -> String {
    let mut numbers = Numbers(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1);
    let mut nets: Vec<String> = ["clk", "nclk"].map(str::to_owned).to_vec();
    nets.extend((0..4).map(|bit| format!("c{bit}")));
    nets.extend((0..8).map(|bit| format!("q{bit}")));
    nets.extend((0..2).map(|bit| format!("f{bit}")));
    nets.extend((0..8).map(|bit| format!("l{bit}")));
    nets.extend((0..4).map(|bit| format!("k{bit}")));
    let mut body = String::new();
    let gates = 6;
    for gate in 0..gates {
        let mut any = || nets[numbers.below(nets.len() as u64) as usize].clone();
        let (a, b) = (any(), any());
        let number = ["74HC00", "74HC08", "74HC32", "74HC86"][numbers.below(4) as usize];
        body += &format!(
            "U{} {number} {{ 1A = {a}  1B = {b}  1Y = g{gate}  [2..4]A = GND  [2..4]B = GND  [2..4]Y = open }}\n",
            10 + gate
        );
        nets.push(format!("g{gate}"));
    }
    let mut any = || nets[numbers.below(nets.len() as u64) as usize].clone();
    let clock = |name: String, dice: u64| if dice < 3 { "clk".to_owned() } else { name };
    let dice: Vec<u64> = {
        let mut more = Numbers(seed | 1 << 40);
        (0..8).map(|_| more.below(6)).collect()
    };
    let data: Vec<String> = (0..8).map(|_| any()).collect();
    let latched: Vec<String> = (0..8).map(|_| any()).collect();
    body += &format!(
        "U1 74HC163 {{ CLK = clk  /CLR = VCC  /LOAD = VCC  [A..D] = GND  ENP = VCC  ENT = {}  Q[A..D] = c[0..3]  RCO = open }}
        U2 74HC574 {{ CLK = {}  /OE = GND  D[1..8] = ({})  Q[1..8] = q[0..7] }}
        U3 74HC74 {{ 1D = {}  1CLK = {}  /1CLR = {}  /1PRE = VCC  1Q = f0  /1Q = open
            2D = {}  2CLK = {}  /2CLR = VCC  /2PRE = VCC  2Q = f1  /2Q = open }}
        U4 74HC373 {{ LE = {}  /OE = GND  D[1..8] = ({})  Q[1..8] = l[0..7] }}
        U5 74HC04 {{ 1A = clk  1Y = nclk  [2..6]A = GND  [2..6]Y = open }}
        U6 74HC161 {{ CLK = {}  /CLR = {}  /LOAD = VCC  [A..D] = GND  ENP = VCC  ENT = VCC  Q[A..D] = k[0..3]  RCO = open }}
",
        any(),
        clock(any(), dice[0]),
        data.join(", "),
        any(),
        clock(any(), dice[1]),
        if dice[2] < 4 { "VCC".to_owned() } else { any() },
        any(),
        clock(any(), dice[3]),
        if dice[4] < 3 { "nclk".to_owned() } else { any() },
        latched.join(", "),
        clock(any(), dice[5]),
        if dice[6] < 4 { "VCC".to_owned() } else { any() },
    );
    format!(
        "board b {{ rail VCC 5 V  rail GND  connector J header-1x1 {{ 1 clk }}
        feed U1..U6, U10..U{} from VCC GND\n{body}}}",
        9 + gates
    )
}

/// Boards, when `UNTIMED_BOARDS` does not ask for more.
const BOARDS: u64 = 400;

#[test]
fn wild_boards_are_the_same_or_refused() {
    let (mut compared, mut refused, mut closed) = (0, 0, 0);
    let asked = std::env::var("UNTIMED_BOARDS").ok();
    let boards = asked.and_then(|count| count.parse().ok());
    for seed in 1..=boards.unwrap_or(BOARDS) {
        let text = wild(seed);
        let circuit = circuit(&text);
        let clk = net(&circuit, "clk");
        let corner = [Corner::Typical, Corner::Slowest, Corner::Fastest, Corner::Random(seed)][seed as usize % 4];
        let power_up = if seed % 5 == 0 { PowerUp::Unknown } else { PowerUp::Random(seed) };
        let settings =
            coldboard::run::Settings { corner, temperature: None, power_up, ..coldboard::run::Settings::TYPICAL };
        if untimed::Machine::new(&circuit, settings, &[clk]).is_err() {
            closed += 1;
            continue;
        }
        let mut pair = Pair::new(&circuit, corner, power_up, &[clk]);
        pair.set(clk, Level::Zero);
        if pair.advance_both(Time::from_us(10)).is_none() {
            continue;
        }
        pair.clock(clk, HALF, HALF);
        for half in 1..=80 {
            let time = Time::from_ps(10_000_000 + HALF * half - 10);
            let Some(stopped) = pair.advance_both(time) else {
                break;
            };
            if stopped.is_some() {
                refused += 1;
                break;
            }
            // What the sheets do not promise may come out in any way.
            if !pair.timed.violations().is_empty() {
                break;
            }
            let found = pair.contradictions();
            assert!(found.is_empty(), "seed {seed}, half {half}: {found:#?}\n{text}");
            compared += 1;
        }
    }
    assert!(compared > 1000, "{compared} compared, {refused} refused, {closed} closed");
    assert!(refused > 20, "{compared} compared, {refused} refused, {closed} closed");
}

impl Pair<'_> {
    /// Both to a time: nothing when the engine with delays runs away, else the reason if the other one refuses.
    fn advance_both(&mut self, until: Time) -> Option<Option<String>> {
        if self.timed.advance(until, &mut NullSink) != coldboard::run::Pause::Reached {
            return None;
        }
        match self.untimed.advance(until) {
            coldboard::run::Pause::Refused(refusal) => Some(Some(refusal.sentence)),
            _ => Some(None),
        }
    }
}
