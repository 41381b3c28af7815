//! Time in picoseconds: a moment of a run, or a duration.

use super::measure::measure;

measure! {
    /// A moment or a duration in picoseconds; the range is about 106 days either way.
    Time in "picoseconds", si 12, zero "ns",
    ["ps" 0, "ns" 3, "us" 6, "ms" 9, "s" 12]
}

impl Time {
    /// One picosecond, the smallest step.
    pub const PICOSECOND: Self = Self(1);

    /// From whole picoseconds.
    #[inline]
    pub const fn from_ps(ps: i64) -> Self {
        Self(ps)
    }

    /// From whole picoseconds that are no more than four milliseconds.
    #[inline]
    pub const fn from_ps_u32(ps: u32) -> Self {
        Self(ps as i64)
    }

    /// From whole nanoseconds, saturating.
    pub const fn from_ns(ns: i64) -> Self {
        Self(ns.saturating_mul(1_000))
    }

    /// From whole microseconds, saturating.
    pub const fn from_us(us: i64) -> Self {
        Self(us.saturating_mul(1_000_000))
    }

    /// From whole milliseconds, saturating.
    pub const fn from_ms(ms: i64) -> Self {
        Self(ms.saturating_mul(1_000_000_000))
    }

    /// The time without its sign; the largest one for the smallest.
    pub const fn abs(self) -> Self {
        Self(self.0.saturating_abs())
    }

    /// In picoseconds.
    #[inline]
    pub const fn ps(self) -> i64 {
        self.0
    }

    /// In nanoseconds, rounded as floating point must.
    pub fn ns(self) -> f64 {
        self.0 as f64 / 1e3
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn prints_exactly_in_a_suitable_unit() {
        for (time, text) in [
            (Time::from_ps(12_500), "12.5 ns"),
            (Time::from_ns(1_250), "1.25 us"),
            (Time::ZERO, "0 ns"),
            (Time::from_ps(80), "80 ps"),
            (Time::from_ms(3), "3 ms"),
            (Time::from_ps(-999), "-999 ps"),
            (Time::from_ps(-1_001), "-1.001 ns"),
            (Time::from_ms(2_000), "2 s"),
        ] {
            assert_eq!(time.to_string(), text);
        }
        assert_eq!(format!("{:>8}", Time::from_ns(5)), "    5 ns");
    }

    #[test]
    fn operators_saturate_and_checked_ones_refuse() {
        let one = Time::from_ps(1);
        assert_eq!(Time::MAX + one, Time::MAX);
        assert_eq!(Time::MAX.checked_add(one), None);
        assert_eq!(Time::from_ps(i64::MIN) - one, Time::from_ps(i64::MIN));
        assert_eq!(Time::from_ps(i64::MIN).checked_sub(one), None);
        assert_eq!(-Time::from_ps(i64::MIN), Time::MAX);
        assert_eq!(Time::MAX * 2, Time::MAX);
        assert_eq!(Time::from_ms(i64::MAX), Time::MAX);
        assert_eq!(Time::from_ns(3) * 4 - Time::from_us(1), Time::from_ns(-988));
        assert_eq!(Time::from_ns(2).checked_add(one), Some(Time::from_ps(2_001)));
        let mut sum = Time::from_ns(1);
        sum += one;
        assert_eq!((sum.ps(), sum.ns()), (1_001, 1.001));
    }
}
