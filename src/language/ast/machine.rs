//! What instructions do, and where a trial finds the registers of a machine.

use super::{Condition, Edge, Path, Whole, Word};
use crate::text::{Span, Spanned};

/// `effect test(v) { Z = v = 0 }`: steps under a name.
#[derive(Clone, Debug)]
pub struct Effect {
    /// Its name.
    pub name: Word,
    /// What is given to it.
    pub parameters: Vec<Word>,
    /// In order.
    pub steps: Vec<EffectStep>,
}

/// A step of what an instruction does.
#[derive(Clone, Debug)]
pub enum EffectStep {
    /// `test(A)`.
    Call(Word, Vec<Whole>, Span),
    /// `A = A + n`, `[a] = A`.
    Set(EffectTarget, Whole, Span),
}

/// What takes a value.
#[derive(Clone, Debug)]
pub enum EffectTarget {
    /// A register, or a name for later steps.
    Name(Word),
    /// The byte at an address.
    Memory(Whole),
}

/// `machine TINY { ... }` in a trial: where the registers and the memory of an instruction set are.
#[derive(Clone, Debug)]
pub struct Machine {
    /// The instruction set.
    pub instructions: Word,
    /// When an instruction begins: at which edge of which net, and under which condition.
    pub starts: Vec<(Edge, Path, Option<Condition>, Span)>,
    /// The first address of each memory, and its chip.
    pub memories: Vec<(Spanned<i64>, Path)>,
    /// Each register and its signal.
    pub registers: Vec<(Word, Path)>,
    /// The whole block.
    pub span: Span,
}
