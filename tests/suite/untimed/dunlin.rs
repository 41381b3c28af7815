//! The computer `dunlin`: its programs, and programs by chance.

use super::{Pair, net};
use coldboard::circuit::Circuit;
use coldboard::cli::files::Disk;
use coldboard::language::ast::{Corner, PowerUp};
use coldboard::logic::Level;
use coldboard::part::Library;
use coldboard::project::Project;
use coldboard::quantity::Time;
use std::path::Path;
use std::sync::Arc;

pub(super) fn circuit() -> Arc<Circuit> {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("designs/dunlin/dunlin.board");
    let mut project = Project::open(&Disk, &file, Library::built_in());
    let (circuit, problems) = project.circuit(Some("dunlin"));
    assert_eq!(problems, []);
    circuit.expect("dunlin")
}

/// A swing of the oscillator at 2.4576 MHz, in picoseconds: designs/dunlin/clock.board.
const SWING: i64 = 1_000_000_000_000 / 2_457_600;

#[test]
fn every_register_is_the_same_at_every_edge_of_the_oscillator() {
    let circuit = circuit();
    let inputs = circuit.signal("PORT.in").expect("switches");
    let reset = net(&circuit, "CLOCK.reset_rc");
    let [clock, strobe] = ["CLOCK.clk", "BACK.strobe"].map(|path| net(&circuit, path));
    let mut stimuli = inputs.nets.clone();
    stimuli.push(reset);
    for page in [8u64, 2] {
        let mut pair = Pair::new(&circuit, Corner::Typical, PowerUp::Unknown, &stimuli);
        for (at, &net) in inputs.nets.iter().rev().enumerate() {
            let high = page >> at & 1 == 1;
            pair.set(net, if high { Level::One } else { Level::Zero });
        }
        pair.set(reset, Level::Zero);
        assert_eq!(pair.advance(Time::from_us(10_500)), None);
        pair.set(reset, Level::One);
        // The first swing is as late as the can needs to start, 10 ms; a little before each edge all is at rest.
        let start = Time::from_us(10_000).ps();
        let mut at_rest = 0;
        let mut edge = (pair.timed.now().ps() - start) / (SWING / 2) + 1;
        for _ in 0..4 * 1500 {
            edge += 1;
            let time = start + edge / 2 * SWING + edge % 2 * (SWING / 2) - 5;
            assert_eq!(pair.advance(Time::from_ps(time)), None, "edge {edge}");
            // In the last quarter of a cycle everything has found its level.
            let low = [clock, strobe].map(|net| pair.untimed.level(net).is_low());
            let found = pair.differences(low == [true; 2]);
            at_rest += usize::from(low == [true; 2]);
            assert!(found.is_empty(), "page {page}, edge {edge}: {found:#?}");
        }
        assert!(pair.same_memories());
        assert!(at_rest > 1400, "{at_rest}");
    }
}

#[test]
fn every_program_tells_the_same() {
    use coldboard::trial::{self, Options};
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("designs/dunlin/dunlin.board");
    let mut project = Project::open(&Disk, &file, Library::built_in());
    let (circuit, _) = project.circuit(Some("dunlin"));
    let circuit = circuit.expect("dunlin");
    for index in 0..project.trials().len() {
        let trial = project.trials()[index].clone();
        let images = |file: &_| project.image(file);
        let prepared =
            trial::prepare(&trial, &circuit, project.sources(), &images).expect("names");
        let run = |options: &Options| {
            trial::run_untimed(&prepared, &circuit, project.sources(), options)
                .unwrap_or_else(|problems| panic!("{problems:?}"))
        };
        let options = Options::default();
        let untimed = run(&options);
        assert!(untimed.passed, "{:?} {:?}", untimed.failures, untimed.faults);
        assert!(untimed.untimed);
        // What the programs tell is checked against plain arithmetic in `dunlin::programs`.
        let timed = trial::run_once(&prepared, &circuit, project.sources(), &options);
        let told = |report: &trial::Report| {
            let tables = report.tables.iter();
            let rows = tables.flat_map(|table| table.rows.iter().map(|row| row.1.clone()));
            rows.collect::<Vec<_>>()
        };
        assert_eq!(told(&untimed), told(&timed), "{}", trial.name.node);
        assert_eq!(untimed.clocks, timed.clocks, "{}", trial.name.node);
    }
}
