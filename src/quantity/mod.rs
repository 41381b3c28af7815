//! Quantities: whole numbers of a small step (picoseconds, microvolts, ...), so that what is computed from them is
//! exact and the same on every machine.
//!
//! Each measure is a type of its own. [`Quantity`] is any of them, as it is read from a text.

mod capacitance;
mod current;
mod decimal;
mod frequency;
mod length;
mod measure;
mod power;
mod resistance;
pub mod si;
mod temperature;
mod time;
mod voltage;

pub use capacitance::Capacitance;
pub use current::Current;
pub use frequency::Frequency;
pub use length::Length;
pub use power::Power;
pub use resistance::Resistance;
pub use temperature::Temperature;
pub use time::Time;
pub use voltage::Voltage;

use decimal::Scale;
use std::fmt;

/// Every unit that a number can be written in.
pub const UNITS: &[&str] = &[
    "ps", "ns", "us", "ms", "s", "uV", "mV", "V", "pA", "nA", "uA", "mA", "A", "mohm", "ohm", "kohm", "Mohm", "pF",
    "nF", "uF", "mF", "F", "Hz", "kHz", "MHz", "GHz", "um", "mm", "cm", "m", "uW", "mW", "W", "C", "%",
];

/// A number with its unit.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Quantity {
    /// A moment or a duration.
    Time(Time),
    Voltage(Voltage),
    Current(Current),
    Resistance(Resistance),
    Capacitance(Capacitance),
    Frequency(Frequency),
    Length(Length),
    Power(Power),
    Temperature(Temperature),
    /// A percentage, in thousandths of a percent.
    Percent(i64),
    /// A number without a unit, in millionths.
    Number(i64),
}

const PERCENT: Scale = Scale { unit: "%", digits: 3 };
const NUMBER: Scale = Scale { unit: "", digits: 6 };

/// The units of one measure, and what a number of its steps makes.
type Measure = (&'static [Scale], fn(i64) -> Quantity);

const MEASURES: [Measure; 11] = [
    (Time::SCALES, |raw| Quantity::Time(Time::from_raw(raw))),
    (Voltage::SCALES, |raw| Quantity::Voltage(Voltage::from_raw(raw))),
    (Current::SCALES, |raw| Quantity::Current(Current::from_raw(raw))),
    (Resistance::SCALES, |raw| Quantity::Resistance(Resistance::from_raw(raw))),
    (Capacitance::SCALES, |raw| Quantity::Capacitance(Capacitance::from_raw(raw))),
    (Frequency::SCALES, |raw| Quantity::Frequency(Frequency::from_raw(raw))),
    (Length::SCALES, |raw| Quantity::Length(Length::from_raw(raw))),
    (Power::SCALES, |raw| Quantity::Power(Power::from_raw(raw))),
    (Temperature::SCALES, |raw| Quantity::Temperature(Temperature::from_raw(raw))),
    (&[PERCENT], Quantity::Percent),
    (&[NUMBER], Quantity::Number),
];

impl Quantity {
    /// Reads a decimal number and its unit exactly; an empty unit makes a plain number.
    ///
    /// # Errors
    /// When the number is not a decimal number, the unit is unknown, or the value is finer or larger than can be kept.
    pub fn parse(number: &str, unit: &str) -> Result<Quantity, QuantityError> {
        for (scales, make) in MEASURES {
            if let Some(scale) = scales.iter().find(|scale| scale.unit == unit) {
                return decimal::parse(number, scale).map(make);
            }
        }
        Err(QuantityError::UnknownUnit(decimal::shortened(unit)))
    }

    /// What it is, with its article: `a time`.
    pub fn kind(&self) -> &'static str {
        match self {
            Quantity::Time(_) => "a time",
            Quantity::Voltage(_) => "a voltage",
            Quantity::Current(_) => "a current",
            Quantity::Resistance(_) => "a resistance",
            Quantity::Capacitance(_) => "a capacitance",
            Quantity::Frequency(_) => "a frequency",
            Quantity::Length(_) => "a length",
            Quantity::Power(_) => "a power",
            Quantity::Temperature(_) => "a temperature",
            Quantity::Percent(_) => "a percentage",
            Quantity::Number(_) => "a number",
        }
    }
}

impl std::str::FromStr for Quantity {
    type Err = QuantityError;

    /// Reads `12.5 us` or `12.5us`, as on a command line; errors as [`Quantity::parse`].
    fn from_str(text: &str) -> Result<Quantity, QuantityError> {
        let text = text.trim();
        let split = text.find(|c: char| c.is_ascii_alphabetic() || c == '%').unwrap_or(text.len());
        let (number, unit) = text.split_at(split);
        Quantity::parse(number.trim(), unit.trim())
    }
}

macro_rules! accessors {
    ($($name:ident $variant:ident $kind:ty, $doc:literal;)+) => {
        impl Quantity {
            $(
                #[doc = $doc]
                pub fn $name(self) -> Option<$kind> {
                    match self {
                        Quantity::$variant(value) => Some(value),
                        _ => None,
                    }
                }
            )+
        }
    };
}

