//! The time axis: where a time stands, and which times are written.

use crate::quantity::Time;

/// The least distance of two ticks in pixels.
const LEAST_GAP: f64 = 45.0;
/// The least space between two labels in pixels.
const BETWEEN_LABELS: f64 = 18.0;
/// Times of more units than this are told from a nearer moment on.
const LONG: i64 = 100_000;

/// Picoseconds in each unit.
const UNITS: [(&str, i64); 5] =
    [("ps", 1), ("ns", 1_000), ("us", 1_000_000), ("ms", 1_000_000_000), ("s", 1_000_000_000_000)];

/// Which time stands where.
#[derive(Clone, Copy, Debug)]
pub(super) struct Axis {
    pub(super) from: Time,
    pub(super) to: Time,
    pub(super) left: f64,
    pub(super) right: f64,
}

impl Axis {
    /// Where a time stands, in pixels.
    pub(super) fn x(&self, time: Time) -> f64 {
        // In floating point, since differences of far times need not fit an integer.
        let part = |time: Time| time.ps() as f64 - self.from.ps() as f64;
        self.left + (self.right - self.left) * part(time) / part(self.to)
    }

    /// Whether a time is on the axis.
    pub(super) fn shows(&self, time: Time) -> bool {
        (self.from..=self.to).contains(&time)
    }
}

/// The times that are written on an axis.
#[derive(Clone, Copy, Debug)]
pub(super) struct Ruler {
    from: i64,
    to: i64,
    step: i64,
    unit: &'static str,
    one: i64,
    /// The moment that labels count from.
    base: i64,
}

impl Ruler {
    /// The finest ruler of steps of 1, 2 or 5 whose labels have room on so many pixels, with letters so wide.
    pub(super) fn new(from: Time, to: Time, room: f64, letter: f64) -> Ruler {
        let powers = (0..19).map(|power| 10_i64.pow(power));
        let mut rulers = powers
            .flat_map(|power| [1, 2, 5].map(|first| power.saturating_mul(first)))
            .map(|step| Ruler::of_step(from.ps(), to.ps(), step));
        let pixel = room / (to.ps() as f64 - from.ps() as f64);
        let fits = |ruler: &Ruler| {
            let gap = ruler.step as f64 * pixel;
            gap >= LEAST_GAP && gap >= ruler.longest() as f64 * letter + BETWEEN_LABELS
        };
        let coarsest = Ruler::of_step(from.ps(), to.ps(), i64::MAX);
        rulers.find(fits).unwrap_or(coarsest)
    }

    fn of_step(from: i64, to: i64, step: i64) -> Ruler {
        // Half a unit is still easy to read: 0.5 us rather than 500 ns.
        let fits = |&&(_, one): &&(&str, i64)| step >= one / 2;
        let &(unit, one) = UNITS.iter().rev().find(fits).unwrap_or(&UNITS[0]);
        let far = (from / one).saturating_abs().max((to / one).saturating_abs());
        let thousand = one.saturating_mul(1_000);
        let base = match far < LONG {
            true => 0,
            false => from.div_euclid(thousand).saturating_mul(thousand),
        };
        Ruler { from, to, step, unit, one, base }
    }

    /// What the labels are numbers of.
    pub(super) fn caption(&self) -> String {
        match self.base {
            0 => self.unit.to_owned(),
            base => format!("{} after {}", self.unit, Time::from_ps(base)),
        }
    }

    /// The times with their labels.
    pub(super) fn ticks(&self) -> impl Iterator<Item = (Time, String)> {
        let first = self.first();
        let next = |&tick: &i64| tick.checked_add(self.step);
        std::iter::successors(first, next)
            .take_while(|&tick| tick <= self.to)
            .map(|tick| (Time::from_ps(tick), self.label(tick)))
    }

    fn first(&self) -> Option<i64> {
        match self.from.rem_euclid(self.step) {
            0 => Some(self.from),
            over => self.from.checked_add(self.step - over),
        }
    }

    fn label(&self, tick: i64) -> String {
        // Ticks are whole numbers of units or halves, which floating point keeps exactly.
        let units = (i128::from(tick) - i128::from(self.base)) as f64 / self.one as f64;
        units.to_string()
    }

    /// The characters of the longest label: of the first or the last.
    pub(super) fn longest(&self) -> usize {
        let last = self.to - self.to.rem_euclid(self.step).min(self.to.saturating_sub(self.from));
        let ends = [self.first().unwrap_or(last), last];
        let length = ends.map(|tick| self.label(tick).len());
        // A half that neither end shows can stand between them.
        let half = if self.step % self.one == 0 { 0 } else { 2 };
        length[0].max(length[1]) + half
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn labels(from: Time, to: Time, room: f64) -> (String, Vec<String>) {
        let ruler = Ruler::new(from, to, room, 6.6);
        let labels = ruler.ticks().map(|(_, label)| label).collect();
        (ruler.caption(), labels)
    }

    #[test]
    fn ticks_are_round_and_in_a_fitting_unit() {
        let of = |to, room| labels(Time::ZERO, to, room);
        let ns = |labels: &[&str]| ("ns".to_owned(), labels.iter().map(|l| l.to_string()).collect());
        // 45 pixels a tick at least: 10 ns would have 35.
        assert_eq!(
            of(Time::from_ns(200), 700.0),
            ns(&["0", "20", "40", "60", "80", "100", "120", "140", "160", "180", "200"])
        );
        assert_eq!(of(Time::from_ps(1_900), 350.0), ns(&["0", "0.5", "1", "1.5"]));
        let (caption, labels) = of(Time::from_us(10), 700.0);
        assert_eq!((caption.as_str(), labels.len()), ("us", 11));
        let (caption, labels) = of(Time::from_ps(3), 700.0);
        assert_eq!((caption.as_str(), labels.len()), ("ps", 4));
    }

    #[test]
    fn far_times_are_told_from_a_near_moment() {
        let from = Time::from_ps(12_345_678_000);
        let (caption, labels) = labels(from, from + Time::from_ns(10), 400.0);
        assert_eq!(caption, "ns after 12.345 ms");
        assert_eq!(labels, ["678", "680", "682", "684", "686", "688"]);
    }

    #[test]
    fn any_span_has_a_ruler() {
        let ends = [i64::MIN, -1, 0, 1, 999, i64::MAX].map(Time::from_ps);
        for (index, &from) in ends.iter().enumerate() {
            for &to in &ends[index + 1..] {
                for room in [100.0, 900.0, 9_000.0] {
                    let count = labels(from, to, room).1.len();
                    assert!(count as f64 <= 1.0 + room / LEAST_GAP, "{count} on {room}");
                }
            }
        }
    }
}
