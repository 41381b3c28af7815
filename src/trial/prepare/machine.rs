//! Where the registers and the memory of an instruction set are on a board.

use super::{Binder, Step};
use crate::circuit::{ChipKey, Signal};
use crate::contents::behaviour::{Behaviour, PROGRAM_COUNTER};
use crate::delay::random::generator;
use crate::diagnostic::{Diagnostic, did_you_mean};
use crate::image::Image;
use crate::language::ast::{self, Edge, Field, Path, Word};
use crate::text::Span;
use crate::trial::condition::Ready;
use crate::trial::look::Look;
use rand_core::Rng;
use std::sync::Arc;

/// The stream of random numbers that programs are made of.
const RANDOM_PROGRAM: u64 = 0x5052_4F47;

/// A machine whose instructions can be followed.
#[derive(Clone, Debug)]
pub(crate) struct Machine {
    pub(crate) behaviour: Arc<Behaviour>,
    /// An instruction begins at this edge, when the condition is true just before it.
    pub(crate) edge: Edge,
    pub(crate) strobe: Signal,
    pub(crate) condition: Option<Ready>,
    /// Each register that the trial names.
    pub(crate) registers: Vec<(String, Signal)>,
    /// The program counter among them.
    pub(crate) counter: usize,
    /// The first and the last address of each memory, and its chip.
    pub(crate) memories: Vec<(u64, u64, ChipKey)>,
    /// Where routines begin, by address.
    pub(crate) labels: Vec<(u64, String)>,
}

