//! The analysis and the engine on the same circuits: nothing that happens lies outside of what the analysis says.

use super::arrivals::Numbers;
use super::*;
use coldboard::circuit::NetKey;
use coldboard::key::Key;
use coldboard::language::ast::{Corner, PowerUp};
use coldboard::logic::Level;
use coldboard::run::{Pause, Settings, Sink, Violation};
use coldboard::simulate::Machine;
use coldboard::timing::arrival::Arrivals;
use coldboard::timing::graph::{Node, TRANSITIONS, Transition};

struct Changes(Vec<(i64, NetKey)>);

impl Sink for Changes {
    fn change(&mut self, time: Time, net: NetKey, _: Level) {
        self.0.push((time.ps(), net));
    }
}

/// A random synchronous board: two registers, two counters, and gates, adders, multiplexers between them.
pub(crate) fn synchronous(seed: u64) -> String {
    let mut numbers = Numbers(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1);
    let mut nets: Vec<String> = (0..16).map(|bit| format!("q{bit}")).collect();
    nets.extend((0..8).map(|bit| format!("c{bit}")));
    let gates = 10 + numbers.below(15);
    let mut body = String::new();
    let mut logic = Vec::new();
    for gate in 0..gates {
        let mut any = || nets[numbers.below(nets.len() as u64) as usize].clone();
        let (a, b, c, d) = (any(), any(), any(), any());
        let number = 10 + gate;
        let rest = "[2..4]A = GND  [2..4]B = GND  [2..4]Y = open";
        let (text, outputs) = match numbers.below(8) {
            0 => (format!("74HC00 {{ 1A = {a}  1B = {b}  1Y = g{gate}  {rest} }}"), 1),
            1 => (format!("74LS08 {{ 1A = {a}  1B = {b}  1Y = g{gate}  {rest} }}"), 1),
            2 => (format!("74HC32 {{ 1A = {a}  1B = {b}  1Y = g{gate}  {rest} }}"), 1),
            3 => (format!("74LS86 {{ 1A = {a}  1B = {b}  1Y = g{gate}  {rest} }}"), 1),
            4 => (format!("74HC04 {{ 1A = {a}  1Y = g{gate}  [2..6]A = GND  [2..6]Y = open }}"), 1),
            5 => (
                format!(
                    "74HC157 {{ /A/B = {a}  /G = GND  1A = {b}  1B = {c}  1Y = g{gate}  2A = {c}  2B = {d}  2Y = h{gate}  [3..4]A = GND  [3..4]B = GND  [3..4]Y = open }}"
                ),
                2,
            ),
            6 => (
                format!(
                    "74LS283 {{ A1 = {a}  A2 = {b}  B1 = {c}  B2 = {d}  C0 = GND  A3 = {d}  A4 = GND  B3 = {a}  B4 = GND  S1 = open  S2 = h{gate}  S3 = g{gate}  S4 = open  C4 = open }}"
                ),
                2,
            ),
            _ => (
                format!(
                    "74HC138 {{ A = {a}  B = {b}  C = {c}  G1 = VCC  /G2A = GND  /G2B = GND  Y[0..5] = open  Y6 = g{gate}  Y7 = h{gate} }}"
                ),
                2,
            ),
        };
        body += &format!("U{number} {text}\n");
        for name in ["g", "h"].iter().take(outputs) {
            logic.push(format!("{name}{gate}"));
            nets.push(format!("{name}{gate}"));
        }
    }
    let mut pick = |count: usize| -> String {
        let names = (0..count).map(|_| logic[numbers.below(logic.len() as u64) as usize].clone());
        names.collect::<Vec<_>>().join(", ")
    };
    body += &format!("U1 74HC574 {{ CLK = clk  /OE = GND  D[1..8] = ({})  Q[1..8] = q[0..7] }}\n", pick(8));
    body += &format!("U2 74LS374 {{ CLK = clk  /OE = GND  D[1..8] = ({})  Q[1..8] = q[8..15] }}\n", pick(8));
    for chip in 0..2 {
        body += &format!(
            "U{} 74HC163 {{ CLK = clk  /CLR = VCC  /LOAD = {}  [A..D] = ({})  ENP = {}  ENT = {}  Q[A..D] = c[{}..{}]  RCO = open }}\n",
            3 + chip,
            pick(1),
            pick(4),
            pick(1),
            pick(1),
            4 * chip,
            4 * chip + 3
        );
    }
    format!(
        "board b {{ rail VCC 5 V  rail GND  connector J header-1x1 {{ 1 clk }}
        feed U1..U4, U10..U{} from VCC GND\n{body}}}",
        9 + gates
    )
}

