//! An instruction set with what its instructions do.

use super::reading::Decoder;
use super::steps::{Step, Target};
use crate::contents::instructions::Form;
use std::collections::BTreeMap;

/// The register that an instruction is fetched by.
pub const PROGRAM_COUNTER: &str = "PC";

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
    pub(super) registers: Vec<Register>,
    /// The registers of each kind, by the number that stands for each in an encoding.
    pub(super) kinds: Vec<BTreeMap<i64, (String, Option<usize>)>>,
    pub(super) forms: Vec<Form>,
    /// By form; `None` where it is not said what it does.
    pub(super) effects: Vec<Option<Vec<Step>>>,
    pub(super) decoder: Decoder,
    /// By register: whether some instruction sets it.
    pub(super) set: Vec<bool>,
}

impl Behaviour {
    /// What programs see besides memory, in order of writing.
    pub fn registers(&self) -> &[Register] {
        &self.registers
    }

    /// True for a register that some instruction sets. The program counter is one; others bring something in from outside.
    pub fn is_set(&self, register: usize) -> bool {
        self.set[register]
    }

    pub(super) fn sets(&self, register: usize) -> bool {
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
