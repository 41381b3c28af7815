//! Who drives a net, as far as rails and functions tell it without anything moving.

use crate::circuit::{Chip, ChipKey, Circuit, NetKey};
use crate::key::KeyVec;
use crate::logic::Word;
use crate::part::PinIndex;
use crate::part::function::{SampledInputs, Scratch};
use crate::quantity::Voltage;

/// Whether an output lets go of its net.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Enabled {
    /// It always drives.
    Always,
    /// It drives at times.
    Sometimes,
    /// It never drives.
    Never,
}

/// An output on a net.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Driver {
    pub chip: ChipKey,
    pub pin: PinIndex,
    /// The bit of the output word.
    pub bit: usize,
    /// Whether it lets go.
    pub enabled: Enabled,
}

/// The outputs on every net, of chips that are fed and of those that are not.
pub fn drivers(circuit: &Circuit) -> KeyVec<NetKey, Vec<Driver>> {
    let mut drivers: KeyVec<NetKey, Vec<Driver>> = KeyVec::filled(circuit.nets.len(), Vec::new());
    for (chip, row) in circuit.chips.iter() {
        let off = disabled_outputs(circuit, row);
        for (bit, &pin) in row.part.function.outputs.iter().enumerate() {
            let enabled = match (off.value >> bit & 1, off.unknown >> bit & 1) {
                (_, 1) => Enabled::Sometimes,
                (1, _) => Enabled::Never,
                _ => Enabled::Always,
            };
            if let Some(net) = row.nets[pin] {
                drivers[net].push(Driver { chip, pin, bit, enabled });
            }
        }
    }
    drivers
}

/// The inputs of a chip as far as rails fix them: unknown where a pin is on no rail.
pub fn inputs_from_rails(circuit: &Circuit, chip: &Chip) -> Word {
    let function = &chip.part.function;
    let mut inputs = Word::all_unknown(function.input_mask());
    for (bit, &pin) in function.inputs.iter().enumerate() {
        if let Some(rail) = chip.nets[pin].and_then(|net| circuit.nets[net].rail) {
            inputs.unknown &= !(1 << bit);
            inputs.value |= u64::from(rail.declared != Voltage::ZERO) << bit;
        }
    }
    inputs
}

/// Output bits that let go, whatever the signals do: known 0 for an output that always drives, known 1 for one that
/// never does, unknown for one that sometimes does.
pub fn disabled_outputs(circuit: &Circuit, chip: &Chip) -> Word {
    let function = &chip.part.function;
    let mut scratch = Scratch::default();
    let inputs = inputs_from_rails(circuit, chip);
    let stored = function.unknown_state();
    let nodes = function.nodes(inputs, &stored, &mut scratch);
    let seen = SampledInputs { inputs, nodes };
    function.drive(seen, &stored, &mut scratch).off
}
