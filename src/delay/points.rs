//! One figure at several supply voltages and loads, and what it is between and beyond them.

use super::rules::Rules;
use crate::part::rule::Rule;
use crate::quantity::{Capacitance, Time, Voltage};

/// The load that most sheets measure with, and the one that counts where none is asked for.
const TEST_LOAD: Capacitance = Capacitance::from_raw(50_000);

/// A figure, and the rules that it rests on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Figure {
    pub(super) time: Time,
    pub(super) rules: Rules,
}

/// A figure at a supply voltage and a load.
#[derive(Clone, Copy, Debug)]
struct Point {
    load: Option<Capacitance>,
    voltage: Voltage,
    figure: Figure,
}

/// A figure at several supply voltages and loads.
#[derive(Clone, Debug, Default)]
pub(super) struct Points {
    points: Vec<Point>,
}

/// Where a figure is wanted.
#[derive(Clone, Copy, Debug)]
pub(super) struct Place {
    pub(super) supply: Voltage,
    /// The load; the test load of the sheet when none is given.
    pub(super) load: Option<Capacitance>,
    /// True where too short is the danger: a lighter load than the sheet's then makes the delay shorter.
    pub(super) shortest: bool,
    /// What so much more load adds, where the sheet has only one.
    pub(super) slope: Option<(Capacitance, Figure)>,
}

/// Between voltages further apart than this, as a ratio, the line lies far above what chips do: where short is the
/// danger, the figure at the higher voltage counts.
const FAR_APART: (i64, i64) = (3, 2);

impl Points {
    /// Adds a figure; the first one at a voltage and load stands.
    pub(super) fn push(&mut self, voltage: Voltage, load: Option<Capacitance>, figure: Figure) {
        let place = (load, voltage);
        let at = self.points.partition_point(|point| (point.load, point.voltage) < place);
        let taken = |point: &Point| (point.load, point.voltage) == place;
        if !self.points.get(at).is_some_and(taken) {
            self.points.insert(at, Point { load, voltage, figure });
        }
    }

    /// The figure at a place; nothing without any point.
    pub(super) fn at(&self, place: Place) -> Option<Figure> {
        let mut loads: Vec<(Option<Capacitance>, bool, Figure)> = self
            .points
            .chunk_by(|a, b| a.load == b.load)
            .map(|group| {
                let (outside, figure) = at_voltage(group, place);
                (group[0].load, outside, figure)
            })
            .collect();
        // A guess at one load is not set beside what the sheet says at another one, be that at a tenth less supply.
        let worth = |&(_, outside, figure): &(_, bool, Figure)| (figure.rules.rank(), outside);
        let best = loads.iter().map(worth).min()?;
        loads.retain(|load| worth(load) == best);
        let sized: Vec<(Capacitance, Figure)> =
            loads.iter().filter_map(|&(load, _, figure)| Some((load?, figure))).collect();
        match (place.load, sized.as_slice()) {
            (_, []) => loads.first().map(|&(_, _, figure)| figure),
            (Some(wanted), sized) => Some(at_load(sized, wanted, place)),
            (None, sized) => sized
                .iter()
                .min_by_key(|(load, _)| (*load - TEST_LOAD).raw().saturating_abs())
                .map(|&(_, figure)| figure),
        }
    }
}

/// On straight lines between the voltages of one load, which are not empty; true when the supply is outside of them.
fn at_voltage(group: &[Point], place: Place) -> (bool, Figure) {
    let supply = place.supply;
    let after = group.partition_point(|point| point.voltage < supply);
    match (after.checked_sub(1).map(|before| &group[before]), group.get(after)) {
        (_, Some(point)) if point.voltage == supply => (false, point.figure),
        (Some(low), Some(high)) if place.shortest && high.voltage * FAR_APART.1 > low.voltage * FAR_APART.0 => {
            (false, high.figure)
        }
        (Some(low), Some(high)) => {
            let figure = line((low.voltage.raw(), low.figure), (high.voltage.raw(), high.figure), supply.raw());
            (false, figure)
        }
        (only, other) => {
            let point = only.or(other).unwrap_or(&group[0]);
            let off = (supply - point.voltage).raw().saturating_abs();
            // Sheets speak of 5 V plus or minus a tenth.
            if off.saturating_mul(10) <= supply.max(point.voltage).raw() {
                (false, point.figure)
            } else {
                (true, point.figure.by(Rule::NearestVoltage))
            }
        }
    }
}

