//! Every part of the library on its own: whatever moves when one input moves is an arc of the graph, and in its time.

use super::arrivals::Numbers;
use super::*;
use coldboard::circuit::NetKey;
use coldboard::language::ast::{Corner, PowerUp};
use coldboard::logic::Level;
use coldboard::part::PinKind;
use coldboard::run::{Pause, Settings, Sink};
use coldboard::simulate::Machine;
use coldboard::timing::graph::{Node, Transition};

struct Changes(Vec<(i64, NetKey, Level)>);

impl Sink for Changes {
    fn change(&mut self, time: Time, net: NetKey, level: Level) {
        self.0.push((time.ps(), net, level));
    }
}

/// A board with one chip whose every pin has a net of its own, named after the number of the pin.
fn alone(number: &str, part: &coldboard::part::Part) -> String {
    let mut pins = String::new();
    for pin in &part.pins {
        match pin.kind {
            PinKind::Power | PinKind::Ground | PinKind::None => {}
            _ => pins += &format!("{} = p{}  ", pin.number, pin.number),
        }
    }
    format!("board b {{ rail VCC 5 V  rail GND  feed U1 from VCC GND  U1 {number} {{ {pins} }} }}")
}

/// Toggles one input after another, in 10 random corners, until a requirement is not met or a use is
/// forbidden: what is unknown from then on follows other rules. Pins that are both input and output are left alone.
#[test]
fn whatever_an_input_moves_is_an_arc_in_its_time() {
    let library = library();
    let names: Vec<String> = library.names().map(str::to_owned).collect();
    let mut tried = 0;
    let mut moves = 0;
    let mut wrong = Vec::new();
    for name in names {
        let part = library.part(&name).expect("a part of the library");
        // A pin that is driven by the chip moves what hangs on it in its turn: more than one step.
        let turns = part.function.memories.is_empty() && part.pins.iter().any(|pin| pin.kind == PinKind::InOut);
        // What a resistor and a capacitor time is not alone.
        let timed = part.pins.iter().any(|pin| pin.kind == PinKind::Timing);
        if part.function.oscillator.is_some() || turns || timed {
            continue;
        }
        for sheet in &part.sheets {
            let number = match (sheet.grade, sheet.name.as_str()) {
                (true, grade) => format!("{name}-{grade}"),
                (false, "TTL") if library.find(&name).is_ok() => name.clone(),
                (false, "TTL") => format!("74{name}"),
                (false, family) => format!("74{family}{name}"),
            };
            let design = circuit(&alone(&number, &part));
            let analysis = analysis(&design, Parts::Mixed, &[]);
            let inputs: Vec<NetKey> = part
                .pins
                .iter()
                .filter(|pin| pin.kind == PinKind::In)
                .filter_map(|pin| design.net(&format!("p{}", pin.number)))
                .collect();
            for seed in 1..=10 {
                moves += toggle(&design, &analysis, &inputs, seed, &number, &mut wrong);
                tried += 1;
            }
        }
    }
    wrong.sort();
    wrong.dedup();
    assert!(wrong.is_empty(), "{} of {tried} chips:\n{}", wrong.len(), wrong.join("\n"));
    assert!(tried > 600 && moves > 30_000, "{tried} chips, {moves} moves");
}

fn toggle(
    design: &Design,
    analysis: &Analysis<'_>,
    inputs: &[NetKey],
    seed: u64,
    number: &str,
    wrong: &mut Vec<String>,
) -> usize {
    let mut numbers = Numbers(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1);
    let settings = Settings {
        temperature: None,
        corner: Corner::Random(seed),
        power_up: PowerUp::Random(seed),
        ..Settings::TYPICAL
    };
    let mut machine = Machine::new(design, settings, inputs);
    let mut levels: Vec<bool> = inputs.iter().map(|_| numbers.below(2) == 1).collect();
    for (&net, &level) in inputs.iter().zip(&levels) {
        machine.set(net, if level { Level::One } else { Level::Zero });
    }
    let pause = Time::from_us(20);
    assert_eq!(machine.advance(pause, &mut Changes(Vec::new())), Pause::Reached);
    design.nets.keys().for_each(|net| machine.watch(net, true));
    let mut seen = 0;
    for _ in 0..60 {
        let at = numbers.below(inputs.len() as u64) as usize;
        levels[at] = !levels[at];
        let begin = machine.now();
        machine.set(inputs[at], if levels[at] { Level::One } else { Level::Zero });
        let mut changes = Changes(Vec::new());
        assert_eq!(machine.advance(begin + pause, &mut changes), Pause::Reached);
        if !machine.violations().is_empty() || !machine.forbidden().is_empty() {
            break;
        }
        let Some(spot) = analysis.graph.timing_net_of[inputs[at]] else {
            continue;
        };
        let from = Node::of(spot, if levels[at] { Transition::Rise } else { Transition::Fall });
        for (time, net, level) in changes.0 {
            let since = time - begin.ps();
            if net == inputs[at] {
                continue;
            }
            seen += 1;
            let to = match level {
                Level::One | Level::H => Transition::Rise,
                Level::Zero | Level::L => Transition::Fall,
                _ => Transition::ToUnknown,
            };
            let target = analysis.graph.timing_net_of[net];
            let arcs = analysis.graph.leaving(from).iter().map(|&key| analysis.graph.arcs[key]);
            let mut arcs = arcs.filter(|arc| Some(arc.to.timing_net()) == target);
            let fits = arcs.any(|arc| {
                let late = arc.late.map_or(i64::MAX, i64::from);
                arc.to.what() == to && (i64::from(arc.early)..=late).contains(&since)
            });
            if !fits && wrong.len() < 2000 {
                let name = |net: NetKey| {
                    design.nets[net].chip_pins.first().map_or(String::new(), |&(chip, pin)| design.pin_path(chip, pin))
                };
                wrong.push(format!("{number}: {} {:?} -> {} {to:?}", name(inputs[at]), from.what(), name(net)));
            }
        }
    }
    seen
}
