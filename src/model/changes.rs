//! Edits by name: other supplies, oscillators or chips, the texts of the design untouched.

use super::edit::{Edited, not_there};
use super::things::{Device, Model};
use crate::diagnostic::Diagnostic;
use crate::part::Library;
use crate::part::family::Estimate;
use crate::part::library::Found;
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
    pub chips: BTreeMap<String, Substitution>,
}

/// A chip that is put into the socket of another one.
#[derive(Clone, Debug)]
pub struct Substitution {
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

    /// Makes all changes that can be made; why the others cannot.
    pub(crate) fn apply(&self, model: &mut Model, library: &Library) -> Vec<Diagnostic> {
        let mut problems = Vec::new();
        let mut note = |done: Edited| problems.extend(done.err().map(|problem| *problem));
        for (path, &frequency) in &self.frequencies {
            note(match model.chip(path) {
                Some(chip) if model.chips[chip].device.part.function.oscillator.is_some() => {
                    model.set_frequency(chip, frequency)
                }
                _ => Err(not_there("oscillator", path)),
            });
        }
        for (path, new) in &self.chips {
            let device = || {
                let (found, estimate) = (new.found.clone(), new.estimate.clone());
                Device::new(&new.number, found, estimate, library)
            };
            note(match model.chip(path) {
                Some(chip) => model.substitute(chip, device()),
                None => Err(not_there("chip", path)),
            });
        }
        for (name, &voltage) in &self.voltages {
            note(model.change_voltage(name, voltage));
        }
        problems
    }
}

impl Model {
    fn change_voltage(&mut self, name: &str, voltage: Voltage) -> Edited {
        if self.assembly {
            let supply = self.supply(name).ok_or_else(|| not_there("supply", name))?;
            return self.set_voltage(supply, voltage);
        }
        let segment = self.segment(name);
        let rail = segment.filter(|segment| self.segments[*segment].rail.is_some());
        self.set_bench_voltage(rail.ok_or_else(|| not_there("rail", name))?, voltage)
    }
}
