//! The resistor that pulls an open-drain net up: how large and how small it may be.

use crate::circuit::{Circuit, DiscreteKey, DiscreteKind, NetKey};
use crate::quantity::Voltage;
use crate::quantity::si::{Amperes, Farads, Ohms, Seconds, Siemens, Volts};

/// What stands on an open-drain net.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PullUp {
    /// The rail that it leads to.
    pub supply: Volts,
    /// The high level that is wanted, and the low level that the outputs give at `sink`.
    pub high: Volts,
    /// The low level.
    pub low: Volts,
    /// The most current that one output can take at that low level.
    pub sink: Amperes,
    /// What all outputs leak at high.
    pub leak: Amperes,
    /// What all inputs take at high.
    pub inputs_high: Amperes,
    /// What all inputs give at low.
    pub inputs_low: Amperes,
}

impl PullUp {
    /// More and the high level is not reached: (VCC - VOH) / (N1 IOH + N2 IIH). Infinite when nothing leaks.
    pub fn most(&self) -> Ohms {
        (self.supply - self.high) / (self.leak + self.inputs_high)
    }

    /// Less and an output has to take more than it can: (VCC - VOL) / (IOL - N3 IIL). `None` when the inputs alone are
    /// too much.
    pub fn least(&self) -> Option<Ohms> {
        let left = self.sink - self.inputs_low;
        (left > Amperes::ZERO).then(|| (self.supply - self.low) / left)
    }
}

/// A resistor as it is seen from one of its ends.
#[derive(Clone, Copy, Debug)]
pub struct Resistor {
    /// Itself, or its network.
    pub discrete: DiscreteKey,
    /// Its resistance.
    pub ohms: Ohms,
    /// The net at its other end.
    pub to: NetKey,
}

/// The resistors from a net to other ones.
pub fn resistors_on(circuit: &Circuit, net: NetKey) -> impl Iterator<Item = Resistor> + '_ {
    let pins = circuit.nets[net].discrete_pins.iter();
    pins.flat_map(move |&(key, pin)| {
        let discrete = &circuit.discretes[key];
        let (ohms, others) = match (&discrete.kind, pin) {
            (DiscreteKind::Resistor(ohms), _) => (ohms.ohms(), 1 - pin.min(1)..2 - pin.min(1)),
            (DiscreteKind::Network(ohms, true), 0) => (ohms.ohms(), 1..discrete.nets.len()),
            (DiscreteKind::Network(ohms, true), _) => (ohms.ohms(), 0..1),
            (DiscreteKind::Network(ohms, false), _) => (ohms.ohms(), pin ^ 1..(pin ^ 1) + 1),
            _ => (Ohms::ZERO, 0..0),
        };
        let others = others.filter_map(|other| discrete.nets.get(other).copied().flatten());
        let others = others.filter(move |other| *other != net);
        others.map(move |to| Resistor { discrete: key, ohms, to })
    })
}

/// All resistors from a net to fed rails above ground, in parallel, and the voltage of the highest.
pub fn pull_to_rail(circuit: &Circuit, net: NetKey) -> Option<(Ohms, Volts)> {
    let (mut siemens, mut volts) = (Siemens::ZERO, Volts::ZERO);
    for resistor in resistors_on(circuit, net) {
        let fed = circuit.nets[resistor.to].rail.and_then(|rail| rail.fed);
        if let Some(fed) = fed.filter(|fed| *fed > Voltage::ZERO) {
            siemens += resistor.ohms.conductance();
            volts = volts.max(fed.volts());
        }
    }
    (siemens > Siemens::ZERO).then(|| (siemens.resistance(), volts))
}

/// The time that a resistor needs to lift a capacitance from 10 % to 90 % of the way.
pub fn rise_time(ohms: Ohms, farads: Farads) -> Seconds {
    time_between(ohms, farads, 0.1, 0.9)
}

