//! What the engine leaves out because nothing can come of it, on every part of the library.

use coldboard::logic::Word;
use coldboard::part::function::two_state::{TiedInputs, TwoStateProgram};
use coldboard::part::function::{ChipState, Drive, Function, SampledInputs, Scratch};
use coldboard::part::{Edge, Library};
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

/// Each part of the library, with numbers by chance of its own.
fn each_part(mut look: impl FnMut(&str, &Function, &mut ChaCha8Rng)) {
    let library = Library::built_in();
    let names: Vec<String> = library.names().map(str::to_owned).collect();
    for name in &names {
        let part = library.part(name).expect("a part");
        let mut random = ChaCha8Rng::seed_from_u64(name.bytes().map(u64::from).sum());
        look(name, &part.function, &mut random);
    }
}

/// A part at some moment: what it holds and sees.
fn somewhere(function: &Function, random: &mut ChaCha8Rng, scratch: &mut Scratch) -> (ChipState, SampledInputs) {
    let mut held = function.unknown_state();
    held.state = levels(random, function.state_mask());
    let inputs = levels(random, function.input_mask());
    let nodes = function.nodes(inputs, &held, scratch);
    (held, SampledInputs { inputs, nodes })
}

/// A change that is called idle stores nothing when it is computed all the same; an input that is not called direct moves
/// no output as long as storage stays; a look-up gives what the formulas give.
#[test]
fn what_is_left_out_would_have_changed_nothing() {
    let mut scratch = Scratch::default();
    let mut idle = 0;
    each_part(|name, function, random| {
        let (mut held, mut seen) = somewhere(function, random, &mut scratch);
        seen = function.step(seen, seen.inputs, &mut held, &mut scratch);
        let mut drive: Drive = function.drive(seen, &held, &mut scratch);
        for _ in 0..MOMENTS {
            let now = moved(random, seen.inputs, function.inputs.len());
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
            drive = wanted;
        }
    });
    assert!(idle > 5_000, "{idle}");
}

/// An edge of a plain clock, alone, stores what the short way says, while all that it reads is known; and a part that has
/// such clocks stores nothing at their other edges.
#[test]
fn a_plain_clock_stores_what_the_short_way_says() {
    let mut scratch = Scratch::default();
    let (mut stored, mut dead) = (0, 0);
    each_part(|name, function, random| {
        let clocks = function.plain_edges();
        let fixed = TiedInputs {
            inputs: Word::all_unknown(function.input_mask()),
            states: Word::all_unknown(function.state_mask()),
            memories: &[],
        };
        for moment in 0..MOMENTS {
            let input = moment % function.inputs.len().max(1);
            if clocks >> input & 1 == 0 {
                continue;
            }
            let mut held = function.unknown_state();
            held.state = Word::known(random.next_u64() & function.state_mask());
            let was = Word::known(random.next_u64() & function.input_mask());
            let now = Word::known(was.value ^ 1 << input);
            let seen = SampledInputs { inputs: was, nodes: function.nodes(was, &held, &mut scratch) };
            if !function.is_shut(now) {
                continue;
            }
            let before = held.state.value;
            function.step(seen, now, &mut held, &mut scratch);
            let edge = if now.value >> input & 1 == 1 { Edge::Rise } else { Edge::Fall };
            let (states, next) = function.two_state_trigger(fixed, input, edge).expect("a short way");
            let (next, doubt) = next.run(now.value, before, &[]);
            assert_eq!(doubt, 0, "{name}");
            let said = before & !states | next;
            assert_eq!(held.state, Word::known(said), "{name} at {edge:?}");
            *if states == 0 { &mut dead } else { &mut stored } += 1;
        }
    });
    assert!(stored > 500 && dead > 500, "{stored} {dead}");
}

/// The programs of the outputs give what the full function gives whenever all that they read is known, whatever else is
/// unknown: also those of a part that rests, with all that it clears at power-up still 0.
#[test]
fn outputs_on_plain_numbers_are_those_of_the_full_function() {
    let mut scratch = Scratch::default();
    let (mut certain, mut resting, mut doubtful) = (0, 0, 0);
    each_part(|name, function, random| {
        for rest in [0, function.zero_at_power_up] {
            let fixed = TiedInputs {
                inputs: Word::all_unknown(function.input_mask()),
                states: Word::all_unknown(function.state_mask() & !rest),
                memories: &[],
            };
            let flats = (function.two_state_value(fixed), function.two_state_off(fixed));
            let (Some(value), Some(off)) = flats else {
                continue;
            };
            let inputs = value.inputs() | off.inputs();
            let states = value.states() | off.states();
            for _ in 0..MOMENTS {
                let (mut held, _) = somewhere(function, random, &mut scratch);
                held.state.value &= !rest;
                held.state.unknown &= !rest;
                let seen = levels(random, function.input_mask());
                if let Some(memory) = held.memories.first_mut() {
                    (0..64).for_each(|at| memory.set(at, levels(random, u64::MAX)));
                }
                if (seen.unknown & inputs) | (held.state.unknown & states) != 0 {
                    continue;
                }
                let run = |flat: &TwoStateProgram| flat.run(seen.value, held.state.value, &held.memories);
                let ((value, doubt), (off, other)) = (run(&value), run(&off));
                if doubt | other != 0 {
                    doubtful += 1;
                    continue;
                }
                let nodes = function.nodes(seen, &held, &mut scratch);
                let whole = SampledInputs { inputs: seen, nodes };
                let said = function.drive(whole, &held, &mut scratch);
                let expected = Drive { value: Word::known(value), off: Word::known(off) };
                assert_eq!(said, expected, "{name}");
                certain += 1;
                resting += usize::from(rest != 0);
            }
        }
    });
    assert!(certain > 5_000 && resting > 100, "{certain} {resting}");
    assert!(doubtful > 10, "{doubtful}");
}

/// Nodes that nobody asks for may be old: outputs, forbidden uses and the next step come out the same.
#[test]
fn nodes_that_nobody_asks_for_may_be_old() {
    let mut scratch = Scratch::default();
    let mut old = 0;
    each_part(|name, function, random| {
        let asked = function.asked_node_inputs();
        let (mut held, mut seen) = somewhere(function, random, &mut scratch);
        for _ in 0..MOMENTS {
            let now = moved(random, seen.inputs, function.inputs.len());
            let changed = (now.value ^ seen.inputs.value) | (now.unknown ^ seen.inputs.unknown);
            let fresh = function.nodes(now, &held, &mut scratch);
            if changed & asked == 0 && function.is_idle(changed, now) && fresh != seen.nodes {
                let [stale, fresh] = [seen.nodes, fresh].map(|nodes| SampledInputs { inputs: now, nodes });
                let drives = [stale, fresh].map(|it| function.drive(it, &held, &mut scratch));
                assert_eq!(drives[0], drives[1], "{name}");
                let forbids = [stale, fresh].map(|it| function.forbidden(it, &held, &mut scratch));
                assert_eq!(forbids[0], forbids[1], "{name}");
                let next = moved(random, now, function.inputs.len());
                let steps = [stale, fresh].map(|it| {
                    let mut held = held.clone();
                    let seen = function.step(it, next, &mut held, &mut scratch);
                    (seen, held)
                });
                assert!(steps[0] == steps[1], "{name}");
                old += 1;
            }
            seen = function.step(seen, now, &mut held, &mut scratch);
        }
    });
    assert!(old > 100, "{old}");
}
