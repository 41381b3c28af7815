//! The carillon: its limiting path summed by hand, and its windows against what the engine shows.

use super::*;
use coldboard::circuit::NetKey;
use coldboard::key::Key;
use coldboard::language::ast::{Corner, PowerUp};
use coldboard::logic::Level;
use coldboard::run::{Pause, Settings, Sink};
use coldboard::simulate::Machine;
use coldboard::timing::arrival::Arrivals;
use coldboard::timing::clocks::ClockEdge;
use coldboard::timing::graph::{Node, TRANSITIONS, Transition};
use std::collections::BTreeMap;
use std::fs;
use std::path::PathBuf;

struct Disk;

impl Files for Disk {
    fn read(&self, path: &Path) -> Result<Vec<u8>, String> {
        fs::read(path).map_err(|error| error.to_string())
    }
}

fn carillon() -> Design {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("designs/carillon/carillon.board");
    Design::open(&Disk, &path)
}

/// A figure at 5 V, on the straight line between those of two voltages, in picoseconds.
fn between((low_mv, low_ns): (i64, i64), (high_mv, high_ns): (i64, i64)) -> i64 {
    low_ns * 1000 + (high_ns - low_ns) * 1000 * (5000 - low_mv) / (high_mv - low_mv)
}

/// How fast the beat can be, over -40..85 C at 5 V: from the address counter through the ROM and the gate that stops it.
///
/// 74HC161 (TI SCLS297D, September 2003): CLK to Q 51 ns at 4.5 V and 43 ns at 6 V, ENP before CLK 43 and 37 ns.
/// AT28C256-15 (Atmel 0006F): address to output 150 ns. 74HCT00 (TI SCLS062D, August 2003): 25 ns at 4.5 V and 22 ns at
/// 5.5 V. The address and the end bit each go through 150 mm of ribbon, 5 ns a metre.
#[test]
fn the_beat_is_limited_by_the_rom_and_the_gate_behind_it() {
    let circuit = carillon();
    let count = between((4500, 51), (6000, 43));
    let gate = between((4500, 25), (5500, 22));
    let setup = between((4500, 43), (6000, 37));
    let cable = 150 * 5;
    let expected = count + cable + 150_000 + cable + gate + setup;
    let beat = clock(&circuit, "CLOCK.phi", 1000, 500);
    let mut found = analysis(&circuit, Parts::Slowest, &[beat]);
    let judgement = found.slacks();
    let root =
        found.clocks.begins[&found.graph.timing_net_of[circuit.net("CLOCK.phi").expect("phi")].expect("a timing net")];
    let (period, finding) = found.shortest_period(root, &judgement).expect("a limit");
    assert_eq!((period.ps(), found.kind(&finding)), (expected, Kind::Setup));
    assert_eq!(pin(&found, &finding), "COUNT.U1.ENP");
}

/// As it is clocked, everything holds, however fast the parts are.
#[test]
fn it_holds_as_it_is() {
    let circuit = carillon();
    for parts in Parts::ALL {
        let report = report(&circuit, parts, &[]);
        assert!(report.runs[0].holds(), "{parts:?}: {:?}", report.runs[0].failing);
        assert_eq!(report.loops, Vec::<Vec<String>>::new());
        assert!(report.runs[0].checks > 40, "{} requirements", report.runs[0].checks);
    }
}

struct Changes(Vec<(i64, NetKey)>);

impl Sink for Changes {
    fn change(&mut self, time: Time, net: NetKey, _: Level) {
        self.0.push((time.ps(), net));
    }
}

/// Every move of every net that hangs on the oscillator lies in a window of the analysis: parts of many random speeds,
/// 60 ms to 64 ms after power has come, when the reset is over and nobody touches anything.
#[test]
fn the_engine_never_leaves_the_windows() {
    let circuit = carillon();
    let found = analysis(&circuit, Parts::Mixed, &[]);
    let root = found.clocks.clocks.keys().next().expect("the oscillator");
    let period = found.clocks.clocks[root].period;
    // The windows of each net, by the edge of the oscillator that all began with: true for its rise.
    let mut windows: BTreeMap<(usize, bool), Vec<(i64, i64)>> = BTreeMap::new();
    let mut arrivals = Arrivals::new(&found.graph, &found.order);
    let (borrowed, settled) = found.borrow(&mut arrivals);
    assert!(settled);
    for tag in found.clock_edges() {
        let starts = found.starts(tag, &borrowed);
        arrivals.spread(&found.graph, &found.order, starts.all());
        for point in arrivals.reached() {
            let spot = point.timing_net();
            let points = TRANSITIONS.map(|what| Node::of(spot, what));
            let early = points.iter().filter_map(|&point| arrivals.early(point)).min().expect("an arrival");
            let late = points.iter().filter_map(|&point| arrivals.late(point)).max().unwrap_or(early);
            for net in &found.graph.timing_nets[spot].nets {
                windows.entry((net.index(), first_edge(&found, tag))).or_default().push((early.ps(), late.ps()));
            }
        }
    }
    let clock = circuit.net("CLOCK.mhz").expect("a net");
    for seed in 1..=6 {
        let settings = Settings {
            temperature: None,
            corner: Corner::Random(seed),
            power_up: PowerUp::Random(seed),
            ..Settings::TYPICAL
        };
        let mut machine = Machine::new(&circuit, settings, &[]);
        assert_eq!(machine.advance(Time::from_ms(60), &mut Changes(Vec::new())), Pause::Reached);
        circuit.nets.keys().for_each(|net| machine.watch(net, true));
        let mut changes = Changes(Vec::new());
        assert_eq!(machine.advance(Time::from_ms(64), &mut changes), Pause::Reached);
        let ticks: Vec<i64> = changes.0.iter().filter(|(_, net)| *net == clock).map(|(at, _)| *at).collect();
        let mut seen = 0;
        for &(at, net) in changes.0.iter().filter(|(at, net)| *net != clock && *at > ticks[1]) {
            let path = &circuit.nets[net].path;
            // The oscillator swings twice a period; a move belongs to one of its last edges.
            let last = ticks.partition_point(|&tick| tick <= at) - 1;
            let inside = [last, last.saturating_sub(1)].into_iter().any(|tick| {
                [true, false].into_iter().any(|rise| {
                    let rows = windows.get(&(net.index(), rise));
                    let since = at - ticks[tick];
                    rows.into_iter().flatten().any(|&(early, late)| (early..=late).contains(&since))
                })
            });
            assert!(inside, "{path} moves {} ps after the oscillator, seed {seed}", at - ticks[last]);
            seen += 1;
        }
        assert!(seen > 500, "{seen} moves; a period is {period} ps");
    }
}

/// The edge of the first clock that an edge goes back to.
fn first_edge(analysis: &Analysis<'_>, (mut clock, mut edge): ClockEdge) -> bool {
    while let Some(made) = &analysis.clocks.clocks[clock].generated {
        (clock, edge) = (made.parent, made.edge);
    }
    edge == Transition::Rise
}
