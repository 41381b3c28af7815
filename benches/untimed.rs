//! Clocks a second of the computer `dunlin` while it looks for primes: with delays, without, and written out by hand.
//! All three run by turns in one process, so that their ratios hold on a noisy machine.

#[path = "yardstick/dunlin.rs"]
mod yardstick;

use coldboard::circuit::{Circuit, NetKey};
use coldboard::cli::files::Disk;
use coldboard::language::ast::{Corner, PowerUp};
use coldboard::logic::Level;
use coldboard::part::Library;
use coldboard::project::Project;
use coldboard::quantity::Time;
use coldboard::simulate::{self, Nobody};
use coldboard::untimed;
use std::hint::black_box;
use std::path::Path;
use std::sync::Arc;
use std::time::Instant;
use yardstick::Dunlin;

/// The page of the program: designs/dunlin/rom.board.
const PRIMES: u8 = 2;
/// Swings of the oscillator in one turn: 10,000 clocks, of the 28,000 that the program takes.
const SWINGS: i64 = 20_000;
/// A swing at 2.4576 MHz, in picoseconds: designs/dunlin/clock.board.
const SWING: i64 = 1_000_000_000_000 / 2_457_600;
/// Turns of each.
const TURNS: usize = 15;

fn circuit() -> Arc<Circuit> {
    let path = Path::new("designs/dunlin/dunlin.board");
    let mut project = Project::open(&Disk, path, Library::built_in());
    project.circuit(Some("dunlin")).0.expect("dunlin")
}

/// One of the three: sets it back, and runs it for a turn.
struct Runner<'a> {
    name: &'static str,
    turn: Box<dyn FnMut() + 'a>,
    seconds: Vec<f64>,
}

fn main() {
    let circuit = circuit();
    let inputs = circuit.signal("PORT.in").expect("switches").nets;
    let reset = circuit.net("CLOCK.reset_rc").expect("reset");
    let halt = circuit.net("CONTROL./to_halt").expect("halt");
    let mut stimuli = inputs.clone();
    stimuli.push(reset);
    let page: Vec<(NetKey, Level)> = inputs
        .iter()
        .rev()
        .enumerate()
        .map(|(at, &net)| {
            let high = PRIMES >> at & 1 == 1;
            (net, if high { Level::One } else { Level::Zero })
        })
        .collect();
    let (corner, temperature, power_up) = (Corner::Typical, None, PowerUp::Zero);

    let settings = simulate::Settings {
        corner,
        temperature,
        power_up,
        history: false,
    };
    let mut timed = simulate::Machine::new(&circuit, settings, &stimuli);
    let settings = untimed::Settings {
        corner,
        temperature,
        power_up,
    };
    let untimed = untimed::Machine::new(&circuit, settings, &stimuli);
    let mut untimed = untimed.unwrap_or_else(|problems| panic!("{problems:?}"));
    for &(net, level) in &page {
        timed.set(net, level);
        untimed.set(net, level);
    }
    // The can needs 10 ms to start.
    timed.advance(Time::from_us(10_500), &mut Nobody);
    untimed.advance(Time::from_us(10_500));
    let mut by_hand = Dunlin::new(&circuit, PRIMES);

    let with_delays = || {
        timed.set(reset, Level::Zero);
        let now = timed.now().ps();
        timed.advance(Time::from_ps(now + 2 * SWING), &mut Nobody);
        timed.set(reset, Level::One);
        timed.advance(Time::from_ps(now + SWINGS * SWING), &mut Nobody);
        assert!(timed.level(halt).is_high());
    };
    let without = || {
        untimed.set(reset, Level::Zero);
        let now = untimed.now().ps();
        untimed.advance(Time::from_ps(now + 2 * SWING));
        untimed.set(reset, Level::One);
        let pause = untimed.advance(Time::from_ps(now + SWINGS * SWING));
        assert_eq!(pause, untimed::Pause::Reached);
        assert!(untimed.level(halt).is_high());
    };
    let straight = || {
        by_hand.reset();
        for _ in 0..SWINGS {
            by_hand.swing();
        }
        assert!(!black_box(&by_hand).halts());
    };
    let mut runners = [
        Runner {
            name: "with delays",
            turn: Box::new(with_delays),
            seconds: Vec::new(),
        },
        Runner {
            name: "untimed",
            turn: Box::new(without),
            seconds: Vec::new(),
        },
        Runner {
            name: "by hand",
            turn: Box::new(straight),
            seconds: Vec::new(),
        },
    ];
    for _ in 0..TURNS {
        for runner in &mut runners {
            let start = Instant::now();
            (runner.turn)();
            runner.seconds.push(start.elapsed().as_secs_f64());
        }
    }
    let clocks = (SWINGS / 2) as f64;
    let rates: Vec<f64> = runners
        .iter_mut()
        .map(|runner| {
            runner.seconds.sort_by(f64::total_cmp);
            clocks / runner.seconds[TURNS / 2]
        })
        .collect();
    tell(&runners, &rates);
    drop(runners);
    let (moments, evaluations) = untimed.counters();
    let fulls = untimed.full_evaluations();
    let clocks = clocks * TURNS as f64;
    tell_work([moments, evaluations, fulls].map(|count| count as f64 / clocks));
}

#[expect(clippy::print_stdout, reason = "a bench tells its figures")]
fn tell_work([moments, evaluations, fulls]: [f64; 3]) {
    println!(
        "untimed, for each clock: {moments:.2} moments, {evaluations:.1} evaluations, {fulls:.2} of them by full functions"
    );
}

#[expect(clippy::print_stdout, reason = "a bench tells its figures")]
fn tell(runners: &[Runner<'_>], rates: &[f64]) {
    for (runner, rate) in runners.iter().zip(rates) {
        println!("{:<12} {:>12.0} clocks/s", runner.name, rate);
    }
    println!(
        "untimed is {:.1} times as fast as with delays",
        rates[1] / rates[0]
    );
    println!(
        "by hand is {:.1} times as fast as untimed",
        rates[2] / rates[1]
    );
}
