//! What holds a net at a level, and what leaks on it, as branches for the solver.

use super::drive::{Driver, Enabled};
use super::operating_point::{Load, NetOperatingPoint};
use super::sheet::{Output, Sheets, Side};
use super::solver::Curve;
use crate::circuit::{Circuit, DiscreteKey, DiscreteKind, NetKey};
use crate::quantity::si::{Amperes, Ohms, Volts};

/// The strongest output.
pub(super) const NO_LOSS: Ohms = Ohms(1e-3);

/// What holds a net.
#[derive(Clone, Debug)]
pub(super) enum Bias {
    /// An output, and others like it that take turns with it.
    Chip(Driver, Output, Vec<Driver>),
    /// A contact to a rail, and the voltage of that.
    Contact(DiscreteKey, NetKey, Volts),
}

impl Bias {
    /// True when nothing is different with the other one, not even the board that it stands on.
    fn is_equivalent(&self, other: &Bias, circuit: &Circuit) -> bool {
        match (self, other) {
            (Bias::Chip(a, one, _), Bias::Chip(b, two, _)) => {
                let board = |driver: &Driver| circuit.chips[driver.chip].board;
                one == two && board(a) == board(b)
            }
            (Bias::Contact(a, _, one), Bias::Contact(b, _, two)) => {
                one == two && circuit.discretes[*a].board == circuit.discretes[*b].board
            }
            _ => false,
        }
    }
}

/// The current into an output that drives, over its voltage.
pub(super) fn driven(side: &Side, high: bool, strong: bool) -> Curve {
    if strong {
        return Curve::new(vec![(side.rail, Amperes::ZERO), (side.rail + Volts(1.0), Volts(1.0) / NO_LOSS)]);
    }
    let sign = if high { -1.0 } else { 1.0 };
    let mut points = side.points.clone();
    // Up to the first point of the sheet the level is no better than there; 1 mV keeps the pieces apart.
    if let Some(&(amps, volts)) = points.first()
        && amps > Amperes::ZERO
    {
        points.insert(0, (Amperes::ZERO, volts - Volts(sign * 1e-3)));
    }
    let (&(last_amps, last_volts), before) = match points.split_last() {
        Some((last, before)) => (last, before.last()),
        None => return Curve::new(Vec::new()),
    };
    let from = match (side.points.len(), before) {
        (2.., Some(&point)) => point,
        _ => (Amperes::ZERO, side.rail),
    };
    let fall = (last_volts - from.1) / (last_amps - from.0).max(Amperes(1e-9));
    points.push((last_amps + Amperes(1.0), last_volts + Amperes(1.0) * fall));
    let mut curve: Vec<(Volts, Amperes)> = (points.iter()).map(|&(amps, volts)| (volts, amps * sign)).collect();
    // Above its own level a high output takes nothing back, below it a low one gives nothing.
    if let Some(&(volts, _)) = curve.first() {
        curve.insert(0, (volts - Volts(sign), Amperes::ZERO));
    }
    Curve::new(curve)
}

/// The alternatives of what holds a net: all outputs that always drive, or else each other one alone.
pub(super) fn alternatives(
    circuit: &Circuit,
    sheets: &Sheets,
    operating_point: &NetOperatingPoint,
    net: NetKey,
) -> Vec<Vec<Bias>> {
    let bias = |driver: &Driver| {
        let output = sheets.output(circuit, driver.chip, driver.pin)?;
        Some(Bias::Chip(*driver, output, Vec::new()))
    };
    let of = |enabled: Enabled| operating_point.drivers.iter().filter(move |driver| driver.enabled == enabled);
    let always: Vec<Bias> = of(Enabled::Always).filter_map(bias).collect();
    if of(Enabled::Always).next().is_some() {
        return if always.is_empty() { Vec::new() } else { vec![always] };
    }
    let mut singles: Vec<Vec<Bias>> = Vec::new();
    for bias in of(Enabled::Sometimes).filter_map(bias).chain(contacts(circuit, net)) {
        let like = singles.iter_mut().find(|other| other[0].is_equivalent(&bias, circuit));
        match (like.map(|other| &mut other[0]), &bias) {
            (None, _) => singles.push(vec![bias]),
            (Some(Bias::Chip(_, _, others)), Bias::Chip(driver, ..)) => others.push(*driver),
            _ => {}
        }
    }
    singles
}

