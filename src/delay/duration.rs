//! How long timers run, under given conditions.

use super::pick::FigureUse;
use super::points::Points;
use super::{Conditions, Reading, Rule};
use crate::part::Part;
use crate::part::sheet::{Pair, Sheet};
use crate::quantity::Time;
use std::collections::BTreeSet;

/// The time of each timer of a part, and behind them the period of an input that oscillates. Nothing where the
/// sheet gives none, or the board has no resistor and capacitor for it. A random corner counts as the slowest.
pub fn durations(
    part: &Part,
    sheet: Option<&Sheet>,
    conditions: &Conditions<'_>,
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
        let reading = Reading { part, sheet: sheet?, conditions };
        let mut points = Points::default();
        for block in reading.blocks() {
            let mut rows = block.durations.iter();
            let row = rows.find(|row| row.timer == timer && pair.is_none_or(|pair| row.covers(pair)));
            let figure = row.and_then(|row| reading.pick(&row.times(pair), FigureUse::Delay));
            if let Some(figure) = figure {
                points.push(block.voltage, block.load, figure);
            }
        }
        let figure = points.at(reading.place(None, None))?;
        rules.extend(figure.rules.iter());
        Some(figure.time)
    };
    (0..function.timed()).map(one).collect()
}
