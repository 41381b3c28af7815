//! Voltage in microvolts.

use super::measure::measure;

measure! {
    /// A voltage in microvolts.
    Voltage in "microvolts", si 6, zero "V",
    ["uV" 0, "mV" 3, "V" 6]
}
