//! Exact decimals: how a number and its unit become an integer, and back.

use super::QuantityError;

/// A unit that a number can be written in: one of it is `10^digits` of the smallest steps that are kept.
pub(super) struct Scale {
    pub(super) unit: &'static str,
    pub(super) digits: u32,
}

/// The integer of `number` in a unit of `digits` decimal places.
pub(super) fn parse(number: &str, scale: &Scale) -> Result<i64, QuantityError> {
    let (negative, unsigned) = match number.as_bytes().first() {
        Some(b'-') => (true, &number[1..]),
        Some(b'+') => (false, &number[1..]),
        _ => (false, number),
    };
    let (whole, fraction) = unsigned.split_once('.').unwrap_or((unsigned, "0"));
    let is_digits = |text: &str| !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
    if !is_digits(whole) || !is_digits(fraction) {
        return Err(QuantityError::NotANumber(shortened(number)));
    }
    let fraction = fraction.trim_end_matches('0');
    let places = scale.digits as usize;
    let written = || with_unit(&shortened(number), scale.unit);
    if fraction.len() > places {
        return Err(QuantityError::TooFine {
            written: written(),
            step: with_unit(&print(1, scale.digits), scale.unit),
        });
    }
    // Padding the fraction to all its places makes both parts one integer.
    format!("{}{whole}{fraction:0<places$}", if negative { "-" } else { "" }).parse().map_err(|_| {
        QuantityError::TooLarge { written: written(), largest: with_unit(&print(i64::MAX, scale.digits), scale.unit) }
    })
}

/// `raw / 10^digits` without trailing zeros.
pub(super) fn print(raw: i64, digits: u32) -> String {
    let sign = if raw < 0 { "-" } else { "" };
    let one = 10_u64.pow(digits);
    let (whole, fraction) = (raw.unsigned_abs() / one, raw.unsigned_abs() % one);
    if fraction == 0 {
        return format!("{sign}{whole}");
    }
    let fraction = format!("{fraction:0>places$}", places = digits as usize);
    format!("{sign}{whole}.{}", fraction.trim_end_matches('0'))
}

/// A number and its unit, which may be empty.
pub(super) fn with_unit(number: &str, unit: &str) -> String {
    format!("{number} {unit}").trim_end().to_owned()
}

/// `raw` in the largest unit that leaves a digit before the point. Only steps of a thousand are used, as engineers
/// write: no centimetres. Zero is printed in the unit `zero`.
pub(super) fn engineering(raw: i64, scales: &[Scale], zero: &str) -> String {
    if raw == 0 {
        return with_unit("0", zero);
    }
    let fits = |scale: &&Scale| scale.digits.is_multiple_of(3) && raw.unsigned_abs() >= 10_u64.pow(scale.digits);
    let scale = scales.iter().rev().find(fits).unwrap_or(&scales[0]);
    with_unit(&print(raw, scale.digits), scale.unit)
}

/// The start of a text that may be very long.
pub(super) fn shortened(text: &str) -> String {
    match text.char_indices().nth(40) {
        Some((end, _)) => format!("{}...", &text[..end]),
        None => text.to_owned(),
    }
}
