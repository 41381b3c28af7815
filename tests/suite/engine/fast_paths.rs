//! Fast paths of the engine give what the full functions give: a machine that keeps causes and is forbidden all fast paths
//! is compared with one that takes them.

use super::bench::settings;
use coldboard::circuit::{Circuit, elaborate};
use coldboard::diagnostic::any_error;
use coldboard::language::ast::{Corner, PowerUp};
use coldboard::language::parse;
use coldboard::logic::Level;
use coldboard::part::Library;
use coldboard::quantity::Time;
use coldboard::run::{NullSink, Settings};
use coldboard::simulate::Machine;
use rand_chacha::ChaCha8Rng;
use rand_core::{Rng, SeedableRng};

/// Moments of each part.
const MOMENTS: usize = 1_500;

/// A chip alone on a board, each pin on a net of its own, in a family or grade that has a sheet for it.
fn alone(name: &str) -> Option<Circuit> {
    let mut library = Library::built_in();
    let part = library.part(name)?;
    let families = ["HC", "HCT", "AC", "LS", "ALS", "F"].map(|family| format!("74{family}{name}"));
    let grades = part.sheets.iter().map(|sheet| &sheet.name);
    let graded = grades.map(|grade| format!("{name}-{grade}"));
    let value = if part.function.oscillator.is_some() { " 2 MHz" } else { "" };
    let mut numbers = families.into_iter().chain([name.to_owned()]).chain(graded);
    let number = numbers.find(|number| library.find(number).is_ok())?;
    let function = &part.function;
    let pins = function.inputs.iter().chain(&function.outputs);
    let mut wires: Vec<String> = pins.map(|&pin| format!("{} = n{}", part.pins[pin].name, pin)).collect();
    wires.sort();
    wires.dedup();
    let text = format!(
        "board one {{ rail VCC 5 V  rail GND  feed U1 from VCC GND  U1 {number}{value} {{ {} }} }}",
        wires.join("  ")
    );
    let file = library.add_source("one.board", &text);
    let (tree, problems) = parse(file, &text);
    assert!(!any_error(&problems), "{problems:?}");
    elaborate(None, &[tree], &library).0
}

/// How inputs move.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Manner {
    /// Often too close for the sheet, several at once, and to unknown levels.
    Wild,
    /// All known from the start, one at a time, and slowly: so that a memory is written, and is busy with it.
    Calm,
}

/// Moves inputs by chance; the first difference, and how many requirements were not met.
fn compare(circuit: &Circuit, corner: Corner, seed: u64, manner: Manner) -> (Option<String>, u64) {
    let chip = circuit.chips.keys().next().expect("a chip");
    let row = &circuit.chips[chip];
    let function = &row.part.function;
    let inputs: Vec<_> = function.inputs.iter().filter_map(|&pin| row.nets[pin]).collect();
    let clocks: Vec<_> = (0..inputs.len()).filter(|&input| function.clock_inputs() >> input & 1 == 1).collect();
    let [mut short, mut long] = [true, false].map(|fast_paths| {
        let settings = Settings { history: !fast_paths, fast_paths, ..settings(corner, PowerUp::Random(seed)) };
        Machine::new(circuit, settings, &inputs)
    });
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let mut chance = |among: usize| random.next_u32() as usize % among.max(1);
    // An oscillator needs 10 ms to start; it has no inputs.
    let mut time = if inputs.is_empty() { 10_000_000_000 } else { 0 };
    let most = match manner {
        _ if inputs.is_empty() => 0,
        Manner::Wild => 2,
        Manner::Calm => 1,
    };
    if manner == Manner::Calm {
        for &net in &inputs {
            short.set(net, Level::One);
            long.set(net, Level::One);
        }
    }
    for moment in 0..MOMENTS {
        for _ in 0..(1 + chance(6) / 4).min(most) {
            let at =
                if chance(2) == 0 && !clocks.is_empty() { clocks[chance(clocks.len())] } else { chance(inputs.len()) };
            let level = match chance(30) {
                0 if manner == Manner::Wild => Level::X,
                // Where the pin is an output as well, the chip may be heard then.
                2 | 4 if manner == Manner::Wild => Level::Z,
                odd if odd % 2 == 1 => Level::One,
                _ => Level::Zero,
            };
            short.set(inputs[at], level);
            long.set(inputs[at], level);
        }
        time += match manner {
            Manner::Wild => [500, 4_000, 17_000, 60_000, 300_000][chance(5)],
            Manner::Calm => [300_000, 300_000, 300_000, 2_000_000_000][chance(4)],
        };
        for machine in [&mut short, &mut long] {
            machine.advance(Time::from_ps(time), &mut NullSink);
        }
        for (net, row) in circuit.nets.iter() {
            let (a, b) = (short.level(net), long.level(net));
            if a != b {
                let found = format!("{} is {a:?}, not {b:?}, in moment {moment}", row.path);
                return (Some(found), 0);
            }
        }
        if short.stored(chip).map(|held| held.state) != long.stored(chip).map(|held| held.state) {
            return (Some(format!("storage in moment {moment}")), 0);
        }
    }
    let told = |machine: &Machine<'_>| format!("{:?} {:?}", machine.violations(), machine.filtered());
    let unmet = short.violations().iter().map(|it| it.count).sum();
    let differs = told(&short) != told(&long);
    (differs.then(|| "what is told".to_owned()), unmet)
}

#[test]
fn every_part_is_the_same_without_fast_paths() {
    let library = Library::built_in();
    let names: Vec<String> = library.names().map(str::to_owned).collect();
    let (mut parts, mut unmet) = (0, 0);
    for name in &names {
        let Some(circuit) = alone(name) else {
            continue;
        };
        parts += 1;
        let seed: u64 = name.bytes().map(u64::from).sum();
        let ways =
            [(Corner::Slowest, Manner::Wild), (Corner::Random(seed), Manner::Wild), (Corner::Slowest, Manner::Calm)];
        for (corner, manner) in ways {
            let (found, count) = compare(&circuit, corner, seed, manner);
            assert_eq!(found, None, "{name} at {corner:?}, {manner:?}");
            unmet += count;
        }
    }
    assert!(parts > 100 && unmet > 1_000, "{parts} {unmet}");
}
