//! Static timing analysis: the highest rate of machines of many slices, parts mixed.

mod common;

use coldboard::quantity::Time;
use coldboard::timing::Parts;
use coldboard::timing::analysis::Analysis;
use coldboard::timing::clocks::Source;
use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};

fn timing(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("timing");
    group.sample_size(10);
    for copies in [25, 250, 2500] {
        let circuit = common::elaborated(&common::ring(copies));
        let chips = circuit.chips.len();
        let clock = Source {
            net: circuit.net("clk").expect("the ring has it"),
            period: Time::from_us(1),
            high: Time::from_ns(500),
            origin: "the bench".to_owned(),
        };
        group.throughput(Throughput::Elements(chips as u64));
        group.bench_function(BenchmarkId::new("chips", chips), |bencher| {
            bencher.iter(|| {
                let mut analysis =
                    Analysis::new(&circuit, Parts::Mixed, std::slice::from_ref(&clock));
                let judgement = analysis.judge();
                let root = analysis.clocks.clocks.keys().next();
                root.and_then(|root| analysis.shortest_period(root, &judgement))
            });
        });
    }
    group.finish();
}

criterion_group!(benches, timing);
criterion_main!(benches);
