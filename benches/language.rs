//! Parsing and elaborating: how the time grows with the design. Warm: the library's texts are in memory.

mod common;

use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use std::hint::black_box;

fn parse(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("parse");
    for boards in [10, 100, 1000] {
        let board = |number: usize| common::ring(4).replace("ring", &format!("ring{number}"));
        let text: String = (0..boards).map(board).collect();
        group.throughput(Throughput::Bytes(text.len() as u64));
        group.bench_with_input(BenchmarkId::new("boards", boards), &text, |bencher, text| {
            let mut sources = coldboard::text::Sources::new();
            let file = sources.add("bench.board", text.as_str());
            bencher.iter(|| black_box(coldboard::language::parse(file, text)));
        });
    }
    group.finish();
}

fn elaborate(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("elaborate");
    group.sample_size(20);
    let rings = [10, 100, 1000, 10_000].map(|slices| ("ring, chips", common::ring(slices)));
    let buses = [8, 80, 400].map(|boards| ("bus, chips", common::backplane(boards)));
    for (name, text) in rings.into_iter().chain(buses) {
        let (tree, library) = common::parsed(&text);
        let files = [tree];
        // The first elaboration reads the parts.
        let (circuit, _) = coldboard::circuit::elaborate(None, &files, &library);
        let chips = circuit.expect("a circuit").chips.len();
        group.throughput(Throughput::Elements(chips as u64));
        group.bench_function(BenchmarkId::new(name, chips), |bencher| {
            bencher.iter(|| black_box(coldboard::circuit::elaborate(None, &files, &library)));
        });
    }
    group.finish();
}

criterion_group!(benches, parse, elaborate);
criterion_main!(benches);
