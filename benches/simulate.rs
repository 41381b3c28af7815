//! Running: the engine with all its checks on beside an engine of a textbook, on rings of slices, in one run; the tune
//! of the carillon; and what it costs to trace everything.

#![allow(clippy::disallowed_methods, reason = "a bench reads files and clocks")]

mod common;
#[path = "yardstick/textbook.rs"]
mod textbook;

use coldboard::circuit::{Circuit, NetKey, Signal};
use coldboard::export::vcd::{self, VcdWriter};
use coldboard::key::Key;
use coldboard::language::ast::{Corner, PowerUp};
use coldboard::logic::Level;
use coldboard::quantity::Time;
use coldboard::run::{Counters, NullSink, Settings, Sink};
use coldboard::simulate::Machine;
use coldboard::untimed;
use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use std::time::Instant;
use textbook::{Textbook, Value};

/// Every runner has so many turns, one after the other; the median counts.
const TURNS: usize = 7;
/// The page of dunlin's program: designs/dunlin/rom.board.
const PRIMES: u8 = 2;
/// A second of this clock is a million of its periods.
const HALF: Time = Time::from_ns(500);

/// How a run begins.
fn settings(corner: Corner) -> Settings {
    Settings { temperature: None, corner, power_up: PowerUp::Unknown, ..Settings::TYPICAL }
}

fn net(circuit: &Circuit, path: &str) -> NetKey {
    circuit.net(path).unwrap_or_else(|| panic!("no net {path}"))
}

/// A ring that has been reset and clocked a few times at 1 MHz.
fn started(circuit: &Circuit) -> Machine<'_> {
    let (clock, reset) = (net(circuit, "clk"), net(circuit, "/reset"));
    let mut machine = Machine::new(circuit, settings(Corner::Random(1)), &[clock, reset]);
    machine.set(reset, Level::Zero);
    machine.clock(clock, HALF, HALF);
    machine.advance(Time::from_ns(1_800), &mut NullSink);
    machine.set(reset, Level::One);
    machine.advance(Time::from_us(10), &mut NullSink);
    machine
}

/// The same in the engine of a textbook.
fn started_by_the_book(circuit: &Circuit) -> Textbook {
    let mut book = Textbook::new(circuit, Corner::Random(1));
    book.set(net(circuit, "/reset"), Value::Low);
    book.clock(net(circuit, "clk"), HALF.ps());
    book.advance(Time::from_ns(1_800).ps());
    book.set(net(circuit, "/reset"), Value::High);
    book.advance(Time::from_us(10).ps());
    book
}

/// Panics unless both engines have come to the same levels.
fn compare(circuit: &Circuit, machine: &Machine<'_>, book: &Textbook) {
    for (key, row) in circuit.nets.iter() {
        let level = match book.level(key) {
            Value::High => Level::One,
            Value::Low => Level::Zero,
            Value::Unknown => Level::X,
        };
        assert_eq!(machine.level(key), level, "{}", row.path);
    }
}

fn median(mut seconds: Vec<f64>) -> f64 {
    seconds.sort_by(f64::total_cmp);
    seconds[seconds.len() / 2]
}

/// How the time and the memory of the engine grow with a ring, beside the textbook's.
#[expect(clippy::print_stdout, reason = "a bench tells its figures")]
fn growth(_: &mut Criterion) {
    println!("slices  events/clock   events/s  evaluations/s  clocks/s  ns/event  textbook  times  bytes/chip");
    for (slices, clocks) in [(10, 2000), (100, 200), (1000, 20), (10_000, 2)] {
        let circuit = common::elaborated(&common::ring(slices));
        let mut machine = started(&circuit);
        let mut book = started_by_the_book(&circuit);
        let (mut engine, mut textbook) = (Vec::new(), Vec::new());
        let before = (machine.counters(), book.events);
        for _ in 0..TURNS {
            let end = machine.now() + Time::from_us(clocks);
            let start = Instant::now();
            machine.advance(end, &mut NullSink);
            engine.push(start.elapsed().as_secs_f64());
            let start = Instant::now();
            book.advance(end.ps());
            textbook.push(start.elapsed().as_secs_f64());
            compare(&circuit, &machine, &book);
        }
        let counted = since(machine.counters(), before.0);
        let total = (clocks as usize * TURNS) as f64;
        let events = counted.events as f64 / total;
        let book_events = (book.events - before.1) as f64 / total;
        let (engine, textbook) = (median(engine), median(textbook));
        let engine_event = engine * 1e9 / (events * clocks as f64);
        let textbook_event = textbook * 1e9 / (book_events * clocks as f64);
        println!(
            "{slices:>6}  {events:>12.0}  {:>9.0}  {:>13.0}  {:>8.0}  {engine_event:>8.1}  {textbook_event:>8.1}  {:>5.2}  {:>10}",
            1e9 / engine_event,
            counted.evaluations as f64 / total * clocks as f64 / engine,
            clocks as f64 / engine,
            textbook_event / engine_event,
            machine.memory() / circuit.chips.len(),
        );
    }
}

