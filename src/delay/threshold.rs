//! When a slow edge counts: the switching thresholds of inputs.

use crate::circuit::Chip;
use crate::electrical::sheet::at_supply;
use crate::language::ast::Corner;
use crate::part::sheet::Sheet;
use crate::part::{ColumnKind, Edge, LevelName};
use crate::quantity::si::Volts;
use crate::quantity::{Capacitance, Resistance, Time, Voltage};

/// The share of the supply at which an input switches when no sheet tells it: CMOS inputs are specified low below
/// 0.3 VCC and high above 0.7 VCC (TI SCLS094E and other HC sheets), and switch near the middle.
const SHARES: (f64, f64) = (0.3, 0.7);

/// The share of the way up at which a level counts as high where no input tells.
pub(super) fn middle(corner: Corner) -> f64 {
    match corner {
        Corner::Typical => f64::midpoint(SHARES.0, SHARES.1),
        Corner::Fastest => SHARES.0,
        Corner::Slowest | Corner::Random(_) => SHARES.1,
    }
}

/// The voltage that an input must pass, in the given direction. Where its sheet gives no thresholds it lies between the
/// levels that count as low and high in its family: at the one that comes last, first, or in the middle.
pub(crate) fn switching_volts(chip: &Chip, input: usize, edge: Edge, corner: Corner) -> Volts {
    let supply = chip.supply.volts();
    let sheet = chip.sheet.map(|sheet| &chip.part.sheets[sheet]);
    if let Some(share) = sheet.and_then(|sheet| published(sheet, input, edge, chip.supply, corner)) {
        return supply * share;
    }
    let level = |name, share| {
        let family = chip.electrical.as_ref();
        family.and_then(|family| at_supply(family, name, supply)).unwrap_or(supply * share)
    };
    let low = level(LevelName::InputLow, SHARES.0);
    let high = level(LevelName::InputHigh, SHARES.1);
    match (corner, edge) {
        (Corner::Typical, _) => Volts(f64::midpoint(low.0, high.0)),
        (Corner::Fastest, Edge::Rise) | (Corner::Slowest | Corner::Random(_), Edge::Fall) => low,
        (Corner::Fastest, Edge::Fall) | (Corner::Slowest | Corner::Random(_), Edge::Rise) => high,
    }
}

/// The share of the supply voltage at which the sheet of a part lets an input switch.
fn published(sheet: &Sheet, input: usize, edge: Edge, supply: Voltage, corner: Corner) -> Option<f64> {
    let nearest = sheet
        .blocks
        .iter()
        .filter(|block| block.thresholds.iter().any(|t| t.input == input && t.edge == edge))
        .min_by_key(|block| (block.voltage.raw() - supply.raw()).abs())?;
    let threshold = nearest.thresholds.iter().find(|t| t.input == input && t.edge == edge)?;
    let of = |kind: ColumnKind| {
        let mut given = sheet.columns.iter().zip(&threshold.figures).filter(|(column, _)| column.kind == kind);
        given.find_map(|(_, figure)| *figure)
    };
    let least_is_first =
        matches!((corner, edge), (Corner::Fastest, Edge::Rise) | (Corner::Slowest | Corner::Random(_), Edge::Fall));
    let voltage = match corner {
        Corner::Typical => of(ColumnKind::Typ),
        _ if least_is_first => of(ColumnKind::Min),
        _ => of(ColumnKind::Limit),
    };
    let voltage = voltage.or_else(|| of(ColumnKind::Typ))?;
    Some(voltage.volts() / nearest.voltage.volts())
}

/// The time that a resistor takes to move a capacitor from one rail past a threshold towards the other:
/// t = R C ln(1 / (1 - share)), the exponential of every handbook.
pub(crate) fn charge_time(resistance: Resistance, capacitance: Capacitance, share: f64) -> Time {
    let time = resistance.ohms() * capacitance.farads() * -(1.0 - share).ln();
    // Whole nanoseconds: finer digits of an RC would be a pretence.
    Time::from_ns((time.0 * 1e9).round() as i64)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_reset_rc_takes_its_handbook_time() {
        // 10 kohm and 10 uF to the typical VT+ of an HC14, 2.5 V of 4.5 V (TI SCLS085J): 100 ms * ln(4.5 / 2.0).
        let time = charge_time(Resistance::from_raw(10_000_000), Capacitance::from_raw(10_000_000_000), 2.5 / 4.5);
        assert_eq!(time.ps() / 1_000_000_000, 81);
    }
}
