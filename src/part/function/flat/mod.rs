//! A function on known levels alone: straight-line programs of plain integers, with everything folded away that a board
//! has tied to its rails.
//!
//! What is known of inputs and storage beforehand is told by words in which all the rest is unknown: an operation whose
//! result is then known is a constant, for unknown is sound.

mod fold;
mod lookup;
mod run;

pub use run::Flat;

use super::Function;
use super::memory::MemoryArray;
use super::program::{Operation, Program, Register};
use crate::logic::Word;
use crate::part::Edge;
use crate::part::sheet::Signal;
use fold::{Folder, Stand};

/// What the inputs and the storage are known to be at all times; the rest of their bits is unknown.
#[derive(Clone, Copy, Debug, Default)]
pub struct Fixed<'a> {
    /// Input bits.
    pub inputs: Word,
    /// Stored bits.
    pub states: Word,
    /// Memories that nothing writes.
    pub memories: &'a [MemoryArray],
}

impl Function {
    /// Which outputs let go; `None` where a level stays open that no input decides.
    pub fn flat_off(&self, fixed: Fixed<'_>) -> Option<Flat> {
        self.flat(fixed, &[(&self.drive_program, self.drive_off)], 0)
    }

    /// The levels of the outputs; as [`Function::flat_off`].
    pub fn flat_value(&self, fixed: Fixed<'_>) -> Option<Flat> {
        self.flat(fixed, &[(&self.drive_program, self.drive_value)], 0)
    }

    /// What some state bits are behind an edge that sets off every edge-triggered rule about them, while no level does
    /// anything.
    pub fn flat_edge(&self, fixed: Fixed<'_>, states: u64) -> Option<Flat> {
        let rules = self.on_rules.iter();
        let rules = rules.filter(|rule| rule.effect.mask & states != 0);
        let set = rules.clone().fold(0, |mask, rule| mask | rule.effect.mask);
        let results: Vec<_> = rules.map(|rule| (&rule.effect.program, rule.effect.next)).collect();
        self.flat(fixed, &results, states & !set)
    }

    /// The state bits that an edge of an input sets, and what they then are, while no level does anything.
    pub fn flat_trigger(&self, fixed: Fixed<'_>, input: usize, edge: Edge) -> Option<(u64, Flat)> {
        let rules = self.on_rules.iter();
        let rules = rules.filter(|rule| (rule.trigger, rule.edge) == (Signal::Input(input), edge));
        let mut set = 0;
        for rule in rules.clone() {
            if set & rule.effect.mask != 0 {
                return None;
            }
            set |= rule.effect.mask;
        }
        let results: Vec<_> = rules.map(|rule| (&rule.effect.program, rule.effect.next)).collect();
        Some((set, self.flat(fixed, &results, 0)?))
    }

    /// The sum of some results, and of the stored bits that are kept.
    fn flat(&self, fixed: Fixed<'_>, results: &[(&Program, Option<Register>)], kept: u64) -> Option<Flat> {
        let mut folder = Folder::new(fixed);
        let nodes = folder.append(&self.node_program, None);
        let node = self.node_result.map(|result| nodes[result.index()]);
        let mut sum = Stand::Constant(0);
        if kept != 0 {
            let width = self.states.len() as u8;
            let all = folder.fold(Operation::States { low: 0, width });
            let mask = folder.place(Stand::Constant(kept))?;
            let all = folder.place(all)?;
            sum = folder.fold(Operation::And(all, mask));
        }
        for (program, result) in results {
            let stands = folder.append(program, node);
            let Some(result) = result else { continue };
            let (a, b) = (folder.place(sum)?, folder.place(stands[result.index()])?);
            sum = folder.fold(Operation::Or(a, b));
        }
        let last = folder.place(sum)?;
        folder.finish(last)
    }
}
