//! Sweeping: a grid of twelve points of the carillon, on one core and on all.

use coldboard::cli::files::Disk;
use coldboard::part::Library;
use coldboard::project::Project;
use coldboard::sweep::{self, Asked, Clock, Plan};
use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use std::path::Path;

fn carillon(criterion: &mut Criterion) {
    let path = Path::new("designs/carillon/carillon.board");
    let project = Project::open(&Disk, path, Library::built_in());
    let asked = Asked {
        trials: vec!["rings_the_other_tune".to_owned()],
        voltages: sweep::voltages("4.75V,5V").expect("voltages"),
        corners: sweep::corners("all").expect("corners"),
        clock: Clock::Rates(sweep::frequencies("0.8MHz,1MHz").expect("rates")),
        ..Asked::default()
    };
    let plan = Plan::new(&project, asked).unwrap_or_else(|problems| panic!("{problems:?}"));
    let points = plan.header().points();
    let mut group = criterion.benchmark_group("sweep");
    group.sample_size(10);
    group.throughput(Throughput::Elements(points as u64));
    let all = std::thread::available_parallelism().map_or(1, usize::from);
    for cores in [1, all] {
        group.bench_function(
            BenchmarkId::new("carillon", format!("{cores} cores")),
            |bencher| {
                bencher.iter(|| {
                    let swept = sweep::work(&plan, cores, Vec::new(), &mut |_| Ok(()));
                    assert!(swept.expect("a sweep").is_good());
                });
            },
        );
    }
    group.finish();
}

criterion_group!(benches, carillon);
criterion_main!(benches);
