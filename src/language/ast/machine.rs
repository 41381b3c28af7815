//! Where a trial finds the registers and the memory of a machine.

use super::{Condition, Edge, Path, Word};
use crate::text::{Span, Spanned};

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
