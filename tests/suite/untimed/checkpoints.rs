//! A machine without delays that is put back to a checkpoint goes on as it did.

use super::random::wild;
use super::{circuit, net};
use coldboard::language::ast::{Corner, PowerUp};
use coldboard::logic::Level;
use coldboard::quantity::Time;
use coldboard::run::{Pause, Settings};
use coldboard::untimed::Machine;

#[test]
fn a_machine_that_is_put_back_goes_on_as_it_did() {
    let mut compared = 0;
    for seed in 1..=60 {
        let circuit = circuit(&wild(seed));
        let clk = net(&circuit, "clk");
        let settings = Settings {
            corner: Corner::Typical,
            temperature: None,
            power_up: PowerUp::Random(seed),
            ..Settings::TYPICAL
        };
        let Ok(mut machine) = Machine::new(&circuit, settings, &[clk]) else {
            continue;
        };
        let half = Time::from_us(1);
        machine.clock(clk, half, half);
        if machine.advance(Time::from_us(7)) != Pause::Reached {
            continue;
        }
        let checkpoint = machine.checkpoint();
        let mut onward = || {
            let mut seen: Vec<(Pause, Vec<Level>)> = Vec::new();
            for time in 8..40 {
                let pause = machine.advance(Time::from_us(time));
                let levels = circuit.nets.keys().map(|net| machine.level(net));
                seen.push((pause, levels.collect()));
            }
            let counters = machine.counters();
            machine.restore(&checkpoint);
            (seen, counters)
        };
        let first = onward();
        assert_eq!(onward(), first, "seed {seed}");
        let moves = first.0.windows(2).any(|pair| pair[0].1 != pair[1].1);
        compared += u32::from(moves);
    }
    assert!(compared > 10, "{compared} boards ran");
}