/// The figure at a load, from those at one or several loads in rising order.
fn at_load(sized: &[(Capacitance, Figure)], wanted: Capacitance, place: Place) -> Figure {
    let after = sized.partition_point(|&(load, _)| load < wanted);
    let pair = |a: (Capacitance, Figure), b: (Capacitance, Figure)| {
        let figure = line((a.0.raw(), a.1), (b.0.raw(), b.1), wanted.raw());
        Figure {
            // More load never makes an output faster; sheets that say so mix test circuits.
            time: if b.1.time < a.1.time { a.1.time.max(b.1.time) } else { figure.time },
            rules: figure.rules,
        }
    };
    let sloped = |(load, figure): (Capacitance, Figure)| {
        let (step, more) = place.slope?;
        let added = i128::from(more.time.ps()) * (i128::from(wanted.raw()) - i128::from(load.raw()));
        let time = longer(figure.time, added / i128::from(step.raw().max(1)));
        let rules = figure.rules.and(more.rules).with(Rule::LoadOfFamily);
        Some(Figure { time, rules })
    };
    let (first, last) = (sized[0], sized[sized.len() - 1]);
    if let Some(&(load, figure)) = sized.get(after)
        && load == wanted
    {
        return figure;
    }
    if after > 0 && after < sized.len() {
        return pair(sized[after - 1], sized[after]);
    }
    if after == 0 {
        // Lighter than the sheet's lightest: no credit is taken, but where a short delay is the danger the line goes on.
        if !place.shortest {
            return first.1;
        }
        let lighter = match sized {
            [a, b, ..] => Some(pair(*a, *b)),
            _ => sloped(first),
        };
        let least = Time::from_ps(first.1.time.ps() / 2);
        return lighter
            .map_or(first.1, |figure| Figure { time: figure.time.clamp(least, first.1.time), rules: figure.rules });
    }
    match sized {
        [.., a, b] => pair(*a, *b),
        _ => sloped(last).unwrap_or_else(|| last.1.by(Rule::LoadNotCounted)),
    }
}

/// A time and some picoseconds more, or less; what does not fit is the end of the range.
fn longer(time: Time, ps: i128) -> Time {
    let end = if ps < 0 { i64::MIN } else { i64::MAX };
    time + Time::from_ps(i64::try_from(ps).unwrap_or(end))
}

/// The straight line through two points, and beyond them.
fn line(a: (i64, Figure), b: (i64, Figure), at: i64) -> Figure {
    let apart = |a: i64, b: i64| i128::from(b) - i128::from(a);
    let whole = apart(a.0, b.0);
    let change = apart(a.1.time.ps(), b.1.time.ps()).saturating_mul(apart(a.0, at));
    Figure { time: longer(a.1.time, change / whole.max(1)), rules: a.1.rules.and(b.1.rules) }
}

impl Figure {
    pub(super) fn new(time: Time) -> Figure {
        Figure { time, rules: Rules::default() }
    }

