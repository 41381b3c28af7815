//! What an output depends on, bit by bit: a walk back through the compiled programs.

use super::Function;
use super::program::{Operation, Program, Register};
use crate::logic::Word;

/// What something is computed from.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Reads {
    pub inputs: u64,
    pub states: u64,
    /// True when a memory is read.
    pub memory: bool,
    pub(super) nodes: u64,
}

impl Function {
    /// What the level of an output bit depends on.
    pub fn reads_of_value(&self, bit: usize) -> Reads {
        self.reads(self.drive_value, 1 << bit)
    }

    /// What it depends on whether an output bit goes high-impedance.
    pub fn reads_of_off(&self, bit: usize) -> Reads {
        self.reads(self.drive_off, 1 << bit)
    }

    /// What a node depends on.
    pub fn reads_of_node(&self, node: usize) -> Reads {
        let mut reads = Reads::default();
        if let Some(result) = self.node_result {
            walk(&self.node_program, result, 1 << node, &mut reads);
            // Nodes that it is made of.
            let nodes = reads.nodes;
            walk(&self.node_program, result, nodes, &mut reads);
        }
        reads
    }

    pub(super) fn reads(&self, register: Option<Register>, mask: u64) -> Reads {
        let Some(register) = register else {
            return Reads::default();
        };
        let mut reads = Reads::default();
        walk(&self.drive_program, register, mask, &mut reads);
        self.behind_nodes(&mut reads);
        reads
    }

    /// Adds what the nodes are computed from that are read.
    pub(super) fn behind_nodes(&self, reads: &mut Reads) {
        if let Some(result) = self.node_result
            && reads.nodes != 0
        {
            let nodes = reads.nodes;
            walk(&self.node_program, result, nodes, reads);
        }
    }
}

fn ones(width: u8) -> u64 {
    Word::mask(width.into())
}

/// Adds what some bits of a register are computed from. Later operations read only earlier ones, so one pass from the
/// last to the first sees all.
pub(super) fn walk(program: &Program, register: Register, mask: u64, reads: &mut Reads) {
    let mut wanted = vec![0_u64; program.operations.len()];
    wanted[register.index()] = mask;
    for at in (0..wanted.len()).rev() {
        let mask = wanted[at];
        if mask == 0 {
            continue;
        }
        // Bits up to the highest wanted one: carries come from below.
        let below = u64::MAX >> mask.leading_zeros();
        let mut want = |register: Register, mask: u64| wanted[register.index()] |= mask;
        match program.operations[at] {
            Operation::Constant(_) | Operation::Unknown(_) => {}
            Operation::Inputs { low, width } => reads.inputs |= (mask & ones(width)) << low,
            Operation::States { low, width } => reads.states |= (mask & ones(width)) << low,
            Operation::Nodes { low, width } => reads.nodes |= (mask & ones(width)) << low,
            Operation::Not(a, all) => want(a, mask & all),
            Operation::And(a, b) | Operation::Or(a, b) | Operation::Xor(a, b) => {
                want(a, mask);
                want(b, mask);
            }
            Operation::Add(a, b, _) | Operation::Subtract(a, b, _) => {
                want(a, below);
                want(b, below);
            }
            Operation::Equal(a, b, all) => {
                want(a, all);
                want(b, all);
            }
            Operation::Less(a, b, width) => {
                let all = ones(width);
                want(a, all);
                want(b, all);
            }
            Operation::Select(condition, yes, no) => {
                want(condition, u64::MAX);
                want(yes, mask);
                want(no, mask);
            }
            Operation::Splat(a, all) => {
                if mask & all != 0 {
                    want(a, 1);
                }
            }
            Operation::Slice(a, low, width) => want(a, (mask & ones(width)) << low),
            Operation::Place(a, low) => want(a, mask >> low),
            Operation::Decode(a, width) => want(a, ones(width)),
            Operation::Pick(vector, address, width) => {
                want(vector, u64::MAX);
                want(address, ones(width));
            }
            Operation::All(a, all) | Operation::Any(a, all) | Operation::Odd(a, all) => {
                want(a, all);
            }
            Operation::Read(_, address) => {
                reads.memory = true;
                want(address, u64::MAX);
            }
        }
    }
}
