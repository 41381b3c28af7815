//! What flows when two outputs fight: one is high, the other one low.

use super::bias::driven;
use super::sheet::{Output, Side};
use super::solver::{Branch, Curve, Node, solve};
use crate::quantity::si::{Amperes, Volts};

/// The current through both.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ContentionCurrent {
    /// What the weakest parts let through.
    pub least: Amperes,
    /// What the sheet of the one that is high gives at most when it is held at ground; `None` when it gives nothing, as for
    /// CMOS parts.
    pub most: Option<Amperes>,
}

/// What flows when two outputs fight, whichever of them is high; `None` when neither can be high against the other.
///
/// The weakest parts lie on the straight line through the sheet's last points; a bipolar output at high on that from its
/// guaranteed level to the least short-circuit current.
pub fn contention_current(one: &Output, two: &Output) -> Option<ContentionCurrent> {
    let paths = [(one, two), (two, one)];
    let paths = paths.into_iter().filter_map(|(high, low)| one_way(high, low));
    paths.reduce(|a, b| ContentionCurrent {
        least: a.least.min(b.least),
        most: a.most.zip(b.most).map(|(a, b)| a.max(b)),
    })
}

fn one_way(high: &Output, low: &Output) -> Option<ContentionCurrent> {
    let to_ground = |curve: Curve| Branch { from: Node::Free(0), to: Node::Fixed(Volts::ZERO), curve };
    let up = high.high.as_ref()?;
    let up = match high.short {
        Some((least, most)) => shorted(up, least.unwrap_or(most)),
        None => driven(up, true, false),
    };
    let down = to_ground(driven(low.low.as_ref()?, false, false));
    let volts = solve(1, &[to_ground(up), down.clone()])?;
    Some(ContentionCurrent { least: down.current(&volts).max(Amperes::ZERO), most: high.short.map(|(_, most)| most) })
}

/// An output at high, from its guaranteed levels to its short-circuit current.
fn shorted(side: &Side, amps: Amperes) -> Curve {
    let mut points = vec![(Volts::ZERO, -amps), (side.rail, Amperes::ZERO)];
    points.extend(side.points.iter().map(|&(amps, volts)| (volts, -amps)));
    Curve::new(points)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn output(high: &[(f64, f64)], low: &[(f64, f64)], short: Option<(Option<f64>, f64)>) -> Output {
        let side = |rail: f64, points: &[(f64, f64)]| {
            let points = points.iter().map(|&(amps, volts)| (Amperes(amps), Volts(volts)));
            Some(Side { rail: Volts(rail), points: points.collect() })
        };
        let short = short.map(|(least, most)| (least.map(Amperes), Amperes(most)));
        Output { high: side(4.5, high), low: side(0.0, low), leak: Amperes::ZERO, limit: None, short, assumed: false }
    }

    #[test]
    fn two_hc_outputs_fight_along_their_lines() {
        // National MM54HC/MM74HC family data, page 2, at 4.5 V over -40 to 85 C: 4.4 V at 20 uA and 3.84 V at 4 mA, so
        // 141 ohm; 0.1 V and 0.33 V, so 58 ohm. From 4 mA on 3.51 V stand over both: 17.7 mA more (Ohm's law).
        let hc = output(&[(20e-6, 4.4), (4e-3, 3.84)], &[(20e-6, 0.1), (4e-3, 0.33)], None);
        let found = contention_current(&hc, &hc).expect("a current");
        assert!((found.least.0 - 21.7e-3).abs() < 0.1e-3, "{found:?}");
        assert_eq!(found.most, None);
    }

    #[test]
    fn bipolar_outputs_give_their_short_circuit_current() {
        // TI SDLS025B (LS00): 20 mA to 100 mA; an output at low stands near ground while it takes that.
        let ls = output(&[(0.4e-3, 2.7)], &[(4e-3, 0.4), (8e-3, 0.5)], Some((Some(20e-3), 100e-3)));
        let found = contention_current(&ls, &ls).expect("a current");
        assert!((12e-3..=20e-3).contains(&found.least.0), "{found:?}");
        assert_eq!(found.most, Some(Amperes(100e-3)));
    }
}
