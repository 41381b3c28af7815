//! What a cable adds.

use crate::quantity::{Length, Time};

/// Picoseconds a millimetre of ribbon cable: 5 ns a metre (PVC ribbon cable sheet, specification 100-4136: 1.51 ns a
/// foot).
const PS_PER_MM: i64 = 5;

/// The time that an edge takes along a wire.
pub fn wire_delay(length: Length) -> Time {
    Time::from_ps((length * PS_PER_MM).raw() / 1000)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_foot_of_ribbon_takes_one_and_a_half_nanoseconds() {
        // PVC ribbon cable sheet, specification 100-4136: 1.51 ns/ft.
        assert_eq!(wire_delay(Length::from_raw(304_800)).ps(), 1524);
    }
}
