//! The past of a run: what is told by running a stretch of it once more is what a machine tells that kept all causes, and
//! a machine that is put back to a checkpoint goes on as it did the first time.

use super::bench::{Changes, circuit, settings};
use crate::untimed::random::wild;
use coldboard::circuit::{Circuit, NetKey};
use coldboard::language::ast::{Corner, PowerUp};
use coldboard::logic::Level;
use coldboard::quantity::Time;
use coldboard::run::Step;
use coldboard::run::{NullSink, Pause, Settings};
use coldboard::simulate::Machine;
use rand_chacha::ChaCha8Rng;
use rand_core::{Rng, SeedableRng};

/// Half a clock, in nanoseconds.
const HALF: u64 = 1_000;

/// Two machines on one circuit: one keeps all causes, the other runs again what it needs.
struct Pair<'c> {
    whole: Machine<'c>,
    again: Machine<'c>,
}

impl<'c> Pair<'c> {
    fn new(circuit: &'c Circuit, settings: Settings, stimuli: &[NetKey], distance: u64) -> Pair<'c> {
        let history = true;
        let whole = Machine::new(circuit, Settings { history, ..settings }, stimuli);
        let mut again = Machine::new(circuit, settings, stimuli);
        again.keep_past_every(16 << 20, distance);
        Pair { whole, again }
    }

    fn both(&mut self, mut act: impl FnMut(&mut Machine<'c>)) {
        act(&mut self.whole);
        act(&mut self.again);
    }

    /// The chains of causes of a net at a time: kept, and found by running again.
    fn why(&mut self, net: NetKey, time: Time) -> [Vec<Step>; 2] {
        [self.whole.why(net, time), self.again.why(net, time)]
    }
}

fn below(random: &mut ChaCha8Rng, most: usize) -> usize {
    random.next_u32() as usize % most.max(1)
}

/// Runs a wild board, with a hand on some of its nets, and asks for causes on the way and afterwards.
fn compare(seed: u64, distance: u64) -> usize {
    let text = wild(seed);
    let circuit = circuit(&text);
    let nets: Vec<NetKey> = circuit.nets.keys().collect();
    let clk = circuit.net("clk").expect("a clock");
    let corner = [Corner::Typical, Corner::Slowest, Corner::Random(seed)][seed as usize % 3];
    let power_up = match seed % 2 {
        0 => PowerUp::Unknown,
        _ => PowerUp::Random(seed),
    };
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let mut pair = Pair::new(&circuit, settings(corner, power_up), &[clk], distance);
    let (half, mut asked) = (Time::from_ns(HALF as i64), 0);
    pair.both(|machine| machine.clock(clk, half, half));
    for _ in 0..25 {
        let time = Time::from_ns(below(&mut random, 5 * HALF as usize) as i64);
        let time = pair.whole.now() + time;
        pair.both(|machine| {
            machine.advance(time, &mut NullSink);
        });
        // A hand on any net, against what drives it; two in one moment, now and then.
        for _ in 0..below(&mut random, 3) {
            let net = nets[below(&mut random, nets.len())];
            let level = [Level::Zero, Level::One, Level::Z][below(&mut random, 3)];
            pair.both(|machine| {
                machine.force(net);
                machine.set(net, level);
            });
            if below(&mut random, 2) == 0 {
                let now = pair.whole.now();
                pair.both(|machine| {
                    machine.advance(now, &mut NullSink);
                });
            }
        }
        let net = nets[below(&mut random, nets.len())];
        let now = pair.whole.now();
        let past = Time::from_ps((now.ps() as f64 * f64::from(random.next_u32() >> 16) / 65_536.0) as i64);
        for time in [now, past] {
            let [whole, again] = pair.why(net, time);
            assert_eq!(again, whole, "seed {seed}, {} at {time} of {now}\n{text}", circuit.nets[net].path);
            asked += whole.len();
        }
        assert_eq!(pair.whole.counters().events, pair.again.counters().events, "seed {seed}");
    }
    asked
}

#[test]
fn causes_that_are_found_by_running_again_are_those_that_were_kept() {
    let asked: usize = (1..=60).map(|seed| compare(seed, [1, 7, 60, 500][seed as usize % 4])).sum();
    assert!(asked > 4_000, "{asked} steps");
}

/// Runs to a time, whatever stops it on the way.
fn to(machine: &mut Machine<'_>, time: Time, changes: &mut Changes) {
    while machine.advance(time, changes) == Pause::Changed {}
}

#[test]
fn a_machine_that_is_put_back_goes_on_as_it_did() {
    for seed in 1..=40 {
        let circuit = circuit(&wild(seed));
        let clk = circuit.net("clk").expect("a clock");
        let settings = settings(Corner::Random(seed), PowerUp::Random(seed));
        let mut machine = Machine::new(&circuit, settings, &[clk]);
        for net in circuit.nets.keys() {
            machine.watch(net, true);
        }
        let half = Time::from_ns(HALF as i64);
        machine.clock(clk, half, half);
        to(&mut machine, Time::from_ns(7_777), &mut Changes::default());
        let checkpoint = machine.checkpoint();
        assert_eq!(checkpoint.time(), machine.now());
        let mut onward = || {
            let mut changes = Changes::default();
            to(&mut machine, Time::from_us(30), &mut changes);
            let found = (machine.contentions(), machine.violations(), machine.floating());
            let counted = (machine.counters(), machine.filtered());
            machine.restore(&checkpoint);
            (changes.0, found, counted)
        };
        let first = onward();
        assert!(first.0.len() > 20, "seed {seed}: something moves");
        assert_eq!(onward(), first, "seed {seed}");
    }
}
