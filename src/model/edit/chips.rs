//! Edits of chips.

use super::refusal::{Edited, gone, refuse};
use crate::diagnostic::Diagnostic;
use crate::model::things::{BoardId, Chip, ChipId, Device, Joint, Model, SegmentId, Terminal};
use crate::part::{PinIndex, socket};
use crate::quantity::Frequency;
use std::sync::Arc;

impl Model {
    /// Puts a chip on a board, behind all others; nothing is connected to it.
    ///
    /// # Errors
    /// When the board is gone or has a component of that reference designator.
    pub fn add_chip(&mut self, board: BoardId, reference: &str, device: Arc<Device>) -> Edited<ChipId> {
        let pins = device.part.pins.len();
        self.check_new(board, reference, pins)?;
        let span = self.boards[board].span;
        Ok(self.insert_chip(Chip {
            board,
            reference: reference.into(),
            device,
            frequency: None,
            contents: None,
            pins: vec![Joint::Free; pins],
            span,
        }))
    }

    /// Takes a chip out.
    ///
    /// # Errors
    /// When it is gone.
    pub fn remove_chip(&mut self, chip: ChipId) -> Edited {
        self.take_chip(chip).map(drop).ok_or_else(|| gone("chip"))
    }

    /// Puts another chip into the socket of one. The copper stays where it is, so pins meet by their numbers.
    ///
    /// # Errors
    /// When it is gone, or the new one does not fit.
    pub fn substitute(&mut self, id: ChipId, device: Arc<Device>) -> Edited {
        let chip = self.chips.get(id).ok_or_else(|| gone("chip"))?;
        let (old, new) = (chip.device.clone(), &device.part);
        let pin_incompatibilities = socket::pin_incompatibilities(&old.part, new);
        if !pin_incompatibilities.is_empty() {
            let message =
                format!("{} does not fit the socket of {} ({})", device.number, self.chip_path(id), old.number);
            let problem = Diagnostic::error("change", message).at(chip.span, "this one");
            let problem =
                pin_incompatibilities.iter().fold(problem, |problem, misfit| problem.note(misfit.to_string()));
            return Err(Box::new(problem.help("choose a part with the same pins")));
        }
        let moved = |pin: PinIndex| new.pin_numbered(old.part.pins[pin].number);
        let mut pins = vec![Joint::Free; new.pins.len()];
        let mut segments: Vec<SegmentId> = Vec::new();
        for (pin, joint) in chip.pins.iter().enumerate() {
            if let Some(to) = moved(pin) {
                pins[to] = *joint;
            }
            segments.extend(joint.segment());
        }
        segments.sort_unstable();
        segments.dedup();
        for segment in segments {
            let on = &mut self.segments[segment].pins;
            on.retain_mut(|terminal| match terminal {
                Terminal::Chip(chip, pin) if *chip == id => {
                    let to = moved(*pin);
                    *pin = to.unwrap_or(*pin);
                    to.is_some()
                }
                _ => true,
            });
        }
        self.pins = self.pins - old.part.pins.len() + pins.len();
        let chip = &mut self.chips[id];
        chip.pins = pins;
        chip.device = device;
        Ok(())
    }

    /// Gives an oscillator another frequency.
    ///
    /// # Errors
    /// When the chip is gone or is no oscillator, or the frequency is not above zero.
    pub fn set_frequency(&mut self, id: ChipId, frequency: Frequency) -> Edited {
        let chip = self.chips.get(id).ok_or_else(|| gone("chip"))?;
        if chip.device.part.function.oscillator.is_none() {
            let message = format!("{} is no oscillator", self.chip_path(id));
            return Err(refuse(message, "name an oscillator"));
        }
        if frequency <= Frequency::ZERO {
            let message = "a frequency must be more than zero".to_owned();
            return Err(refuse(message, "write it as in `1 MHz`"));
        }
        self.chips[id].frequency = Some(frequency);
        Ok(())
    }
}
