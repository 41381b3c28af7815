//! Capacitance in femtofarads.

use super::measure::measure;

measure! {
    /// A capacitance in femtofarads.
    Capacitance in "femtofarads", si 15, zero "pF",
    ["pF" 3, "nF" 6, "uF" 9, "mF" 12, "F" 15]
}
