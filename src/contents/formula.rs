//! Formulas over whole numbers, computed without ever going round.

use crate::diagnostic::Diagnostic;
use crate::language::ast::{Named, Whole, WholeKind, WholeOperator, WholeUnary};
use crate::text::Span;

/// What names mean.
pub(super) type Meaning<'a> = dyn FnMut(&Named) -> Result<i64, Diagnostic> + 'a;

/// The value of a formula.
pub(super) fn value(whole: &Whole, meaning: &mut Meaning<'_>) -> Result<i64, Diagnostic> {
    match &whole.kind {
        WholeKind::Number(number) => Ok(*number),
        WholeKind::Text(text) => character(text, whole.span),
        WholeKind::Name(named) => meaning(named),
        WholeKind::Memory(_) => Err(Diagnostic::error("arithmetic", "what a memory holds is not known here")
            .at(whole.span, "a byte of memory")
            .help("only what an instruction does, in braces behind it, may read memory")),
        WholeKind::When(parts) => {
            let [one, condition, other] = &**parts;
            if value(condition, meaning)? != 0 { value(one, meaning) } else { value(other, meaning) }
        }
        WholeKind::Unary(operator, inner) => unary(*operator, value(inner, meaning)?, whole.span),
        WholeKind::Binary(left, operator, right) => {
            binary(value(left, meaning)?, *operator, value(right, meaning)?, whole.span)
        }
    }
}

/// An operator on one number.
pub(super) fn unary(operator: WholeUnary, operand: i64, span: Span) -> Result<i64, Diagnostic> {
    let result = match operator {
        WholeUnary::Negative => operand.checked_neg(),
        WholeUnary::Not => Some(!operand),
        WholeUnary::Low | WholeUnary::High => {
            if !(-0x8000..=0xFFFF).contains(&operand) {
                let message = format!("{operand} does not fit 16 bits");
                return Err(Diagnostic::error("range", message)
                    .at(span, "of which a byte is taken")
                    .help("`low` and `high` are the two bytes of a 16-bit number"));
            }
            let shift = if operator == WholeUnary::Low { 0 } else { 8 };
            Some(operand >> shift & 0xFF)
        }
    };
    result.ok_or_else(|| cannot(span, "this number is too large"))
}

/// An operator on two numbers.
pub(super) fn binary(left: i64, operator: WholeOperator, right: i64, span: Span) -> Result<i64, Diagnostic> {
    let divides = matches!(operator, WholeOperator::Divide | WholeOperator::Remainder);
    if divides && right == 0 {
        return Err(cannot(span, "this divides by zero"));
    }
    let result = match operator {
        WholeOperator::Add => left.checked_add(right),
        WholeOperator::Subtract => left.checked_sub(right),
        WholeOperator::Multiply => left.checked_mul(right),
        WholeOperator::Divide => left.checked_div_euclid(right),
        WholeOperator::Remainder => left.checked_rem_euclid(right),
        WholeOperator::And => Some(left & right),
        WholeOperator::Or => Some(left | right),
        WholeOperator::Xor => Some(left ^ right),
        WholeOperator::Equal => Some(i64::from(left == right)),
        WholeOperator::Different => Some(i64::from(left != right)),
        WholeOperator::Less => Some(i64::from(left < right)),
        WholeOperator::Greater => Some(i64::from(left > right)),
    };
    result.ok_or_else(|| cannot(span, "this number is too large"))
}

/// The code of a text of one character.
fn character(text: &str, span: Span) -> Result<i64, Diagnostic> {
    let codes = codes(text, span)?;
    match codes.as_slice() {
        [code] => Ok(i64::from(*code)),
        _ => Err(Diagnostic::error("range", "a text of one character is a number, a longer one is not")
            .at(span, format!("{} characters", codes.len()))
            .help("write it by itself behind `bytes`")),
    }
}

/// The codes of a text, a byte each.
pub(super) fn codes(text: &str, span: Span) -> Result<Vec<u8>, Diagnostic> {
    match text.chars().find(|c| !c.is_ascii()) {
        None => Ok(text.bytes().collect()),
        Some(odd) => Err(Diagnostic::error("range", format!("`{odd}` has no code of one byte"))
            .at(span, "in this text")
            .help("use the characters of ASCII, or write the code as a number")),
    }
}

/// A value as a byte; a negative one in two's complement.
pub(super) fn byte(value: i64, span: Span) -> Result<u8, Diagnostic> {
    if (-128..=255).contains(&value) {
        return Ok(value as u8);
    }
    Err(Diagnostic::error("range", format!("{value} does not fit a byte"))
        .at(span, "-128 to 255 fit")
        .help("take it apart with `low` and `high`, or mend the value"))
}

fn cannot(span: Span, message: &str) -> Diagnostic {
    Diagnostic::error("arithmetic", message).at(span, "cannot be computed").help("mend the formula")
}
