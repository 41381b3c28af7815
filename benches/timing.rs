//! Static timing analysis, parts mixed: the highest rate of machines of many slices and of many boards on one bus, with
//! how the bus changes hands; and of dunlin.

mod common;

use coldboard::circuit::Circuit;
use coldboard::quantity::Time;
use coldboard::timing::Parts;
use coldboard::timing::analysis::Analysis;
use coldboard::timing::sources::Source;
use coldboard::timing::turnaround::turnarounds;
use criterion::measurement::WallTime;
use criterion::{BenchmarkGroup, BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use std::hint::black_box;

fn one(group: &mut BenchmarkGroup<'_, WallTime>, name: &str, circuit: &Circuit, clock: &str) {
    let chips = circuit.chips.len();
    let clock = Source {
        net: circuit.net(clock).expect("it has a clock"),
        period: Time::from_us(1),
        high: Time::from_ns(500),
        origin: "the bench".to_owned(),
    };
    group.throughput(Throughput::Elements(chips as u64));
    group.bench_function(BenchmarkId::new(name, chips), |bencher| {
        bencher.iter(|| {
            let mut analysis = Analysis::new(circuit, Parts::Mixed, std::slice::from_ref(&clock));
            let judgement = analysis.slacks();
            black_box(turnarounds(&analysis));
            let root = analysis.clocks.clocks.keys().next();
            root.and_then(|root| analysis.shortest_period(root, &judgement))
        });
    });
}

fn timing(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("timing");
    group.sample_size(10);
    let dunlin = common::design("dunlin/dunlin.board", "dunlin");
    one(&mut group, "dunlin, chips", &dunlin, "CLOCK.clk");
    for slices in [25, 250, 2500] {
        let circuit = common::elaborated(&common::ring(slices));
        one(&mut group, "ring, chips", &circuit, "clk");
    }
    for boards in [8, 80, 400] {
        let circuit = common::elaborated(&common::backplane(boards));
        one(&mut group, "bus, chips", &circuit, "BACK.clk");
    }
    group.finish();
}

criterion_group!(benches, timing);
criterion_main!(benches);