/// The time from one share of the way to another: RC ln((1 - from) / (1 - to)), the exponential of every handbook.
pub fn time_between(ohms: Ohms, farads: Farads, from: f64, to: f64) -> Seconds {
    ohms * farads * ((1.0 - from) / (1.0 - to)).ln()
}

/// The time in which a leakage moves a capacitance by so many volts.
pub fn drift_time(volts: Volts, amps: Amperes, farads: Farads) -> Seconds {
    volts * farads / amps
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Plain TTL at 5 V: 2.4 V, 250 uA, 40 uA; 0.4 V, 16 mA, 1.6 mA.
    fn ttl(outputs: f64, loads: f64) -> PullUp {
        PullUp {
            supply: Volts(5.0),
            high: Volts(2.4),
            low: Volts(0.4),
            sink: Amperes(16e-3),
            leak: Amperes(outputs * 250e-6),
            inputs_high: Amperes(loads * 40e-6),
            inputs_low: Amperes(loads * 1.6e-3),
        }
    }

    #[test]
    fn the_handbook_table_is_met() {
        // Polish TTL handbook, page 113, table 4.4: outputs tied, loads, most, least; the table cuts the digits behind
        // the point. Its cell of 2 outputs and 7 loads cannot be read.
        let least = [319, 359, 410, 479, 575, 718, 958];
        let most = [
            [8965, 4814, 3291, 2500, 2015, 1688, 1452],
            [7878, 4482, 3132, 2407, 1954, 1645, 1420],
            [7027, 4193, 2988, 2321, 1897, 1604, 1390],
            [6341, 3939, 2857, 2241, 1843, 1566, 1361],
            [5777, 3714, 2736, 2166, 1793, 1529, 1333],
            [5306, 3513, 2626, 2096, 1744, 1494, 1306],
            [4905, 0, 2524, 2031, 1699, 1460, 1280],
        ];
        for (row, (cells, least)) in most.iter().zip(least).enumerate() {
            for (column, &cell) in cells.iter().enumerate() {
                let pull = ttl(column as f64 + 1.0, row as f64 + 1.0);
                assert_eq!(pull.least().map(|ohms| ohms.0 as u32), Some(least));
                if cell != 0 {
                    assert_eq!(pull.most().0 as u32, cell, "{column} outputs, {row} loads");
                }
            }
        }
    }

    #[test]
    fn other_worked_examples_are_met() {
        // Floyd, Digital Fundamentals, example 15-6: 30 mA, 0.4 V, four loads of 1.6 mA: 195 ohm.
        let pull = PullUp { sink: Amperes(30e-3), ..ttl(3.0, 4.0) };
        assert_eq!(pull.least().map(|ohms| ohms.0.round()), Some(195.0));
        // NXP UM10204 Rev.5, page 57: 5.5 V, 0.4 V, 3 mA: 1.7 kohm.
        let pull = PullUp { supply: Volts(5.5), sink: Amperes(3e-3), inputs_low: Amperes::ZERO, ..ttl(1.0, 1.0) };
        assert_eq!(pull.least().map(|ohms| (ohms.0 / 100.0).round()), Some(17.0));
        // NXP UM10204 Rev.5, page 55: 0.3 to 0.7 VDD takes 0.8473 RC; page 57: 300 ns allow about 200 pF with 1.7 kohm.
        assert!((time_between(Ohms(1.0), Farads(1.0), 0.3, 0.7).0 - 0.8473).abs() < 5e-5);
        let farads = Seconds(300e-9) / time_between(Ohms(1700.0), Farads(1.0), 0.3, 0.7);
        assert_eq!((farads * 1e11).round(), 21.0, "208 pF");
        // TI SCBA004, page 7-181: 50 uA into 20 pF: 0.8 V in 320 ns.
        assert!((drift_time(Volts(0.8), Amperes(50e-6), Farads(20e-12)).0 - 320e-9).abs() < 1e-15);
        let too_many = ttl(1.0, 11.0);
        assert_eq!(too_many.least(), None);
    }
}
