//! What the text formats share: one record a line, hexadecimal digits, an end record, and bytes that may arrive in any
//! order but only once.

use super::bytes::ADDRESS_END;
use super::{Image, ImageFault};

/// Reading stops after so many faults.
const MOST_FAULTS: usize = 20;

/// One line of a file, without the blanks at its end.
#[derive(Clone, Copy)]
pub(super) struct Line<'a> {
    number: usize,
    pub(super) bytes: &'a [u8],
}

impl Line<'_> {
    /// A fault at a byte of the line, counted from 0.
    pub(super) fn fault(&self, byte: usize, message: impl Into<String>, help: impl Into<String>) -> ImageFault {
        // No character takes more than 4 bytes. Control characters would disturb a terminal.
        let start = &self.bytes[..self.bytes.len().min(4 * 100)];
        let text = String::from_utf8_lossy(start);
        let visible = |c: char| if c.is_control() { '.' } else { c };
        ImageFault {
            line: self.number,
            column: byte + 1,
            message: message.into(),
            help: help.into(),
            text: text.chars().take(100).map(visible).collect(),
        }
    }

    /// The bytes that the digits from a place in the line on stand for.
    pub(super) fn decode(&self, from: usize) -> Result<Vec<u8>, ImageFault> {
        let mut bytes = Vec::with_capacity(self.bytes.len() / 2);
        for (at, pair) in (from..).step_by(2).zip(self.bytes[from..].chunks(2)) {
            let mut byte = 0;
            for (at, &character) in (at..).zip(pair) {
                let digit = char::from(character).to_digit(16).ok_or_else(|| {
                    let found = match character {
                        b'!'..=b'~' => format!("`{}`", char::from(character)),
                        _ => format!("the byte {character:02X}"),
                    };
                    let message = format!("{found} is not a hexadecimal digit");
                    let help = "a record holds only the digits 0 to 9 and A to F after its mark";
                    self.fault(at, message, help)
                })?;
                byte = byte << 4 | digit as u8;
            }
            if pair.len() == 1 {
                let message = "the record ends in the middle of a byte";
                let help = "two digits make a byte, and one is missing; was the line cut?";
                return Err(self.fault(self.bytes.len(), message, help));
            }
            bytes.push(byte);
        }
        Ok(bytes)
    }

    /// Checks that the record has as many bytes as it says. `count` stands in the line at byte `at`.
    pub(super) fn check_count(&self, at: usize, what: &str, count: usize, found: usize) -> Result<(), ImageFault> {
        if count == found {
            return Ok(());
        }
        let message = format!("the record says {count} {what} but holds {found}");
        let help = "was the line cut, or were digits added? If its bytes are right, correct the count and the checksum";
        Err(self.fault(at, message, help))
    }

    /// Checks the checksum, which ends the line.
    pub(super) fn check_sum(&self, found: u8, computed: u8) -> Result<(), ImageFault> {
        if found == computed {
            return Ok(());
        }
        let message = format!("the checksum is {found:02X}, but the record's bytes give {computed:02X}");
        let help = format!(
            "a digit of this line is wrong: write the file again, or, if its bytes are right, write {computed:02X}"
        );
        Err(self.fault(self.bytes.len() - 2, message, help))
    }
}

/// Bytes from one record.
struct Run<'a> {
    address: u64,
    bytes: Vec<u8>,
    line: Line<'a>,
    /// Where the digits of the first byte stand in the line.
    at: usize,
}

/// All bytes of a file, each with the place that it came from.
#[derive(Default)]
pub(super) struct Runs<'a> {
    runs: Vec<Run<'a>>,
}

impl<'a> Runs<'a> {
    /// Adds bytes, if any, whose digits start at byte `at` of the line. Fails when they pass the highest address.
    pub(super) fn add(&mut self, address: u64, bytes: &[u8], line: Line<'a>, at: usize) -> Result<(), ImageFault> {
        if address + bytes.len() as u64 > ADDRESS_END {
            let message = "the record's bytes run past the highest address, FFFFFFFF";
            let help = "addresses have 32 bits; check the address of this record and the base address before it";
            return Err(line.fault(at, message, help));
        }
        if !bytes.is_empty() {
            self.runs.push(Run { address, bytes: bytes.to_vec(), line, at });
        }
        Ok(())
    }

