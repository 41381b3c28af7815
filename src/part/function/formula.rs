//! One formula: from its tree to operations on packed words, every operand at the width that its place asks for.

use super::build::Builder;
use super::memory::MemoryShape;
use super::program::{Operation, Register};
use super::resolve::{Bits, Names, Place};
use crate::diagnostic::Diagnostic;
use crate::language::ast::{BinaryOperator, Expression, ExpressionKind, Template, UnaryOperator};
use crate::language::expand::Scope;
use crate::logic::Word;
use crate::text::Span;

type Fallible<T> = Result<T, Diagnostic>;

/// The two words of an expression that may go high-impedance.
#[derive(Clone, Copy)]
pub(super) struct Value {
    pub(super) level: Register,
    pub(super) off: Option<Register>,
}

/// One formula on its way into a program.
pub(super) struct Formula<'f> {
    pub(super) names: &'f Names,
    pub(super) memories: &'f [MemoryShape],
    pub(super) builder: &'f mut Builder,
    pub(super) scope: &'f Scope,
    /// Nodes from this one on are not defined yet.
    pub(super) nodes: usize,
}

impl Formula<'_> {
    /// A formula that has a level in every case.
    pub(super) fn level(&mut self, expression: &Expression, width: u32) -> Fallible<Register> {
        let value = self.value(expression, width)?;
        if value.off.is_some() {
            return Err(Diagnostic::error("off", "only an output can let go")
                .at(expression.span, "`off` cannot stand here")
                .help("move `off` to the formula of the output"));
        }
        Ok(value.level)
    }

    /// A formula of so many bits.
    pub(super) fn value(&mut self, expression: &Expression, width: u32) -> Fallible<Value> {
        if self.builder.is_full() {
            return Err(Diagnostic::error("too-large", "this part's formulas are too long")
                .at(expression.span, "one operation too many")
                .help("split the part"));
        }
        let level = match &expression.kind {
            ExpressionKind::Off => {
                let level = self.builder.add(Operation::Constant(0));
                let off = self.builder.add(Operation::Constant(Word::mask(width)));
                return Ok(Value { level, off: Some(off) });
            }
            ExpressionKind::Unknown => self.builder.add(Operation::Unknown(Word::mask(width))),
            ExpressionKind::When { yes, condition, no } => {
                return self.when(yes, condition, no, width);
            }
            ExpressionKind::Group(members) if members.len() == 1 => {
                return self.value(&members[0], width);
            }
            ExpressionKind::Group(members) => self.join(members, expression.span, width)?,
            ExpressionKind::Number(number) => self.constant(*number, expression.span, width)?,
            ExpressionKind::Name(template) => {
                let register = self.name(template)?;
                self.fit(register, width, expression.span)?
            }
            ExpressionKind::Unary(operator, operand) => self.unary(*operator, operand, expression.span, width)?,
            ExpressionKind::Binary(left, operator, right) => {
                self.binary(left, *operator, right, expression.span, width)?
            }
        };
        Ok(Value { level, off: None })
    }

    fn when(&mut self, yes: &Expression, condition: &Expression, no: &Expression, width: u32) -> Fallible<Value> {
        let condition = self.level(condition, 1)?;
        let yes = self.value(yes, width)?;
        let no = self.value(no, width)?;
        let level = self.builder.add(Operation::Select(condition, yes.level, no.level));
        let off = match (yes.off, no.off) {
            (None, None) => None,
            (yes, no) => {
                let zero = self.builder.add(Operation::Constant(0));
                Some(self.builder.add(Operation::Select(condition, yes.unwrap_or(zero), no.unwrap_or(zero))))
            }
        };
        Ok(Value { level, off })
    }

    fn join(&mut self, members: &[Expression], span: Span, width: u32) -> Fallible<Register> {
        let mut total = 0;
        let mut result: Option<Register> = None;
        for member in members.iter().rev() {
            let bits = self.natural(member)?.unwrap_or(1);
            let level = self.level(member, bits)?;
            let placed = if total == 0 { level } else { self.builder.add(Operation::Place(level, total as u8)) };
            result = Some(result.map_or(placed, |before| self.builder.add(Operation::Or(before, placed))));
            total += bits;
            if total > 64 {
                return Err(Diagnostic::error("width", "more than 64 bits").at(span, "too wide").help("split it"));
            }
        }
        let register = result.unwrap_or_else(|| self.builder.add(Operation::Constant(0)));
        if total != width {
            return Err(mismatch(total, width, span));
        }
        Ok(register)
    }

    fn constant(&mut self, number: u64, span: Span, width: u32) -> Fallible<Register> {
        if number & !Word::mask(width) != 0 {
            return Err(Diagnostic::error("width", format!("{number} does not fit {width} bits"))
                .at(span, "too large")
                .help("write a smaller number, or widen the other side"));
        }
        Ok(self.builder.add(Operation::Constant(number)))
    }

    /// The bits of a name, in the sense that it was written in.
    fn name(&mut self, template: &Template) -> Fallible<Register> {
        let Bits { places, inverted } = self.names.read(template, self.scope)?;
        let mut inputs = Vec::new();
        let mut states = Vec::new();
        let mut nodes = Vec::new();
        for place in &places {
            match *place {
                Place::Input(bit) => inputs.push(bit),
                Place::State(bit) => states.push(bit),
                Place::Node(bit) if bit < self.nodes => nodes.push(bit),
                Place::Node(_) | Place::Output(_) => {
                    return Err(Diagnostic::error("order", "this node is read before it is defined")
                        .at(template.span, "defined further down")
                        .help("move its definition up"));
                }
            }
        }
        let width = places.len();
        let register = if inputs.len() == width {
            self.builder.gather(&inputs, |low, width| Operation::Inputs { low, width })
        } else if states.len() == width {
            self.builder.gather(&states, |low, width| Operation::States { low, width })
        } else if nodes.len() == width {
            self.node_bits(&nodes)
        } else {
            return Err(Diagnostic::error("mixed", "this name mixes pins, stored bits and nodes")
                .at(template.span, "of several kinds")
                .help("join them by name: `(a, b)`"));
        };
        Ok(if inverted { self.builder.add(Operation::Not(register, Word::mask(width as u32))) } else { register })
    }

    fn node_bits(&mut self, nodes: &[usize]) -> Register {
        let Some(word) = self.builder.node_word else {
            return self.builder.gather(nodes, |low, width| Operation::Nodes { low, width });
        };
        let mut result: Option<Register> = None;
        for (place, &node) in nodes.iter().enumerate() {
            let bit = self.builder.add(Operation::Slice(word, node as u8, 1));
            let placed = if place == 0 { bit } else { self.builder.add(Operation::Place(bit, place as u8)) };
            result = Some(result.map_or(placed, |before| self.builder.add(Operation::Or(before, placed))));
        }
        result.unwrap_or(word)
    }

    /// One bit spreads over a vector; everything else must be as wide as its place.
    fn fit(&mut self, register: Register, width: u32, span: Span) -> Fallible<Register> {
        match self.builder.width(register) {
            bits if bits == width => Ok(register),
            1 => Ok(self.builder.splat(register, width)),
            bits => Err(mismatch(bits, width, span)),
        }
    }

    fn unary(&mut self, operator: UnaryOperator, operand: &Expression, span: Span, width: u32) -> Fallible<Register> {
        if operator == UnaryOperator::Not {
            let bits = self.natural(operand)?.unwrap_or(width);
            let level = self.level(operand, if bits == 1 { 1 } else { width })?;
            let mask = Word::mask(self.builder.width(level).min(width));
            let level = self.builder.add(Operation::Not(level, mask));
            return self.fit(level, width, span);
        }
        let bits = self.natural(operand)?.unwrap_or(1);
        let level = self.level(operand, bits)?;
        let result = match operator {
            UnaryOperator::Decode if bits > 6 => {
                return Err(Diagnostic::error("width", format!("{bits} bits decode to more than 64 outputs"))
                    .at(span, "too wide")
                    .help("decode 6 bits at most"));
            }
            UnaryOperator::Decode => self.builder.add(Operation::Decode(level, bits as u8)),
            UnaryOperator::All => self.builder.add(Operation::All(level, Word::mask(bits))),
            UnaryOperator::Any => self.builder.add(Operation::Any(level, Word::mask(bits))),
            UnaryOperator::Odd | UnaryOperator::Not => self.builder.add(Operation::Odd(level, Word::mask(bits))),
        };
        self.fit(result, width, span)
    }

    fn binary(
        &mut self,
        left: &Expression,
        operator: BinaryOperator,
        right: &Expression,
        span: Span,
        width: u32,
    ) -> Fallible<Register> {
        let result = match operator {
            BinaryOperator::And | BinaryOperator::Or | BinaryOperator::Xor => {
                let bits = self.natural(left)?.max(self.natural(right)?).map_or(width, |bits| bits.max(1));
                let bits = if bits == 1 { 1 } else { width };
                let (a, b) = (self.level(left, bits)?, self.level(right, bits)?);
                match operator {
                    BinaryOperator::And => self.builder.add(Operation::And(a, b)),
                    BinaryOperator::Or => self.builder.add(Operation::Or(a, b)),
                    _ => self.builder.add(Operation::Xor(a, b)),
                }
            }
            BinaryOperator::Add | BinaryOperator::Subtract => {
                let (a, b) = (self.term(left, width)?, self.term(right, width)?);
                let width = width as u8;
                return Ok(if operator == BinaryOperator::Add {
                    self.builder.add(Operation::Add(a, b, width))
                } else {
                    self.builder.add(Operation::Subtract(a, b, width))
                });
            }
            BinaryOperator::At => self.selected(left, right)?,
            comparison => {
                let needed = |number: u64| 64 - number.leading_zeros();
                let of = |formula: &Self, side: &Expression| -> Fallible<u32> {
                    Ok(match (&side.kind, formula.natural(side)?) {
                        (ExpressionKind::Number(number), _) => needed(*number).max(1),
                        (_, bits) => bits.unwrap_or(1),
                    })
                };
                let bits = of(self, left)?.max(of(self, right)?);
                let (a, b) = (self.term(left, bits)?, self.term(right, bits)?);
                let mask = Word::mask(bits);
                match comparison {
                    BinaryOperator::Equal => self.builder.add(Operation::Equal(a, b, mask)),
                    BinaryOperator::Differs => {
                        let equal = self.builder.add(Operation::Equal(a, b, mask));
                        self.builder.add(Operation::Not(equal, 1))
                    }
                    BinaryOperator::Less => self.builder.add(Operation::Less(a, b, bits as u8)),
                    _ => self.builder.add(Operation::Less(b, a, bits as u8)),
                }
            }
        };
        self.fit(result, width, span)
    }

    /// An operand of arithmetic: zeros stand above its own bits.
    fn term(&mut self, expression: &Expression, width: u32) -> Fallible<Register> {
        let mut inner = expression;
        while let ExpressionKind::Group(members) = &inner.kind
            && let [member] = members.as_slice()
        {
            inner = member;
        }
        let arithmetic =
            matches!(&inner.kind, ExpressionKind::Binary(_, BinaryOperator::Add | BinaryOperator::Subtract, _));
        let bits = match self.natural(expression)? {
            Some(bits) if !arithmetic && bits <= width => bits,
            Some(bits) if !arithmetic => return Err(mismatch(bits, width, expression.span)),
            _ => width,
        };
        self.level(expression, bits)
    }

    /// `vector at address`, `memory at address`.
    fn selected(&mut self, left: &Expression, right: &Expression) -> Fallible<Register> {
        if let Some(memory) = self.memory_of(left)? {
            let address = self.address(memory, right)?;
            let width = self.memories[memory].width;
            let read = self.builder.add(Operation::Read(memory as u8, address));
            return Ok(self.builder.add(Operation::Slice(read, 0, width as u8)));
        }
        let width = self.natural(left)?.unwrap_or(1);
        let vector = self.level(left, width)?;
        let address_bits = self.natural(right)?.unwrap_or(1);
        let address = self.level(right, address_bits)?;
        if address_bits > 6 || width != 1 << address_bits {
            return Err(Diagnostic::error(
                "width",
                format!("{} of address cannot pick one of {width} bits", bits(address_bits)),
            )
            .at(left.span.to(right.span), "")
            .help("the vector needs 2, 4, 8, ... bits, as many as the address can name"));
        }
        Ok(self.builder.add(Operation::Pick(vector, address, address_bits as u8)))
    }

    /// The address of a word of a memory; a single bit does not spread over it.
    pub(super) fn address(&mut self, memory: usize, expression: &Expression) -> Fallible<Register> {
        let words = self.memories[memory].words;
        let width = words.trailing_zeros().max(1);
        match self.natural(expression)? {
            Some(bits) if bits != width => Err(mismatch(bits, width, expression.span)),
            _ => self.level(expression, width),
        }
    }

    fn memory_of(&self, expression: &Expression) -> Fallible<Option<usize>> {
        let ExpressionKind::Name(template) = &expression.kind else {
            return Ok(None);
        };
        let names = self.scope.names(template)?;
        Ok(match names.as_slice() {
            [name] => self.names.memories.iter().position(|memory| memory == name),
            _ => None,
        })
    }

    /// The width that a formula has by itself; `None` for numbers and `off`, which take any.
    fn natural(&self, expression: &Expression) -> Fallible<Option<u32>> {
        Ok(match &expression.kind {
            ExpressionKind::Number(_) | ExpressionKind::Off | ExpressionKind::Unknown => None,
            ExpressionKind::Name(template) => Some(self.names.read(template, self.scope)?.places.len() as u32),
            ExpressionKind::Group(members) if members.len() == 1 => self.natural(&members[0])?,
            ExpressionKind::Group(members) => {
                let mut total = 0;
                for member in members {
                    total += self.natural(member)?.unwrap_or(1);
                }
                Some(total)
            }
            ExpressionKind::Unary(UnaryOperator::Not, operand) => self.natural(operand)?,
            ExpressionKind::Unary(UnaryOperator::Decode, operand) => {
                Some(1 << self.natural(operand)?.unwrap_or(1).min(6))
            }
            ExpressionKind::Unary(..) => Some(1),
            ExpressionKind::Binary(left, BinaryOperator::At, _) => match self.memory_of(left)? {
                Some(memory) => Some(self.memories[memory].width),
                None => Some(1),
            },
            ExpressionKind::Binary(
                left,
                BinaryOperator::And
                | BinaryOperator::Or
                | BinaryOperator::Xor
                | BinaryOperator::Add
                | BinaryOperator::Subtract,
                right,
            ) => self.natural(left)?.max(self.natural(right)?),
            ExpressionKind::Binary(..) => Some(1),
            ExpressionKind::When { yes, no, .. } => self.natural(yes)?.max(self.natural(no)?),
        })
    }
}

fn bits(count: u32) -> String {
    let plural = if count == 1 { "" } else { "s" };
    format!("{count} bit{plural}")
}

fn mismatch(found: u32, wanted: u32, span: Span) -> Diagnostic {
    let stand = if found == 1 { "stands" } else { "stand" };
    let are = if wanted == 1 { "is" } else { "are" };
    let message = format!("{} {stand} where {} {are} wanted", bits(found), bits(wanted));
    Diagnostic::error("width", message)
        .at(span, format!("{} wide", bits(found)))
        .help("take a slice such as `D[0..3]`, or join pieces: `(a, b)`")
}
