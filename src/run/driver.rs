//! What can drive a net.

use crate::circuit::{ChipKey, Circuit, DiscreteKey, NetKey};
use crate::part::PinIndex;

/// A driver of a net.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Driver {
    Supply,
    Output(ChipKey, PinIndex),
    Stimulus(NetKey),
    /// A resistor or a contact.
    Discrete(DiscreteKey),
}

impl Driver {
    /// How reports name it.
    pub(crate) fn path(self, circuit: &Circuit) -> String {
        match self {
            Driver::Supply => "the supply".to_owned(),
            Driver::Output(chip, pin) => circuit.pin_path(chip, pin),
            Driver::Stimulus(net) => format!("the stimulus on {}", circuit.nets[net].path),
            Driver::Discrete(discrete) => circuit.discretes[discrete].path.clone(),
        }
    }
}
