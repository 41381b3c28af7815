//! What instructions do.

use super::{Whole, Word};
use crate::text::Span;

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
