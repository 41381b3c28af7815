//! From a declared set to what its instructions do.

use super::compile;
use super::reading::Decoder;
use super::set::{Behaviour, PROGRAM_COUNTER, Register};
use crate::contents::instructions::{InstructionSet, Written};
use crate::diagnostic::Diagnostic;
use crate::language::ast;

/// The most bits of a register.
const MOST_BITS: u32 = 32;

impl Behaviour {
    /// Of a declared set.
    pub(in crate::contents) fn new(
        declared: &ast::Instructions,
        set: &InstructionSet,
        written: &[Written],
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
