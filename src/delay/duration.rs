//! How long timers run, at one supply voltage and corner.

use super::pick::{Need, pick};
use super::{Points, Reading, Rule};
use crate::language::ast::Corner;
use crate::part::Part;
use crate::part::sheet::{Pair, Sheet};
use crate::quantity::{Time, Voltage};
use std::collections::BTreeSet;

/// The time of each timer of a part, and behind them the period of an input that swings by itself. Nothing where the
/// sheet gives none, or the board has no resistor and capacitor for it. A random corner counts as the slowest.
pub fn durations(
    part: &Part,
    sheet: Option<&Sheet>,
    supply: Voltage,
    corner: Corner,
    pairs: &[Option<Pair>],
    rules: &mut BTreeSet<Rule>,
) -> Vec<Option<Time>> {
    let function = &part.function;
    let hangs = |timer: usize| match function.timers.get(timer) {
        Some(timer) => timer.pins.is_some(),
        None => true,
    };
    let one = |timer: usize| {
        let pair = pairs.get(timer).copied().flatten();
        if hangs(timer) && pair.is_none() {
            return None;
        }
        let sheet = sheet?;
        let mut points = Points::default();
        let reading = Reading {
            sheet,
            supply,
            corner,
        };
        for block in reading.blocks() {
            let mut rows = block.durations.iter();
            let row =
                rows.find(|row| row.timer == timer && pair.is_none_or(|pair| row.covers(pair)));
            let time = row
                .and_then(|row| pick(&sheet.columns, &row.times(pair), corner, Need::Delay, rules));
            if let Some(time) = time {
                points.push(block.voltage, time);
            }
        }
        (!points.points.is_empty()).then(|| points.at(supply, rules))
    };
    (0..function.timed()).map(one).collect()
}
