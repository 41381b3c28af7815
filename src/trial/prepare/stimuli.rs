//! What a trial does to a circuit: temperature, clocks, images.

use super::{Binder, Step, temperature};
use crate::circuit::{Chip, ChipKey};
use crate::diagnostic::{Diagnostic, did_you_mean};
use crate::image::Image;
use crate::language::ast::Path;
use crate::quantity::{Quantity, Temperature, Time};
use crate::run::LoadFault;
use crate::text::Spanned;
use std::sync::Arc;

impl Binder<'_> {
    pub(super) fn temperature(&mut self, written: Spanned<Quantity>) -> Option<Temperature> {
        let taken = written.node.as_temperature();
        let taken = taken.ok_or_else(|| "a temperature stands here".to_owned());
        match taken.and_then(temperature) {
            Ok(temperature) => Some(temperature),
            Err(message) => {
                self.problems.push(
                    Diagnostic::error("unit", message).at(written.span, "").help("write it as in `temperature 70 C`"),
                );
                None
            }
        }
    }

    pub(super) fn clock(
        &mut self,
        path: &Path,
        frequency: &Spanned<Quantity>,
        duty: Option<&Spanned<Quantity>>,
    ) -> Option<Step> {
        let net = self.driven_net(path)?;
        let period = frequency.node.as_frequency().and_then(|frequency| frequency.period());
        let period = period.filter(|period| period.ps() >= 2);
        let Some(period) = period else {
            self.problems.push(
                Diagnostic::error("unit", "a clock needs a frequency above zero, and at most 500 GHz")
                    .at(frequency.span, "")
                    .help("write it with its unit: `1 MHz`"),
            );
            return None;
        };
        let share = match duty.map(|duty| (duty.node, duty.span)) {
            None => 50_000,
            Some((Quantity::Percent(share), _)) if (1_000..=99_000).contains(&share) => share,
            Some((_, span)) => {
                self.problems.push(
                    Diagnostic::error("unit", "a duty cycle lies between 1 % and 99 %")
                        .at(span, "")
                        .help("write `duty 40 %`"),
                );
                return None;
            }
        };
        let high = (i128::from(period.ps()) * i128::from(share) / 100_000).max(1) as i64;
        Some(Step::Clock(net, Time::from_ps((period.ps() - high).max(1)), Time::from_ps(high)))
    }

    /// The image of a file, read once.
    fn image(&mut self, file: &Spanned<String>) -> Option<Image> {
        if let Some(known) = self.files.images.get(&file.span) {
            return Some(known.clone());
        }
        match (self.images?)(file) {
            Ok(image) => {
                Arc::make_mut(&mut self.files).images.insert(file.span, image.clone());
                Some(image)
            }
            Err(problems) => {
                self.problems.extend(problems);
                None
            }
        }
    }

    pub(super) fn load(&mut self, path: &Path, file: &Spanned<String>, offset: i64) -> Option<Step> {
        let image = self.image(file);
        let chip = self.memory_chip(path)?;
        let image = image?;
        if let Err(fault) = LoadFault::check(&self.circuit.chips[chip].part, &image, offset) {
            self.problems.push(
                Diagnostic::error("image", fault.sentence(&self.circuit.chips[chip].path))
                    .at(file.span, "this image")
                    .help("load a smaller image, mend the offset, or name another chip"),
            );
            return None;
        }
        Some(Step::Load(chip, image, offset))
    }

    /// A chip with a memory.
    pub(super) fn memory_chip(&mut self, path: &Path) -> Option<ChipKey> {
        let name = self.flat(path)?;
        let found = self.circuit.chip(&name);
        let has_memory = |chip: &Chip| !chip.part.function.memories.is_empty();
        if let Some(chip) = found.filter(|&chip| has_memory(&self.circuit.chips[chip])) {
            return Some(chip);
        }
        let with_memory = self.circuit.chips.values().filter(|chip| has_memory(chip));
        let names: Vec<&str> = with_memory.map(|chip| chip.path.as_str()).collect();
        let help = did_you_mean(&name, names.iter().copied()).unwrap_or_else(|| match names.as_slice() {
            [] => "there is no memory in this circuit".to_owned(),
            some => format!("the memories are: {}", some.join(", ")),
        });
        let problem = match found {
            None => {
                Diagnostic::error("unknown-chip", format!("there is no chip `{name}`")).at(path.span, "not known here")
            }
            Some(chip) => {
                let number = &self.circuit.chips[chip].number;
                let message = format!("`{name}` is a {number}, which has no memory to load");
                Diagnostic::error("no-memory", message).at(path.span, "a memory is wanted here")
            }
        };
        self.problems.push(problem.help(help));
        None
    }
}
