//! The pull-up of an open-drain net is too small, too large, or makes its edges too slow.
//!
//! # What it finds
//!
//! Nets that only open drains (or open collectors) drive, with a resistor to the supply:
//!
//! - smaller than (VCC - VOL) / (IOL - N IIL): an output has to take more current than its sheet gives a low level for;
//! - larger than (VCC - VOH) / (N IOH + N IIH): the leakages pull the high level down to less than 0.4 V above what the
//!   inputs need;
//! - so large that the net takes longer than 500 ns to rise from 10 % to 90 %, where CMOS inputs without hysteresis
//!   listen that are no clocks (these belong to `slow-clock-edge`).
//!
//! An open-drain net without any resistor is found as well, when an input listens, and one whose resistor leads to ground;
//! and one that is pulled up to a rail below what an input needs (an error), or less than 0.4 V above it.
//!
//! # Why it hurts
//!
//! Nothing but the resistor lifts the net. Too small, and the low level is none; too large, and the high level is late
//! or none.
//!
//! # Cure
//!
//! Choose a resistor within the range in the message, towards its lower end when the net is long or fast.
//!
//! # Example
//!
//! ```text
//! U1 74LS05 { 1A = a   1Y = /irq }
//! R1 resistor 470 ohm { 1 = VCC   2 = /irq }      # 9.6 mA at low, and the 74LS05 can take 8 mA
//! ```
//!
//! # Source
//!
//! The formulas: sheets of the '03, '05 and '12. 500 ns: Motorola DL129, MC74HC245A (input rise and fall at 4.5 V).

use super::super::levels::{ohms, volts};
use super::slow_edge::{time, too_slow};
use crate::check::{Finding, Rule, Subject, page};
use crate::circuit::{Circuit, NetKey};
use crate::diagnostic::Diagnostic;
use crate::electrical::operating_point::NetOperatingPoint;
use crate::electrical::pull::{PullUp, pull_to_rail, resistors_on};
use crate::electrical::{Capacitances, Sheets};
use crate::quantity::Voltage;
use crate::quantity::si::{Farads, Ohms, Volts};

pub(crate) const RULE: Rule = Rule {
    name: "pull-up-range",
    summary: "The pull-up of an open-drain net is too small, too large, or makes its edges too slow.",
    documentation: page!("pull_up_range.rs"),
    find,
};

/// What a handbook adds to the level that inputs need.
const MARGIN: Volts = Volts(0.4);

fn find(subject: &Subject<'_>, findings: &mut Vec<Finding>) {
    let circuit = subject.circuit;
    let sheets = Sheets::new(circuit);
    let capacitances = Capacitances::new(circuit, true);
    for (key, operating_point) in subject.operating_point.nets.iter() {
        if !super::is_open_drain(circuit, operating_point) || operating_point.loads.is_empty() {
            continue;
        }
        let net = &circuit.nets[key];
        let farads = capacitances.nets[key].total().farads();
        let problem = low_rail(circuit, key, operating_point).or_else(|| {
            let (message, why, help) = judge(subject, &sheets, key, operating_point, farads)?;
            let problem = Diagnostic::warning(RULE.name, message).at(net.span, "this net");
            Some(problem.note(why).help(help))
        });
        if let Some(problem) = problem {
            let path = net.path.clone();
            findings.push(Finding::new(circuit, super::board_of(net), path, problem));
        }
    }
}

/// A rail that no resistor makes a good high level of.
fn low_rail(circuit: &Circuit, key: NetKey, operating_point: &NetOperatingPoint) -> Option<Diagnostic> {
    let (_, supply) = pull_to_rail(circuit, key)?;
    let neediest = operating_point.loads.iter();
    let neediest = neediest.max_by(|a, b| a.input.high.total_cmp(&b.input.high))?;
    let needed = neediest.input.high;
    let new = match supply {
        low if low < needed => Diagnostic::error,
        thin if thin <= needed + MARGIN => Diagnostic::warning,
        _ => return None,
    };
    let net = &circuit.nets[key];
    let message = format!(
        "{} is pulled up to {}, and {} needs {}",
        net.path,
        volts(supply),
        super::pin_in_words(circuit, neediest.chip, neediest.pin),
        volts(needed)
    );
    let chip = &circuit.chips[neediest.chip];
    Some(
        new(RULE.name, message)
            .at(net.span, "this net")
            .at(chip.span, format!("{} listens", chip.number))
            .note("open drains only pull low: the net is never higher than its pull-up makes it")
            .help("pull it up to the supply of what listens, if its outputs stand that, or take a receiver with TTL input levels"),
    )
}

/// The resistors from a net to ground.
fn resistors_to_ground(circuit: &Circuit, net: NetKey) -> Vec<&str> {
    let grounded = resistors_on(circuit, net).filter(|resistor| {
        let rail = circuit.nets[resistor.to].rail;
        rail.and_then(|rail| rail.fed) == Some(Voltage::ZERO)
    });
    let paths = grounded.map(|resistor| circuit.discretes[resistor.discrete].path.as_str());
    paths.collect()
}

