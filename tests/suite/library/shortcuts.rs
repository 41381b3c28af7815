//! What the engine leaves out because nothing can come of it, on every part of the library.

use coldboard::logic::Word;
use coldboard::part::Library;
use coldboard::part::function::{Drive, Scratch, Seen};
use rand_chacha::ChaCha8Rng;
use rand_core::{Rng, SeedableRng};

/// Moments of each part.
const MOMENTS: usize = 400;

/// A level here and there is unknown.
fn levels(random: &mut ChaCha8Rng, mask: u64) -> Word {
    let unknown = random.next_u64() & random.next_u64() & random.next_u64();
    Word::new(random.next_u64() & mask, unknown & mask)
}

/// The levels with one to three inputs moved.
fn moved(random: &mut ChaCha8Rng, was: Word, inputs: usize) -> Word {
    let (mut now, fresh) = (was, levels(random, u64::MAX));
    for _ in 0..=random.next_u32() % 3 {
        let bit = 1u64 << (random.next_u32() as usize % inputs.max(1));
        now.value = now.value & !bit | fresh.value & bit;
        now.unknown = now.unknown & !bit | fresh.unknown & bit;
    }
    now
}

/// A change that is called idle stores nothing when it is computed all the same; an input that is not called direct moves
/// no output as long as storage stays; a look-up gives what the formulas give.
#[test]
fn what_is_left_out_would_have_changed_nothing() {
    let library = Library::built_in();
    let names: Vec<String> = library.names().map(str::to_owned).collect();
    let mut scratch = Scratch::default();
    let (mut idle, mut looked_up) = (0, 0);
    for name in &names {
        let part = library.part(name).expect("a part");
        let function = &part.function;
        let mut random = ChaCha8Rng::seed_from_u64(name.bytes().map(u64::from).sum());
        let mut held = function.held_unknown();
        held.state = levels(&mut random, function.state_mask());
        let inputs = levels(&mut random, function.input_mask());
        let mut seen = Seen {
            inputs,
            nodes: function.nodes(inputs, &held, &mut scratch),
        };
        seen = function.step(seen, inputs, &mut held, &mut scratch);
        let mut drive: Drive = function.drive(seen, &held, &mut scratch);
        for _ in 0..MOMENTS {
            let now = moved(&mut random, seen.inputs, function.inputs.len());
            let changed = (now.value ^ seen.inputs.value) | (now.unknown ^ seen.inputs.unknown);
            let said_idle = function.is_idle(changed, now);
            // Memories are large; their words are compared where a change is said to be idle.
            let before = said_idle.then(|| held.clone());
            seen = function.step(seen, now, &mut held, &mut scratch);
            let wanted = function.drive(seen, &held, &mut scratch);
            if let Some(before) = before {
                assert!(before == held, "{name} stores something");
                idle += 1;
                if changed & function.direct == 0 {
                    assert_eq!(wanted, drive, "{name} moves an output");
                }
            }
            if let Some(truth) = function.truth().filter(|_| now.unknown == 0) {
                assert_eq!(truth.drive(now), wanted, "{name}");
                looked_up += 1;
            }
            drive = wanted;
        }
    }
    assert!(idle > 5_000 && looked_up > 1_000, "{idle} {looked_up}");
}
