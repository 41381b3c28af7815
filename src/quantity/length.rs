//! Length in micrometres: traces and cables.

use super::measure::measure;

measure! {
    /// A length in micrometres.
    Length in "micrometres", si 6, zero "mm",
    ["um" 0, "mm" 3, "cm" 4, "m" 6]
}
