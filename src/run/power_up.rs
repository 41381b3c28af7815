//! What storage and memories hold when power comes.

use crate::circuit::{ChipKey, Circuit};
use crate::delay::random::generator;
use crate::language::ast::PowerUp;
use crate::logic::Word;
use crate::part::function::ChipState;
use rand_core::Rng;

/// Fills the storage of the chips that are fed, in the order of the circuit: flip-flops and volatile memories by the
/// setting, memories with contents by these. `storage` is unknown before.
pub(crate) fn fill<'h>(
    circuit: &Circuit,
    power_up: PowerUp,
    storage: impl Iterator<Item = (ChipKey, &'h mut ChipState)>,
) {
    let mut random = match power_up {
        PowerUp::Random(seed) => Some(generator(seed, 1)),
        _ => None,
    };
    for (chip, stored) in storage {
        let row = &circuit.chips[chip];
        let function = &row.part.function;
        let fill = |word: u64| Word::known(word & function.state_mask() & !function.zero_at_power_up);
        match (&mut random, power_up) {
            (Some(random), _) => stored.state = fill(random.next_u64()),
            (None, PowerUp::Zero) => stored.state = fill(0),
            (None, PowerUp::One) => stored.state = fill(u64::MAX),
            (None, _) => {}
        }
        for (memory, shape) in stored.memories.iter_mut().zip(&function.memories) {
            if shape.blank.is_some() {
                continue;
            }
            match (&mut random, power_up) {
                (Some(random), _) => (0..memory.len()).for_each(|address| {
                    memory.set(address, Word::known(random.next_u64()));
                }),
                (None, PowerUp::One) => memory.fill(Word::known(u64::MAX)),
                (None, PowerUp::Zero) => memory.fill(Word::known(0)),
                (None, _) => {}
            }
        }
        if let (Some(holds), Some(memory)) = (&row.initial_contents, stored.memories.first_mut()) {
            super::put(memory, &holds.image, 0);
        }
    }
}
