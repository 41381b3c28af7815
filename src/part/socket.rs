//! Sockets: whether one part can be put where another one stands.

use super::{Part, Pin, PinKind};
use std::fmt;

/// What a pin is for the copper that leads to it. Outputs of all kinds can stand in for each other: whether the board
/// works with them is for its trials to say.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Side {
    Input,
    Output,
    Both,
    Power,
    Ground,
    Timing,
    Nothing,
}

fn side(pin: &Pin) -> Side {
    match pin.kind {
        PinKind::In => Side::Input,
        PinKind::Out | PinKind::ThreeState | PinKind::OpenDrain => Side::Output,
        PinKind::InOut => Side::Both,
        PinKind::Power => Side::Power,
        PinKind::Ground => Side::Ground,
        PinKind::Timing => Side::Timing,
        PinKind::None => Side::Nothing,
    }
}

/// A pin that two parts do not agree about.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PinIncompatibility {
    pub number: u32,
    /// Name and kind on the part that stands there; `None` when it has no such pin.
    pub old: Option<(String, PinKind)>,
    /// Name and kind on the part that is to come.
    pub new: Option<(String, PinKind)>,
}

impl fmt::Display for PinIncompatibility {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let tell = |pin: &Option<(String, PinKind)>| match pin {
            Some((name, kind)) => format!("{name} ({})", kind_word(*kind)),
            None => "not there".to_owned(),
        };
        let (number, old, new) = (self.number, tell(&self.old), tell(&self.new));
        write!(f, "pin {number}: {old} against {new}")
    }
}

/// The word of the language for a kind of pin.
fn kind_word(kind: PinKind) -> &'static str {
    match kind {
        PinKind::In => "in",
        PinKind::Out => "out",
        PinKind::ThreeState => "three-state",
        PinKind::OpenDrain => "open-drain",
        PinKind::InOut => "in-out",
        PinKind::Power => "power",
        PinKind::Ground => "ground",
        PinKind::Timing => "timing",
        PinKind::None => "none",
    }
}

/// The pins, by rising number, that keep a part out of the socket of another one; empty when it fits.
pub fn pin_incompatibilities(old: &Part, new: &Part) -> Vec<PinIncompatibility> {
    differing(old, new, |a, b| side(a) != side(b))
}

/// The pins that fit, but have another name: they may do something else.
pub fn renamed(old: &Part, new: &Part) -> Vec<PinIncompatibility> {
    differing(old, new, |a, b| a.name != b.name && side(a) == side(b))
}

fn differing(old: &Part, new: &Part, differ: impl Fn(&Pin, &Pin) -> bool) -> Vec<PinIncompatibility> {
    let mut numbers: Vec<u32> = (old.pins.iter().chain(&new.pins)).map(|pin| pin.number).collect();
    numbers.sort_unstable();
    numbers.dedup();
    let pin = |part: &Part, number| {
        let pin = part.pin_numbered(number)?;
        Some(part.pins[pin].clone())
    };
    let row = |number| {
        let (old, new) = (pin(old, number), pin(new, number));
        let apart = match (&old, &new) {
            (Some(old), Some(new)) => differ(old, new),
            (Some(only), None) | (None, Some(only)) => {
                differ(only, &Pin { kind: PinKind::None, number, name: String::new(), schmitt: false })
            }
            (None, None) => false,
        };
        let told = |pin: Option<Pin>| pin.map(|pin| (pin.name, pin.kind));
        apart.then(|| PinIncompatibility { number, old: told(old), new: told(new) })
    };
    numbers.into_iter().filter_map(row).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::part::Library;

    fn told(old: &str, new: &str) -> Vec<String> {
        let library = Library::built_in();
        let part = |name: &str| library.part(name).expect("a part of the library");
        let pin_incompatibilities = pin_incompatibilities(&part(old), &part(new));
        pin_incompatibilities.iter().map(PinIncompatibility::to_string).collect()
    }

    #[test]
    fn parts_with_the_same_pins_fit() {
        // The 161 and the 163 differ in how they clear only (TI SCLS297D, SCLS298D).
        assert_eq!(told("161", "163"), Vec::<String>::new());
    }

    #[test]
    fn the_374_has_its_pins_elsewhere_than_the_574() {
        // 374: pins 2 to 19 are Q1 D1 D2 Q2 ...; 574: all D on one side, all Q on the other (TI SCHS183E, SCLS148F).
        let told = told("374", "574");
        assert_eq!(told[0], "pin 2: Q1 (three-state) against D1 (in)");
        assert_eq!(told.len(), 8, "{told:?}");
    }

    #[test]
    fn a_larger_package_has_pins_that_are_not_there() {
        // 00: DIP14, supply at 14 and 7; 574: DIP20 (common practice).
        let told = told("00", "574");
        assert!(told.contains(&"pin 7: GND (ground) against D6 (in)".to_owned()));
        assert!(told.contains(&"pin 20: not there against VCC (power)".to_owned()));
    }
}