    /// The same, by one more rule.
    pub(super) fn by(self, rule: Rule) -> Figure {
        Figure { time: self.time, rules: self.rules.with(rule) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pf(value: i64) -> Capacitance {
        Capacitance::from_raw(value * 1000)
    }

    fn volts(tenths: i64) -> Voltage {
        Voltage::from_raw(tenths * 100_000)
    }

    fn ns(value: i64) -> Figure {
        Figure::new(Time::from_ns(value))
    }

    /// TI SCLS148F (HC574), CLK to Q, limits over -40..85 C: 2 V 225, 4.5 V 45, 6 V 38 ns at 50 pF; 4.5 V 66, 6 V 57 ns
    /// at 150 pF.
    fn hc574() -> Points {
        let mut points = Points::default();
        for (voltage, load, time) in [(20, 50, 225), (45, 50, 45), (60, 50, 38), (45, 150, 66), (60, 150, 57)] {
            points.push(volts(voltage), Some(pf(load)), ns(time));
        }
        points
    }

    fn taken(points: &Points, supply: i64, load: Option<i64>, shortest: bool) -> i64 {
        let place = Place { supply: volts(supply), load: load.map(pf), shortest, slope: None };
        points.at(place).expect("points").time.ps()
    }

    #[test]
    fn a_load_between_those_of_the_sheet_lies_on_the_line_between_them() {
        let points = hc574();
        assert_eq!(taken(&points, 45, Some(50), false), 45_000);
        assert_eq!(taken(&points, 45, Some(150), false), 66_000);
        assert_eq!(taken(&points, 45, Some(100), false), 55_500);
        // Beyond the heavier load the line goes on: 66 + 21 / 100 * 50.
        assert_eq!(taken(&points, 45, Some(200), false), 76_500);
        // 5 V is a third of the way from 4.5 to 6 V: 45 - 7 / 3, and 66 - 9 / 3 at 150 pF; cut, not rounded.
        assert_eq!(taken(&points, 50, Some(50), false), 42_667);
        assert_eq!(taken(&points, 50, Some(150), false), 63_000);
    }

    #[test]
    fn a_lighter_load_counts_only_where_short_is_the_danger() {
        let points = hc574();
        assert_eq!(taken(&points, 45, Some(20), false), 45_000);
        // 45 - 0.21 * 30.
        assert_eq!(taken(&points, 45, Some(20), true), 38_700);
    }

    /// From 2 to 4.5 V delays fall steeply at first: the line between lies far above what chips do.
    #[test]
    fn where_short_is_the_danger_a_far_voltage_gives_the_faster_figure() {
        let points = hc574();
        assert_eq!(taken(&points, 33, Some(50), true), 45_000);
        // 225 - 180 * 1.3 / 2.5.
        assert_eq!(taken(&points, 33, Some(50), false), 131_400);
        assert_eq!(taken(&points, 50, Some(50), true), 42_667);
    }

    #[test]
    fn a_single_load_takes_the_slope_of_the_family_and_says_so() {
        let mut points = Points::default();
        points.push(volts(50), Some(pf(15)), ns(10));
        let mut place = Place { supply: volts(50), load: Some(pf(50)), shortest: false, slope: Some((pf(35), ns(5))) };
        // Fairchild DM74LS00, tPLH: 10 ns at 15 pF, 15 ns at 50 pF.
        let figure = points.at(place).expect("a point");
        assert_eq!(figure.time, Time::from_ns(15));
        assert!(figure.rules.iter().eq([Rule::LoadOfFamily]));
        place.slope = None;
        let figure = points.at(place).expect("a point");
        assert_eq!(figure.time, Time::from_ns(10));
        assert!(figure.rules.iter().eq([Rule::LoadNotCounted]));
    }

    #[test]
    fn a_guess_is_not_set_beside_what_the_sheet_says() {
        // Typical only at 5 V and 15 pF, limits at 4.5 and 6 V and 50 pF.
        let mut points = Points::default();
        points.push(volts(50), Some(pf(15)), ns(26).by(Rule::SlowestIsTwiceTypical));
        points.push(volts(45), Some(pf(50)), ns(30));
        points.push(volts(60), Some(pf(50)), ns(24));
        assert_eq!(taken(&points, 50, Some(20), false), 28_000);
    }

    /// TI SCHS183E (HCT574), CLK to Q: the limit of 41 ns stands at 4.5 V and 50 pF, the typical 15 ns at 5 V and 15 pF.
    #[test]
    fn a_limit_a_tenth_below_the_supply_is_better_than_a_guess_at_it() {
        let mut points = Points::default();
        points.push(volts(50), Some(pf(15)), ns(30).by(Rule::SlowestIsTwiceTypical));
        points.push(volts(45), Some(pf(50)), ns(41));
        assert_eq!(taken(&points, 50, Some(20), false), 41_000);
        assert_eq!(taken(&points, 50, None, false), 41_000);
    }
}
