//! Clocks a second of the computer `dunlin` while it looks for primes: with delays, without, as straight-line code of its
//! netlist bit by bit and on buses, and written out by hand. All run by turns in one process, so that their ratios hold on a noisy machine, and
//! must have come to the same state.

#![allow(clippy::disallowed_methods, reason = "a bench reads files and clocks")]

#[path = "yardstick/dunlin_bits.rs"]
mod bits;
#[path = "yardstick/dunlin.rs"]
mod by_hand;
#[path = "yardstick/dunlin_levels.rs"]
mod levels;

use bits::Bits;
use by_hand::Dunlin;
use coldboard::circuit::{Circuit, NetKey};
use coldboard::cli::files::Disk;
use coldboard::language::ast::{Corner, PowerUp};
use coldboard::logic::Level;
use coldboard::part::Library;
use coldboard::project::Project;
use coldboard::quantity::Time;
use coldboard::run::{Engine, NullSink, Settings};
use coldboard::simulate;
use coldboard::untimed;
use criterion::{BatchSize, BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use levels::Levels;
use std::hint::black_box;
use std::path::Path;
use std::sync::Arc;
use std::time::Instant;

/// The page of the program: designs/dunlin/rom.board.
const PRIMES: u8 = 2;
/// Swings of the oscillator in one turn: 10,000 clocks, of the 28,000 that the program takes.
const SWINGS: i64 = 20_000;
/// A swing at 2.4576 MHz, in picoseconds: designs/dunlin/clock.board.
const SWING: i64 = 1_000_000_000_000 / 2_457_600;
/// Turns of each.
const TURNS: usize = 15;

fn circuit() -> Arc<Circuit> {
    let path = Path::new("designs/dunlin/dunlin.board");
    let mut project = Project::open(&Disk, path, Library::built_in());
    project.circuit(Some("dunlin")).0.expect("dunlin")
}

/// The computer in each of its ways, and the nets that hands are laid on.
struct Unateness<'c> {
    circuit: &'c Circuit,
    reset: NetKey,
    timed: simulate::Machine<'c>,
    untimed: untimed::Machine<'c>,
    bits: Bits,
    levels: Levels,
    by_hand: Dunlin,
}

impl<'c> Unateness<'c> {
    fn new(circuit: &'c Circuit) -> Self {
        let inputs = circuit.signal("PORT.in").expect("switches").nets;
        let reset = circuit.net("CLOCK.reset_rc").expect("reset");
        let mut stimuli = inputs.clone();
        stimuli.push(reset);
        let (corner, temperature, power_up) = (Corner::Typical, None, PowerUp::Zero);
        let settings = Settings { corner, temperature, power_up, ..Settings::TYPICAL };
        let mut timed = simulate::Machine::new(circuit, settings, &stimuli);
        let settings = Settings { corner, temperature, power_up, ..Settings::TYPICAL };
        let untimed = untimed::Machine::new(circuit, settings, &stimuli);
        let mut untimed = untimed.unwrap_or_else(|problems| panic!("{problems:?}"));
        for (at, &net) in inputs.iter().rev().enumerate() {
            let high = PRIMES >> at & 1 == 1;
            let level = if high { Level::One } else { Level::Zero };
            timed.set(net, level);
            untimed.set(net, level);
        }
        // The can needs 10 ms to start.
        timed.advance(Time::from_us(10_500), &mut NullSink);
        untimed.advance(Time::from_us(10_500));
        Unateness {
            circuit,
            reset,
            timed,
            untimed,
            bits: Bits::new(circuit, PRIMES),
            levels: Levels::new(circuit, PRIMES),
            by_hand: Dunlin::new(circuit, PRIMES),
        }
    }

    fn with_delays(&mut self) {
        let timed = &mut self.timed;
        timed.set(self.reset, Level::Zero);
        let now = timed.now().ps();
        timed.advance(Time::from_ps(now + 2 * SWING), &mut NullSink);
        timed.set(self.reset, Level::One);
        timed.advance(Time::from_ps(now + (SWINGS + 2) * SWING), &mut NullSink);
    }

    fn untimed(&mut self) {
        let untimed = &mut self.untimed;
        untimed.set(self.reset, Level::Zero);
        let now = untimed.now().ps();
        untimed.advance(Time::from_ps(now + 2 * SWING));
        untimed.set(self.reset, Level::One);
        let pause = untimed.advance(Time::from_ps(now + (SWINGS + 2) * SWING));
        assert_eq!(pause, coldboard::run::Pause::Reached);
    }

    fn bits(&mut self) {
        self.bits.reset_rc = false;
        (0..4).for_each(|_| self.bits.edge());
        self.bits.reset_rc = true;
        (0..2 * SWINGS).for_each(|_| self.bits.edge());
    }

    fn levels(&mut self) {
        self.levels.reset_rc = false;
        (0..4).for_each(|_| self.levels.edge());
        self.levels.reset_rc = true;
        (0..2 * SWINGS).for_each(|_| self.levels.edge());
    }

