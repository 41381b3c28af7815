//! A function on known levels alone: straight-line programs of plain integers, with everything folded away that a board
//! has tied to its rails.
//!
//! What is known of inputs and storage beforehand is told by words in which all the rest is unknown: an operation whose
//! result is then known is a constant, for unknown is sound.

mod fold;
mod lookup;
mod run;

pub use run::TwoStateProgram;

use super::Function;
use super::memory::MemoryArray;
use super::program::{Operation, Program, Register};
use crate::logic::Word;
use crate::part::Edge;
use crate::part::sheet::Signal;
use fold::{Folded, Folder};

/// What the inputs and the storage are known to be at all times; the rest of their bits is unknown.
#[derive(Clone, Copy, Debug, Default)]
pub struct TiedInputs<'a> {
    pub inputs: Word,
    pub states: Word,
    /// Memories that nothing writes.
    pub memories: &'a [MemoryArray],
}

impl Function {
    /// Which outputs go high-impedance; `None` where a level stays open that no input decides.
    pub fn two_state_off(&self, tied: TiedInputs<'_>) -> Option<TwoStateProgram> {
        self.two_state(tied, &[(&self.drive_program, self.drive_off)], 0)
    }

    /// The levels of the outputs; as [`Function::two_state_off`].
    pub fn two_state_value(&self, tied: TiedInputs<'_>) -> Option<TwoStateProgram> {
        self.two_state(tied, &[(&self.drive_program, self.drive_value)], 0)
    }

    /// What some state bits are behind an edge that sets off every edge-triggered rule about them, while no level does
    /// anything.
    pub fn two_state_edge(&self, tied: TiedInputs<'_>, states: u64) -> Option<TwoStateProgram> {
        let rules = self.edge_rules.iter();
        let rules = rules.filter(|rule| rule.effect.mask & states != 0);
        let set = rules.clone().fold(0, |mask, rule| mask | rule.effect.mask);
        let results: Vec<_> = rules.map(|rule| (&rule.effect.program, rule.effect.next)).collect();
        self.two_state(tied, &results, states & !set)
    }

    /// The state bits that an edge of an input sets, and what they then are, while no level does anything.
    pub fn two_state_trigger(&self, tied: TiedInputs<'_>, input: usize, edge: Edge) -> Option<(u64, TwoStateProgram)> {
        let rules = self.edge_rules.iter();
        let rules = rules.filter(|rule| (rule.trigger, rule.edge) == (Signal::Input(input), edge));
        let mut set = 0;
        for rule in rules.clone() {
            if set & rule.effect.mask != 0 {
                return None;
            }
            set |= rule.effect.mask;
        }
        let results: Vec<_> = rules.map(|rule| (&rule.effect.program, rule.effect.next)).collect();
        Some((set, self.two_state(tied, &results, 0)?))
    }

    /// The sum of some results, and of the stored bits that are kept.
    fn two_state(
        &self,
        tied: TiedInputs<'_>,
        results: &[(&Program, Option<Register>)],
        kept: u64,
    ) -> Option<TwoStateProgram> {
        let mut folder = Folder::new(tied);
        let nodes = folder.append(&self.node_program, None);
        let node = self.node_result.map(|result| nodes[result.index()]);
        let mut sum = Folded::Constant(0);
        if kept != 0 {
            let width = self.states.len() as u8;
            let all = folder.fold(Operation::States { low: 0, width });
            let mask = folder.place(Folded::Constant(kept))?;
            let all = folder.place(all)?;
            sum = folder.fold(Operation::And(all, mask));
        }
        for (program, result) in results {
            let folded = folder.append(program, node);
            let Some(result) = result else { continue };
            let (a, b) = (folder.place(sum)?, folder.place(folded[result.index()])?);
            sum = folder.fold(Operation::Or(a, b));
        }
        let last = folder.place(sum)?;
        folder.finish(last)
    }
}
