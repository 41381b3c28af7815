//! What an instruction does, as steps on numbered places: the registers come first, then the operands, then what steps name.

use crate::language::ast::{WholeOperator, WholeUnary};
use crate::text::Span;

/// A value, computed from places.
#[derive(Clone, Debug)]
pub(super) enum Value {
    Number(i64),
    Place(usize),
    /// The register that an operand names: the place of its number, and the kind.
    Register(usize, usize),
    Memory(Box<Value>),
    Unary(WholeUnary, Box<Value>, Span),
    Binary(Box<[Value; 2]>, WholeOperator, Span),
    /// The first one when the second one is not 0, else the third one.
    When(Box<[Value; 3]>),
}

#[derive(Clone, Debug)]
pub(super) enum Target {
    Place(usize),
    Register(usize, usize),
    Memory(Value),
}

#[derive(Clone, Debug)]
pub(super) struct Step {
    pub(super) target: Target,
    pub(super) value: Value,
}
