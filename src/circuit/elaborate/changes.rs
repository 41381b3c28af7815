//! A circuit as it would be with other supplies, oscillators or chips, the texts of the design untouched.

use super::Problems;
use crate::circuit::{Chip, ChipKey, Circuit};
use crate::diagnostic::Diagnostic;
use crate::part::family::Estimate;
use crate::part::library::Found;
use crate::part::{Library, PinIndex, socket};
use crate::quantity::{Frequency, Voltage};
use std::collections::BTreeMap;

/// What is to be otherwise than the design says. Each name must be there.
#[derive(Clone, Debug, Default)]
pub struct Changes {
    /// Voltages of the bench supplies of an assembly, or of the rails of a board that stands alone.
    pub voltages: BTreeMap<String, Voltage>,
    /// Frequencies of oscillators, by path.
    pub frequencies: BTreeMap<String, Frequency>,
    /// Chips in the sockets of others, by path.
    pub chips: BTreeMap<String, Socketed>,
}

/// A chip that is put into the socket of another one.
#[derive(Clone, Debug)]
pub struct Socketed {
    /// The number as it would be written: `74AC574`.
    pub number: String,
    /// Its model and sheet.
    pub found: Found,
    /// When no sheet of its family is there, how the figures become those of the family.
    pub estimate: Option<Estimate>,
}

impl Changes {
    /// True when all stays as it is.
    pub fn is_empty(&self) -> bool {
        self.voltages.is_empty() && self.frequencies.is_empty() && self.chips.is_empty()
    }

    /// Changes oscillators and chips of a circuit whose chips are not fed yet.
    pub(super) fn apply(&self, circuit: &mut Circuit, library: &Library, problems: &mut Problems) {
        for (path, &frequency) in &self.frequencies {
            match circuit.chip(path) {
                Some(chip) if circuit.chips[chip].part.function.oscillator.is_some() => {
                    circuit.chips[chip].frequency = Some(frequency);
                }
                _ => problems.unclear(not_there("oscillator", path)),
            }
        }
        for (path, new) in &self.chips {
            match circuit.chip(path) {
                Some(chip) => put(circuit, chip, new, library, problems),
                None => problems.unclear(not_there("chip", path)),
            }
        }
    }

    /// Reports voltages of supplies or rails that are not there.
    pub(super) fn check_voltages(&self, circuit: &Circuit, problems: &mut Problems) {
        for name in self.voltages.keys() {
            let there = if circuit.assembly {
                circuit.supplies.values().any(|supply| supply.name == *name)
            } else {
                let net = circuit.net(name);
                net.is_some_and(|net| circuit.nets[net].rail.is_some())
            };
            if !there {
                let what = if circuit.assembly { "supply" } else { "rail" };
                problems.unclear(not_there(what, name));
            }
        }
    }
}

fn not_there(what: &str, name: &str) -> Diagnostic {
    Diagnostic::error("change", format!("there is no {what} {name} to change"))
        .help("name one of the circuit")
}

/// Puts a chip into a socket; the copper stays where it is, so pins meet by their numbers.
fn put(
    circuit: &mut Circuit,
    key: ChipKey,
    new: &Socketed,
    library: &Library,
    problems: &mut Problems,
) {
    let Circuit { chips, nets, .. } = circuit;
    let chip: &mut Chip = &mut chips[key];
    let (old_part, part) = (chip.part.clone(), new.found.part.clone());
    let misfits = socket::misfits(&old_part, &part);
    if !misfits.is_empty() {
        let message = format!(
            "{} does not fit the socket of {} ({})",
            new.number, chip.path, chip.number
        );
        let problem = Diagnostic::error("change", message).at(chip.span, "this one");
        let problem = misfits
            .iter()
            .fold(problem, |problem, misfit| problem.note(misfit.to_string()));
        return problems.unclear(problem.help("choose a part with the same pins"));
    }
    let moved = |pin: PinIndex| part.pin_numbered(old_part.pins[pin].number);
    for net in chip.nets.iter().flatten() {
        let pins = std::mem::take(&mut nets[*net].chip_pins);
        let kept = pins.into_iter().filter_map(|(other, pin)| {
            if other == key {
                moved(pin).map(|pin| (key, pin))
            } else {
                Some((other, pin))
            }
        });
        nets[*net].chip_pins = kept.collect();
    }
    chip.nets = (part.pins.iter())
        .map(|pin| chip.nets[old_part.pin_numbered(pin.number)?])
        .collect();
    chip.open = chip.open.iter().filter_map(|&pin| moved(pin)).collect();
    chip.number = new.number.clone();
    chip.sheet = new.found.sheet;
    chip.family = new.found.family.clone();
    chip.electrical = library.electrical(&new.found);
    chip.estimate = new.estimate.clone();
    chip.part = part;
}
