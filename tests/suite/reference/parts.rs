//! Every part of the library, alone on a board, with hands at random on all its inputs.

use super::both::{Both, Look, Outcome};
use super::plain::Shelf;
use crate::timing::arrivals::Numbers;
use coldboard::circuit::{Circuit, NetKey, elaborate};
use coldboard::diagnostic::any_error;
use coldboard::language::ast::{Corner, PowerUp};
use coldboard::language::parse;
use coldboard::part::{Library, Part, PinKind};

/// The circuit of a text without errors.
pub(super) fn circuit(library: &mut Library, text: &str) -> Circuit {
    let file = library.add_source("test.board", text);
    let (tree, problems) = parse(file, text);
    assert!(!any_error(&problems), "{problems:?}\n{text}");
    let (circuit, problems) = elaborate(None, &[tree], library);
    assert!(!any_error(&problems), "{problems:?}\n{text}");
    circuit.expect("a circuit")
}

/// The numbers under which a part is ordered, one for each of its sheets.
pub(super) fn numbers(library: &Library, part: &Part) -> Vec<String> {
    let name = &part.name;
    let each = part.sheets.iter().map(|sheet| {
        let choices =
            [format!("{name}-{}", sheet.name), format!("74{}{name}", sheet.name), format!("74{name}"), name.clone()];
        let fits = |number: &String| {
            let found = library.find(number);
            found.is_ok_and(|found| {
                found.part.name == *name && found.sheet.is_some_and(|at| part.sheets[at].name == sheet.name)
            })
        };
        choices.into_iter().find(fits).expect("a number for the sheet")
    });
    let each: Vec<String> = each.collect();
    if each.is_empty() { vec![name.clone()] } else { each }
}

/// A board with one chip, a net on each pin, pulls on those that may let go; and the nets of the inputs.
fn alone(part: &Part, number: &str, seed: u64) -> (String, Vec<String>) {
    let (mut pins, mut extra, mut inputs) = (String::new(), String::new(), Vec::new());
    let mut pulls = 0;
    for (at, pin) in part.pins.iter().enumerate() {
        match pin.kind {
            PinKind::In | PinKind::InOut => inputs.push(format!("n{at}")),
            PinKind::Out | PinKind::ThreeState | PinKind::OpenDrain => {}
            PinKind::Timing | PinKind::Power | PinKind::Ground | PinKind::None => continue,
        }
        pins += &format!("{} = n{at} ", pin.number);
        let pulled = pin.kind == PinKind::OpenDrain || pin.kind != PinKind::Out && (seed + at as u64).is_multiple_of(3);
        if pulled && pin.kind != PinKind::In {
            let rail = if at % 2 == 0 { "VCC" } else { "GND" };
            extra += &format!("RA{pulls} resistor 10 kohm {{ 1 = {rail}  2 = n{at} }}\n");
            pulls += 1;
        }
    }
    if part.name == "123" {
        for section in 1..=2 {
            pins += &format!("{section}REXT/CEXT = r{section} {section}CEXT = c{section} ");
            extra += &format!(
                "R{section} resistor 10 kohm {{ 1 = VCC  2 = r{section} }}
                 C{section} capacitor 1 nF {{ 1 = r{section}  2 = c{section} }}\n"
            );
        }
    }
    let value = if part.name.starts_with("OSC") { "4 MHz" } else { "" };
    let text =
        format!("board b {{ rail VCC 5 V  rail GND  feed U1 from VCC GND\nU1 {number} {value} {{ {pins} }}\n{extra}}}");
    (text, inputs)
}

const CORNERS: [Corner; 3] = [Corner::Typical, Corner::Slowest, Corner::Fastest];
const POWER_UPS: [PowerUp; 3] = [PowerUp::Zero, PowerUp::Unknown, PowerUp::One];
const LEVELS: [char; 12] = ['0', '1', '0', '1', '0', '1', 'H', 'L', '0', '1', 'X', 'Z'];

/// How a part alone is worked.
struct Work {
    seed: u64,
    hands: usize,
    /// True to make also the enables unknown.
    all_unknown: bool,
}

/// Works the inputs of a chip at random; how many changes were the same.
fn work(circuit: &Circuit, inputs: &[NetKey], work: &Work, shelf: &mut Shelf) -> Result<usize, String> {
    let seed = work.seed;
    let mut numbers = Numbers(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1);
    let corner = CORNERS[seed as usize % 3];
    let power_up = POWER_UPS[seed as usize / 3 % 3];
    let look = if seed % 4 == 3 { Look::Levels } else { Look::Changes };
    let mut both = Both::new(circuit, (corner, power_up), inputs, look, shelf);
    let (mut changes, mut time) = (0, 0);
    for &net in inputs {
        both.set(net, LEVELS[numbers.below(2) as usize]);
    }
    let chip = circuit.chips.values().next().expect("a chip");
    let enables = chip.part.function.output_enables.iter().fold(0, |all, one| all | one);
    let is_enable = |net: NetKey| {
        let mut pins = chip.part.function.inputs.iter().enumerate();
        pins.any(|(bit, &pin)| chip.nets[pin] == Some(net) && enables >> bit & 1 == 1)
    };
    for _ in 0..work.hands {
        // Mostly long enough for everything to come to rest, now and then too short for a pulse.
        time += if numbers.below(6) == 0 {
            1 + numbers.below(30_000) as i64
        } else {
            1_000_000 + numbers.below(1_000) as i64
        };
        match both.advance(time)? {
            Outcome::Same(more) => changes += more,
            Outcome::Over(more) => return Ok(changes + more),
        }
        for _ in 0..=numbers.below(if seed.is_multiple_of(2) { 1 } else { 3 }) {
            if !inputs.is_empty() {
                let net = inputs[numbers.below(inputs.len() as u64) as usize];
                let known = is_enable(net) && !work.all_unknown;
                let levels = if known { 6 } else { LEVELS.len() as u64 };
                both.set(net, LEVELS[numbers.below(levels) as usize]);
            }
        }
    }
    // Timers end, and oscillators begin.
    match both.advance(time + 11_000_000_000)? {
        Outcome::Same(more) | Outcome::Over(more) => Ok(changes + more),
    }
}

/// What is wrong with the parts.
fn differences(hands: usize, seeds: u64, all_unknown: bool) -> Vec<String> {
    let mut library = Library::built_in();
    let mut shelf = Shelf::default();
    let names: Vec<String> = library.names().map(str::to_owned).collect();
    let mut wrong = Vec::new();
    for name in names {
        let part = library.part(&name).expect("a part");
        let mut changes = 0;
        let numbers = numbers(&library, &part);
        for seed in 0..seeds {
            let number = &numbers[seed as usize % numbers.len()];
            let (text, inputs) = alone(&part, number, seed);
            let circuit = circuit(&mut library, &text);
            let nets: Vec<NetKey> = inputs.iter().filter_map(|path| circuit.net(path)).collect();
            let one = Work { seed, hands, all_unknown };
            match work(&circuit, &nets, &one, &mut shelf) {
                Ok(more) => changes += more,
                Err(why) => {
                    wrong.push(format!("{number}, seed {seed}: {why}"));
                    break;
                }
            }
        }
        if changes < 20 {
            wrong.push(format!("{name}: only {changes} changes"));
        }
    }
    wrong
}

#[test]
fn every_part_does_what_its_description_says() {
    let wrong = differences(60, 12, false);
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn every_part_does_so_with_unknown_enables() {
    let wrong = differences(60, 12, true);
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
