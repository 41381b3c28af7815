//! Whether one chip can give two levels at once.

use crate::logic::Word;
use crate::part::Part;
use crate::part::function::{ChipState, SampledInputs, Scratch};

/// The most inputs that every combination is tried of.
const MOST_INPUTS: u32 = 10;

/// Two output bits with levels.
pub(crate) type Pair = [(u8, bool); 2];

/// Whether two outputs of a part can have two levels at once: every combination of its inputs is tried, when they are
/// not too many and the part stores nothing.
pub(crate) fn can_be_together(part: &Part, inputs: Word, pair: Pair) -> bool {
    let function = &part.function;
    if !function.is_combinational() || inputs.unknown.count_ones() > MOST_INPUTS {
        return true;
    }
    let stored = ChipState::default();
    let mut scratch = Scratch::default();
    let mut chosen = 0u64;
    loop {
        let word = Word::known(inputs.value | chosen);
        let nodes = function.nodes(word, &stored, &mut scratch);
        let drive = function.drive(SampledInputs { inputs: word, nodes }, &stored, &mut scratch);
        let has = |(output, level): (u8, bool)| {
            drive.off.value >> output & 1 == 1 || (drive.value.value >> output & 1 == 1) == level
        };
        if pair.into_iter().all(has) {
            return true;
        }
        // All subsets of the inputs that can move, in turn.
        chosen = chosen.wrapping_sub(inputs.unknown) & inputs.unknown;
        if chosen == 0 {
            return false;
        }
    }
}
