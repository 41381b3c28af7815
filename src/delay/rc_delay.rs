//! Pulls against capacitors: how long a resistor takes to move a net past the thresholds of those that listen.

use super::threshold::{charge_time, switching_volts};
use crate::circuit::{Circuit, DiscreteKind, NetKey};
use crate::electrical::sheet::{BASE_CURRENT, at_supply};
use crate::language::ast::Corner;
use crate::logic::Level;
use crate::part::{Edge, LevelName};
use crate::quantity::si::{Amperes, Volts};
use crate::quantity::{Capacitance, Resistance, Time};

/// Capacitors smaller than this do not slow a pull enough to matter here: trace and pin capacitances have no part of
/// their own.
const LEAST_CAPACITOR: Capacitance = Capacitance::from_raw(100_000);

/// No more nets than so many are followed from one capacitor.
const MOST_JOINED: usize = 64;

/// The time that a pull needs against a capacitor, in picoseconds, to either level.
#[derive(Clone, Copy, Debug)]
pub struct RcDelay {
    /// To high.
    pub rise: Time,
    /// To low.
    pub fall: Time,
}

impl RcDelay {
    /// The times of an RC up to the thresholds of the inputs on a net, and on those that resistors and contacts join to
    /// it; the slowest of them counts.
    pub fn new(circuit: &Circuit, corner: Corner, net: NetKey, ohms: Resistance, capacitance: Capacitance) -> RcDelay {
        let mut rc_delay = RcDelay { rise: Time::ZERO, fall: Time::ZERO };
        let input_current = input_low_current(circuit, corner, net);
        let connected = connected(circuit, net);
        for &(chip, pin) in connected.iter().flat_map(|&net| &circuit.nets[net].chip_pins) {
            let chip = &circuit.chips[chip];
            let mut inputs = chip.part.function.inputs.iter();
            let Some(input) = inputs.position(|&other| other == pin) else {
                continue;
            };
            let share = |edge, whole: Volts| {
                let volts = switching_volts(chip, input, edge, corner);
                (volts / whole).clamp(0.001, 0.99)
            };
            let time = |share| charge_time(ohms, capacitance, share);
            let supply = chip.supply.volts();
            let risen = supply + input_current * ohms.ohms();
            rc_delay.rise = rc_delay.rise.max(time(share(Edge::Rise, risen)));
            rc_delay.fall = rc_delay.fall.max(time(1.0 - share(Edge::Fall, supply)));
        }
        rc_delay
    }

    /// The time to a level.
    pub fn to(self, level: Level) -> Time {
        if level.is_high() { self.rise } else { self.fall }
    }
}

/// A net, and those that resistors and contacts join to it without a rail in between.
fn connected(circuit: &Circuit, net: NetKey) -> Vec<NetKey> {
    let mut nets = vec![net];
    let mut at = 0;
    while let Some(&net) = nets.get(at)
        && at < MOST_JOINED
    {
        at += 1;
        for &(key, pin) in &circuit.nets[net].discrete_pins {
            let discrete = &circuit.discretes[key];
            let others = match discrete.kind {
                DiscreteKind::Resistor(_) | DiscreteKind::Button | DiscreteKind::Switch => vec![1 - pin.min(1)],
                DiscreteKind::Changeover if pin == 0 => vec![1, 2],
                DiscreteKind::Changeover => vec![0],
                DiscreteKind::Network(_, true) if pin > 0 => vec![0],
                DiscreteKind::Network(_, true) => (1..discrete.nets.len()).collect(),
                DiscreteKind::Network(_, false) => vec![pin ^ 1],
                _ => Vec::new(),
            };
            for other in others.into_iter().filter_map(|pin| discrete.nets.get(pin).copied().flatten()) {
                if circuit.rail_level(other).is_none() && !nets.contains(&other) {
                    nets.push(other);
                }
            }
        }
    }
    nets
}

/// The current that bipolar inputs let out into a net that is low: with it a pull-up fills a capacitor much
/// sooner. Sheets tell the most of it only, so that the slowest corner counts on none.
fn input_low_current(circuit: &Circuit, corner: Corner, net: NetKey) -> Amperes {
    if !matches!(corner, Corner::Fastest | Corner::Typical) {
        return Amperes::ZERO;
    }
    let pins = circuit.nets[net].chip_pins.iter();
    let currents = pins.filter_map(|&(chip, pin)| {
        let chip = &circuit.chips[chip];
        let listens = chip.fed && chip.part.function.inputs.contains(&pin);
        let family = chip.electrical.as_ref().filter(|_| listens)?;
        at_supply::<Amperes>(family, LevelName::InputCurrentLow, chip.supply.volts())
    });
    currents.filter(|amps| *amps > BASE_CURRENT).sum()
}

/// The capacitance between a net and the rails, if it slows a pull, and the weak level that it holds the net at when power
/// comes.
pub fn capacitor_on(circuit: &Circuit, net: NetKey) -> Option<(Capacitance, Level)> {
    let mut total = 0;
    let mut start = Level::L;
    for &(key, pin) in &circuit.nets[net].discrete_pins {
        let discrete = &circuit.discretes[key];
        if let DiscreteKind::Capacitor(value) = discrete.kind
            && let Some(&Some(other)) = discrete.nets.get(1 - pin.min(1))
            && let Some(rail) = circuit.rail_level(other)
        {
            total += value.raw();
            start = rail.weak();
        }
    }
    let total = Capacitance::from_raw(total);
    (total >= LEAST_CAPACITOR).then_some((total, start))
}
