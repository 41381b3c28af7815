//! The shipped designs: the two machines at work in every corner, and each of their boards, and those of `designs/faulty`,
//! by itself with hands on what nothing drives.

use super::both::{Both, Look, Outcome};
use super::plain::Shelf;
use crate::timing::arrivals::Numbers;
use coldboard::circuit::{Circuit, NetKey};
use coldboard::language::ast::{Corner, Item, PowerUp};
use coldboard::part::Library;
use coldboard::project::Project;
use coldboard::text::Files;
use std::path::{Path, PathBuf};
use std::sync::Arc;

const CORNERS: [Corner; 3] = [Corner::Fastest, Corner::Typical, Corner::Slowest];

/// The cans swing 10 ms after power-up at the latest.
const SWINGS: i64 = 10_000_000_000;

struct Disk;

impl Files for Disk {
    fn read(&self, path: &Path) -> Result<Vec<u8>, String> {
        std::fs::read(path).map_err(|error| error.to_string())
    }
}

fn designs() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("designs")
}

pub(super) fn machine(file: &str, name: &str) -> Arc<Circuit> {
    let mut project = Project::open(&Disk, &designs().join(file), Library::built_in());
    let (circuit, _) = project.circuit(Some(name));
    circuit.expect("a machine")
}

/// Runs a machine for so many picoseconds behind its reset, which a hand ends as soon as the can swings. `before` are
/// hands from power-up on.
fn at_work(circuit: &Circuit, (reset, before): (&str, &[(&str, char)]), until: i64, at_least: usize) {
    let net = |path: &str| circuit.net(path).unwrap_or_else(|| panic!("no net {path}"));
    let reset = net(reset);
    let mut stimuli = vec![reset];
    stimuli.extend(before.iter().map(|(path, _)| net(path)));
    let mut shelf = Shelf::default();
    for corner in CORNERS {
        let settings = (corner, PowerUp::Unknown);
        let mut both = Both::new(circuit, settings, &stimuli, Look::Changes, &mut shelf);
        both.set(reset, '0');
        for &(path, level) in before {
            both.set(net(path), level);
        }
        let mut changes = 0;
        let mut advance = |both: &mut Both<'_>, until| match both.advance(until) {
            Ok(Outcome::Same(more)) => changes += more,
            other => panic!("{corner:?}: {other:?}"),
        };
        advance(&mut both, SWINGS + 20_000_000);
        both.set(reset, '1');
        advance(&mut both, SWINGS + 20_000_000 + until);
        assert!(changes > at_least, "{corner:?}: {changes} changes");
    }
}

#[test]
fn dunlin_at_work_is_the_same_in_every_corner() {
    let circuit = machine("dunlin/dunlin.board", "dunlin");
    // The first program, on the switches: "every instruction once".
    let switches: Vec<(String, char)> =
        (0..8).map(|bit| (format!("PORT.in{bit}"), if bit == 3 { '1' } else { '0' })).collect();
    let switches: Vec<(&str, char)> = switches.iter().map(|(path, level)| (&path[..], *level)).collect();
    at_work(&circuit, ("CLOCK.reset_rc", &switches), DUNLIN, 1000);
}

/// Picoseconds of dunlin behind its reset.
const DUNLIN: i64 = 150_000_000;

#[test]
fn the_carillon_is_the_same_in_every_corner() {
    let circuit = machine("carillon/carillon.board", "carillon");
    at_work(&circuit, ("CLOCK.reset_rc", &[]), 2_000_000_000, 1000);
}

/// Every board and assembly of the shipped files, with a name for it.
fn all() -> Vec<(String, Arc<Circuit>)> {
    let mut found = Vec::new();
    for folder in ["carillon", "dunlin", "faulty"] {
        let entries = std::fs::read_dir(designs().join(folder)).expect("a folder");
        let mut paths: Vec<PathBuf> = entries.map(|entry| entry.expect("a file").path()).collect();
        paths.retain(|path| path.extension().is_some_and(|it| it == "board"));
        paths.sort();
        for path in paths {
            let mut project = Project::open(&Disk, &path, Library::built_in());
            let own = project.files().last().cloned().unwrap_or_default();
            for item in &own.items {
                let name = match item {
                    Item::Board(board) => &board.name.node,
                    Item::Assembly(assembly) => &assembly.name.node,
                    _ => continue,
                };
                if let (Some(circuit), _) = project.circuit(Some(name)) {
                    found.push((format!("{} {name}", path.display()), circuit));
                }
            }
        }
    }
    found
}

#[test]
fn every_shipped_board_is_the_same_with_hands_on_it() {
    let mut shelf = Shelf::default();
    let (mut changes, mut wrong) = (0, Vec::new());
    let all = all();
    assert!(all.len() > 50, "{} boards", all.len());
    for (seed, (name, circuit)) in (1..).zip(&all) {
        let mut dice = Numbers(seed << 20 | 1);
        let free = |(_, net): &(NetKey, &coldboard::circuit::Net)| {
            let mut pins = net.chip_pins.iter();
            let driven = |(chip, pin): &(_, usize)| circuit.chips[*chip].part.pins[*pin].drives();
            net.rail.is_none() && !pins.any(driven)
        };
        let free: Vec<NetKey> = circuit.nets.iter().filter(free).map(|(key, _)| key).collect();
        let settings = (CORNERS[seed as usize % 3], PowerUp::Unknown);
        let mut both = Both::new(circuit, settings, &free, Look::Changes, &mut shelf);
        for &net in &free {
            both.set(net, ['0', '1'][dice.below(2) as usize]);
        }
        for hand in 1..=40 {
            match both.advance(hand * 900_000) {
                Ok(Outcome::Same(more)) => changes += more,
                Ok(Outcome::Over(more)) => {
                    changes += more;
                    break;
                }
                Err(why) => {
                    wrong.push(format!("{name}: {why}"));
                    break;
                }
            }
            if !free.is_empty() {
                let net = free[dice.below(free.len() as u64) as usize];
                both.set(net, ['0', '1', '0', '1', 'Z'][dice.below(5) as usize]);
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(changes > 1000, "{changes} changes");
}
