//! What inputs get of the levels that they need, and figures in words.

use crate::circuit::{Circuit, DiscreteKind, NetKey};
use crate::electrical::operating_point::{Load, NetState, OperatingPoint};
use crate::quantity::si::{Amperes, Ohms, Volts};
use crate::quantity::{Current, Resistance, Voltage};

/// Why an input does not get its level.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cause {
    /// The output does not guarantee it even without a load.
    Family,
    /// The inputs on the net take too much.
    Inputs,
    /// Resistors and LEDs take too much.
    Links,
    /// It does, but with nearly nothing to spare.
    Thin,
}

/// An input that does not get its level, or nearly not.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Shortfall {
    pub net: NetKey,
    /// True for the high level.
    pub high: bool,
    /// What the net is then.
    pub state: NetState,
    /// The input that needs the most.
    pub load: Load,
    /// What it needs.
    pub needed: Volts,
    /// What it gets at worst.
    pub given: Volts,
    /// Why.
    pub cause: Cause,
}

/// A margin below this leaves nothing for noise (common practice: TTL has 0.3 V to 0.4 V).
const THIN: Volts = Volts(0.2);

/// At most one for each net and level: the input that needs the most.
pub(crate) fn shortfalls(operating_point: &OperatingPoint) -> Vec<Shortfall> {
    let mut found = Vec::new();
    for (key, net) in operating_point.nets.iter() {
        for (high, state) in [(true, net.high), (false, net.low)] {
            let needs = |load: &Load| {
                if high { load.input.high } else { -load.input.low }
            };
            let neediest = net.loads.iter().max_by(|a, b| needs(a).total_cmp(&needs(b)));
            let Some((state, load)) = state.zip(neediest) else {
                continue;
            };
            let sign = if high { 1.0 } else { -1.0 };
            let (needed, given) =
                if high { (load.input.high, state.volts.least) } else { (load.input.low, state.volts.most) };
            let spare = |given: Volts| (given - needed) * sign + Volts(1e-6);
            let cause = if spare(given) >= THIN {
                continue;
            } else if spare(given) >= Volts::ZERO {
                Cause::Thin
            } else if spare(state.unloaded) < Volts::ZERO {
                Cause::Family
            } else if spare(state.inputs_only) < Volts::ZERO {
                Cause::Inputs
            } else {
                Cause::Links
            };
            found.push(Shortfall { net: key, high, state, load: *load, needed, given, cause });
        }
    }
    found
}

/// `high` or `low`.
pub fn word(high: bool) -> &'static str {
    if high { "high" } else { "low" }
}

/// Volts in words, to 10 mV.
pub fn volts(volts: Volts) -> String {
    (Voltage::from_raw((volts.0 * 100.0).round() as i64) * 10_000).to_string()
}

/// Amperes in words, to two or three digits.
pub fn amps(amps: Amperes) -> String {
    rounded(amps.0 * 1e12, |raw| Current::from_raw(raw).to_string())
}

/// Ohms in words, to three digits.
pub fn ohms(ohms: Ohms) -> String {
    rounded(ohms.0 * 1e3, |raw| Resistance::from_raw(raw).to_string())
}

fn rounded(raw: f64, show: impl Fn(i64) -> String) -> String {
    let mut step = 1.0;
    while raw.abs() / step >= 1000.0 {
        step *= 10.0;
    }
    show(((raw / step).round() * step) as i64)
}

/// The resistors and LEDs on a net, by their paths.
pub(crate) fn links_on(circuit: &Circuit, net: NetKey) -> Vec<&str> {
    let discretes = circuit.nets[net].discrete_pins.iter();
    let mut paths: Vec<&str> = discretes
        .map(|(discrete, _)| &circuit.discretes[*discrete])
        .filter(|discrete| {
            matches!(discrete.kind, DiscreteKind::Resistor(_) | DiscreteKind::Network(..) | DiscreteKind::Led(..))
        })
        .map(|discrete| discrete.path.as_str())
        .collect();
    paths.dedup();
    paths
}
