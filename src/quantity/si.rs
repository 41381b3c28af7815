//! SI units as floating-point numbers, for what is solved and not read: voltages and currents in a network at rest.
//!
//! Each unit is a type of its own, and only products that have a meaning are defined: volts by ohms are amperes.

use super::{Capacitance, Current, Power, Quantity, Resistance, Time, Voltage};
use std::cmp::Ordering;

/// A unit that figures of data sheets are read in.
pub trait SheetUnit: Copy + PartialOrd {
    /// The figure in this unit; nothing for a figure of another kind.
    fn of(figure: Quantity) -> Option<Self>;
    /// From its number.
    fn from_number(number: f64) -> Self;
    /// Its number.
    fn number(self) -> f64;
}

macro_rules! si {
    ($($name:ident $doc:literal;)+) => { $(
        #[doc = $doc]
        #[derive(Clone, Copy, PartialEq, PartialOrd, Default, Debug)]
        pub struct $name(pub f64);

        impl $name {
            /// Nothing.
            pub const ZERO: Self = Self(0.0);
            /// More than anything real.
            pub const MAX: Self = Self(f64::MAX);

            /// Without its sign.
            pub fn abs(self) -> Self {
                Self(self.0.abs())
            }

            /// The smaller of two.
            #[must_use]
            pub fn min(self, other: Self) -> Self {
                Self(self.0.min(other.0))
            }

            /// The larger of two.
            #[must_use]
            pub fn max(self, other: Self) -> Self {
                Self(self.0.max(other.0))
            }

            /// The order of IEEE 754, in which every value has a place.
            pub fn total_cmp(&self, other: &Self) -> Ordering {
                self.0.total_cmp(&other.0)
            }
        }

        impl std::ops::Add for $name {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self(self.0 + other.0)
            }
        }

        impl std::ops::Sub for $name {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self(self.0 - other.0)
            }
        }

        impl std::ops::Neg for $name {
            type Output = Self;
            fn neg(self) -> Self {
                Self(-self.0)
            }
        }

        impl std::ops::AddAssign for $name {
            fn add_assign(&mut self, other: Self) {
                self.0 += other.0;
            }
        }

        impl std::ops::Mul<f64> for $name {
            type Output = Self;
            fn mul(self, times: f64) -> Self {
                Self(self.0 * times)
            }
        }

        impl std::ops::Div<f64> for $name {
            type Output = Self;
            fn div(self, by: f64) -> Self {
                Self(self.0 / by)
            }
        }

        impl std::ops::Div for $name {
            type Output = f64;
            fn div(self, by: Self) -> f64 {
                self.0 / by.0
            }
        }

        impl std::iter::Sum for $name {
            fn sum<I: Iterator<Item = Self>>(values: I) -> Self {
                Self(values.map(|value| value.0).sum())
            }
        }

        impl<'a> std::iter::Sum<&'a $name> for $name {
            fn sum<I: Iterator<Item = &'a Self>>(values: I) -> Self {
                values.copied().sum()
            }
        }
    )+ };
}

si! {
    Volts "A voltage in volts.";
    Amperes "A current in amperes.";
    Ohms "A resistance in ohms.";
    Siemens "A conductance in siemens.";
    Farads "A capacitance in farads.";
    Coulombs "A charge in coulombs.";
    Seconds "A time in seconds.";
    Hertz "A frequency in hertz.";
    Watts "A power in watts.";
}

macro_rules! products {
    ($($one:ident * $other:ident = $product:ident;)+) => { $(
        impl std::ops::Mul<$other> for $one {
            type Output = $product;
            fn mul(self, other: $other) -> $product {
                $product(self.0 * other.0)
            }
        }

        impl std::ops::Div<$one> for $product {
            type Output = $other;
            fn div(self, by: $one) -> $other {
                $other(self.0 / by.0)
            }
        }

        impl std::ops::Div<$other> for $product {
            type Output = $one;
            fn div(self, by: $other) -> $one {
                $one(self.0 / by.0)
            }
        }
    )+ };
}

products! {
    Amperes * Ohms = Volts;
    Amperes * Volts = Watts;
    Ohms * Farads = Seconds;
    Volts * Farads = Coulombs;
    Amperes * Seconds = Coulombs;
    Coulombs * Hertz = Amperes;
    Siemens * Volts = Amperes;
    Farads * Hertz = Siemens;
}

impl Ohms {
    /// What becomes heat in this resistance.
    pub fn heat(self, current: Amperes) -> Watts {
        Watts(current.0 * current.0 * self.0)
    }

    /// The conductance of this resistance.
    pub fn conductance(self) -> Siemens {
        Siemens(1.0 / self.0)
    }
}

impl Siemens {
    /// The resistance of this conductance.
    pub fn resistance(self) -> Ohms {
        Ohms(1.0 / self.0)
    }
}

macro_rules! exact {
    ($($kind:ident $method:ident $unit:ident $doc:literal;)+) => { $(
        impl $kind {
            #[doc = $doc]
            pub fn $method(self) -> $unit {
                $unit(self.as_f64())
            }
        }
    )+ };
}

exact! {
    Voltage volts Volts "In volts, rounded as floating point must.";
    Current amperes Amperes "In amperes, rounded as floating point must.";
    Resistance ohms Ohms "In ohms, rounded as floating point must.";
    Capacitance farads Farads "In farads, rounded as floating point must.";
    Power watts Watts "In watts, rounded as floating point must.";
}

impl Time {
    /// In seconds, rounded as floating point must.
    pub fn seconds(self) -> Seconds {
        Seconds(self.ps() as f64 * 1e-12)
    }
}

macro_rules! sheet_units {
    ($($unit:ident $read:ident $method:ident;)+) => { $(
        impl SheetUnit for $unit {
            fn of(figure: Quantity) -> Option<Self> {
                figure.$read().map(|figure| figure.$method())
            }

            fn from_number(number: f64) -> Self {
                Self(number)
            }

            fn number(self) -> f64 {
                self.0
            }
        }
    )+ };
}

sheet_units! {
    Volts as_voltage volts;
    Amperes as_current amperes;
    Farads as_capacitance farads;
    Seconds as_time seconds;
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn products_have_the_unit_of_the_law() {
        // Ohm's law, P = U I, the time constant of an RC, and the charge of a capacitor.
        assert_eq!(Volts(5.0) / Ohms(1e3), Amperes(5e-3));
        assert_eq!(Amperes(2.0) * Volts(5.0), Watts(10.0));
        assert_eq!(Ohms(1e3) * Farads(0.5), Seconds(500.0));
        assert_eq!(Volts(2.0) * Farads(0.5) / Amperes(0.25), Seconds(4.0));
        assert_eq!(Ohms(4.0).conductance().resistance(), Ohms(4.0));
        assert_eq!(Volts::of(Quantity::Voltage(Voltage::from_raw(2_500_000))), Some(Volts(2.5)));
        assert_eq!(Volts::of(Quantity::Current(Current::from_raw(1))), None);
    }
}
