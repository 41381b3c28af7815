//! Boards at random: chips of any part joined in any way, with buses, pulls, series resistors, contacts and capacitors.

use super::both::{Both, Look, Outcome};
use super::parts::{circuit, numbers};
use super::plain::Shelf;
use crate::timing::arrivals::Numbers;
use coldboard::circuit::{Circuit, DiscreteKey, NetKey};
use coldboard::language::ast::{Corner, PowerUp};
use coldboard::part::{Library, Part, PinKind};
use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::sync::Arc;

/// What kind of board it is.
struct Recipe {
    /// The parts that it may have; all of the library when there are none.
    parts: &'static [&'static str],
    chips: u64,
    /// Picoseconds between hands.
    pause: i64,
    /// Resistors, contacts and capacitors between nets.
    links: u64,
}

const GATES: Recipe = Recipe {
    parts: &[
        "00", "02", "04", "05", "08", "10", "14", "20", "21", "27", "30", "32", "51", "86", "132", "266", "7266",
        "4002", "4075", "138", "139", "151", "153", "157", "158", "283", "280", "85", "148",
    ],
    chips: 10,
    pause: 60_000,
    links: 3,
};

const BUSES: Recipe = Recipe {
    parts: &[
        "125", "126", "240", "241", "244", "245", "541", "540", "623", "640", "645", "646", "652", "573", "574", "373",
        "257", "251", "253", "07", "05", "62256", "00", "04",
    ],
    chips: 8,
    pause: 90_000,
    links: 6,
};

const CLOCKED: Recipe = Recipe {
    parts: &[
        "74", "74", "109", "112", "107", "73", "174", "175", "273", "374", "377", "378", "574", "373", "573", "75",
        "259", "160", "161", "162", "163", "169", "190", "191", "192", "193", "390", "393", "90", "93", "4017", "4020",
        "4040", "164", "165", "166", "194", "195", "299", "4094", "595", "597", "173", "00", "08", "86", "157", "138",
    ],
    chips: 8,
    pause: 700_000,
    links: 0,
};

const ANY: Recipe = Recipe { parts: &[], chips: 7, pause: 900_000, links: 4 };

/// Levels that hands give: those of enables are known.
const KNOWN: [char; 6] = ['0', '1', '0', '1', 'H', 'L'];
const LEVELS: [char; 10] = ['0', '1', '0', '1', '0', '1', 'H', 'L', 'X', 'Z'];

fn pick<'a, T>(numbers: &mut Numbers, row: &'a [T]) -> &'a T {
    &row[numbers.below(row.len() as u64) as usize]
}

fn write(recipe: &Recipe, seed: u64, library: &Library) -> String {
    let mut dice = Numbers(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1);
    let all: Vec<String> = library.names().map(str::to_owned).collect();
    let mut chips: Vec<(String, Arc<Part>)> = Vec::new();
    while (chips.len() as u64) < recipe.chips {
        let name = match recipe.parts {
            [] => pick(&mut dice, &all).clone(),
            parts => (*pick(&mut dice, parts)).to_owned(),
        };
        let part = library.part(&name).expect("a part");
        let is_timed = part.function.timed() > 0 || part.function.oscillator.is_some();
        if !is_timed && !part.sheets.is_empty() {
            chips.push((pick(&mut dice, &numbers(library, &part)).clone(), part));
        }
    }
    let mut nets: Vec<String> = (0..6).map(|at| format!("i{at}")).collect();
    nets.push("clk".to_owned());
    let buses: Vec<String> = (0..8).map(|at| format!("b{at}")).collect();
    nets.extend(buses.iter().cloned());
    for (at, (_, part)) in chips.iter().enumerate() {
        let outputs = part.pins_of(PinKind::Out);
        nets.extend(outputs.map(|pin| format!("o{at}_{pin}")));
    }
    let mut text = format!("board b {{ rail VCC 5 V  rail GND  feed U0..U{} from VCC GND\n", chips.len() - 1);
    for (at, (number, part)) in chips.iter().enumerate() {
        let enables = part.function.output_enables.iter().fold(0, |all, one| all | one);
        let mut pins = String::new();
        let mut bus: BTreeSet<&String> = buses.iter().collect();
        for (pin, row) in part.pins.iter().enumerate() {
            let bit = part.function.inputs.iter().position(|&input| input == pin);
            let is_enable = bit.is_some_and(|bit| enables >> bit & 1 == 1);
            let net = match row.kind {
                PinKind::Out => format!("o{at}_{pin}"),
                PinKind::In if is_enable => format!("e{}", dice.below(6)),
                PinKind::In => match dice.below(12) {
                    0 => "VCC".to_owned(),
                    1 => "GND".to_owned(),
                    2..=4 => format!("i{}", dice.below(6)),
                    _ => pick(&mut dice, &nets).clone(),
                },
                PinKind::ThreeState | PinKind::OpenDrain | PinKind::InOut => {
                    let free: Vec<&String> = bus.iter().copied().collect();
                    match free.as_slice() {
                        [] => format!("t{at}_{pin}"),
                        free => {
                            let chosen = *pick(&mut dice, free);
                            bus.remove(chosen);
                            chosen.clone()
                        }
                    }
                }
                PinKind::Timing | PinKind::Power | PinKind::Ground | PinKind::None => continue,
            };
            let _ = write!(pins, "{} = {net} ", row.number);
        }
        let _ = writeln!(text, "U{at} {number} {{ {pins} }}");
    }
    for (at, bus) in buses.iter().enumerate() {
        match dice.below(3) {
            0 => continue,
            up => {
                let rail = if up == 1 { "VCC" } else { "GND" };
                let _ = writeln!(text, "RP{at} resistor 10 kohm {{ 1 = {rail}  2 = {bus} }}");
            }
        }
    }
    for at in 0..recipe.links {
        let ends = [pick(&mut dice, &nets).clone(), pick(&mut dice, &buses).clone()];
        let [a, b] = ends;
        let _ = match dice.below(5) {
            0 | 1 => writeln!(text, "RS{at} resistor 1 kohm {{ 1 = {a}  2 = {b} }}"),
            2 => writeln!(text, "SW{at} switch {{ 1 = {a}  2 = {b} }}"),
            3 => writeln!(text, "SC{at} changeover {{ common = {b}  up = {a}  down = GND }}"),
            _ => writeln!(text, "CC{at} capacitor 1 nF {{ 1 = {b}  2 = GND }}"),
        };
    }
    text + "}\n"
}

