//! Names of values, instruction sets and programs.

use super::{Each, Effect, EffectStep, Named, Template, Word};
use crate::text::{Span, Spanned};

/// `names steps { FETCH = 0  EXECUTE = 1..3 }`.
#[derive(Clone, Debug)]
pub struct NameList {
    /// Its name.
    pub name: Word,
    /// In words.
    pub title: String,
    /// Each name, its first value and its last one.
    pub values: Vec<(Word, Spanned<i64>, Option<Spanned<i64>>)>,
}

/// The builder's own instruction set.
#[derive(Clone, Debug)]
pub struct Instructions {
    /// Its name.
    pub name: Word,
    /// In words.
    pub title: String,
    /// The kinds of registers.
    pub registers: Vec<Registers>,
    /// What a program sees besides memory: each register and its bits.
    pub state: Vec<(Word, Spanned<u32>)>,
    /// Steps under a name.
    pub effects: Vec<Effect>,
    /// The instructions.
    pub forms: Vec<FormLine>,
}

/// `registers r: A = 0, B = 1`.
#[derive(Clone, Debug)]
pub struct Registers {
    /// The name of the kind.
    pub kind: Word,
    /// The registers and their numbers.
    pub members: Vec<(Word, Spanned<i64>)>,
}

/// A line of an instruction set.
#[derive(Clone, Debug)]
pub enum FormLine {
    /// An instruction.
    Form(Form),
    /// Repetition.
    Each(Each<FormLine>),
}

/// One instruction: `LOAD d: r, n: byte = 0x10 + d, n`.
#[derive(Clone, Debug)]
pub struct Form {
    /// `LOAD`.
    pub mnemonic: Template,
    /// What follows it.
    pub operands: Vec<FormOperand>,
    /// A formula for each byte.
    pub encoding: Vec<Whole>,
    /// What it is called where its bytes are shown.
    pub alias: Option<Template>,
    /// What it does, where that is said.
    pub effect: Option<Vec<EffectStep>>,
    /// The whole line.
    pub span: Span,
}

/// An operand of a form.
#[derive(Clone, Debug)]
pub struct FormOperand {
    /// True when it stands in brackets.
    pub bracketed: bool,
    /// Its pieces; more than one only in brackets. A piece without a kind is a word that stands for itself.
    pub pieces: Vec<(Template, Option<OperandKind>)>,
}

/// What an operand may be.
#[derive(Clone, Debug)]
pub enum OperandKind {
    /// A number in a range.
    Range(Spanned<i64>, Spanned<i64>),
    /// `byte`, `word`, `address`, `relative`, or a kind of registers.
    Word(Word),
}

/// `program monitor for TINY { ... }`.
#[derive(Clone, Debug)]
pub struct Program {
    /// Its name.
    pub name: Word,
    /// The instruction set.
    pub instructions: Word,
    /// In words.
    pub title: String,
    /// Its lines in order.
    pub lines: Vec<ProgramLine>,
}

/// A line of a program.
#[derive(Clone, Debug)]
pub enum ProgramLine {
    /// `loop:`.
    Label(Word),
    /// `origin 0x8000`.
    Origin(Whole, Span),
    /// `constant SIZE = 16`.
    Constant(Word, Whole),
    /// `bytes 1, "text", 0`.
    Bytes(Vec<Whole>, Span),
    /// `fill 16 with 0xFF`: how many, and with what.
    Fill(Whole, Whole, Span),
    /// An instruction with its operands.
    Instruction(Word, Vec<Operand>, Span),
    /// A remark.
    Note,
}

/// An operand of an instruction.
#[derive(Clone, Debug)]
pub struct Operand {
    /// True when it stands in brackets.
    pub bracketed: bool,
    /// Its pieces; more than one only in brackets.
    pub pieces: Vec<Whole>,
}

/// A formula over whole numbers.
#[derive(Clone, Debug)]
pub struct Whole {
    /// The operation or leaf.
    pub kind: WholeKind,
    /// Its place.
    pub span: Span,
}

/// The forms of a formula over whole numbers.
#[derive(Clone, Debug)]
pub enum WholeKind {
    /// A number.
    Number(i64),
    /// A text; one character is its code.
    Text(String),
    /// A label, constant, register or operand.
    Name(Named),
    /// One operand.
    Unary(WholeUnary, Box<Whole>),
    /// Two operands.
    Binary(Box<Whole>, WholeOperator, Box<Whole>),
    /// The byte at an address; only in what an instruction does.
    Memory(Box<Whole>),
    /// The first one when the second one is not 0, else the third one; only in what an instruction does.
    When(Box<[Whole; 3]>),
}

/// Operators on one whole number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WholeUnary {
    /// Minus.
    Negative,
    /// Every bit inverted.
    Not,
    /// Bits 0 to 7.
    Low,
    /// Bits 8 to 15.
    High,
}

/// Operators on two whole numbers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WholeOperator {
    /// Sum.
    Add,
    /// Difference.
    Subtract,
    /// Product.
    Multiply,
    /// Quotient, rounded down.
    Divide,
    /// Remainder, never negative.
    Remainder,
    /// Bit by bit.
    And,
    /// Bit by bit.
    Or,
    /// Bit by bit.
    Xor,
    /// 1 when both are equal, else 0; as all comparisons only in what an instruction does.
    Equal,
    /// 1 when they are not.
    Different,
    /// 1 when the left one is smaller.
    Less,
    /// 1 when the left one is larger.
    Greater,
}
