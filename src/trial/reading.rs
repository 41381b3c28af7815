//! What a person reads on the bench: lit LEDs, volts, milliamperes.

use super::look::Levels;
use crate::electrical::{Meter, Range};
use crate::language::ast::Radix;
use crate::logic::Word;
use crate::quantity::Voltage;
use crate::quantity::si::{Amperes, Volts};
use std::sync::Arc;

/// Something that is read from the voltages and currents of a moment.
#[derive(Clone, Debug)]
pub enum Reading {
    /// LEDs, the most significant first: which of them are lit.
    Lit(Vec<Arc<Meter>>, Radix),
    /// The voltage of a net.
    Volts(Arc<Meter>),
    /// The current of an LED.
    Current(Arc<Meter>),
}

/// What a reading is compared with.
#[derive(Clone, Copy, Debug)]
pub(super) enum Claim {
    /// Every LED is lit, or dark.
    All(bool),
    /// Lit LEDs as the ones of a number: this one (true), or not.
    Number(u64, bool),
    /// Within these.
    Between(Voltage, Voltage),
}

/// Each is made once, and shared.
impl PartialEq for Reading {
    fn eq(&self, other: &Reading) -> bool {
        std::ptr::eq(self, other)
    }
}

impl Eq for Reading {}

impl Reading {
    /// Number of LEDs.
    pub(super) fn width(&self) -> u32 {
        match self {
            Reading::Lit(leds, _) => leds.len() as u32,
            _ => 1,
        }
    }

    /// Which LEDs are lit, as a word; those that may or may not be are unknown.
    pub(super) fn lit(&self, levels: &Levels<'_>) -> Word {
        let Reading::Lit(leds, _) = self else {
            return Word::default();
        };
        leds.iter().fold(Word::default(), |word, led| {
            let bit = led.is_lit(levels);
            Word {
                value: word.value << 1 | u64::from(bit == Some(true)),
                unknown: word.unknown << 1 | u64::from(bit.is_none()),
            }
        })
    }

    /// Whether a claim is true; `None` when that depends on what is unknown, or on what parts differ in.
    pub(super) fn truth(&self, claim: Claim, levels: &Levels<'_>) -> Option<bool> {
        match (self, claim) {
            (Reading::Lit(leds, _), Claim::All(lit)) => {
                let word = self.lit(levels);
                let mask = Word::mask(leds.len() as u32);
                let wrong = if lit { !word.value } else { word.value } & mask & !word.unknown;
                if wrong != 0 { Some(false) } else { (word.unknown == 0).then_some(true) }
            }
            (Reading::Lit(..), Claim::Number(number, equal)) => {
                let word = self.lit(levels);
                if (word.value ^ number) & !word.unknown != 0 {
                    return Some(!equal);
                }
                (word.unknown == 0).then_some(equal)
            }
            (Reading::Volts(meter), Claim::Between(least, most)) => {
                let range = meter.volts(levels)?;
                let (least, most) = (least.volts(), most.volts());
                if range.least >= least && range.most <= most {
                    Some(true)
                } else if range.most < least || range.least > most {
                    Some(false)
                } else {
                    None
                }
            }
            _ => None,
        }
    }

    /// For a person: `lit`, `0b1010`, `2.04 to 5 V`, `1.2 to 3.1 mA`.
    pub(crate) fn shown(&self, levels: &Levels<'_>) -> String {
        match self {
            Reading::Lit(leds, radix) => {
                let word = self.lit(levels);
                match (leds.as_slice(), word.unknown, word.value) {
                    ([_], 0, 0) => "dark".to_owned(),
                    ([_], 0, _) => "lit".to_owned(),
                    ([_], ..) => "lit or dark".to_owned(),
                    (_, 0, value) if matches!(radix, Radix::Decimal | Radix::Signed) => value.to_string(),
                    _ if *radix == Radix::Binary => word.text(leds.len() as u32),
                    _ => word.hex(leds.len() as u32),
                }
            }
            Reading::Volts(meter) => {
                range(meter.volts(levels).map(|range: Range<Volts>| [range.least.0, range.most.0]), "V")
            }
            Reading::Current(meter) => {
                let amperes = meter.amperes(levels);
                range(amperes.map(|range: Range<Amperes>| [range.least.0 * 1e3, range.most.0 * 1e3]), "mA")
            }
        }
    }
}

/// `4.4 to 5 V`, to three figures.
fn range(found: Option<[f64; 2]>, unit: &str) -> String {
    let Some([least, most]) = found else {
        return "not known".to_owned();
    };
    let text = |value: f64| {
        let digits = if value.abs() < 10.0 { 2 } else { 1 };
        let text = format!("{value:.digits$}");
        let text = text.trim_end_matches('0').trim_end_matches('.').to_owned();
        if text == "-0" { "0".to_owned() } else { text }
    };
    let (least, most) = (text(least), text(most));
    if least == most { format!("{least} {unit}") } else { format!("{least} to {most} {unit}") }
}