impl Binder<'_> {
    /// Takes in the machine of a trial.
    pub(super) fn machine(&mut self, written: &ast::Machine) {
        if self.machine.is_some() {
            self.problems.push(
                Diagnostic::error("name-twice", "the trial has two machines")
                    .at(written.span, "the second one")
                    .help("write all of it in one block"),
            );
            return;
        }
        let before = self.problems.len();
        let behaviour = self.take(self.circuit.names.behaviour(&written.instructions).cloned());
        let start = self.start(written);
        let mut registers: Vec<(String, Signal)> = Vec::new();
        for (name, path) in &written.registers {
            let Some(signal) = self.signal(path) else {
                continue;
            };
            if let Some(behaviour) = &behaviour {
                self.register(behaviour, name, &signal);
            }
            if registers.iter().any(|(other, _)| *other == name.node) {
                self.problems.push(
                    Diagnostic::error("name-twice", format!("{} is there twice", name.node))
                        .at(name.span, "the second time")
                        .help("leave one of them out"),
                );
            }
            registers.push((name.node.clone(), signal));
        }
        let counter = registers.iter().position(|(name, _)| name == PROGRAM_COUNTER);
        if counter.is_none() && self.problems.len() == before {
            self.problems.push(
                Diagnostic::error("no-program-counter", format!("the machine has no {PROGRAM_COUNTER}"))
                    .at(written.span, "it does not say where an instruction comes from")
                    .help(format!("add it, as in `{PROGRAM_COUNTER} = ADDRESS.pc`")),
            );
        }
        let memories = self.memories(written);
        let labels = self.labels(&memories);
        if let (Some(behaviour), Some((edge, strobe, condition)), Some(counter)) = (behaviour, start, counter) {
            self.machine = Some(Machine { behaviour, edge, strobe, condition, registers, counter, memories, labels });
        }
    }

    fn take<T>(&mut self, found: Result<T, Diagnostic>) -> Option<T> {
        found.map_err(|problem| self.problems.push(problem)).ok()
    }

    fn start(&mut self, written: &ast::Machine) -> Option<(Edge, Signal, Option<Ready>)> {
        match written.starts.as_slice() {
            [(edge, path, condition, _)] => {
                let strobe = self.strobe(path);
                let condition = match condition {
                    Some(condition) => Some(self.ready(condition)?),
                    None => None,
                };
                Some((*edge, strobe?, condition))
            }
            [] => {
                self.problems.push(
                    Diagnostic::error("no-start", "the machine does not say when an instruction begins")
                        .at(written.span, "this one")
                        .help("add it, as in `start on rise clk when step = 0`"),
                );
                None
            }
            [_, (_, _, _, second), ..] => {
                self.problems.push(
                    Diagnostic::error("name-twice", "an instruction begins in one way")
                        .at(*second, "the second one")
                        .help("leave one of them out"),
                );
                None
            }
        }
    }

    /// A register must be one of the set, and as wide.
    fn register(&mut self, behaviour: &Behaviour, name: &Word, signal: &Signal) {
        if behaviour.registers().is_empty() {
            return;
        }
        let Some(register) = behaviour.registers().iter().find(|register| register.name == name.node) else {
            let near = did_you_mean(&name.node, behaviour.registers().iter().map(|register| register.name.as_str()));
            let message = format!("{} has no register {}", behaviour.name, name.node);
            let help = near.unwrap_or_else(|| format!("declare it there, as in `state {} 8`", name.node));
            self.problems.push(Diagnostic::error("unknown-name", message).at(name.span, "not known").help(help));
            return;
        };
        let (wanted, bits) = (register.bits as usize, signal.nets.len());
        if wanted != bits {
            let message = format!("{} has {wanted} bits, {} has {bits}", name.node, signal.path);
            self.problems.push(
                Diagnostic::error("width", message)
                    .at(name.span, "not as wide")
                    .help("name as many nets, or mend `state` of the instructions"),
            );
        }
    }

    fn memories(&mut self, written: &ast::Machine) -> Vec<(u64, u64, ChipKey)> {
        let mut memories: Vec<(u64, u64, ChipKey)> = Vec::new();
        for (first, path) in &written.memories {
            let Some(chip) = self.memory_chip(path) else {
                continue;
            };
            let words = self.circuit.chips[chip].part.function.memories.first().map_or(0, |memory| memory.words);
            let Ok(address) = u64::try_from(first.node) else {
                self.problems.push(
                    Diagnostic::error("range", "an address is not negative")
                        .at(first.span, "")
                        .help("write the first address of the memory"),
                );
                continue;
            };
            let last = address.saturating_add(words).saturating_sub(1);
            // A smaller memory behind it may cut it short.
            memories.push((address, last, chip));
        }
        memories.sort_by_key(|memory| memory.0);
        for at in 1..memories.len() {
            let next = memories[at].0;
            let before = &mut memories[at - 1];
            before.1 = before.1.min(next.saturating_sub(1));
        }
        memories
    }

    fn labels(&self, memories: &[(u64, u64, ChipKey)]) -> Vec<(u64, String)> {
        let mut labels = Vec::new();
        for &(first, last, chip) in memories {
            let Some(contents) = &self.circuit.chips[chip].initial_contents else {
                continue;
            };
            for (at, name) in contents.labels.iter() {
                labels.extend(Some((first + at, name.clone())).filter(|(at, _)| *at <= last));
            }
        }
        labels.sort();
        labels
    }

    /// A step that follows the instructions of a set.
    pub(super) fn following(&mut self, set: &Word, step: Step) -> Option<Step> {
        let behaviour = self.take(self.circuit.names.behaviour(set).cloned())?;
        let machine = self.machine_at(set.span)?;
        if machine.behaviour.name == behaviour.name {
            return Some(step);
        }
        let message = format!("the machine of this trial is a {}", machine.behaviour.name);
        self.problems.push(
            Diagnostic::error("unknown-instructions", message)
                .at(set.span, "not this one")
                .help("name the instructions of its `machine` block"),
        );
        None
    }

    /// Instructions at random in every word of a memory, so that every jump into it leads to one.
    pub(super) fn load_random(&mut self, path: &Path, set: &Word, seed: u64, without: &[Word]) -> Option<Step> {
        let chip = self.memory_chip(path)?;
        let behaviour = self.take(self.circuit.names.behaviour(set).cloned())?;
        for word in without {
            if !behaviour.mnemonics().any(|mnemonic| mnemonic == word.node) {
                let message = format!("{} has no instruction {}", behaviour.name, word.node);
                let help = did_you_mean(&word.node, behaviour.mnemonics());
                let help = help.unwrap_or_else(|| "leave it out here".to_owned());
                self.problems
                    .push(Diagnostic::error("unknown-instruction", message).at(word.span, "not known").help(help));
                return None;
            }
        }
        let codes = behaviour.first_bytes(|mnemonic| without.iter().all(|word| word.node != mnemonic));
        let words = self.circuit.chips[chip].part.function.memories.first().map_or(0, |memory| memory.words);
        if codes.is_empty() {
            self.problems.push(
                Diagnostic::error("empty", "no instruction is left")
                    .at(set.span, "of this set")
                    .help("leave fewer out"),
            );
            return None;
        }
        let mut random = generator(seed, RANDOM_PROGRAM);
        let mut image = Image::new();
        for address in 0..words {
            image.insert(address, codes[random.next_u32() as usize % codes.len()]);
        }
        Some(Step::Load(chip, image, 0))
    }

    /// The machine of the trial, which something at a place needs.
    fn machine_at(&mut self, span: Span) -> Option<Machine> {
        if self.machine.is_none() && self.problems.is_empty() {
            self.problems.push(
                Diagnostic::error("no-machine", "the trial does not say where registers and memory are")
                    .at(span, "this follows instructions")
                    .help("write `machine INSTRUCTIONS { start on rise clk  PC = pc  memory 0 = U1 }` above it"),
            );
        }
        self.machine.clone()
    }

    /// The columns of a table of instructions: registers by their names, and other signals.
    pub(super) fn instruction_fields(&mut self, fields: &[Field], span: Span) -> Option<Vec<(String, Signal, Look)>> {
        let machine = self.machine_at(span)?;
        let mut found = Vec::new();
        for field in fields {
            let name = self.sources.slice(field.path.span);
            let register = machine.registers.iter().find(|(register, _)| register == name);
            let (signal, look) = match register {
                Some((_, signal)) => (signal.clone(), self.look(&field.view)?),
                None => self.field(field)?,
            };
            found.push((name.to_owned(), signal, look));
        }
        Some(found)
    }
}