/// The window of each net behind a rise of the clock, by whatever counts with it.
fn windows(analysis: &Analysis<'_>) -> Vec<Option<(i64, i64)>> {
    let mut arrivals = Arrivals::new(&analysis.graph, &analysis.order);
    let (borrowed, _) = analysis.borrow(&mut arrivals);
    let mut windows: Vec<Option<(i64, i64)>> = vec![None; analysis.graph.circuit.nets.len()];
    for (clock, edge) in analysis.clock_edges() {
        if analysis.clocks.clocks[clock].generated.is_none() && edge == Transition::Fall {
            continue;
        }
        let starts = analysis.starts((clock, edge), &borrowed);
        arrivals.spread(&analysis.graph, &analysis.order, starts.all());
        for (net, window) in analysis.graph.circuit.nets.keys().zip(&mut windows) {
            let Some(spot) = analysis.graph.timing_net_of[net] else {
                continue;
            };
            let points = TRANSITIONS.map(|what| Node::of(spot, what));
            let early = points.iter().filter_map(|&point| arrivals.early(point)).min();
            let late = points.iter().filter_map(|&point| arrivals.late(point)).max();
            if let (Some(early), Some(late)) = (early, late) {
                let (first, last) = window.get_or_insert((early.ps(), late.ps()));
                (*first, *last) = ((*first).min(early.ps()), (*last).max(late.ps()));
            }
        }
    }
    windows
}

/// Runs a circuit for some clocks from a start by chance; every change with its time, and what the sheets say was not met.
pub(super) fn run(
    circuit: &Circuit,
    corner: Corner,
    seed: u64,
    halves: (i64, i64),
    clocks: i64,
) -> (Vec<(i64, NetKey)>, Vec<String>) {
    let (changes, found) = moved_and_unmet(circuit, corner, seed, halves, clocks);
    let told = found.iter().map(|violation| violation.sentence(circuit));
    (changes, told.collect())
}

/// The same, with what was not met as it was found.
pub(super) fn moved_and_unmet(
    circuit: &Circuit,
    corner: Corner,
    seed: u64,
    (low, high): (i64, i64),
    clocks: i64,
) -> (Vec<(i64, NetKey)>, Vec<Violation>) {
    let settings = Settings { temperature: None, corner, power_up: PowerUp::Random(seed), ..Settings::TYPICAL };
    let clk = circuit.net("clk").expect("clk");
    let mut machine = Machine::new(circuit, settings, &[clk]);
    machine.set(clk, Level::Zero);
    assert_eq!(machine.advance(Time::from_us(10), &mut Changes(Vec::new())), Pause::Reached);
    circuit.nets.keys().for_each(|net| machine.watch(net, true));
    machine.clock(clk, Time::from_ps(low), Time::from_ps(high));
    let mut changes = Changes(Vec::new());
    let end = Time::from_us(10) + Time::from_ps((low + high) * clocks);
    assert_eq!(machine.advance(end, &mut changes), Pause::Reached);
    (changes.0, machine.violations())
}

/// Speeds of parts, with the corner of the engine for a seed.
pub(super) type Speed = (Parts, fn(u64) -> Corner);

pub(super) const CORNERS: [Speed; 4] = [
    (Parts::Fastest, |_| Corner::Fastest),
    (Parts::Typical, |_| Corner::Typical),
    (Parts::Slowest, |_| Corner::Slowest),
    (Parts::Mixed, Corner::Random),
];

