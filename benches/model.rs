//! Edits: from an edit of dunlin to its frozen circuit, and how freezing grows.

mod common;

use coldboard::circuit::freeze;
use coldboard::model::{Edited, Model};
use coldboard::quantity::Frequency;
use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use std::hint::black_box;
use std::sync::Arc;

fn dunlin(criterion: &mut Criterion) {
    let circuit = common::design("dunlin/dunlin.board", "dunlin");
    let model = circuit.model();
    let mut chips = model.chips();
    let can = chips.find(|(_, chip)| chip.frequency.is_some());
    let (can, _) = can.expect("an oscillator");
    let mut signals = model.segments().filter(|(_, row)| row.rail.is_none());
    let (_, signal) = signals.next().expect("a signal");
    let pin = signal.pins[0];
    let mut group = criterion.benchmark_group("dunlin");
    let mut edit = |name: &str, edit: &dyn Fn(&mut Model) -> Edited| {
        group.bench_function(BenchmarkId::new("edit and freeze", name), |bencher| {
            bencher.iter(|| {
                let mut edited = model.clone();
                edit(Arc::make_mut(&mut edited)).expect("it can be edited");
                black_box(freeze(&edited))
            });
        });
    };
    edit("frequency", &|model| model.set_frequency(can, Frequency::from_raw(2_000_000_000)));
    edit("open joint", &|model| model.disconnect(pin));
    group.bench_function("freeze", |bencher| bencher.iter(|| black_box(freeze(model))));
    group.bench_function("clone", |bencher| {
        bencher.iter(|| black_box(Model::clone(model)));
    });
    group.finish();
}

fn growth(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("freeze");
    group.sample_size(20);
    let rings = [100, 1000, 10_000].map(|slices| ("ring, chips", common::ring(slices)));
    let buses = [8, 80, 400].map(|boards| ("bus, chips", common::backplane(boards)));
    for (name, text) in rings.into_iter().chain(buses) {
        let circuit = common::elaborated(&text);
        let chips = circuit.chips.len();
        group.throughput(Throughput::Elements(chips as u64));
        group.bench_function(BenchmarkId::new(name, chips), |bencher| {
            bencher.iter(|| black_box(freeze(circuit.model())));
        });
    }
    group.finish();
}

criterion_group!(benches, dunlin, growth);
criterion_main!(benches);
