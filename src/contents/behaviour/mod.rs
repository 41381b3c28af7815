//! An instruction set at work: bytes become instructions again, and instructions change registers and memory.
//!
//! It knows no chips, no clock and no control words: it is what the builder wants the machine to do, instruction by
//! instruction.

mod compile;
mod decode;
mod execute;

pub use decode::Decoded;
pub use execute::Memory;

use super::instructions::{Form, InstructionSet};
use crate::diagnostic::Diagnostic;
use crate::language::ast;
use compile::{Step, Target};
use decode::Decoder;
use std::collections::BTreeMap;

/// The register that an instruction is fetched by.
pub const PROGRAM_COUNTER: &str = "PC";

/// The most bits of a register.
const MOST_BITS: u32 = 32;

/// A register that programs see.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Register {
    /// Its name.
    pub name: String,
    /// 1 to 32.
    pub bits: u32,
}

/// What an instruction set does.
#[derive(Clone, Debug)]
pub struct Behaviour {
    /// The instruction set.
    pub name: String,
    registers: Vec<Register>,
    /// The registers of each kind, by the number that stands for each in an encoding.
    kinds: Vec<BTreeMap<i64, (String, Option<usize>)>>,
    forms: Vec<Form>,
    /// By form; `None` where it is not said what it does.
    effects: Vec<Option<Vec<Step>>>,
    decoder: Decoder,
    /// By register: whether some instruction sets it.
    set: Vec<bool>,
}

impl Behaviour {
    /// Of a declared set.
    pub(super) fn new(
        declared: &ast::Instructions,
        set: &InstructionSet,
        written: &[&ast::Form],
        problems: &mut Vec<Diagnostic>,
    ) -> Behaviour {
        let registers = registers(declared, problems);
        let slot = |name: &str| registers.iter().position(|register| register.name == name);
        let kinds = set.kinds().map(|(kind, _)| {
            let members = set.registers.iter().flat_map(|(name, numbers)| {
                let number = numbers.iter().find(|(of, _)| *of == kind)?.1;
                Some((number, (name.clone(), slot(name))))
            });
            members.collect()
        });
        let mut behaviour = Behaviour {
            name: set.name.clone(),
            kinds: kinds.collect(),
            forms: set.forms.clone(),
            effects: Vec::new(),
            decoder: Decoder::new(set, problems),
            set: Vec::new(),
            registers,
        };
        behaviour.effects = compile::effects(&behaviour, declared, written, problems);
        behaviour.set = (0..behaviour.registers.len()).map(|register| behaviour.sets(register)).collect();
        behaviour
    }

    /// What programs see besides memory, in order of writing.
    pub fn registers(&self) -> &[Register] {
        &self.registers
    }

    /// True for a register that some instruction sets. The program counter is one; others bring something in from outside.
    pub fn is_set(&self, register: usize) -> bool {
        self.set[register]
    }

    fn sets(&self, register: usize) -> bool {
        let mut steps = self.effects.iter().flatten().flatten();
        let in_kind = |kind: usize| self.kinds[kind].values().any(|(_, place)| *place == Some(register));
        self.registers[register].name == PROGRAM_COUNTER
            || steps.any(|step| match step.target {
                Target::Place(place) => place == register,
                Target::Register(_, kind) => in_kind(kind),
                Target::Memory(..) => false,
            })
    }

    /// The place of a register among [`Behaviour::registers`].
    pub fn register(&self, name: &str) -> Option<usize> {
        self.registers.iter().position(|register| register.name == name)
    }
}

fn registers(declared: &ast::Instructions, problems: &mut Vec<Diagnostic>) -> Vec<Register> {
    let mut registers: Vec<Register> = Vec::new();
    for (name, bits) in &declared.state {
        if !(1..=MOST_BITS).contains(&bits.node) {
            problems.push(
                Diagnostic::error("range", format!("a register has 1 to {MOST_BITS} bits"))
                    .at(bits.span, "not so many")
                    .help("write how many bits it has, as in `PC 16`"),
            );
        } else if registers.iter().any(|register| register.name == name.node) {
            problems.push(
                Diagnostic::error("name-twice", format!("{} is there twice", name.node))
                    .at(name.span, "the second time")
                    .help("give each register a name of its own"),
            );
        } else {
            registers.push(Register { name: name.node.clone(), bits: bits.node });
        }
    }
    if let Some((first, _)) = declared.state.first().filter(|_| !registers.iter().any(|it| it.name == PROGRAM_COUNTER))
    {
        problems.push(
            Diagnostic::error("no-program-counter", format!("`state` has no {PROGRAM_COUNTER}"))
                .at(first.span, "of these registers none addresses the program")
                .help("add it with its bits, as in `PC 16`"),
        );
    }
    registers
}
