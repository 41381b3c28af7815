//! Power in microwatts: what a part may turn into heat.

use super::measure::measure;

measure! {
    /// A power in microwatts.
    Power in "microwatts", si 6, zero "W",
    ["uW" 0, "mW" 3, "W" 6]
}
