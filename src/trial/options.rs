//! What may be asked of a run.

use super::recorder::Record;
use crate::circuit::{NetKey, Signal};
use crate::language::ast::{Corner, PowerUp};
use crate::quantity::{Temperature, Time};
use std::str::FromStr;

/// What a person or a test may ask of a run.
#[derive(Clone, Debug, Default)]
pub struct Options {
    /// Instead of the trial's own corner.
    pub corner: Option<Corner>,
    /// Instead of the trial's own temperature.
    pub temperature: Option<Temperature>,
    /// Instead of the trial's own power-up.
    pub power_up: Option<PowerUp>,
    /// What of it is kept for pictures.
    pub record: Record,
    /// Signals whose changes go to a stream as they come.
    pub stream: Vec<Signal>,
    /// The net whose causes are wanted, and when; at the end when no time is given.
    pub why: Option<(NetKey, Option<Time>)>,
    /// What a run may keep of its past, and of its waves.
    pub memory: Memory,
    /// Who can interrupt it.
    pub interrupt: Interrupt,
}

/// Asked now and then whether somebody wants a run to end before its time. Nobody by default.
#[derive(Clone, Copy, Debug, Default)]
pub struct Interrupt(pub Option<fn() -> bool>);

impl Interrupt {
    /// True when it is to end.
    pub fn is_wanted(self) -> bool {
        self.0.is_some_and(|wanted| wanted())
    }
}

/// Bytes that a run may take besides the machine itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Memory(pub usize);

impl Default for Memory {
    fn default() -> Memory {
        Memory(512 << 20)
    }
}

/// With less than this not even a small machine keeps a past worth having.
const LEAST_MEMORY: usize = 16 << 20;

impl FromStr for Memory {
    type Err = String;

    /// `512MB` or `2GB`, in steps of 1024.
    fn from_str(text: &str) -> Result<Memory, String> {
        let unlike = || format!("`{text}` is not a size such as 512MB or 2GB");
        let digits = text.trim_end_matches(|sign: char| !sign.is_ascii_digit());
        let (number, unit) = text.split_at(digits.len());
        let unit: usize = match unit.trim() {
            "KB" => 1 << 10,
            "MB" => 1 << 20,
            "GB" => 1 << 30,
            _ => return Err(unlike()),
        };
        let number = number.trim().parse::<usize>().map_err(|_| unlike())?;
        match number.checked_mul(unit) {
            None => Err(unlike()),
            Some(bytes) if bytes < LEAST_MEMORY => Err(format!("{text} is too little: give at least 16MB")),
            Some(bytes) => Ok(Memory(bytes)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sizes_have_units_and_a_least() {
        assert_eq!("512MB".parse(), Ok(Memory::default()));
        assert_eq!("2 GB".parse(), Ok(Memory(2_147_483_648)));
        for wrong in ["", "512", "MB", "-1MB", "1.5GB", "99999999999999GB", "512mb"] {
            let refused: Result<Memory, String> = wrong.parse();
            assert!(refused.is_err_and(|why| why.contains("such as 512MB")), "{wrong}");
        }
        let little: Result<Memory, String> = "1024KB".parse();
        assert!(little.is_err_and(|why| why.contains("at least 16MB")));
    }
}
