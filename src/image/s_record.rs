//! Motorola S-records: `S` and a type, then count, address, data and checksum in hexadecimal.
//!
//! After the appendix on the S-record output format of the "M68000 Family Programmer's Reference Manual".

use super::records::{Dialect, Line, Runs};
use super::{Image, ImageFault};
use std::fmt::Write;

/// Where the count and the address stand in a line, in bytes.
const COUNT: usize = 2;
const ADDRESS: usize = 4;

pub(super) fn read(name: &str, bytes: &[u8]) -> Result<Image, Vec<ImageFault>> {
    super::records::read(Counter { data_records: 0 }, name, bytes)
}

/// What a count record is held against.
struct Counter {
    data_records: u64,
}

impl Dialect for Counter {
    const END: &'static str = "S9030000FC";

    fn is_end(line: &Line) -> bool {
        matches!(line.bytes, [b'S', b'7'..=b'9', ..])
    }

    fn record<'a>(&mut self, line: Line<'a>, runs: &mut Runs<'a>) -> Result<(), ImageFault> {
        if line.bytes[0] != b'S' {
            let help =
                "every record of an S-record file starts with `S`; an Intel HEX file ends in .hex, a raw image in .bin";
            return Err(line.fault(0, "the line does not start with `S`", help));
        }
        let kind = line.bytes.get(1).copied().unwrap_or(b' ');
        let width = match kind {
            b'0' | b'1' | b'5' | b'9' => 2,
            b'2' | b'6' | b'8' => 3,
            b'3' | b'7' => 4,
            _ => {
                let message = match kind {
                    b'!'..=b'~' => format!("there is no record type S{}", char::from(kind)),
                    _ => "the record has no type".to_owned(),
                };
                let help = "the types are S0 (header), S1 to S3 (data), S5 and S6 (counts), S7 to S9 (end)";
                return Err(line.fault(1, message, help));
            }
        };
        let is_data = matches!(kind, b'1'..=b'3');
        // A data record with a fault counts, too: the fault is told once.
        self.data_records += u64::from(is_data);

        let bytes = line.decode(COUNT)?;
        let kind = char::from(kind);
        if bytes.len() < width + 2 {
            let message = format!("the record is too short: {} bytes", bytes.len());
            let help = format!(
                "the shortest record S{kind} has {} bytes: count, address ({width}) and checksum; was the line cut?",
                width + 2
            );
            return Err(line.fault(line.bytes.len(), message, help));
        }
        let (count, checksum) = (usize::from(bytes[0]), bytes[bytes.len() - 1]);
        line.check_count(COUNT, "bytes after the count", count, bytes.len() - 1)?;
        line.check_sum(checksum, checksum_of(&bytes[..bytes.len() - 1]))?;

        let (address, data) = bytes[1..bytes.len() - 1].split_at(width);
        let address = address.iter().fold(0, |number, &byte| number << 8 | u64::from(byte));
        match kind {
            '0' => {}
            '1'..='3' => runs.add(address, data, line, ADDRESS + 2 * width)?,
            _ if !data.is_empty() => {
                let message = format!("a record S{kind} holds no data, this one {} bytes", data.len());
                let help = "was the type meant to be S1, S2 or S3 (data)? Write the file again";
                return Err(line.fault(ADDRESS + 2 * width, message, help));
            }
            '5' | '6' if address != self.data_records => {
                let message = format!(
                    "the file should have {address} data records before this line but has {}",
                    self.data_records
                );
                let help = "lines were lost or added: write the file again";
                return Err(line.fault(ADDRESS, message, help));
            }
            _ => {}
        }
        Ok(())
    }
}

/// The complement of the sum of a record.
fn checksum_of(bytes: &[u8]) -> u8 {
    !bytes.iter().fold(0_u8, |sum, byte| sum.wrapping_add(*byte))
}

/// The image as an S-record file, with rows of 16 bytes, the shortest addresses that reach all of it, and a count.
pub fn write_s_record(image: &Image) -> String {
    let (data_kind, end_kind, width) = match image.highest().unwrap_or(0) {
        0..=0xFFFF => ('1', '9', 2),
        0x1_0000..=0xFF_FFFF => ('2', '8', 3),
        _ => ('3', '7', 4),
    };
    let mut text = String::new();
    write_record(&mut text, '0', 0, 2, &[]);
    let mut records = 0;
    for (address, data) in image.rows() {
        write_record(&mut text, data_kind, address, width, data);
        records += 1;
    }
    match records {
        0..=0xFFFF => write_record(&mut text, '5', records, 2, &[]),
        0x1_0000..=0xFF_FFFF => write_record(&mut text, '6', records, 3, &[]),
        // No count record can hold more.
        _ => {}
    }
    write_record(&mut text, end_kind, 0, width, &[]);
    text
}