accessors! {
    as_time Time Time, "The time, if it is one.";
    as_voltage Voltage Voltage, "The voltage, if it is one.";
    as_current Current Current, "The current, if it is one.";
    as_resistance Resistance Resistance, "The resistance, if it is one.";
    as_capacitance Capacitance Capacitance, "The capacitance, if it is one.";
    as_frequency Frequency Frequency, "The frequency, if it is one.";
    as_length Length Length, "The length, if it is one.";
    as_temperature Temperature Temperature, "The temperature, if it is one.";
    as_percent Percent i64, "The thousandths of a percent, if it is a percentage.";
}

impl fmt::Display for Quantity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Quantity::Time(value) => value.fmt(f),
            Quantity::Voltage(value) => value.fmt(f),
            Quantity::Current(value) => value.fmt(f),
            Quantity::Resistance(value) => value.fmt(f),
            Quantity::Capacitance(value) => value.fmt(f),
            Quantity::Frequency(value) => value.fmt(f),
            Quantity::Length(value) => value.fmt(f),
            Quantity::Power(value) => value.fmt(f),
            Quantity::Temperature(value) => value.fmt(f),
            Quantity::Percent(raw) => f.pad(&decimal::engineering(*raw, &[PERCENT], "%")),
            Quantity::Number(raw) => f.pad(&decimal::engineering(*raw, &[NUMBER], "")),
        }
    }
}

impl serde::Serialize for Quantity {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

/// Why a number and its unit make no quantity.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum QuantityError {
    /// The number, which is no decimal number.
    NotANumber(String),
    /// The unit, which is unknown.
    UnknownUnit(String),
    /// More digits than are kept.
    TooFine {
        /// As it was written.
        written: String,
        /// The smallest step in that unit.
        step: String,
    },
    /// Out of range.
    TooLarge {
        /// As it was written.
        written: String,
        /// The largest value in that unit.
        largest: String,
    },
}

impl fmt::Display for QuantityError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            QuantityError::NotANumber(number) => write!(
                f,
                "`{number}` is not a decimal number; write digits with at most one point among them, such as 4.5"
            ),
            QuantityError::UnknownUnit(unit) => {
                write!(f, "`{unit}` is not a unit; the units are {}", UNITS.join(", "))
            }
            QuantityError::TooFine { written, step } => {
                write!(f, "`{written}` has more digits than are kept; the smallest step is {step}")
            }
            QuantityError::TooLarge { written, largest } => {
                write!(f, "`{written}` is out of range; the largest value is {largest}")
            }
        }
    }
}

