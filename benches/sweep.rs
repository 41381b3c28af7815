//! Sweeping on one core and on all: twelve points of the carillon, and dunlin as people sweep, 24 points of rates and
//! corners on one program. Both numbers of cores run by turns, so that their ratio holds on a noisy machine.

#![allow(clippy::disallowed_methods, reason = "a bench reads files and clocks")]

use coldboard::cli::files::Disk;
use coldboard::part::Library;
use coldboard::project::Project;
use coldboard::sweep::{self, Asked, Clock, Plan};
use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use std::path::Path;
use std::time::Instant;

/// Turns of each.
const TURNS: usize = 7;

/// A design, a trial of it, voltages if any, and clock rates; in all three corners.
struct Grid {
    file: &'static str,
    trial: &'static str,
    voltages: Option<&'static str>,
    rates: &'static str,
}

const GRIDS: [Grid; 2] = [
    Grid {
        file: "designs/carillon/carillon.board",
        trial: "rings_the_other_tune",
        voltages: Some("4.75V,5V"),
        rates: "0.8MHz,1MHz",
    },
    Grid { file: "designs/dunlin/dunlin.board", trial: "selftest", voltages: None, rates: "0.5MHz..4MHz/8" },
];

/// Cores of this machine.
fn cores() -> usize {
    std::thread::available_parallelism().map_or(1, usize::from)
}

fn by_turns(_: &mut Criterion) {
    for grid in &GRIDS {
        turns(grid, cores());
    }
}

/// The project and what is asked of it.
fn asked(grid: &Grid) -> (Project, Asked) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(grid.file);
    let project = Project::open(&Disk, &path, Library::built_in());
    let voltages = grid.voltages.map(sweep::voltages);
    let asked = Asked {
        trials: vec![grid.trial.to_owned()],
        voltages: voltages.map_or(Vec::new(), |read| read.expect("voltages")),
        corners: sweep::corners("all").expect("corners"),
        clock: Clock::Rates(sweep::frequencies(grid.rates).expect("rates")),
        ..Asked::default()
    };
    (project, asked)
}

fn plan(project: &Project, asked: Asked) -> Plan<'_> {
    Plan::new(project, asked).unwrap_or_else(|problems| panic!("{problems:?}"))
}

fn carillon(criterion: &mut Criterion) {
    let (project, asked) = asked(&GRIDS[0]);
    let plan = plan(&project, asked);
    let mut group = criterion.benchmark_group("sweep");
    group.sample_size(10);
    group.throughput(Throughput::Elements(plan.header().points() as u64));
    for cores in [1, cores()] {
        let name = BenchmarkId::new("carillon", format!("{cores} cores"));
        group.bench_function(name, |bencher| {
            bencher.iter(|| {
                let swept = sweep::work(&plan, cores, Vec::new(), &mut |_| Ok(()));
                assert!(swept.expect("a sweep").is_good());
            });
        });
    }
    group.finish();
}

#[expect(clippy::print_stdout, reason = "a bench tells its figures")]
fn turns(grid: &Grid, all: usize) {
    let (project, asked) = asked(grid);
    let plan = plan(&project, asked);
    let points = plan.header().points();
    let run = |cores: usize| {
        let start = Instant::now();
        let swept = sweep::work(&plan, cores, Vec::new(), &mut |_| Ok(())).expect("a sweep");
        assert_eq!(swept.rows.len(), points);
        start.elapsed().as_secs_f64() * 1e3
    };
    let (mut one, mut many): (Vec<f64>, Vec<f64>) = (0..TURNS).map(|_| (run(1), run(all))).unzip();
    one.sort_by(f64::total_cmp);
    many.sort_by(f64::total_cmp);
    let (one, many) = (one[TURNS / 2], many[TURNS / 2]);
    println!(
        "{}, {points} points: {one:.0} ms on one core, {many:.0} ms on {all}: {:.2} times as fast",
        grid.trial,
        one / many
    );
}

criterion_group!(benches, by_turns, carillon);
criterion_main!(benches);