fn write_record(text: &mut String, kind: char, address: u64, width: usize, data: &[u8]) {
    let mut bytes = vec![(width + data.len() + 1) as u8];
    bytes.extend(&address.to_be_bytes()[8 - width..]);
    bytes.extend(data);
    bytes.push(checksum_of(&bytes));
    text.push('S');
    text.push(kind);
    for byte in bytes {
        // Writing into a string cannot fail.
        let _ = write!(text, "{byte:02X}");
    }
    text.push('\n');
}

#[cfg(test)]
mod tests {
    use super::*;

    // The example of the S-record appendix of the M68000 Family Programmer's Reference Manual, from memory; its
    // checksums confirm it.
    const EXAMPLE: &str = "S00600004844521B\n\
                           S1130000285F245F2212226A000424290008237C2A\n\
                           S11300100002000800082629001853812341001813\n\
                           S113002041E900084E42234300182342000824A952\n\
                           S107003000144ED492\n\
                           S9030000FC\n";

    fn faults(text: &str) -> Vec<(usize, usize, String)> {
        read("rom.s19", text.as_bytes())
            .expect_err("a fault")
            .into_iter()
            .map(|fault| (fault.line, fault.column, fault.message))
            .collect()
    }

    /// A record with its right count and checksum.
    fn record(kind: char, address: u64, width: usize, data: &[u8]) -> String {
        let mut text = String::new();
        write_record(&mut text, kind, address, width, data);
        text
    }

    #[test]
    fn reads_the_published_example() {
        let image = read("rom.s19", EXAMPLE.as_bytes()).expect("no fault");
        let segments: Vec<_> = image.segments().collect();
        assert_eq!((segments.len(), segments[0].0, image.len()), (1, 0, 0x34));
        assert_eq!((image.get(0), image.get(0x33)), (Some(0x28), Some(0xD4)));
        // Written again it differs only in the header's text and in having a count.
        let expected = EXAMPLE.replace("S00600004844521B", "S0030000FC").replace("S9", "S5030004F8\nS9");
        assert_eq!(write_s_record(&image), expected);
    }

    #[test]
    fn addresses_have_two_three_or_four_bytes() {
        let text = record('1', 0x1234, 2, &[1])
            + &record('2', 0x12_3456, 3, &[2])
            + &record('3', 0x1234_5678, 4, &[3])
            + &record('3', 0x1234_5679, 4, &[])
            + &record('6', 4, 3, &[])
            + &record('7', 0, 4, &[]);
        let image = read("rom.s19", text.as_bytes()).expect("no fault");
        let got = [0x1234, 0x12_3456, 0x1234_5678].map(|address| image.get(address));
        assert_eq!((got, image.len()), ([Some(1), Some(2), Some(3)], 3));
        for (highest, kinds) in [(0xFFFF, "159"), (0x1_0000, "258"), (0x100_0000, "357")] {
            let mut image = Image::new();
            image.insert(highest, 1);
            let text = write_s_record(&image);
            let written: String = text.lines().skip(1).map(|line| &line[1..2]).collect();
            assert_eq!(written, kinds);
        }
    }

    #[test]
    fn each_fault_is_told_with_its_place() {
        let long = |text: &str| text.to_owned();
        for (line, column, message) in [
            (long(":00"), 1, "the line does not start with `S`"),
            (long("S"), 2, "the record has no type"),
            (long("S4030000FC"), 2, "there is no record type S4"),
            (long("S107003O00144ED492"), 8, "`O` is not a hexadecimal digit"),
            (long("S107003000144ED49"), 18, "the record ends in the middle of a byte"),
            (long("S107"), 5, "the record is too short: 1 bytes"),
            (long("S1070030"), 9, "the record is too short: 3 bytes"),
            (long("S108003000144ED491"), 3, "the record says 8 bytes after the count but holds 7"),
            (long("S107003000144ED493"), 17, "the checksum is 93, but the record's bytes give 92"),
            (record('5', 0, 2, &[1]), 9, "a record S5 holds no data, this one 1 bytes"),
            (record('5', 3, 2, &[]), 5, "the file should have 3 data records before this line but has 0"),
            (record('3', 0xFFFF_FFFF, 4, &[1, 2]), 13, "the record's bytes run past the highest address, FFFFFFFF"),
        ] {
            let found = faults(&format!("{}\nS9030000FC\n", line.trim_end()));
            assert_eq!(found, [(1, column, message.to_owned())]);
        }
    }

    #[test]
    fn the_end_record_ends_the_file_and_may_be_damaged_itself() {
        assert_eq!(faults("S0030000FC\n"), [(1, 11, "the end record is missing".to_owned())]);
        assert_eq!(faults("S9030000FB\n").len(), 1);
        assert_eq!(
            faults("S9030000FC\n\nS0030000FC\n"),
            [(3, 1, "there is more after the end record in line 1".to_owned())]
        );
    }

    #[test]
    fn a_damaged_data_record_is_counted_and_told_once() {
        let text = EXAMPLE.replace("ED492", "ED493").replace("S9", "S5030004F8\nS9");
        assert_eq!(faults(&text).len(), 1);
    }
}
