//! An LED gets too much current, or too little to be seen.
//!
//! # What it finds
//!
//! LEDs that may carry more than 20 mA, LEDs that stay below 0.5 mA even at their brightest, and LEDs that no state of
//! their nets can light, because they are turned round. The current runs from the weakest output into the lamp that takes
//! the least, to the strongest into the one that takes the most.
//!
//! # Why it hurts
//!
//! Too much current ages the lamp and the output behind it, and pulls the level down. A lamp that stays dark tells a
//! person at the bench the opposite of what is so.
//!
//! # Cure
//!
//! R = (V - Vf) / I: with 5 V and about 2 V across the lamp, 1 kohm gives 3 mA, enough for a panel. TTL and LS outputs
//! have little current at high: let them pull the cathode low instead.
//!
//! # Example
//!
//! ```text
//! D1 led red 100 ohm { anode = VCC   cathode = GND }        # up to 32 mA
//! ```
//!
//! # Source
//!
//! GB-413 series 3 mm lamp sheet (10 to 20 mA recommended; 1.7 V at 20 mA at least); Vishay 83012 Rev.2.3 and 83030
//! Rev.1.9 (forward voltages). What can be seen: common practice.

use super::super::levels::amps;
use crate::check::{Finding, Rule, Subject, page};
use crate::circuit::{Discrete, DiscreteKey};
use crate::diagnostic::Diagnostic;
use crate::electrical::led;
use crate::electrical::operating_point::Range;
use crate::quantity::si::Amperes;

pub(crate) const RULE: Rule = Rule {
    name: "led-current",
    summary: "An LED gets too much current, or too little to be seen.",
    documentation: page!("led_current.rs"),
    find,
};

fn find(subject: &Subject<'_>, findings: &mut Vec<Finding>) {
    let circuit = subject.circuit;
    for (&key, &range) in &subject.operating_point.currents.leds {
        let led = &circuit.discretes[key];
        if let Some(problem) = judge(subject, key, led, range) {
            findings.push(Finding::new(circuit, led.board, led.path.clone(), problem));
        }
    }
}

fn judge(subject: &Subject<'_>, key: DiscreteKey, led: &Discrete, range: Range<Amperes>) -> Option<Diagnostic> {
    let circuit = subject.circuit;
    let rail = |pin: usize| led.nets[pin].and_then(|net| circuit.nets[net].rail);
    let known = led.nets.iter().flatten().all(|&net| {
        let operating_point = &subject.operating_point.nets[net];
        circuit.nets[net].rail.is_some() || operating_point.high.is_some() && operating_point.low.is_some()
    });
    let path = &circuit.discretes[key].path;
    let (message, why, help) = if range.most > led::MOST {
        (
            format!("{path} may carry {}", amps(range.most)),
            "common lamps are made for 20 mA at most, and an output has to give that current",
            "take a larger resistor in series: 1 kohm at 5 V gives about 3 mA",
        )
    } else if !known {
        return None;
    } else if range.most == Amperes::ZERO {
        let both = rail(0).is_some() && rail(1).is_some();
        let why = if both {
            "its anode is not above its cathode"
        } else {
            "in no state of its nets is its anode far enough above its cathode"
        };
        (format!("{path} can never light"), why, "swap anode and cathode")
    } else if range.least < led::LEAST {
        (
            format!("{path} may get as little as {} ({} at most)", amps(range.least), amps(range.most)),
            "so little light is hardly seen, and a dark lamp is taken for a low level",
            "take a smaller resistor, or let the output pull the cathode low",
        )
    } else {
        return None;
    };
    let new = if range.least > led::MOST { Diagnostic::error } else { Diagnostic::warning };
    Some(new(RULE.name, message).at(led.span, "this lamp").note(why).help(help))
}