/// 60 random circuits, four speeds of the parts, 60 slow clocks: no net moves earlier or later than the analysis says. How
/// far the latest move of a net is from what is said of it, on the whole, is printed: `cargo test -- --nocapture`.
#[test]
#[expect(clippy::print_stderr, reason = "how pessimistic the analysis is, for whoever asks")]
fn no_net_moves_outside_its_window() {
    let mut moves = 0;
    for (parts, corner) in CORNERS {
        let (mut total, mut nets, mut nearest): (f64, usize, f64) = (0.0, 0, 0.0);
        for seed in 1..=60 {
            let circuit = circuit(&synchronous(seed));
            let clk = circuit.net("clk").expect("clk");
            let analysis = analysis(&circuit, parts, &[clock(&circuit, "clk", 2000, 1000)]);
            let windows = windows(&analysis);
            let (changes, violations) = run(&circuit, corner(seed), seed, (1_000_000, 1_000_000), 60);
            // What a register took too late or too early moves at a time that nobody promises.
            if !violations.is_empty() {
                continue;
            }
            let mut rise = None;
            let mut level = false;
            let mut latest: Vec<f64> = vec![0.0; circuit.nets.len()];
            for (at, net) in changes {
                if net == clk {
                    level = !level;
                    rise = if level { Some(at) } else { rise };
                    continue;
                }
                let since = at - rise.expect("nothing moves before the first rise");
                let path = &circuit.nets[net].path;
                let (early, late) = window_of(&windows, net).expect(path);
                assert!(
                    (early..=late).contains(&since),
                    "seed {seed}, {parts:?}: {path} moves after {since} ps, said {early} to {late}\n{}",
                    synchronous(seed)
                );
                let share = since as f64 / late as f64;
                latest[net.index()] = latest[net.index()].max(share);
                moves += 1;
            }
            let moved = latest.iter().filter(|share| **share > 0.0);
            (total, nets) = moved.fold((total, nets), |(total, nets), share| (total + share, nets + 1));
            nearest = latest.into_iter().fold(nearest, f64::max);
        }
        let mean = total / nets as f64;
        eprintln!(
            "{} parts: the latest move comes at {mean:.2} of what is said, at most at {nearest:.2}",
            parts.word()
        );
        // What can happen at all is said: with parts of one speed something comes as late as that.
        assert!(nearest > if parts == Parts::Mixed { 0.7 } else { 0.99 }, "{parts:?}: {nearest}");
        assert!(mean > 0.4, "{parts:?}: {mean}");
    }
    assert!(moves > 100_000, "{moves} moves");
}

fn window_of(windows: &[Option<(i64, i64)>], net: NetKey) -> Option<(i64, i64)> {
    windows[net.index()]
}

/// At the shortest period that the analysis allows, the engine finds nothing that the sheets forbid; at half of it, it
/// finds something in most circuits.
#[test]
fn at_the_highest_rate_every_requirement_is_met() {
    let mut broken = 0;
    let mut judged = 0;
    for seed in 1..=60 {
        let circuit = circuit(&synchronous(seed));
        for (parts, corner) in CORNERS {
            let (period, _) = shortest(&circuit, parts, clock(&circuit, "clk", 2000, 1000));
            let (source, (low, high)) = halved(&circuit, period);
            let analysis = analysis(&circuit, parts, &[source]);
            if analysis.slacks().findings.iter().any(|finding| finding.slack.ps() < 0) {
                continue;
            }
            judged += 1;
            let (_, violations) = run(&circuit, corner(seed), seed, (low, high), 80);
            assert_eq!(violations, Vec::<String>::new(), "seed {seed}, {parts:?}, {period} ps\n{}", synchronous(seed));
            let (_, violations) = run(&circuit, corner(seed), seed, (low / 2, high / 2), 80);
            broken += usize::from(!violations.is_empty());
        }
    }
    assert!(judged > 150, "{judged} circuits without a hold time that is not met");
    assert!(broken * 2 > judged, "{broken} of {judged} break at twice the rate");
}