/// The two shipped machines at work: dunlin looks for primes, with the clock of its processor half as fast as its can; the
/// carillon plays.
#[expect(clippy::print_stdout, reason = "a bench tells its figures")]
fn designs(_: &mut Criterion) {
    println!("machine    events/s  evaluations/s  clocks of its can/s");
    let dunlin = common::design("dunlin/dunlin.board", "dunlin");
    let switches = dunlin.signal("PORT.in").expect("switches").nets;
    let (clear, halt) = (net(&dunlin, "CLOCK./clear"), net(&dunlin, "CONTROL./to_halt"));
    let mut machine = Machine::new(&dunlin, settings(Corner::Slowest), &switches);
    for (bit, &switch) in switches.iter().rev().enumerate() {
        let high = PRIMES >> bit & 1 == 1;
        machine.set(switch, if high { Level::One } else { Level::Zero });
    }
    machine.advance(Time::from_ms(1), &mut NullSink);
    machine.stop_at(clear, true);
    while machine.level(clear) != Level::One {
        machine.advance(machine.now() + Time::from_ms(100), &mut NullSink);
    }
    machine.stop_at(clear, false);
    // It halts 23 ms later.
    work("dunlin", &mut machine, 2_457_600.0, Time::from_ms(2));
    assert!(machine.level(halt).is_high(), "still at work");
    let carillon = common::design("carillon/carillon.board", "carillon");
    let mut machine = Machine::new(&carillon, settings(Corner::Slowest), &[]);
    work("carillon", &mut machine, 1e6, Time::from_ms(10));
}

/// Tells how much a machine does in a second.
#[expect(clippy::print_stdout, reason = "a bench tells its figures")]
fn work(name: &str, machine: &mut Machine<'_>, can: f64, turn: Time) {
    let before = machine.counters();
    let seconds = (0..TURNS).map(|_| {
        let start = Instant::now();
        machine.advance(machine.now() + turn, &mut NullSink);
        start.elapsed().as_secs_f64()
    });
    let second = TURNS as f64 / seconds.sum::<f64>();
    let counted = since(machine.counters(), before);
    let per_second = |count: u64| count as f64 / TURNS as f64 * second;
    println!(
        "{name:<9} {:>9.0}  {:>13.0}  {:>19.0}",
        per_second(counted.events),
        per_second(counted.evaluations),
        can * turn.ps() as f64 / 1e12 * second,
    );
}

fn since(now: Counters, before: Counters) -> Counters {
    Counters { events: now.events - before.events, evaluations: now.evaluations - before.evaluations, ..now }
}

fn ring(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("run");
    group.sample_size(10);
    for (slices, clocks) in [(10, 2000), (1000, 20)] {
        let circuit = common::elaborated(&common::ring(slices));
        let mut machine = started(&circuit);
        let mut step = |clocks: i64| {
            let before = machine.counters();
            let end = machine.now() + Time::from_us(clocks);
            machine.advance(end, &mut NullSink);
            since(machine.counters(), before)
        };
        group.throughput(Throughput::Elements(step(clocks).events));
        group.bench_function(BenchmarkId::new("ring, events", slices), |bencher| {
            bencher.iter(|| step(clocks));
        });
    }
    group.finish();
}

