//! Current in picoamperes: small enough for CMOS inputs, large enough for a supply.

use super::measure::measure;

measure! {
    /// A current in picoamperes.
    Current in "picoamperes", si 12, zero "A",
    ["pA" 0, "nA" 3, "uA" 6, "mA" 9, "A" 12]
}