    /// Joins the bytes into an image. Adds a fault for each record that gives an address another byte.
    fn join(mut self, faults: &mut Vec<ImageFault>) -> Image {
        self.runs.sort_by_key(|run| run.address);
        let mut image = Image::new();
        // The segment that grows, and which run gave each of its bytes.
        let mut start = 0;
        let mut segment = Vec::new();
        let mut givers: Vec<&Run> = Vec::new();
        for run in &self.runs {
            if run.address > start + segment.len() as u64 {
                image.add_segment(start, std::mem::take(&mut segment));
                givers.clear();
            }
            if segment.is_empty() {
                start = run.address;
            }
            for (at, &byte) in ((run.address - start) as usize..).zip(&run.bytes) {
                match segment.get(at) {
                    None => {
                        segment.push(byte);
                        givers.push(run);
                    }
                    Some(&other) if other != byte => {
                        faults.push(twice(start + at as u64, (run, byte), (givers[at], other)));
                        break;
                    }
                    Some(_) => {}
                }
            }
            if faults.len() >= MOST_FAULTS {
                break;
            }
        }
        image.add_segment(start, segment);
        image
    }
}

/// The fault of two different bytes at one address; it stands in the later line.
fn twice(address: u64, one: (&Run, u8), other: (&Run, u8)) -> ImageFault {
    let ((earlier, first), (later, second)) =
        if one.0.line.number < other.0.line.number { (one, other) } else { (other, one) };
    let message =
        format!("address {address:04X} is given twice: {second:02X} here, {first:02X} in line {}", earlier.line.number);
    let at = later.at + 2 * (address - later.address) as usize;
    let help = "one address holds one byte: delete the record that is wrong, or move what overlaps";
    later.line.fault(at, message, help)
}

/// What sets one text format apart from the other.
pub(super) trait Dialect {
    /// A usual end record.
    const END: &'static str;

    /// True when a line is meant as the end record, right or wrong.
    fn is_end(line: &Line) -> bool;

    /// Reads one record.
    fn record<'a>(&mut self, line: Line<'a>, runs: &mut Runs<'a>) -> Result<(), ImageFault>;
}

/// Reads a file in a format.
pub(super) fn read<D: Dialect>(mut dialect: D, name: &str, bytes: &[u8]) -> Result<Image, Vec<ImageFault>> {
    let mut faults = Vec::new();
    let mut runs = Runs::default();
    let mut last = Line { number: 1, bytes: b"" };
    let mut ended = false;
    for (number, line) in (1..).zip(bytes.split(|&byte| byte == b'\n')) {
        let line = Line { number, bytes: line.trim_ascii_end() };
        if line.bytes.is_empty() {
            continue;
        }
        if ended {
            let message = format!("there is more after the end record in line {}", last.number);
            let help = "nothing may follow the end record; were two files joined? Delete this line and all after it, or the end record";
            faults.push(line.fault(0, message, help));
            break;
        }
        match dialect.record(line, &mut runs) {
            Ok(()) => ended = D::is_end(&line),
            Err(fault) => faults.push(fault),
        }
        if faults.len() >= MOST_FAULTS {
            return Err(faults);
        }
        last = line;
    }
    // A damaged end record is one fault, not two.
    if !D::is_end(&last) {
        let help = format!(
            "the end of {name} seems to be lost: write the file again, or, if it is whole, add the line {}",
            D::END
        );
        faults.push(last.fault(last.bytes.len(), "the end record is missing", help));
    }
    let image = runs.join(&mut faults);
    if faults.is_empty() {
        return Ok(image);
    }
    faults.sort_by_key(|fault| (fault.line, fault.column));
    faults.truncate(MOST_FAULTS);
    Err(faults)
}
