//! The machine that is written out by hand for the benches, and the straight-line code of its netlist, compute what the
//! netlist does.

#[path = "../../../benches/yardstick/dunlin.rs"]
mod by_hand;
#[path = "../../../benches/yardstick/dunlin_levels.rs"]
mod levels;

use super::{dunlin::circuit, net};
use by_hand::Dunlin;
use coldboard::circuit::NetKey;
use coldboard::language::ast::{Corner, PowerUp};
use coldboard::logic::Level;
use coldboard::quantity::Time;
use coldboard::run::Engine;
use coldboard::run::{Pause, Settings};
use coldboard::untimed::Machine;
use levels::Levels;

#[test]
fn it_runs_the_programs_of_the_rom_as_the_netlist_does() {
    let circuit = circuit();
    let signal = |path: &str| circuit.signal(path).expect("a signal").nets;
    let inputs = signal("PORT.in");
    let reset = net(&circuit, "CLOCK.reset_rc");
    let clk = net(&circuit, "CLOCK.clk");
    let mut stimuli = inputs.clone();
    stimuli.push(reset);
    let watched: Vec<Vec<NetKey>> = [
        "AX.p",
        "AX.q",
        "YS.p",
        "YS.q",
        "ADDRESS.pc",
        "ADDRESS.m",
        "ALU.t",
        "ALU.c",
        "ALU.z",
        "ALU.n",
        "PORT.out",
        "PORT./told",
        "CONTROL.ir",
        "CONTROL.step",
        "CONTROL.to",
        "BACK.d",
    ]
    .map(signal)
    .to_vec();
    for page in [2u8, 3, 8] {
        let settings =
            Settings { corner: Corner::Typical, temperature: None, power_up: PowerUp::Zero, ..Settings::TYPICAL };
        let mut machine = Machine::new(&circuit, settings, &stimuli).expect("it can run");
        for (at, &net) in inputs.iter().rev().enumerate() {
            let high = page >> at & 1 == 1;
            machine.set(net, if high { Level::One } else { Level::Zero });
        }
        machine.set(reset, Level::Zero);
        machine.advance(Time::from_us(10_500));
        machine.set(reset, Level::One);
        machine.stop_at(clk, true);
        let mut by_hand = Dunlin::new(&circuit, page);
        by_hand.reset();
        let mut levels = Levels::new(&circuit, page);
        levels.reset_rc = true;
        let mut told = Vec::new();
        for clock in 1..=20_000u64 {
            let limit = Time::from_ps(machine.now().ps() + 10_000_000);
            let stands = loop {
                match machine.advance(limit) {
                    Pause::Changed if machine.level(clk).is_high() => break false,
                    Pause::Changed | Pause::Looked => {}
                    Pause::Reached => break true,
                    ended => panic!("{ended:?}"),
                }
            };
            for _ in 0..8 {
                if by_hand.clocks < clock {
                    by_hand.swing();
                }
            }
            for _ in 0..16 {
                let low = !levels.clk;
                levels.edge();
                if low && levels.clk {
                    break;
                }
            }
            if stands {
                assert!(by_hand.halts() && by_hand.clocks == clock - 1, "clock {clock}");
                assert!(levels.halts(), "clock {clock}");
                break;
            }
            assert_eq!(by_hand.clocks, clock);
            let own = [
                by_hand.a.into(),
                by_hand.x.into(),
                by_hand.y.into(),
                by_hand.s.into(),
                by_hand.pc.into(),
                u16::from_le_bytes(by_hand.m).into(),
                by_hand.t.into(),
                by_hand.c.into(),
                by_hand.z.into(),
                by_hand.n.into(),
                by_hand.out.into(),
                by_hand.told.into(),
                by_hand.ir.into(),
                by_hand.step.into(),
                by_hand.to.into(),
                u64::from(by_hand.d),
            ];
            let straight = [
                levels.a.into(),
                levels.x.into(),
                levels.y.into(),
                levels.s.into(),
                levels.pc().into(),
                u16::from_le_bytes(levels.m).into(),
                levels.t.into(),
                levels.c.into(),
                levels.z.into(),
                levels.n.into(),
                levels.out.into(),
                levels.told.into(),
                levels.ir.into(),
                levels.step.into(),
                u64::from((!levels.to).trailing_zeros()),
                u64::from(levels.d),
            ];
            assert_eq!(straight, own, "page {page}, clock {clock}");
            for ((nets, own), at) in watched.iter().zip(own).zip(0..) {
                // A bus that a write of the RAM floats is pulled low in both.
                let word = machine.word(nets);
                assert_eq!((word.value, word.unknown), (own, 0), "page {page}, clock {clock}, signal {at}");
            }
            if clock % 1000 == 0 {
                assert!(levels.ram == by_hand.ram, "page {page}, clock {clock}");
            }
            if !by_hand.told {
                told.push(by_hand.out);
            }
        }
        // From the memory of anyone: the first primes.
        if page == 2 {
            assert_eq!(told[..5], [2, 3, 5, 7, 11]);
        }
    }
}
