//! Files of vectors: rows of stimuli and of what must come of them.
//!
//! The file is plain text with commas between cells. Its first row is the heading; a cell of it is `set` or `expect` and
//! a signal. Each further row has a cell for each of them:
//!
//! | cell | as a stimulus | as what is expected |
//! | --- | --- | --- |
//! | `5`, `-1`, `0x2A`, `0b101` | the bits are driven so | the bits are so |
//! | `X` | driven, but unknown | unknown |
//! | `Z` | released | high-impedance |
//! | `-` | as it was | does not matter |
//!
//! Behind `0b` each bit may be one of these marks: `0b1X-Z`. Empty lines, and lines that begin with `#`, count for nothing.

use crate::circuit::Signal;
use crate::diagnostic::count;
use crate::logic::Word;

/// What a file of vectors says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Vectors {
    /// The file, as it is named.
    pub(super) file: String,
    /// The heading.
    pub(super) columns: Vec<Column>,
    /// All cells, row after row.
    pub(super) cells: Vec<Cell>,
    /// The line of each row.
    pub(super) lines: Vec<u32>,
}

/// A column.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Column {
    pub(super) signal: Signal,
    /// True for what is expected, false for a stimulus.
    pub(super) expected: bool,
}

/// What one cell says of the bits of a signal; a bit is in one of the masks at most.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Cell {
    pub(super) value: u64,
    /// `X`.
    pub(super) unknown: u64,
    /// `Z`.
    pub(super) off: u64,
    /// `-`.
    pub(super) any: u64,
}

impl Vectors {
    pub(super) fn rows(&self) -> usize {
        self.lines.len()
    }

    /// The cells of a row, in the order of the columns.
    pub(super) fn row(&self, row: usize) -> &[Cell] {
        let width = self.columns.len();
        &self.cells[row * width..(row + 1) * width]
    }

    /// `adder.csv:17`.
    pub(super) fn place(&self, row: usize) -> String {
        format!("{}:{}", self.file, self.lines[row])
    }
}

impl Cell {
    /// As it is written, for so many bits.
    pub(super) fn text(self, width: u32) -> String {
        let mask = Word::mask(width);
        match self {
            Cell { unknown, .. } if unknown == mask => "X".to_owned(),
            Cell { off, .. } if off == mask => "Z".to_owned(),
            Cell { any, .. } if any == mask => "-".to_owned(),
            Cell { unknown: 0, off: 0, any: 0, value } if width == 1 => value.to_string(),
            Cell { unknown: 0, off: 0, any: 0, value } => {
                let digits = width.div_ceil(4) as usize;
                format!("0x{value:0digits$X}")
            }
            cell => {
                let bits = (0..width).rev().map(|bit| match () {
                    () if cell.unknown >> bit & 1 == 1 => 'X',
                    () if cell.off >> bit & 1 == 1 => 'Z',
                    () if cell.any >> bit & 1 == 1 => '-',
                    () if cell.value >> bit & 1 == 1 => '1',
                    () => '0',
                });
                format!("0b{}", bits.collect::<String>())
            }
        }
    }

    /// Reads a cell for so many bits.
    pub(super) fn read(text: &str, width: u32) -> Result<Cell, String> {
        let mask = Word::mask(width);
        let cell = Cell::default();
        match text {
            "X" => return Ok(Cell { unknown: mask, ..cell }),
            "Z" => return Ok(Cell { off: mask, ..cell }),
            "-" => return Ok(Cell { any: mask, ..cell }),
            "" => return Err("this cell is empty: write `-` for what does not matter".to_owned()),
            _ => {}
        }
        if let Some(bits) = text.strip_prefix("0b") {
            return Cell::bits(bits, width).ok_or_else(|| unlike(text));
        }
        let (negative, digits) = text.strip_prefix('-').map_or((false, text), |rest| (true, rest));
        let value = match digits.strip_prefix("0x") {
            Some(hex) if hex.bytes().all(|byte| byte.is_ascii_hexdigit()) => u64::from_str_radix(hex, 16).ok(),
            Some(_) => None,
            None if digits.bytes().all(|byte| byte.is_ascii_digit()) => digits.parse().ok(),
            None => None,
        };
        let value = value.ok_or_else(|| unlike(text))?;
        let fits = if negative { value <= 1 << (width - 1) } else { value <= mask };
        if !fits {
            return Err(format!("{text} does not fit {}: the largest is {mask}", count(width as usize, "bit")));
        }
        Ok(Cell { value: if negative { value.wrapping_neg() & mask } else { value }, ..cell })
    }

    /// The bits behind `0b`; fewer than the signal has have zeros before them.
    fn bits(bits: &str, width: u32) -> Option<Cell> {
        if bits.is_empty() || bits.len() > width as usize {
            return None;
        }
        let mut cell = Cell::default();
        for mark in bits.chars() {
            for plane in [&mut cell.value, &mut cell.unknown, &mut cell.off, &mut cell.any] {
                *plane <<= 1;
            }
            match mark {
                '0' => {}
                '1' => cell.value |= 1,
                'X' => cell.unknown |= 1,
                'Z' => cell.off |= 1,
                '-' => cell.any |= 1,
                _ => return None,
            }
        }
        Some(cell)
    }
}

fn unlike(text: &str) -> String {
    let shown: String = text.chars().take(20).collect();
    format!("`{shown}` is not a value of this signal: write a number, bits as in `0b01X-`, `X`, `Z` or `-`")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_are_read_and_written() {
        let cell = |value, unknown, off, any| Ok(Cell { value, unknown, off, any });
        assert_eq!(Cell::read("5", 4), cell(5, 0, 0, 0));
        assert_eq!(Cell::read("-1", 4), cell(15, 0, 0, 0));
        assert_eq!(Cell::read("-8", 4), cell(8, 0, 0, 0));
        assert_eq!(Cell::read("0x2A", 8), cell(42, 0, 0, 0));
        assert_eq!(Cell::read("0b1X-Z", 4), cell(8, 4, 1, 2));
        assert_eq!(Cell::read("X", 64), cell(0, u64::MAX, 0, 0));
        for wrong in ["16", "-9", "0x", "0b", "0b11111", "0b2", "1.5", "", "x", "0x1G", "18446744073709551616"] {
            assert!(Cell::read(wrong, 4).is_err(), "{wrong}");
        }
        for (text, width) in [("X", 3), ("Z", 1), ("-", 8), ("1", 1), ("0x0A", 8), ("0b1X-Z", 4)] {
            assert_eq!(Cell::read(text, width).map(|cell| cell.text(width)), Ok(text.to_owned()));
        }
    }
}
