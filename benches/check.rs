//! The electrical check: how the time grows with the design.

mod common;

use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use std::hint::black_box;

fn check(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("check");
    group.sample_size(10);
    let dunlin = common::design("dunlin/dunlin.board", "dunlin");
    group.throughput(Throughput::Elements(dunlin.chips.len() as u64));
    group.bench_function("dunlin, chips", |bencher| {
        bencher.iter(|| black_box(coldboard::check::check(&dunlin)));
    });
    for slices in [25, 250, 2500] {
        let circuit = common::elaborated(&common::ring(slices));
        group.throughput(Throughput::Elements(circuit.chips.len() as u64));
        group.bench_function(
            BenchmarkId::new("ring, chips", circuit.chips.len()),
            |bencher| {
                bencher.iter(|| black_box(coldboard::check::check(&circuit)));
            },
        );
    }
    group.finish();
}

criterion_group!(benches, check);
criterion_main!(benches);
