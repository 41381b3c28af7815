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
        let mut edge = (pair.timed.now().ps() - start) / (SWING / 2) + 1;
        for _ in 0..4 * 1500 {
            edge += 1;
            let time = start + edge / 2 * SWING + edge % 2 * (SWING / 2) - 5;
            assert_eq!(pair.advance(Time::from_ps(time)), None, "edge {edge}");
            let found = pair.differences();
            assert!(found.is_empty(), "page {page}, edge {edge}: {found:#?}");
        }
        assert!(pair.same_memories());
    }
}