/// Contacts from a net to rails.
fn contacts(circuit: &Circuit, net: NetKey) -> Vec<Bias> {
    let mut found = Vec::new();
    for &(key, pin) in &circuit.nets[net].discrete_pins {
        let discrete = &circuit.discretes[key];
        let others: &[usize] = match (&discrete.kind, pin) {
            (DiscreteKind::Button | DiscreteKind::Switch, 0) => &[1],
            (DiscreteKind::Button | DiscreteKind::Switch, _) => &[0],
            (DiscreteKind::Changeover, 0) => &[1, 2],
            (DiscreteKind::Changeover, _) => &[0],
            _ => &[],
        };
        for &other in others {
            let other = discrete.nets.get(other).copied().flatten();
            if let Some(net) = other
                && let Some(volts) = circuit.nets[net].rail.and_then(|rail| rail.fed)
            {
                found.push(Bias::Contact(key, net, volts.volts()));
            }
        }
    }
    found
}

/// Curves that add up; those that are alike are one of several times the current, so that a net of many boards is no more
/// work than one of a few.
#[derive(Default)]
struct Sum {
    curves: Vec<(Curve, usize)>,
}

impl Sum {
    fn add(&mut self, curve: Curve) {
        match self.curves.iter_mut().find(|(other, _)| *other == curve) {
            Some((_, count)) => *count += 1,
            None => self.curves.push((curve, 1)),
        }
    }

    fn total(self) -> Vec<Curve> {
        let curves = self.curves.into_iter();
        curves.map(|(curve, count)| curve.times(count)).collect()
    }
}

/// The most that flows into the pins of a net that do not drive, and out of them.
pub(super) fn pin_currents(circuit: &Circuit, sheets: &Sheets, operating_point: &NetOperatingPoint) -> [Vec<Curve>; 2] {
    let (mut into, mut out_of) = (Sum::default(), Sum::default());
    let mut leak = |into_amps: Amperes, out_amps: Amperes, supply: Volts| {
        into.add(Curve::new(vec![(Volts::ZERO, Amperes::ZERO), (Volts(0.1), into_amps), (Volts(0.2), into_amps)]));
        out_of.add(Curve::new(vec![
            (supply - Volts(0.2), -out_amps),
            (supply - Volts(0.1), -out_amps),
            (supply, Amperes::ZERO),
            (supply + Volts(1.0), Amperes::ZERO),
        ]));
    };
    for load in operating_point.loads.iter().filter(|load| !load.input.bipolar) {
        let supply = circuit.chips[load.chip].supply.volts();
        leak(load.input.current_high, load.input.current_low, supply);
    }
    for driver in operating_point.drivers.iter().filter(|driver| driver.enabled != Enabled::Always) {
        if let Some(output) = sheets.output(circuit, driver.chip, driver.pin) {
            let supply = circuit.chips[driver.chip].supply.volts();
            leak(output.leak, output.leak, supply);
        }
    }
    for Load { input, .. } in operating_point.loads.iter().filter(|load| load.input.bipolar) {
        into.add(Curve::new(vec![
            (input.low - Volts(0.1), Amperes::ZERO),
            (input.low, Amperes::ZERO),
            (input.high, input.current_high),
            (input.high + Volts(0.1), input.current_high),
        ]));
        out_of.add(Curve::new(vec![
            (input.low - Volts(0.1), -input.current_low),
            (input.low, -input.current_low),
            (input.high, Amperes::ZERO),
            (input.high + Volts(0.1), Amperes::ZERO),
        ]));
    }
    [into.total(), out_of.total()]
}
