//! Frequency in millihertz: a clock turned by hand has one, too.

use super::Time;
use super::measure::measure;

measure! {
    /// A frequency in millihertz.
    Frequency in "millihertz", si 3, zero "Hz",
    ["Hz" 3, "kHz" 6, "MHz" 9, "GHz" 12]
}

impl Frequency {
    /// The time of one turn, rounded to the nearest picosecond; nothing when there is none: at zero, below, or so fast
    /// that it rounds to zero.
    pub const fn period(self) -> Option<Time> {
        if self.0 <= 0 {
            return None;
        }
        // A second is 10^12 ps, and the frequency counts in 10^-3 Hz.
        match (1_000_000_000_000_000 + self.0 / 2) / self.0 {
            0 => None,
            ps => Some(Time::from_ps(ps)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn periods_are_rounded_to_picoseconds() {
        let period = |raw| Frequency::from_raw(raw).period();
        assert_eq!(period(1_000_000_000), Some(Time::from_us(1)));
        assert_eq!(period(500), Some(Time::from_ms(2_000)));
        // 1 / 3 MHz = 333333.33 ps, 1 / 6 MHz = 166666.67 ps
        assert_eq!(period(3_000_000_000), Some(Time::from_ps(333_333)));
        assert_eq!(period(6_000_000_000), Some(Time::from_ps(166_667)));
        assert_eq!(period(0), None);
        assert_eq!(period(-5), None);
        assert_eq!(period(i64::MAX), None);
    }
}