/// The carillon plays for as long as its tune lasts.
fn tune(criterion: &mut Criterion) {
    let circuit = common::design("carillon/carillon.board", "carillon");
    let mut group = criterion.benchmark_group("run");
    group.sample_size(10);
    let run = || {
        let mut machine = Machine::new(&circuit, settings(Corner::Slowest), &[]);
        machine.advance(Time::from_ms(100), &mut NullSink);
        machine.counters()
    };
    group.throughput(Throughput::Elements(run().events));
    group.bench_function("carillon, events", |bencher| bencher.iter(run));
    group.finish();
}

/// Writes a waveform file while the run goes on.
struct Trace<'f>(VcdWriter<&'f mut Vec<u8>>);

impl Sink for Trace<'_> {
    fn change(&mut self, time: Time, net: NetKey, level: Level) {
        let written = self.0.change(time, net.index(), level);
        written.expect("memory takes all");
    }
}

/// Dunlin at its first program, untraced, with every net watched by nobody who keeps it, and into a waveform file.
#[expect(clippy::print_stdout, reason = "a bench tells its figures")]
fn trace(_: &mut Criterion) {
    let circuit = common::design("dunlin/dunlin.board", "dunlin");
    let span = Time::from_ms(8);
    let start_up = Time::from_ms(60);
    let nets: Vec<NetKey> = circuit.nets.keys().collect();
    let signal = |&net: &NetKey| Signal { path: circuit.nets[net].path.clone(), nets: vec![net] };
    let signals: Vec<vcd::Signal> = nets.iter().map(|net| vcd::Signal::of(&circuit, &signal(net))).collect();
    let untraced = || {
        let mut machine = Machine::new(&circuit, settings(Corner::Slowest), &[]);
        machine.advance(start_up, &mut NullSink);
        let start = Instant::now();
        machine.advance(start_up + span, &mut NullSink);
        start.elapsed().as_secs_f64()
    };
    let traced = || {
        let mut machine = Machine::new(&circuit, settings(Corner::Slowest), &[]);
        machine.advance(start_up, &mut NullSink);
        let start = Instant::now();
        let mut file = Vec::new();
        let begin = machine.now();
        let writer = VcdWriter::new(&mut file, "dunlin", begin, &signals);
        let mut trace = Trace(writer.expect("memory takes all"));
        for &net in &nets {
            trace.change(begin, net, machine.level(net));
            machine.watch(net, true);
        }
        machine.advance(start_up + span, &mut trace);
        let file = trace.0.finish(machine.now()).expect("memory takes all");
        assert!(!file.is_empty());
        start.elapsed().as_secs_f64()
    };
    let turns: Vec<(f64, f64)> = (0..TURNS).map(|_| (untraced(), traced())).collect();
    let (plain, full): (Vec<f64>, Vec<f64>) = turns.into_iter().unzip();
    println!(
        "a waveform file of all {} nets of dunlin takes {:.2} times as long as a run without",
        nets.len(),
        median(full) / median(plain)
    );
}

/// Keeping the state of dunlin, and putting it back.
fn checkpoint(criterion: &mut Criterion) {
    let circuit = common::design("dunlin/dunlin.board", "dunlin");
    let mut group = criterion.benchmark_group("checkpoint of dunlin");
    let mut machine = Machine::new(&circuit, settings(Corner::Slowest), &[]);
    machine.advance(Time::from_ms(60), &mut NullSink);
    let kept = machine.checkpoint();
    group.bench_function("with delays, keep", |bencher| {
        bencher.iter(|| machine.checkpoint());
    });
    group.bench_function("with delays, put back", |bencher| {
        bencher.iter(|| machine.restore(&kept));
    });
    let settings = coldboard::run::Settings {
        corner: Corner::Slowest,
        temperature: None,
        power_up: PowerUp::Zero,
        ..coldboard::run::Settings::TYPICAL
    };
    let mut machine = untimed::Machine::new(&circuit, settings, &[]).expect("it needs no delays");
    machine.advance(Time::from_ms(60));
    let kept = machine.checkpoint();
    group.bench_function("without, keep", |bencher| {
        bencher.iter(|| machine.checkpoint());
    });
    group.bench_function("without, put back", |bencher| {
        bencher.iter(|| machine.restore(&kept));
    });
    group.finish();
}

criterion_group!(benches, growth, designs, trace, ring, tune, checkpoint);
criterion_main!(benches);
