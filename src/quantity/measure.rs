//! What every measure has: a whole number of its smallest step, order, arithmetic that saturates, and its printed text.

/// Defines a measure: its steps in words, the decimal digits from a step to the SI unit, the unit that zero prints in,
/// and the units with their digits, smallest first.
macro_rules! measure {
    (
        $(#[$doc:meta])* $name:ident in $steps:literal,
        si $si:literal,
        zero $zero:literal,
        [$($unit:literal $digits:literal),+ $(,)?]
    ) => {
        $(#[$doc])*
        ///
        /// The operators saturate at the ends of the range.
        #[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Debug)]
        pub struct $name(i64);

        impl $name {
            /// Nothing.
            pub const ZERO: Self = Self(0);
            /// The largest value.
            pub const MAX: Self = Self(i64::MAX);

            pub(super) const SCALES: &'static [$crate::quantity::decimal::Scale] = &[
                $($crate::quantity::decimal::Scale { unit: $unit, digits: $digits }),+
            ];

            #[doc = concat!("From whole ", $steps, ".")]
            #[inline]
            pub const fn from_raw(raw: i64) -> Self {
                Self(raw)
            }

            #[doc = concat!("In ", $steps, ".")]
            #[inline]
            pub const fn raw(self) -> i64 {
                self.0
            }

            /// In the SI unit (degrees Celsius for a temperature), rounded as floating point must.
            pub fn as_f64(self) -> f64 {
                self.0 as f64 / 10_u64.pow($si) as f64
            }

            /// The sum, or nothing when it does not fit.
            pub const fn checked_add(self, other: Self) -> Option<Self> {
                match self.0.checked_add(other.0) {
                    Some(raw) => Some(Self(raw)),
                    None => None,
                }
            }

            /// The difference, or nothing when it does not fit.
            pub const fn checked_sub(self, other: Self) -> Option<Self> {
                match self.0.checked_sub(other.0) {
                    Some(raw) => Some(Self(raw)),
                    None => None,
                }
            }

            /// The sum, or the end of the range that it passes.
            #[inline]
            pub const fn saturating_add(self, other: Self) -> Self {
                Self(self.0.saturating_add(other.0))
            }

            /// The difference, or the end of the range that it passes.
            #[inline]
            pub const fn saturating_sub(self, other: Self) -> Self {
                Self(self.0.saturating_sub(other.0))
            }
        }

        impl std::ops::Add for $name {
            type Output = Self;
            #[inline]
            fn add(self, other: Self) -> Self {
                self.saturating_add(other)
            }
        }

        impl std::ops::Sub for $name {
            type Output = Self;
            #[inline]
            fn sub(self, other: Self) -> Self {
                self.saturating_sub(other)
            }
        }

        impl std::ops::Neg for $name {
            type Output = Self;
            #[inline]
            fn neg(self) -> Self {
                Self(self.0.saturating_neg())
            }
        }

        impl std::ops::AddAssign for $name {
            #[inline]
            fn add_assign(&mut self, other: Self) {
                *self = *self + other;
            }
        }

        impl std::ops::Mul<i64> for $name {
            type Output = Self;
            #[inline]
            fn mul(self, times: i64) -> Self {
                Self(self.0.saturating_mul(times))
            }
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.pad(&$crate::quantity::decimal::engineering(self.0, Self::SCALES, $zero))
            }
        }

        impl serde::Serialize for $name {
            fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                serializer.collect_str(self)
            }
        }
    };
}

pub(super) use measure;
