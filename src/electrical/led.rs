//! Forward voltages of LEDs by their colour.
//!
//! An LED is a knee and a straight line behind it. Lamps of one colour differ, so there are two lines: of the one that
//! takes the most current, and of the one that takes the least.

use super::solver::Curve;
use crate::quantity::si::{Amperes, Ohms, Volts};

/// A forward voltage at a current.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Forward {
    /// Where it begins to conduct.
    pub knee: Volts,
    /// The slope above the knee.
    pub ohms: Ohms,
}

/// The most current that common lamps are recommended for (GB-413 series 3 mm lamp sheet: 10 to 20 mA).
pub const MOST: Amperes = Amperes(20e-3);
/// Less is hardly seen in a lit room (common practice).
pub const LEAST: Amperes = Amperes(0.5e-3);

/// The lamp of a colour that takes the most current, or the least.
///
/// - Most: 1.7 V at 20 mA (GB-413 series sheet: red, orange, yellow, green), 10 ohm.
/// - Least: red and green 2.4 V at 2 mA (Vishay 83030 Rev.1.9), yellow, amber and orange 2.9 V at 2 mA (the yellow of that
///   sheet); the slope is that of 2.4 V at 2 mA to 3 V at 20 mA (Vishay 83012 Rev.2.3).
/// - Blue and white: 2.6 V to 3.6 V at 20 mA (from memory).
pub fn forward(colour: &str, most: bool) -> Forward {
    match (colour, most) {
        ("blue" | "white", true) => Forward { knee: Volts(2.4), ohms: Ohms(10.0) },
        ("blue" | "white", false) => Forward { knee: Volts(3.0), ohms: Ohms(33.0) },
        (_, true) => Forward { knee: Volts(1.5), ohms: Ohms(10.0) },
        ("yellow" | "amber" | "orange", false) => Forward { knee: Volts(2.83), ohms: Ohms(33.0) },
        (_, false) => Forward { knee: Volts(2.33), ohms: Ohms(33.0) },
    }
}

impl Forward {
    /// The lamp with a resistor in series.
    pub fn curve(self, series: Ohms) -> Curve {
        let ohms = self.ohms + series;
        Curve::new(vec![
            (self.knee - Volts(1.0), Amperes::ZERO),
            (self.knee, Amperes::ZERO),
            (self.knee + Volts(1.0), Volts(1.0) / ohms),
        ])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_lines_pass_the_published_points() {
        let at = |colour, most, amps: f64| {
            let lamp = forward(colour, most);
            (lamp.knee + Amperes(amps) * lamp.ohms).0
        };
        // GB-413: 1.7 V at 20 mA at least; Vishay 83030: 2.4 V and 2.9 V at 2 mA at most; Vishay 83012: 3 V at 20 mA.
        assert!((at("red", true, 20e-3) - 1.7_f64).abs() < 0.01);
        assert!((at("red", false, 2e-3) - 2.4_f64).abs() < 0.01);
        assert!((at("red", false, 20e-3) - 3.0_f64).abs() < 0.02);
        assert!((at("yellow", false, 2e-3) - 2.9_f64).abs() < 0.01);
    }
}
