//! The programs of plain integers against the full functions, on every part of the library.

use coldboard::logic::Word;
use coldboard::part::function::two_state::{TiedInputs, TwoStateProgram};
use coldboard::part::function::{ChipState, SampledInputs, Scratch};
use coldboard::part::{Edge, Library};
use rand_chacha::ChaCha8Rng;
use rand_core::{Rng, SeedableRng};

/// Tries of each part: other inputs tied, other levels.
const TRIES: u64 = 60;

#[test]
fn folded_programs_are_the_functions() {
    let library = Library::built_in();
    let names: Vec<String> = library.names().map(str::to_owned).collect();
    let mut scratch = Scratch::default();
    let (mut drives, mut edges) = (0, 0);
    for name in &names {
        let part = library.part(name).expect("a part");
        let function = &part.function;
        let blank = function.unknown_state();
        let mut random = ChaCha8Rng::seed_from_u64(name.bytes().map(u64::from).sum());
        for _ in 0..TRIES {
            let tied = random.next_u64() & random.next_u64() & function.input_mask();
            let inputs = random.next_u64() & function.input_mask();
            let states = random.next_u64() & function.state_mask();
            let fixed = TiedInputs {
                inputs: Word::new(inputs & tied, function.input_mask() & !tied),
                states: Word::all_unknown(function.state_mask()),
                memories: &[],
            };
            let mut held = ChipState { state: Word::known(states), memories: blank.memories.clone() };
            // Each word by its address, whatever the address is made of.
            for memory in &mut held.memories {
                let (factor, more) = (random.next_u64(), random.next_u64());
                for address in 0..memory.len() {
                    let word = address.wrapping_add(more).wrapping_mul(factor | 1);
                    memory.set(address, Word::known(word ^ word >> 32));
                }
            }
            let word = Word::known(inputs);
            let seen = SampledInputs { inputs: word, nodes: function.nodes(word, &held, &mut scratch) };
            let drive = function.drive(seen, &held, &mut scratch);
            if let (Some(off), Some(value)) = (function.two_state_off(fixed), function.two_state_value(fixed)) {
                let run = |flat: &TwoStateProgram| flat.run(inputs, states, &held.memories);
                let (off, value) = (run(&off), run(&value));
                if off.1 | value.1 == 0 {
                    assert_eq!(drive.off, Word::known(off.0), "{name}");
                    let driven = !off.0 & Word::mask(function.outputs.len() as u32);
                    assert_eq!(drive.value.value & driven, value.0 & driven, "{name}");
                    assert_eq!(drive.value.unknown & driven, 0, "{name}");
                    drives += 1;
                }
            }
            let Some((clock, edge)) = function.plain_clock(function.state_mask()) else {
                continue;
            };
            let high = u64::from(edge == Edge::Rise) << clock;
            let after = inputs & !(1 << clock) | high;
            let before = after ^ 1 << clock;
            let seen = |inputs: u64, held: &ChipState, scratch: &mut Scratch| {
                let inputs = Word::known(inputs);
                let nodes = function.nodes(inputs, held, scratch);
                SampledInputs { inputs, nodes }
            };
            let now = seen(after, &held, &mut scratch);
            let untied = TiedInputs { inputs: Word::all_unknown(function.input_mask()), ..fixed };
            let Some(flat) = function.two_state_edge(untied, function.state_mask()) else {
                continue;
            };
            if function.acts(now, &held, &mut scratch) != Word::known(0) {
                continue;
            }
            let next = flat.run(after, states, &[]).0;
            let was = seen(before, &held, &mut scratch);
            function.step(was, Word::known(after), &mut held, &mut scratch);
            assert_eq!(held.state, Word::known(next), "{name}");
            edges += 1;
        }
    }
    assert!(drives > 4000 && edges > 500, "{drives} drives, {edges} edges");
}
