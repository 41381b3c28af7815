//! The bells: ripple counters, an addressable latch, switches, buttons that bounce, pulls against capacitors.

use crate::designs::{Design, Disk};
use coldboard::trial::{self, Options, Report};
use std::path::Path;

fn told(report: &Report) -> Vec<Vec<String>> {
    let rows = report.tables.iter().flat_map(|table| &table.rows);
    rows.map(|row| row.1.clone()).collect()
}

#[test]
fn every_trial_holds_and_shows_the_same() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("designs/carillon/carillon.board");
    let design = Design::open(&Disk::default(), &path);
    let names: Vec<String> = design.project.trials().iter().map(|trial| trial.name.node.clone()).collect();
    assert!(names.len() >= 5, "{names:?}");
    for name in names {
        let (prepared, circuit) = design.prepared(&name);
        let sources = design.project.sources();
        let options = Options::default();
        let untimed = trial::run_untimed(&prepared, circuit, sources, &options, &mut trial::Unattended)
            .unwrap_or_else(|problems| panic!("{name}: {problems:?}"));
        assert!(untimed.passed, "{name}: {:#?} {:#?}", untimed.failures, untimed.faults);
        let timed = trial::run_once(&prepared, circuit, sources, &options);
        assert_eq!(told(&untimed), told(&timed), "{name}");
        assert_eq!(untimed.clocks, timed.clocks, "{name}");
    }
}