    fn by_hand(&mut self) {
        self.by_hand.reset();
        (0..SWINGS).for_each(|_| self.by_hand.swing());
        black_box(&self.by_hand);
    }

    /// Panics unless all have come to the same registers.
    fn compare(&self) {
        let signal = |path: &str| self.circuit.signal(path).expect("a signal").nets;
        let (levels, by_hand) = (&self.levels, &self.by_hand);
        let all: [(&str, u64, u64); 9] = [
            ("AX.p", levels.a.into(), by_hand.a.into()),
            ("AX.q", levels.x.into(), by_hand.x.into()),
            ("YS.p", levels.y.into(), by_hand.y.into()),
            ("YS.q", levels.s.into(), by_hand.s.into()),
            ("ADDRESS.pc", levels.pc().into(), by_hand.pc.into()),
            ("ALU.t", levels.t.into(), by_hand.t.into()),
            ("PORT.out", levels.out.into(), by_hand.out.into()),
            ("CONTROL.ir", levels.ir.into(), by_hand.ir.into()),
            ("CONTROL.step", levels.step.into(), by_hand.step.into()),
        ];
        for ((path, levels, by_hand), bits) in all.into_iter().zip(self.bits.registers()) {
            let nets = signal(path);
            let untimed = self.untimed.word(&nets);
            let timed = nets.iter().fold(0, |word, &net| word << 1 | u64::from(self.timed.level(net).is_high()));
            assert_eq!(untimed.unknown, 0, "{path}");
            assert_eq!([untimed.value, timed, bits, levels], [by_hand; 4], "{path}");
        }
        assert!(!self.by_hand.halts() && !self.levels.halts() && !self.bits.halts());
    }
}

type Turn = fn(&mut Unateness<'_>);

const WAYS: [(&str, Turn); 5] = [
    ("with delays", |ways| ways.with_delays()),
    ("untimed", |ways| ways.untimed()),
    ("bits", |ways| ways.bits()),
    ("levels", |ways| ways.levels()),
    ("by hand", |ways| ways.by_hand()),
];

/// All by turns.
fn ratios(_: &mut Criterion) {
    let circuit = circuit();
    let mut ways = Unateness::new(&circuit);
    let mut seconds = WAYS.map(|_| Vec::new());
    for _ in 0..TURNS {
        for ((_, turn), seconds) in WAYS.iter().zip(&mut seconds) {
            let start = Instant::now();
            turn(&mut ways);
            seconds.push(start.elapsed().as_secs_f64());
        }
        ways.compare();
    }
    let clocks = (SWINGS / 2) as f64;
    let rates = seconds.map(|mut seconds| {
        seconds.sort_by(f64::total_cmp);
        clocks / seconds[TURNS / 2]
    });
    let counters = ways.untimed.counters();
    let clocks = clocks * TURNS as f64;
    tell(rates, [counters.events, counters.evaluations].map(|count| count as f64 / clocks));
}

#[expect(clippy::print_stdout, reason = "a bench tells its figures")]
fn tell(rates: [f64; 5], [moments, evaluations]: [f64; 2]) {
    for ((name, _), rate) in WAYS.iter().zip(rates) {
        println!("{name:<12} {rate:>12.0} clocks/s {:>8.1} ns a clock", 1e9 / rate);
    }
    let [timed, untimed, others @ ..] = rates;
    println!("untimed is {:.1} times as fast as with delays", untimed / timed);
    for ((name, _), rate) in WAYS[2..].iter().zip(others) {
        println!("{name}: {:.1} times as fast as untimed", rate / untimed);
    }
    println!("untimed, for each clock: {moments:.2} moments, {evaluations:.1} evaluations");
}

fn each(criterion: &mut Criterion) {
    let circuit = circuit();
    let mut ways = Unateness::new(&circuit);
    let mut group = criterion.benchmark_group("dunlin");
    group.sample_size(10);
    group.throughput(Throughput::Elements(SWINGS as u64 / 2));
    for (name, turn) in WAYS {
        group.bench_function(BenchmarkId::new("clocks", name), |bencher| {
            bencher.iter(|| turn(&mut ways));
        });
    }
    group.finish();
}

/// What a person waits for before the first clock: an engine, and the reset at power-up, 16.5 ms by its capacitor.
fn beginning(criterion: &mut Criterion) {
    let circuit = circuit();
    let settings = Settings { power_up: PowerUp::Unknown, ..Settings::TYPICAL };
    let inputs = circuit.signal("PORT.in").expect("switches").nets;
    let made = || untimed::Machine::new(&circuit, settings, &inputs).expect("it needs no delays");
    let mut group = criterion.benchmark_group("dunlin/beginning");
    group.bench_function("engine", |bencher| bencher.iter(made));
    group.bench_function("reset", |bencher| {
        bencher.iter_batched(made, |mut machine| machine.advance(Time::from_us(16_500)), BatchSize::LargeInput)
    });
    group.finish();
}

criterion_group!(benches, ratios, beginning, each);
criterion_main!(benches);
