//! A part of the library on a bench: levels in, levels out, without time.

use super::{Entry, library};
use coldboard::logic::Word;
use coldboard::part::function::{ChipState, Drive, SampledInputs, Scratch};
use coldboard::part::{Part, PinIndex};

/// A part with known levels on its pins, and storage as power-up leaves it.
pub(super) struct Bench {
    pub(super) part: &'static Part,
    pub(super) held: ChipState,
    seen: SampledInputs,
    scratch: Scratch,
}

/// What an output does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Out {
    /// All its pins are driven to known levels.
    Driven(u64),
    /// All its pins have let go.
    Off,
    /// Anything else.
    Unclear,
}

/// The entry of a part; the test fails when the library has none of that number.
pub(super) fn entry(number: &str) -> &'static Entry {
    let entry = library().iter().find(|entry| entry.stem == number);
    entry.unwrap_or_else(|| panic!("the library has no part {number}"))
}

/// A part by its number; the test fails when it cannot be loaded.
pub(super) fn part(number: &str) -> &'static Part {
    let entry = entry(number);
    let part = entry.parts.first();
    part.unwrap_or_else(|| panic!("{} does not load:\n{}", entry.path, entry.rendered()))
}

/// The pins of a name, of a vector, or of several names from the least significant, such as `A B C D`.
pub(super) fn pins(part: &Part, names: &str) -> Vec<PinIndex> {
    let called = |name| {
        let pins = part.pins_called(name);
        pins.unwrap_or_else(|| panic!("the part {} has no pin {name}", part.name))
    };
    names.split_whitespace().flat_map(called).collect()
}

impl Bench {
    /// A part whose inputs are all low.
    pub(super) fn new(number: &str) -> Bench {
        let part = part(number);
        let mut scratch = Scratch::default();
        let held = part.function.unknown_state();
        let inputs = Word::known(0);
        let nodes = part.function.nodes(inputs, &held, &mut scratch);
        Bench { seen: SampledInputs { inputs, nodes }, part, held, scratch }
    }

    /// Puts numbers on inputs, all at once.
    pub(super) fn apply(&mut self, levels: &[(&str, u64)]) -> &mut Bench {
        let function = &self.part.function;
        let mut inputs = self.seen.inputs.value;
        for &(names, number) in levels {
            let pins = pins(self.part, names);
            assert!(number >> pins.len() == 0, "{number} does not fit {names}");
            for (at, pin) in pins.iter().enumerate() {
                let bit = function.inputs.iter().position(|input| input == pin);
                let bit = bit.unwrap_or_else(|| panic!("{names} is no input"));
                inputs = inputs & !(1 << bit) | (number >> at & 1) << bit;
            }
        }
        let now = Word::known(inputs);
        self.seen = function.step(self.seen, now, &mut self.held, &mut self.scratch);
        self
    }

    /// A rise of a clock that rests low.
    pub(super) fn pulse(&mut self, clock: &str) -> &mut Bench {
        self.apply(&[(clock, 1)]).apply(&[(clock, 0)])
    }

    /// A fall of a clock that rests high.
    pub(super) fn dip(&mut self, clock: &str) -> &mut Bench {
        self.apply(&[(clock, 0)]).apply(&[(clock, 1)])
    }

    fn drive(&mut self) -> Drive {
        let function = &self.part.function;
        function.drive(self.seen, &self.held, &mut self.scratch)
    }

    /// What an output does.
    pub(super) fn out(&mut self, names: &str) -> Out {
        let drive = self.drive();
        let function = &self.part.function;
        let (mut value, mut driven, mut off) = (0, true, true);
        for (at, pin) in pins(self.part, names).iter().enumerate() {
            let bit = function.outputs.iter().position(|output| output == pin);
            let bit = bit.unwrap_or_else(|| panic!("{names} is no output")) as u32;
            value |= drive.value.slice(bit, 1).value << at;
            let released = drive.off.slice(bit, 1);
            driven &= released == Word::known(0) && drive.value.slice(bit, 1).unknown == 0;
            off &= released == Word::known(1);
        }
        match (driven, off) {
            (true, _) => Out::Driven(value),
            (_, true) => Out::Off,
            _ => Out::Unclear,
        }
    }

    /// The number on an output; the test fails when it is off or unknown.
    pub(super) fn level(&mut self, names: &str) -> u64 {
        match self.out(names) {
            Out::Driven(value) => value,
            other => panic!("{names} of {} is {other:?}", self.part.name),
        }
    }

    /// A level of an output that only pulls low: high when it lets go.
    pub(super) fn pulled(&mut self, name: &str) -> u64 {
        match self.out(name) {
            Out::Off => 1,
            other => {
                assert_eq!(other, Out::Driven(0), "{name} of {}", self.part.name);
                0
            }
        }
    }
}