/// A message, why it matters and what to do.
type Words = (String, String, String);

/// A net that no resistor pulls up.
fn no_pull_up(circuit: &Circuit, key: NetKey) -> Option<Words> {
    let path = &circuit.nets[key].path;
    let down = resistors_to_ground(circuit, key);
    if !down.is_empty() {
        return Some((
            format!("{} pulls {path} down, and nothing pulls it up", super::list(&down)),
            "open drains only pull low: the net is never high".to_owned(),
            "lead the resistor to the supply instead of ground".to_owned(),
        ));
    }
    let outside = !circuit.assembly && !circuit.nets[key].connector_pins.is_empty();
    (!outside).then(|| {
        (
            format!("nothing pulls {path} up"),
            "open drains only pull low: the net is never high".to_owned(),
            "add a resistor of 1 kohm to 10 kohm from it to the supply".to_owned(),
        )
    })
}

/// What a pull-up to a supply has to work against; `None` when no sheet gives the low level.
fn pull_up(circuit: &Circuit, sheets: &Sheets, operating_point: &NetOperatingPoint, supply: Volts) -> Option<PullUp> {
    let outputs: Vec<_> =
        (operating_point.drivers.iter()).filter_map(|driver| sheets.output(circuit, driver.chip, driver.pin)).collect();
    let weakest =
        outputs.iter().filter_map(|output| output.low.as_ref()).min_by(|a, b| a.rated().total_cmp(&b.rated()))?;
    let inputs = || operating_point.loads.iter().map(|load| load.input);
    Some(PullUp {
        supply,
        high: inputs().map(|input| input.high).fold(Volts::ZERO, Volts::max) + MARGIN,
        low: weakest.points.last()?.1,
        sink: weakest.rated(),
        leak: outputs.iter().map(|output| output.leak).sum(),
        inputs_high: inputs().map(|input| input.current_high).sum(),
        inputs_low: inputs().map(|input| input.current_low).sum(),
    })
}

fn judge(
    subject: &Subject<'_>,
    sheets: &Sheets,
    key: NetKey,
    operating_point: &NetOperatingPoint,
    farads: Farads,
) -> Option<Words> {
    let circuit = subject.circuit;
    let path = &circuit.nets[key].path;
    let Some((resistance, supply)) = pull_to_rail(circuit, key) else {
        return no_pull_up(circuit, key);
    };
    let pull = pull_up(circuit, sheets, operating_point, supply)?;
    let value = ohms(resistance);
    let Some(least) = pull.least() else {
        return Some((
            format!("the inputs on {path} alone give more current than its outputs can take"),
            "no resistor makes its low level good".to_owned(),
            "put fewer inputs on the net, or take a stronger output".to_owned(),
        ));
    };
    let most = pull.most();
    if most < least {
        return Some((
            format!(
                "no pull-up of {path} makes both its levels good: its outputs need {} or more, and leakages {} or less",
                ohms(Ohms(least.0.ceil())),
                ohms(Ohms(most.0.floor()))
            ),
            "outputs leak at high, and take the currents of resistor and inputs at low".to_owned(),
            "put fewer outputs and inputs on the net, or take others".to_owned(),
        ));
    }
    let range = format!("take one between {} and {}", ohms(Ohms(least.0.ceil())), ohms(Ohms(most.0.min(1e6).floor())));
    if resistance < least {
        return Some((
            format!("the pull-up of {path} is {value}, and its outputs need {} or more", ohms(Ohms(least.0.ceil()))),
            "at low an output has to take more current than its sheet gives a level for".to_owned(),
            range,
        ));
    }
    if resistance > most {
        return Some((
            format!("the pull-up of {path} is {value}, and leakages need {} or less", ohms(Ohms(most.0.floor()))),
            "what outputs and inputs leak pulls the high level down".to_owned(),
            range,
        ));
    }
    let mut slow = (operating_point.loads.iter())
        .filter(|load| !super::is_clock(&circuit.chips[load.chip], load.pin))
        .filter_map(|load| too_slow(circuit, load, resistance, farads));
    let edge = slow.next()?;
    // The time is that of the resistor, as it grows.
    let fast = Ohms(resistance.0 * edge.allowed.0 / edge.takes.0);
    Some((
        format!("with {value}, {path} takes {} to rise, {}", time(edge.takes), edge.unit),
        format!(
            "CMOS inputs without hysteresis want edges of {} or less; in slower ones they may oscillate",
            time(edge.allowed)
        ),
        format!("take one between {} and {}", ohms(Ohms(least.0.ceil())), ohms(Ohms(fast.0.floor()))),
    ))
}
