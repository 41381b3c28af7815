//! What is stored at each edge of the clock, in the reference with delays, in the engine with delays, and in the one
//! without, wherever a design keeps to its timing.

use super::both::{Both, Look, Outcome};
use super::designs::machine;
use super::parts::circuit;
use super::plain::{Bit, Reference, Shelf};
use crate::timing::agreement::synchronous;
use coldboard::circuit::Circuit;
use coldboard::language::ast::{Corner, PowerUp};
use coldboard::logic::Level;
use coldboard::part::Library;
use coldboard::quantity::Time;
use coldboard::run::{Pause, Settings};
use coldboard::untimed::Machine;

/// Half a clock, in picoseconds: longer than any path through these boards.
const HALF: i64 = 1_000_000;

/// What the engine without delays stores otherwise than the reference; and how much is known in both.
fn differences(circuit: &Circuit, reference: &Reference, untimed: &Machine<'_>) -> (Vec<String>, usize) {
    let (mut found, mut known) = (Vec::new(), 0);
    for (key, chip) in circuit.chips.iter() {
        // An EEPROM counts its reads, which shows only while it is written.
        let counts = chip.number.starts_with("28C");
        let (Some((does, ours)), Some(theirs)) = (reference.stored(key), untimed.held(key)) else {
            continue;
        };
        let bits = does.states.iter().zip(&ours.state);
        for (name, &bit) in bits.filter(|_| !counts) {
            let names = &chip.part.function.states;
            let at = names.iter().position(|other| other == name);
            let at = at.expect("a stored bit");
            let other = match (theirs.state.unknown >> at & 1, theirs.state.value >> at & 1) {
                (1, _) => Bit::Unknown,
                (_, high) => Bit::known(high == 1),
            };
            known += usize::from(bit != Bit::Unknown);
            if bit != other {
                found.push(format!("{}.{name}: {bit:?}, not {other:?}", chip.path));
            }
        }
        for (ours, theirs) in ours.memories.iter().zip(&theirs.memories) {
            let words = (0..).zip(ours.words());
            let differs = words.filter(|&(address, &(value, unknown))| {
                let word = theirs.get(address);
                (word.value, word.unknown) != (value, unknown)
            });
            found.extend(differs.map(|(at, _)| format!("{}: address {at:#x}", chip.path)));
        }
    }
    (found, known)
}

fn without_delays<'c>(
    circuit: &'c Circuit,
    (corner, power_up): (Corner, PowerUp),
    stimuli: &[coldboard::circuit::NetKey],
) -> Machine<'c> {
    let settings = Settings { corner, temperature: None, power_up, ..Settings::TYPICAL };
    let made = Machine::new(circuit, settings, stimuli);
    made.unwrap_or_else(|problems| panic!("{problems:?}"))
}

#[test]
fn synchronous_boards_store_the_same_in_all_three() {
    let mut shelf = Shelf::default();
    let mut compared = 0;
    for seed in 1..=20 {
        let circuit = circuit(&mut Library::built_in(), &synchronous(seed));
        let clk = circuit.net("clk").expect("a clock");
        for settings in
            [(Corner::Typical, PowerUp::One), (Corner::Slowest, PowerUp::Unknown), (Corner::Fastest, PowerUp::Zero)]
        {
            let mut both = Both::new(&circuit, settings, &[clk], Look::Levels, &mut shelf);
            let mut untimed = without_delays(&circuit, settings, &[clk]);
            both.set(clk, '0');
            untimed.set(clk, Level::Zero);
            both.advance(10 * HALF).expect("the same");
            untimed.advance(Time::from_ps(10 * HALF));
            both.clock(clk, HALF, HALF);
            untimed.clock(clk, Time::from_ps(HALF), Time::from_ps(HALF));
            for clock in 1..=40 {
                let time = (10 + 2 * clock) * HALF - 10;
                match both.advance(time) {
                    Ok(Outcome::Same(_)) => {}
                    Ok(Outcome::Over(_)) => break,
                    Err(why) => panic!("seed {seed}, clock {clock}: {why}"),
                }
                assert_eq!(untimed.advance(Time::from_ps(time)), Pause::Reached);
                let (found, _) = differences(&circuit, &both.reference, &untimed);
                assert!(found.is_empty(), "seed {seed}, clock {clock}: {found:?}");
                compared += 1;
            }
        }
    }
    assert!(compared > 1000, "{compared} clocks");
}

/// Dunlin at its first program: before every second swing of its can, when the processor's clock is about to rise.
#[test]
fn dunlin_stores_the_same_without_delays() {
    let circuit = machine("dunlin/dunlin.board", "dunlin");
    let net = |path: &str| circuit.net(path).expect("a net");
    let (reset, swing, clk) = (net("CLOCK.reset_rc"), net("CLOCK.swing"), net("CLOCK.clk"));
    let settings = (Corner::Typical, PowerUp::Unknown);
    let mut stimuli = vec![reset];
    stimuli.extend((0..8).map(|bit| net(&format!("PORT.in{bit}"))));
    let mut reference = Reference::new(&circuit, settings, &stimuli, &mut Shelf::default());
    let mut untimed = without_delays(&circuit, settings, &stimuli);
    for (at, &net) in stimuli.iter().enumerate() {
        let high = at == 1 + 3;
        let level = if high { Level::One } else { Level::Zero };
        reference.set(net, super::plain::Level::from_char(level.to_char()));
        untimed.set(net, level);
    }
    let start = 10_020_000_000;
    reference.advance(start);
    assert_eq!(untimed.advance(Time::from_ps(start)), Pause::Reached);
    reference.set(reset, super::plain::Level::One);
    untimed.set(reset, Level::One);
    let (mut compared, mut most) = (0, 0);
    while reference.time() < start + 200_000_000 {
        let next = reference.next_event().expect("it swings");
        // What is due at a moment has been stored before it when the can is about to rise.
        let rises = reference.swings_at(next) && reference.level(swing).to_char() == '0';
        if rises && reference.level(clk).to_char() == '0' {
            reference.advance(next - 1);
            assert_eq!(untimed.advance(Time::from_ps(next - 1)), Pause::Reached);
            let (found, known) = differences(&circuit, &reference, &untimed);
            assert!(found.is_empty(), "at {next} ps: {found:?}");
            most = most.max(known);
            compared += 1;
        }
        reference.advance(next);
    }
    assert!(compared > 200 && most > 50, "{compared} times, {most} bits known");
}