const CORNERS: [Corner; 4] = [Corner::Typical, Corner::Slowest, Corner::Fastest, Corner::Random(7)];
const POWER_UPS: [PowerUp; 3] = [PowerUp::Unknown, PowerUp::Zero, PowerUp::One];

/// Nets of a circuit by their first letter.
fn nets(circuit: &Circuit, letter: char) -> Vec<NetKey> {
    let all = circuit.nets.iter();
    let found = all.filter(|(_, net)| net.path.starts_with(letter));
    found.map(|(key, _)| key).collect()
}

/// Works a board; how many changes were the same, and whether it came to its end.
fn work(
    circuit: &Circuit,
    recipe: &Recipe,
    (seed, hands): (u64, usize),
    shelf: &mut Shelf,
) -> Result<(usize, bool), String> {
    let mut dice = Numbers(seed | 1 << 50);
    let (inputs, enables) = (nets(circuit, 'i'), nets(circuit, 'e'));
    let (buses, clk) = (nets(circuit, 'b'), circuit.net("clk"));
    let mut stimuli: Vec<NetKey> = [&inputs[..], &enables, &buses[..buses.len().min(2)]].concat();
    stimuli.extend(clk);
    let settings = (CORNERS[seed as usize % 4], POWER_UPS[seed as usize / 4 % 3]);
    let look = if seed % 5 == 4 { Look::Levels } else { Look::Changes };
    let mut both = Both::new(circuit, settings, &stimuli, look, shelf);
    for &net in inputs.iter().chain(&enables) {
        both.set(net, *pick(&mut dice, &KNOWN));
    }
    if let Some(clk) = clk {
        both.clock(clk, recipe.pause, recipe.pause + 1_000);
    }
    let contacts: Vec<DiscreteKey> = circuit
        .discretes
        .iter()
        .filter(|(_, discrete)| discrete.reference.starts_with('S'))
        .map(|(key, _)| key)
        .collect();
    let (mut changes, mut time) = (0, 0);
    for _ in 0..hands {
        time += match dice.below(6) {
            0 => 1 + dice.below(20_000) as i64,
            _ => recipe.pause + dice.below(recipe.pause as u64) as i64,
        };
        match both.advance(time)? {
            Outcome::Same(more) => changes += more,
            Outcome::Over(more) => return Ok((changes + more, false)),
        }
        match dice.below(8) {
            0 if !contacts.is_empty() => {
                let contact = *pick(&mut dice, &contacts);
                both.contact(contact, dice.below(3) as u8);
            }
            1 if !buses.is_empty() => {
                let bus = buses[dice.below(buses.len().min(2) as u64) as usize];
                both.set(bus, *pick(&mut dice, &['Z', 'Z', '0', '1', 'H', 'W']));
            }
            2 | 3 if !enables.is_empty() => {
                both.set(*pick(&mut dice, &enables), *pick(&mut dice, &KNOWN));
            }
            _ if !inputs.is_empty() => {
                both.set(*pick(&mut dice, &inputs), *pick(&mut dice, &LEVELS));
            }
            _ => {}
        }
    }
    Ok((changes, true))
}

/// Boards of one kind: all the same, and so many changes at least. More boards with `REFERENCE_BOARDS`.
fn boards(recipe: &Recipe, count: u64, at_least: usize) {
    let asked = std::env::var("REFERENCE_BOARDS").ok();
    let asked = asked.and_then(|count| count.parse().ok());
    let mut shelf = Shelf::default();
    let built_in = Library::built_in();
    let (mut changes, mut whole, mut wrong) = (0, 0, Vec::new());
    for seed in 0..asked.unwrap_or(count) {
        let text = write(recipe, seed, &built_in);
        let circuit = circuit(&mut built_in.clone(), &text);
        match work(&circuit, recipe, (seed, HANDS), &mut shelf) {
            Ok((more, to_the_end)) => {
                changes += more;
                whole += u64::from(to_the_end);
            }
            Err(why) => wrong.push(format!("seed {seed}: {why}\n{text}")),
        }
    }
    let count = wrong.len();
    assert!(wrong.is_empty(), "{count} boards differ: {}", wrong[0]);
    assert!(changes > at_least, "{changes} changes, {whole} boards to their end");
}

/// Hands on each board.
const HANDS: usize = 60;

#[test]
fn boards_of_gates_are_the_same() {
    boards(&GATES, 60, 10_000);
}

#[test]
fn boards_with_buses_are_the_same() {
    boards(&BUSES, 80, 5_000);
}

#[test]
fn boards_with_storage_are_the_same() {
    boards(&CLOCKED, 80, 5_000);
}

#[test]
fn boards_of_any_parts_are_the_same() {
    boards(&ANY, 80, 10_000);
}
