//! The engine without delays gives the same without tables, programs, gates of registers and nets that are stored bits.

use super::random::wild;
use super::{circuit, net};
use coldboard::language::ast::PowerUp;
use coldboard::logic::Level;
use coldboard::quantity::Time;
use coldboard::run::{Pause, Settings};
use coldboard::untimed::Machine;

/// Boards.
const BOARDS: u64 = 120;
/// Half a period of the clock, in picoseconds.
const HALF: i64 = 1_000_000;

#[test]
fn wild_boards_are_the_same_without_fast_paths() {
    let (mut compared, mut refused) = (0, 0);
    for seed in 1..=BOARDS {
        let text = wild(seed);
        let circuit = circuit(&text);
        let clk = net(&circuit, "clk");
        let power_up = if seed % 5 == 0 { PowerUp::Unknown } else { PowerUp::Random(seed) };
        let machines = [true, false].map(|fast_paths| {
            let settings = Settings { power_up, fast_paths, ..Settings::TYPICAL };
            Machine::new(&circuit, settings, &[clk])
        });
        assert_eq!(machines[0].is_ok(), machines[1].is_ok(), "seed {seed}\n{text}");
        let [Ok(mut fast), Ok(mut slow)] = machines else {
            continue;
        };
        for machine in [&mut fast, &mut slow] {
            machine.set(clk, Level::Zero);
            machine.advance(Time::from_us(10));
            machine.clock(clk, Time::from_ps(HALF), Time::from_ps(HALF));
        }
        for half in 1..=60 {
            let time = Time::from_ps(10_000_000 + HALF * half - 10);
            let pauses = [&mut fast, &mut slow].map(|machine| machine.advance(time));
            match &pauses {
                [Pause::Reached, Pause::Reached] => {}
                // Of several reasons in one moment the first that is met is reported.
                [Pause::Refused(fast), Pause::Refused(slow)] if fast.time == slow.time => {
                    refused += 1;
                    break;
                }
                other => panic!("{other:?} of seed {seed}, half {half}\n{text}"),
            }
            for (key, row) in circuit.nets.iter() {
                let levels = [&fast, &slow].map(|machine| machine.level(key));
                assert_eq!(levels[0], levels[1], "{} of seed {seed}, half {half}\n{text}", row.path);
            }
            compared += 1;
        }
        assert_eq!(fast.contentions(), slow.contentions(), "seed {seed}\n{text}");
        assert_eq!(fast.floating(), slow.floating(), "seed {seed}\n{text}");
    }
    assert!(compared > 500 && refused > 5, "{compared} compared, {refused} refused");
}