/// A bus with two drivers that a decoder switches, and a transceiver: windows and requirements hold there as well.
#[test]
fn a_bus_stays_in_its_window() {
    let text = "board b { rail VCC 5 V  rail GND  connector J header-1x1 { 1 clk }  feed U1..U6 from VCC GND
        U1 74HC163 { CLK = clk  /CLR = VCC  /LOAD = VCC  [A..D] = GND  ENP = VCC  ENT = VCC  Q[A..D] = c[0..3]  RCO = open }
        U2 74HC139 { 1A = c0  1B = c3  /1G = GND  1Y[0..1] = /on[0..1]  1Y[2..3] = open  2A = GND  2B = GND  /2G = VCC  2Y[0..3] = open }
        U3 74HC541 { A[1..4] = c[0..3]  A[5..8] = (c3, c2, c1, c0)  Y[1..8] = bus[0..7]  /OE1 = /on0  /OE2 = GND }
        U4 74HC541 { A[1..4] = (c2, c1, c0, c3)  A[5..8] = c[0..3]  Y[1..8] = bus[0..7]  /OE1 = /on1  /OE2 = GND }
        U5 74HC245 { A[1..8] = bus[0..7]  B[1..8] = far[0..7]  DIR = c3  /OE = GND }
        U6 74HC574 { CLK = clk  /OE = GND  D[1..8] = far[0..7]  Q[1..8] = q[0..7] }
        RN1 network bussed 9 pins 10 kohm { 1 = VCC  2..9 = far[0..7] }
        RN2 network bussed 9 pins 10 kohm { 1 = VCC  2..9 = bus[0..7] } }";
    let circuit = circuit(text);
    let clk = circuit.net("clk").expect("clk");
    for seed in 1..=20 {
        for (parts, corner) in CORNERS {
            let analysis = analysis(&circuit, parts, &[clock(&circuit, "clk", 2000, 1000)]);
            let windows = windows(&analysis);
            let (changes, _) = run(&circuit, corner(seed), seed, (1_000_000, 1_000_000), 40);
            let mut rise = 0;
            let mut level = false;
            for (at, net) in changes {
                if net == clk {
                    level = !level;
                    rise = if level { at } else { rise };
                    continue;
                }
                let path = &circuit.nets[net].path;
                let (early, late) = window_of(&windows, net).expect(path);
                let since = at - rise;
                assert!(
                    (early..=late).contains(&since),
                    "seed {seed}, {parts:?}: {path} after {since} ps, said {early} to {late}"
                );
            }
        }
    }
}

/// Latches, a gated clock and a divider: at the highest rate that the analysis allows, the engine finds nothing that the
/// sheets forbid, whatever parts are on the board.
#[test]
fn latches_and_gates_hold_at_the_highest_rate() {
    let rest = "[2..4]A = GND  [2..4]B = GND  [2..4]Y = open";
    let text = format!(
        "board b {{ rail VCC 4.5 V  rail GND  connector J header-1x1 {{ 1 clk }}  feed U1..U9 from VCC GND
        U1 74HC574 {{ CLK = clk  /OE = GND  D[1..8] = s[0..7]  Q[1..8] = q[0..7] }}
        U2 74HC573 {{ LE = clk  /OE = GND  D[1..8] = q[0..7]  Q[1..8] = l[0..7] }}
        U3 74HC283 {{ A[1..4] = l[0..3]  B[1..4] = l[4..7]  C0 = GND  S[1..4] = s[0..3]  C4 = s4 }}
        U4 74HC04 {{ [1..3]A = l[5..7]  [1..3]Y = s[5..7]  4A = clk  4Y = /clk  5A = GND  6A = GND  [5..6]Y = open }}
        U5 74HC574 {{ CLK = /clk  /OE = GND  D1 = l0  D[2..8] = GND  Q1 = enable  Q[2..8] = open }}
        U6 74HC08 {{ 1A = clk  1B = enable  1Y = gated  {rest} }}
        U7 74HC574 {{ CLK = gated  /OE = GND  D[1..8] = s[0..7]  Q[1..8] = r[0..7] }}
        U8 74HC74 {{ 1CLK = clk  1D = /half  1Q = half  /1Q = /half  /1PRE = VCC  /1CLR = VCC
            2CLK = half  2D = u0  2Q = t  /2Q = open  /2PRE = VCC  /2CLR = VCC }}
        U9 74HC574 {{ CLK = half  /OE = GND  D[1..8] = (t, u[0..6])  Q[1..8] = u[0..7] }} }}"
    );
    let circuit = circuit(&text);
    let mut judged = 0;
    for (parts, corner) in CORNERS {
        let (period, _) = shortest(&circuit, parts, clock(&circuit, "clk", 2000, 1000));
        let (source, (low, high)) = halved(&circuit, period);
        let analysis = analysis(&circuit, parts, &[source]);
        let failing: Vec<(String, i64)> =
            Kind::ALL.iter().flat_map(|&kind| slacks(&analysis, kind)).filter(|row| row.1 < 0).collect();
        if !failing.is_empty() {
            continue;
        }
        judged += 1;
        for seed in 1..=40 {
            let (_, violations) = run(&circuit, corner(seed), seed, (low, high), 60);
            assert_eq!(violations, Vec::<String>::new(), "{parts:?}, seed {seed}, {period} ps");
        }
    }
    assert!(judged >= 2, "{judged} speeds hold");
}
