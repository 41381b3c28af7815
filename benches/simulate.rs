//! Running: events a second on rings of slices, all checks on and nothing traced.

mod common;

use coldboard::circuit::{Circuit, elaborate};
use coldboard::language::ast::{Corner, PowerUp};
use coldboard::logic::Level;
use coldboard::quantity::Time;
use coldboard::simulate::{Machine, Nobody, Settings};
use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};

/// The circuit of a text without mistakes.
fn elaborated(text: &str) -> Circuit {
    let (tree, library) = common::parsed(text);
    let (circuit, problems) = elaborate(None, std::slice::from_ref(&tree), &library);
    circuit.unwrap_or_else(|| panic!("{problems:?}"))
}

/// A ring that has been reset and clocked a few times at 1 MHz.
fn started(circuit: &Circuit) -> Machine<'_> {
    let net = |path: &str| circuit.net(path).expect("the ring has it");
    let settings = Settings {
        temperature: None,
        corner: Corner::Random(1),
        power_up: PowerUp::Unknown,
        history: false,
    };
    let mut machine = Machine::new(circuit, settings, &[net("clk"), net("/reset")]);
    machine.set(net("/reset"), Level::Zero);
    machine.clock(net("clk"), Time::from_ns(500), Time::from_ns(500));
    machine.advance(Time::from_ns(1_800), &mut Nobody);
    machine.set(net("/reset"), Level::One);
    machine.advance(Time::from_us(10), &mut Nobody);
    assert!(
        machine
            .word(
                &(0..8)
                    .map(|bit| net(&format!("r0_{bit}")))
                    .collect::<Vec<_>>()
            )
            .unknown
            == 0
    );
    machine
}

fn ring(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("run");
    group.sample_size(10);
    for (slices, clocks) in [(10, 2000), (100, 200), (1000, 20), (10_000, 2)] {
        let circuit = elaborated(&common::ring(slices));
        let mut machine = started(&circuit);
        let mut step = |clocks: i64| {
            let before = machine.counters();
            let end = machine.now() + Time::from_us(clocks);
            machine.advance(end, &mut Nobody);
            (
                machine.counters().events - before.events,
                machine.counters().evaluations - before.evaluations,
            )
        };
        let (events, evaluations) = step(clocks);
        group.throughput(Throughput::Elements(events));
        group.bench_function(
            BenchmarkId::new(
                "ring",
                format!("{slices}, {clocks} clocks, {events} events, {evaluations} evaluations"),
            ),
            |bencher| bencher.iter(|| step(clocks)),
        );
    }
    group.finish();
}

criterion_group!(benches, ring);
criterion_main!(benches);
