//! Unknown is sound: what a part is said to know holds for everything that its unknown levels may be.
//!
//! Each part runs a few random steps with unknown levels on its pins and in its storage. Beside it run copies of it
//! in which every unknown bit was replaced by a known one. Nothing that the part knows may differ from any copy. A
//! level that stays unknown stays the same in a copy, because a clock that nobody sees moving is taken as at rest.

use super::{none_of, parts, random};
use coldboard::logic::Word;
use coldboard::part::Part;
use coldboard::part::function::memory::MemoryArray;
use coldboard::part::function::{ChipState, Drive, SampledInputs, Scratch};

/// Random runs of each part, steps of each run, and copies beside it.
const RUNS: usize = 40;
const STEPS: usize = 6;
const COPIES: usize = 64;

/// A part with many words is run less often: it is copied for each run.
const FEW: usize = 4;
const MANY_WORDS: u64 = 1024;

#[test]
fn what_is_known_holds_for_all_that_is_unknown() {
    let mut found = Vec::new();
    for (entry, part) in parts() {
        let words: u64 = part.function.memories.iter().map(|memory| memory.words).sum();
        let large = words > MANY_WORDS;
        let (runs, copies) = if large { (FEW, FEW) } else { (RUNS, COPIES) };
        let mut next = random(1);
        let wrong = (0..runs).find_map(|_| run(part, copies, large, &mut next));
        found.extend(wrong.map(|wrong| format!("{}: {wrong}", entry.path)));
    }
    none_of(found);
}

/// A part and what it has gone through.
struct Copy {
    held: ChipState,
    seen: SampledInputs,
}

/// What a run finds wrong.
fn run(part: &Part, copies: usize, large: bool, next: &mut impl FnMut() -> u64) -> Option<String> {
    let function = &part.function;
    let mut scratch = Scratch::default();
    // From run to run, a half, a quarter ... of the bits are unknown.
    let rarity = next() % 4;
    let mut held = function.unknown_state();
    held.state = uncertain(function.state_mask(), rarity, next);
    for memory in &mut held.memories {
        for address in 0..memory.len() {
            let word = if large { Word::known(next()) } else { uncertain(u64::MAX, rarity, next) };
            memory.set(address, word);
        }
    }
    let inputs = uncertain(function.input_mask(), rarity, next);
    let mut part_itself = Copy { held, seen: SampledInputs { inputs, nodes: Word::default() } };
    part_itself.seen.nodes = function.nodes(inputs, &part_itself.held, &mut scratch);
    let mut copies: Vec<Copy> = (0..copies)
        .map(|_| {
            let mut held = part_itself.held.clone();
            held.state = certain(held.state, Word::default(), next);
            if !large {
                held.memories.iter_mut().for_each(|memory| settle(memory, next));
            }
            let inputs = certain(inputs, Word::default(), next);
            let nodes = function.nodes(inputs, &held, &mut scratch);
            Copy { held, seen: SampledInputs { inputs, nodes } }
        })
        .collect();
    for step in 0..STEPS {
        let was = part_itself.seen.inputs;
        // Most inputs keep their level from step to step, as on a board.
        let moving = next() & next();
        let fresh = uncertain(function.input_mask(), rarity, next);
        let now = Word::new(was.value & !moving | fresh.value & moving, was.unknown & !moving | fresh.unknown & moving);
        let drive = advance(part, &mut part_itself, now, &mut scratch);
        for copy in &mut copies {
            let staying = was.unknown & now.unknown;
            let kept = Word::new(copy.seen.inputs.value & staying, !staying);
            let one = advance(part, copy, certain(now, kept, next), &mut scratch);
            let wrong = contradiction(part, &part_itself.held, &drive, &copy.held, &one);
            if let Some(wrong) = wrong {
                return Some(format!(
                    "step {step}, inputs {} to {}: {wrong} when they are {}",
                    shown(part, was),
                    shown(part, now),
                    shown(part, copy.seen.inputs)
                ));
            }
        }
    }
    None
}

fn advance(part: &Part, copy: &mut Copy, now: Word, scratch: &mut Scratch) -> Drive {
    copy.seen = part.function.step(copy.seen, now, &mut copy.held, scratch);
    part.function.drive(copy.seen, &copy.held, scratch)
}

/// A word whose bits are unknown now and then.
fn uncertain(mask: u64, rarity: u64, next: &mut impl FnMut() -> u64) -> Word {
    let unknown = (0..=rarity).fold(mask, |unknown, _| unknown & next());
    Word::new(next() & mask, unknown)
}

/// A word with its unknown bits replaced: by the known bits of `kept`, else at random.
fn certain(word: Word, kept: Word, next: &mut impl FnMut() -> u64) -> Word {
    let chosen = next() & kept.unknown | kept.value;
    Word::known(word.value | chosen & word.unknown)
}

fn settle(memory: &mut MemoryArray, next: &mut impl FnMut() -> u64) {
    for address in 0..memory.len() {
        let word = certain(memory.get(address), Word::all_unknown(u64::MAX), next);
        memory.set(address, word);
    }
}

/// What the part is said to know, and what a copy contradicts.
fn contradiction(part: &Part, held: &ChipState, drive: &Drive, copy_held: &ChipState, copy: &Drive) -> Option<String> {
    let function = &part.function;
    let differ = |known: Word, one: Word| ((known.value ^ one.value) | one.unknown) & !known.unknown;
    let name = |bit: u32| &part.pins[function.outputs[bit as usize]].name;
    let off = differ(drive.off, copy.off);
    if off != 0 {
        return Some(format!("{} is on or off", name(off.trailing_zeros())));
    }
    // The level of an output that is off says nothing.
    let level = differ(drive.value, copy.value) & !copy.off.value;
    if level != 0 {
        return Some(format!("{} has another level", name(level.trailing_zeros())));
    }
    let state = differ(held.state, copy_held.state);
    if state != 0 {
        let bit = state.trailing_zeros() as usize;
        return Some(format!("the stored bit {} is another", function.states[bit]));
    }
    let arrays = held.memories.iter().zip(&copy_held.memories);
    for ((memory, other), shape) in arrays.zip(&function.memories) {
        let wrong = |address: &u64| differ(memory.get(*address), other.get(*address)) != 0;
        if let Some(address) = (0..memory.len()).find(wrong) {
            return Some(format!("the word {address} of {} is another", shape.name));
        }
    }
    None
}

/// The inputs by name.
fn shown(part: &Part, inputs: Word) -> String {
    let pins = part.function.inputs.iter().enumerate();
    let level = |(bit, &pin): (usize, &usize)| format!("{}={}", part.pins[pin].name, inputs.bit(bit as u32));
    pins.map(level).collect::<Vec<_>>().join(" ")
}
