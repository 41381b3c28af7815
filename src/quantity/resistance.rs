//! Resistance in milliohms.

use super::measure::measure;

measure! {
    /// A resistance in milliohms.
    Resistance in "milliohms", si 3, zero "ohm",
    ["mohm" 0, "ohm" 3, "kohm" 6, "Mohm" 9]
}