impl std::error::Error for QuantityError {}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn parse(text: &str) -> Result<Quantity, QuantityError> {
        let (number, unit) = text.split_once(' ').unwrap_or((text, ""));
        Quantity::parse(number, unit)
    }

    #[test]
    fn quantities_print_as_engineers_write_them() {
        for text in [
            "5 V",
            "300 mV",
            "-1.5 V",
            "680 ohm",
            "4.7 kohm",
            "1 Mohm",
            "100 nF",
            "0.5 pF",
            "4.7 uF",
            "1 MHz",
            "0.5 Hz",
            "32.768 kHz",
            "250 mm",
            "1.5 m",
            "25 C",
            "-40 C",
            "4 mA",
            "0 A",
            "100 nA",
            "12.5 ns",
            "0 ns",
            "10 %",
            "0.125 %",
            "3",
            "-0.000001",
            "0",
            "0 pF",
            "0 %",
        ] {
            assert_eq!(parse(text).expect(text).to_string(), text);
        }
        assert_eq!(parse("25 cm").expect("a length").to_string(), "250 mm");
        assert_eq!(parse("+007.500 ns").expect("a time").to_string(), "7.5 ns");
    }

    #[test]
    fn units_are_exactly_those_that_parse() {
        let scales = MEASURES.iter().flat_map(|(scales, _)| scales.iter());
        let units: Vec<_> = scales.map(|scale| scale.unit).filter(|unit| !unit.is_empty()).collect();
        assert_eq!(units, UNITS);
    }

    #[test]
    fn each_unit_has_its_size() {
        let si = |text| match parse(text).expect(text) {
            Quantity::Time(value) => value.as_f64(),
            Quantity::Voltage(value) => value.as_f64(),
            Quantity::Current(value) => value.as_f64(),
            Quantity::Resistance(value) => value.as_f64(),
            Quantity::Capacitance(value) => value.as_f64(),
            Quantity::Frequency(value) => value.as_f64(),
            Quantity::Length(value) => value.as_f64(),
            Quantity::Power(value) => value.as_f64(),
            Quantity::Temperature(value) => value.as_f64(),
            Quantity::Percent(raw) => raw as f64 / 1e5,
            Quantity::Number(raw) => raw as f64 / 1e6,
        };
        for (text, value) in [
            ("1 ps", 1e-12),
            ("1 ns", 1e-9),
            ("1 us", 1e-6),
            ("1 ms", 1e-3),
            ("1 s", 1.0),
            ("1 uV", 1e-6),
            ("1 mV", 1e-3),
            ("1 V", 1.0),
            ("1 pA", 1e-12),
            ("1 nA", 1e-9),
            ("1 uA", 1e-6),
            ("1 mA", 1e-3),
            ("1 A", 1.0),
            ("1 mohm", 1e-3),
            ("1 ohm", 1.0),
            ("1 kohm", 1e3),
            ("1 Mohm", 1e6),
            ("1 pF", 1e-12),
            ("1 nF", 1e-9),
            ("1 uF", 1e-6),
            ("1 mF", 1e-3),
            ("1 F", 1.0),
            ("1 Hz", 1.0),
            ("1 kHz", 1e3),
            ("1 MHz", 1e6),
            ("1 GHz", 1e9),
            ("1 um", 1e-6),
            ("1 mm", 1e-3),
            ("1 cm", 1e-2),
            ("1 m", 1.0),
            ("1 uW", 1e-6),
            ("1 mW", 1e-3),
            ("1 W", 1.0),
            ("1 C", 1.0),
            ("1 %", 1e-2),
            ("1", 1.0),
        ] {
            assert_eq!(si(text), value, "{text}");
        }
    }

    #[test]
    fn what_cannot_be_kept_is_refused_with_a_sentence() {
        let message = |text| parse(text).expect_err(text).to_string();
        for text in ["", "-", ".5 V", "5. V", "1.2.3 V", "1e3 V", "--1 V", "1_0 V", "٣ V", "+ V", "-é V"] {
            assert!(message(text).contains("is not a decimal number"), "{text}");
        }
        assert!(message("1 Volt").starts_with("`Volt` is not a unit; the units are ps, ns"));
        assert_eq!(message("0.0001 ns"), "`0.0001 ns` has more digits than are kept; the smallest step is 0.001 ns");
        assert_eq!(message("9300000 s"), "`9300000 s` is out of range; the largest value is 9223372.036854775807 s");
        assert!(message(&format!("{} V", "9".repeat(5000))).len() < 200);
        assert_eq!(parse("-9223372036854775808 ps"), Ok(Quantity::Time(Time::from_ps(i64::MIN))));
        assert!(parse("9223372036854775808 ps").is_err());
    }

    #[test]
    fn accessors_give_only_their_own_kind() {
        let time = Quantity::Time(Time::from_ns(1));
        assert_eq!((time.as_time(), time.as_voltage()), (Some(Time::from_ns(1)), None));
        assert_eq!((time.kind(), Quantity::Number(1).kind()), ("a time", "a number"));
        assert_eq!(Quantity::Percent(500).as_percent(), Some(500));
    }

    #[test]
    fn json_has_the_printed_text() {
        let json = serde_json::to_string(&(Time::from_ns(5), Quantity::Percent(1_000)));
        assert_eq!(json.expect("plain text"), r#"["5 ns","1 %"]"#);
    }

    proptest! {
        #[test]
        fn what_is_printed_reads_back(raw: i64, measure in 0..MEASURES.len()) {
            let quantity = MEASURES[measure].1(raw);
            prop_assert_eq!(parse(&quantity.to_string()), Ok(quantity));
        }

        #[test]
        fn order_is_that_of_the_numbers(a in -1_000_000_i64..1_000_000, b in -1_000_000_i64..1_000_000, unit in 0..UNITS.len()) {
            let quantity = |number: i64| Quantity::parse(&number.to_string(), UNITS[unit]);
            if let (Ok(x), Ok(y)) = (quantity(a), quantity(b)) {
                prop_assert_eq!(x.cmp(&y), a.cmp(&b));
            }
        }

        #[test]
        fn arithmetic_is_exact_or_stops_at_the_end(a: i64, b: i64) {
            let clamp = |wide: i128| wide.clamp(i64::MIN.into(), i64::MAX.into());
            let (x, y) = (Current::from_raw(a), Current::from_raw(b));
            prop_assert_eq!(i128::from((x + y).raw()), clamp(i128::from(a) + i128::from(b)));
            prop_assert_eq!(i128::from((x - y).raw()), clamp(i128::from(a) - i128::from(b)));
            prop_assert_eq!(i128::from((x * b).raw()), clamp(i128::from(a) * i128::from(b)));
            prop_assert_eq!(x.checked_add(y).map(Current::raw), a.checked_add(b));
            prop_assert_eq!(x.checked_sub(y).map(Current::raw), a.checked_sub(b));
        }

        #[test]
        fn any_text_is_read_or_refused(number in "[-+.0-9]{0,50}", unit in "\\PC{0,3}") {
            let _ = Quantity::parse(&number, &unit);
            for unit in UNITS {
                let _ = Quantity::parse(&number, unit);
            }
        }
    }
}
