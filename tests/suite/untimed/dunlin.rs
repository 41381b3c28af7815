//! The computer `dunlin`: its programs, and programs by chance.

use super::{Pair, net};
use coldboard::circuit::Circuit;
use coldboard::cli::files::Disk;
use coldboard::delay::ChipDelays;
use coldboard::language::ast::{Corner, PowerUp};
use coldboard::logic::Level;
use coldboard::part::Library;
use coldboard::project::Project;
use coldboard::quantity::Time;
use rand_chacha::ChaCha8Rng;
use rand_core::{Rng, SeedableRng};
use rayon::prelude::*;
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

/// Runs both engines for some clocks behind a reset, and compares them at every edge of the oscillator.
fn side_by_side(circuit: &Circuit, corner: Corner, page: u64, memory: Option<&[u8]>, clocks: i64) {
    let inputs = circuit.signal("PORT.in").expect("switches");
    let reset = net(circuit, "CLOCK.reset_rc");
    let [clock, strobe] = ["CLOCK.clk", "BACK.strobe"].map(|path| net(circuit, path));
    let mut stimuli = inputs.nets.clone();
    stimuli.push(reset);
    let mut pair = Pair::new(circuit, corner, PowerUp::Unknown, &stimuli);
    for (at, &net) in inputs.nets.iter().rev().enumerate() {
        let high = page >> at & 1 == 1;
        pair.set(net, if high { Level::One } else { Level::Zero });
    }
    if let Some(memory) = memory {
        pair.load("MEMORY.U1", &memory[..0x8000]);
    }
    pair.set(reset, Level::Zero);
    assert_eq!(pair.advance(Time::from_us(10_500)), None);
    if let Some(memory) = memory {
        // A RAM keeps nothing through a power-up.
        pair.load("MEMORY.U2", &memory[0x8000..]);
    }
    pair.set(reset, Level::One);
    // The first swing is as late as the can needs to start; a little before each edge the storage is at rest.
    let delays = ChipDelays::new(circuit, corner, None);
    let can = circuit.chip("CLOCK.X1").expect("the can");
    let start = delays.table(can).start_up.ps();
    let mut edge = (pair.timed.now().ps() - start) / (SWING / 2) + 1;
    let mut at_rest = 0;
    for _ in 0..4 * clocks {
        edge += 1;
        let time = start + edge / 2 * SWING + edge % 2 * (SWING / 2) - 5;
        assert_eq!(pair.advance(Time::from_ps(time)), None, "edge {edge}");
        // In the last quarter of a cycle everything has found its level.
        let low = [clock, strobe].map(|net| pair.untimed.level(net).is_low());
        let found = pair.differences(low == [true; 2]);
        at_rest += i64::from(low == [true; 2]);
        assert!(found.is_empty(), "page {page}, {corner:?}, edge {edge}: {found:#?}");
    }
    assert!(pair.same_memories());
    // HLT stops the clock while it is low.
    let levels = [clock, strobe].map(|net| (pair.timed.level(net), pair.untimed.level(net)));
    assert!(
        at_rest > clocks * 9 / 10,
        "page {page}, {corner:?}: {at_rest}, {levels:?}, start {start}, now {:?}",
        pair.timed.now()
    );
}

#[test]
fn every_register_is_the_same_at_every_edge_of_the_oscillator() {
    let circuit = circuit();
    for page in [8, 2] {
        side_by_side(&circuit, Corner::Typical, page, None, 1500);
    }
}

#[test]
fn programs_by_chance_are_the_same() {
    let circuit = circuit();
    (0..16u64).into_par_iter().for_each(|seed| {
        let mut chance = ChaCha8Rng::seed_from_u64(seed);
        // Any byte: what is no instruction stops the machine.
        let mut memory: Vec<u8> = (0..0x10000).map(|_| chance.next_u32() as u8).collect();
        // HLT is 0x01, what does not exist has no low bits in common: NOP in place of most of them.
        memory.iter_mut().for_each(|byte| {
            if matches!(*byte, 0x01 | 0x07 | 0x0E | 0x0F | 0x1F | 0x23 | 0x2A..=0x2F | 0xC0..) {
                *byte = 0x80 | *byte & 0x3D;
            }
        });
        // LDA, LDX, LDY with bytes by chance, S from X: nothing is known of them before.
        for (at, code) in [(0, 0x40), (2, 0x50), (4, 0x48), (6, 0x0D)] {
            memory[at] = code;
        }
        let corner = match seed % 4 {
            0 => Corner::Typical,
            1 => Corner::Slowest,
            2 => Corner::Fastest,
            _ => Corner::Random(seed),
        };
        side_by_side(&circuit, corner, chance.next_u32().into(), Some(&memory), 300);
    });
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
        let prepared = trial::prepare(&trial, &circuit, project.sources(), &images).expect("names");
        let run = |options: &Options| {
            trial::run_untimed(&prepared, &circuit, project.sources(), options, &mut trial::Unattended)
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
