//! The electrical check: how the time grows with the design, of rings and of boards on one bus.

mod common;

use coldboard::circuit::Circuit;
use criterion::measurement::WallTime;
use criterion::{BenchmarkGroup, BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use std::hint::black_box;

fn one(group: &mut BenchmarkGroup<'_, WallTime>, name: &str, circuit: &Circuit) {
    let chips = circuit.chips.len();
    group.throughput(Throughput::Elements(chips as u64));
    group.bench_function(BenchmarkId::new(name, chips), |bencher| {
        bencher.iter(|| black_box(coldboard::check::check(circuit)));
    });
}

fn check(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("check");
    group.sample_size(10);
    let dunlin = common::design("dunlin/dunlin.board", "dunlin");
    one(&mut group, "dunlin, chips", &dunlin);
    for slices in [25, 250, 2500] {
        let circuit = common::elaborated(&common::ring(slices));
        one(&mut group, "ring, chips", &circuit);
    }
    for boards in [8, 80, 400] {
        let circuit = common::elaborated(&common::backplane(boards));
        one(&mut group, "bus, chips", &circuit);
    }
    group.finish();
}

criterion_group!(benches, check);
criterion_main!(benches);
