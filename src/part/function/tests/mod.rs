//! Functions of small parts, stepped by hand.
//!
//! Expected values without a named source follow from the formulas of the part beside them.

mod mistakes;
mod reads;
mod storage;
mod timers;
mod values;

use super::*;
use crate::diagnostic::Diagnostic;
use crate::language::ast::Item;
use crate::part::Part;
use crate::text::Sources;

/// Reads the only part of a text.
fn load(text: &str) -> (Option<Part>, Vec<Diagnostic>) {
    let file = Sources::new().add("test.part", text);
    let (tree, mut problems) = crate::language::parse(file, text);
    let Some(Item::Part(tree)) = tree.items.first() else {
        panic!("no part in {text}: {problems:?}");
    };
    let (part, more) = Part::load(tree);
    problems.extend(more);
    (part, problems)
}

/// A part on the bench: levels are put on its pins, one change after the other.
struct Bench {
    part: Part,
    held: ChipState,
    seen: SampledInputs,
    scratch: Scratch,
}

impl Bench {
    fn new(text: &str) -> Bench {
        let (part, problems) = load(text);
        let messages: Vec<&str> = problems.iter().map(|p| p.message.as_str()).collect();
        assert!(problems.is_empty(), "{messages:?} in {text}");
        let part = part.expect("a part without problems");
        let mut scratch = Scratch::default();
        let held = part.function.unknown_state();
        let inputs = Word::all_unknown(part.function.input_mask());
        let nodes = part.function.nodes(inputs, &held, &mut scratch);
        Bench { seen: SampledInputs { inputs, nodes }, part, held, scratch }
    }

    /// The pins of a part with the given lines in its package, and the given formulas.
    fn of(pins: &str, body: &str) -> Bench {
        Bench::new(&source(pins, body))
    }

    /// Puts levels on pins, all at once: `CLK=1 D=0X10`, the most significant first.
    fn set(&mut self, levels: &str) -> &mut Bench {
        let mut inputs = self.seen.inputs;
        for level in levels.split_whitespace() {
            let (name, bits) = level.split_once('=').expect("NAME=BITS");
            let pins = self.part.pins_called(name).expect("a pin");
            assert_eq!(pins.len(), bits.len(), "{level}");
            for (pin, letter) in pins.iter().rev().zip(bits.chars()) {
                let at = self.part.function.inputs.iter();
                let bit = at.clone().position(|other| other == pin);
                let mask = 1 << bit.expect("an input");
                inputs.value = inputs.value & !mask | if letter == '1' { mask } else { 0 };
                inputs.unknown = inputs.unknown & !mask | if letter == 'X' { mask } else { 0 };
            }
        }
        let function = &self.part.function;
        self.seen = function.step(self.seen, inputs, &mut self.held, &mut self.scratch);
        self
    }

    /// What outputs drive, the most significant first: `0`, `1`, `X`, `Z` for off, `?` for maybe off.
    fn get(&mut self, name: &str) -> String {
        let function = &self.part.function;
        let drive = function.drive(self.seen, &self.held, &mut self.scratch);
        let pins = self.part.pins_called(name).expect("a pin");
        let letter = |pin: &usize| {
            let at = function.outputs.iter().position(|other| other == pin);
            let bit = at.expect("an output") as u32;
            match drive.off.bit(bit).to_char() {
                '0' => drive.value.bit(bit).to_char(),
                '1' => 'Z',
                _ => '?',
            }
        };
        pins.iter().rev().map(letter).collect()
    }

    fn forbidden(&mut self) -> Vec<&str> {
        let function = &self.part.function;
        let found = function.forbidden(self.seen, &self.held, &mut self.scratch);
        found.into_iter().map(|at| function.forbid_text(at)).collect()
    }

    /// The names of the input bits in a mask.
    fn names(&self, mask: u64) -> Vec<&str> {
        let function = &self.part.function;
        let pins = function.inputs.iter().enumerate();
        pins.filter(|(bit, _)| mask >> bit & 1 == 1).map(|(_, &pin)| self.part.pins[pin].name.as_str()).collect()
    }
}

/// The text of a part; its pins are numbered from 1 in order of writing.
fn source(pins: &str, body: &str) -> String {
    let mut number = 1;
    let mut lines = String::new();
    for pin in pins.lines().map(str::trim).filter(|pin| !pin.is_empty()) {
        let (width, rest) = pin.split_once(' ').expect("COUNT NAME kind");
        let width: u32 = width.parse().expect("a count");
        lines.push_str(&format!("{number}..{} {rest}\n", number + width - 1));
        number += width;
    }
    format!("part T \"test\" {{ package X64 {{ {lines} }}\n{body} }}")
}
