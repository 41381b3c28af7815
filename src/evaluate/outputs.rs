//! The outputs of a chip by two-state programs: nearly always all that they depend on is known.

use crate::logic::Word;
use crate::part::function::two_state::{TiedInputs, TwoStateProgram};
use crate::part::function::{ChipState, Drive, Function};

/// What the outputs are while everything is known that they are taken from.
#[derive(Clone, Debug)]
pub(crate) struct Outputs {
    value: TwoStateProgram,
    off: TwoStateProgram,
    /// The input and state bits that they are taken from.
    inputs: u64,
    states: u64,
    /// State bits that must be 0 besides: a memory that is busy tells what nobody can know.
    rest: u64,
}

impl Outputs {
    /// `None` for a chip whose outputs are never certain.
    pub(crate) fn new(function: &Function) -> Option<Outputs> {
        let with = |rest: u64| {
            let fixed = TiedInputs {
                inputs: Word::all_unknown(function.input_mask()),
                states: Word::all_unknown(function.state_mask() & !rest),
                memories: &[],
            };
            let (value, off) = (function.two_state_value(fixed)?, function.two_state_off(fixed)?);
            Some(Outputs {
                inputs: value.inputs() | off.inputs(),
                states: value.states() | off.states(),
                value,
                off,
                rest,
            })
        };
        with(0).or_else(|| with(function.zero_at_power_up))
    }

    /// The outputs, unless something is unknown that they depend on.
    #[inline]
    pub(crate) fn drive(&self, inputs: Word, held: &ChipState) -> Option<Drive> {
        let state = held.state;
        let doubt = inputs.unknown & self.inputs | state.unknown & (self.states | self.rest) | state.value & self.rest;
        if doubt != 0 {
            return None;
        }
        let run = |flat: &TwoStateProgram| match flat.run(inputs.value, state.value, &held.memories) {
            (word, 0) => Some(Word::known(word)),
            _ => None,
        };
        Some(Drive { value: run(&self.value)?, off: run(&self.off)? })
    }
}
