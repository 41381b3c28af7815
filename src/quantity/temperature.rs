//! Temperature in thousandths of a degree Celsius.

use super::measure::measure;

measure! {
    /// A temperature in thousandths of a degree Celsius.
    Temperature in "thousandths of a degree Celsius", si 3, zero "C",
    ["C" 3]
}
