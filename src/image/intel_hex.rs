//! Intel HEX: a colon, then count, address, type, data and checksum in hexadecimal.
//!
//! After "Hexadecimal Object File Format Specification", Intel, revision A, 1988.

use super::records::{Dialect, Line, Runs};
use super::{Image, ImageFault};
use std::fmt::Write;

/// Where the type and the data stand in a line, in bytes.
const TYPE: usize = 7;
const DATA: usize = 9;

/// What the addresses of data records count from.
enum Base {
    /// Type 04: addresses run on past 64 KiB. Files start so, at 0.
    Linear(u64),
    /// Type 02: addresses start anew after 64 KiB.
    Segment(u64),
}

pub(super) fn read(name: &str, bytes: &[u8]) -> Result<Image, Vec<ImageFault>> {
    super::records::read(Base::Linear(0), name, bytes)
}

impl Dialect for Base {
    const END: &'static str = ":00000001FF";

    fn is_end(line: &Line) -> bool {
        line.bytes.get(TYPE..DATA) == Some(b"01")
    }

    fn record<'a>(&mut self, line: Line<'a>, runs: &mut Runs<'a>) -> Result<(), ImageFault> {
        if line.bytes[0] != b':' {
            let help =
                "every record of an Intel HEX file starts with `:`; an S-record file ends in .s19, a raw image in .bin";
            return Err(line.fault(0, "the line does not start with `:`", help));
        }
        let bytes = line.decode(1)?;
        let [count, high, low, kind, rest @ ..] = bytes.as_slice() else {
            return Err(short(&line, bytes.len()));
        };
        let Some((&checksum, data)) = rest.split_last() else {
            return Err(short(&line, bytes.len()));
        };
        line.check_count(1, "data bytes", usize::from(*count), data.len())?;
        line.check_sum(checksum, checksum_of(&bytes[..bytes.len() - 1]))?;

        let number = data.iter().take(4).fold(0, |number, &byte| number << 8 | u64::from(byte));
        let offset = u64::from(u16::from_be_bytes([*high, *low]));
        match (kind, data.len()) {
            (0, _) => match *self {
                Base::Linear(base) => runs.add(base + offset, data, line, DATA)?,
                Base::Segment(base) => {
                    let room = 0x1_0000 - offset as usize;
                    let (before, after) = data.split_at(room.min(data.len()));
                    runs.add(base + offset, before, line, DATA)?;
                    runs.add(base, after, line, DATA + 2 * room)?;
                }
            },
            (1, 0) => {}
            (2, 2) => *self = Base::Segment(number << 4),
            (4, 2) => *self = Base::Linear(number << 16),
            // Where a processor starts is no matter of the memory.
            (3 | 5, 4) => {}
            (1..=5, found) => {
                let needed = [0, 0, 2, 4, 2, 4][usize::from(*kind)];
                let message = format!("a record of type {kind:02} holds {needed} data bytes, this one {found}");
                let help = "was the type meant to be 00 (data)? Write the file again";
                return Err(line.fault(1, message, help));
            }
            _ => {
                let message = format!("there is no record type {kind:02X}");
                let help = "the types are 00 (data), 01 (end), 02 and 04 (base addresses), 03 and 05 (start addresses)";
                return Err(line.fault(TYPE, message, help));
            }
        }
        Ok(())
    }
}

fn short(line: &Line, found: usize) -> ImageFault {
    let message = format!("the record is too short: {found} bytes");
    let help = "the shortest record has 5 bytes: count, address (2), type and checksum; was the line cut?";
    line.fault(line.bytes.len(), message, help)
}

/// The byte that makes the sum of a record zero.
fn checksum_of(bytes: &[u8]) -> u8 {
    bytes.iter().fold(0_u8, |sum, byte| sum.wrapping_add(*byte)).wrapping_neg()
}

/// The image as an Intel HEX file, with rows of 16 bytes and extended linear addresses.
pub fn write_intel_hex(image: &Image) -> String {
    let mut text = String::new();
    let mut upper = 0;
    for (address, data) in image.rows() {
        let address = address as u32;
        if address >> 16 != upper {
            upper = address >> 16;
            write_record(&mut text, 0, 4, &(upper as u16).to_be_bytes());
        }
        write_record(&mut text, address as u16, 0, data);
    }
    write_record(&mut text, 0, 1, &[]);
    text
}

fn write_record(text: &mut String, address: u16, kind: u8, data: &[u8]) {
    let [high, low] = address.to_be_bytes();
    let mut bytes = vec![data.len() as u8, high, low, kind];
    bytes.extend(data);
    bytes.push(checksum_of(&bytes));
    text.push(':');
    for byte in bytes {
        // Writing into a string cannot fail.
        let _ = write!(text, "{byte:02X}");
    }
    text.push('\n');
}

#[cfg(test)]
mod tests {
    use super::*;

    fn faults(text: &str) -> Vec<(usize, usize, String)> {
        read("rom.hex", text.as_bytes())
            .expect_err("a fault")
            .into_iter()
            .map(|fault| (fault.line, fault.column, fault.message))
            .collect()
    }

    /// A record with its right checksum.
    fn record(address: u16, kind: u8, data: &[u8]) -> String {
        let mut text = String::new();
        write_record(&mut text, address, kind, data);
        text
    }

    const END: &str = ":00000001FF\n";

    #[test]
    fn reads_well_known_records() {
        // Widely published examples of the format, from memory; their checksums confirm them.
        let text = ":10010000214601360121470136007EFE09D2190140\n\
                    :100110002146017E17C20001FF5F16002148011928\r\n\
                    \n\
                    :020000021200EA\n\
                    :0300300002337A1E\n\
                    :02000004FFFFFC\n\
                    :0300300002337a1e  \n\
                    :0400000300003800C1\n\
                    :04000005000000CD2A\n\
                    :00000001FF\n\n";
        let image = read("rom.hex", text.as_bytes()).expect("no fault");
        let places: Vec<_> = image.segments().map(|(start, bytes)| (start, bytes.len())).collect();
        // Type 02 counts from 1200h * 16, type 04 from FFFFh * 65536.
        assert_eq!(places, [(0x100, 32), (0x1_2030, 3), (0xFFFF_0030, 3)]);
        assert_eq!(image.get(0x100), Some(0x21));
        assert_eq!(image.get(0x11F), Some(0x19));
        assert_eq!(image.get(0x1_2031), Some(0x33));
    }

    #[test]
    fn an_independent_reader_reads_what_is_written() {
        let mut image = Image::new();
        for address in (0xFFF5..0x1_0025).chain([0, 0xFFFF_FFFF]) {
            image.insert(address, (address % 251) as u8);
        }
        let text = write_intel_hex(&image);
        let (mut base, mut found, mut ends) = (0, Image::new(), 0);
        for record in ihex::Reader::new(&text) {
            match record.expect("a right record") {
                ihex::Record::Data { offset, value } => {
                    for (address, byte) in (base + u64::from(offset)..).zip(value) {
                        found.insert(address, byte);
                    }
                }
                ihex::Record::ExtendedLinearAddress(upper) => base = u64::from(upper) << 16,
                ihex::Record::EndOfFile => ends += 1,
                other => panic!("unexpected {other:?}"),
            }
        }
        assert_eq!((found, ends), (image, 1));
    }

    #[test]
    fn data_in_a_segment_wrap_at_64_kib_and_linear_data_do_not() {
        let segment = record(0, 2, &[0x10, 0x00]) + &record(0xFFFF, 0, &[1, 2]) + END;
        let image = read("rom.hex", segment.as_bytes()).expect("no fault");
        assert_eq!((image.get(0x1_FFFF), image.get(0x1_0000)), (Some(1), Some(2)));
        let linear = record(0xFFFF, 0, &[1, 2]) + END;
        let image = read("rom.hex", linear.as_bytes()).expect("no fault");
        assert_eq!((image.get(0xFFFF), image.get(0x1_0000)), (Some(1), Some(2)));
    }

    #[test]
    fn each_fault_is_told_with_its_place() {
        let long = |text: &str| text.to_owned();
        for (line, column, message) in [
            (long("S0"), 1, "the line does not start with `:`"),
            (long(":0300G00002337A1E"), 6, "`G` is not a hexadecimal digit"),
            (long(":0300\u{e9}00002337A1E"), 6, "the byte C3 is not a hexadecimal digit"),
            (long(":0300300002337A1"), 17, "the record ends in the middle of a byte"),
            (long(":"), 2, "the record is too short: 0 bytes"),
            (long(":00000001"), 10, "the record is too short: 4 bytes"),
            (long(":0400300002337A1D"), 2, "the record says 4 data bytes but holds 3"),
            (long(":0300300002337A1D"), 16, "the checksum is 1D, but the record's bytes give 1E"),
            (record(0, 6, &[]), 8, "there is no record type 06"),
            (record(0, 4, &[1]), 2, "a record of type 04 holds 2 data bytes, this one 1"),
            (
                record(0, 4, &[0xFF, 0xFF]) + &record(0xFFFF, 0, &[1, 2]),
                10,
                "the record's bytes run past the highest address, FFFFFFFF",
            ),
        ] {
            let at = line.trim_end().lines().count();
            let found = faults(&format!("{}\n{END}", line.trim_end()));
            assert_eq!(found, [(at, column, message.to_owned())]);
        }
    }

    #[test]
    fn the_end_record_ends_the_file() {
        assert_eq!(faults(""), [(1, 1, "the end record is missing".to_owned())]);
        let data = record(0, 0, &[1]);
        assert_eq!(faults(&data), [(1, 14, "the end record is missing".to_owned())]);
        assert_eq!(
            faults(&format!("{END}{data}{data}")),
            [(2, 1, "there is more after the end record in line 1".to_owned())]
        );
        // A damaged end record is one fault, not two; a damaged type does not end the file.
        assert_eq!(faults(":00000001FE").len(), 1);
        assert_eq!(faults(&format!(":0100000101FE\n{data}{END}")).len(), 1);
    }

    #[test]
    fn an_address_is_given_one_byte() {
        let same = record(4, 0, &[1, 2, 3]) + &record(3, 0, &[0, 1, 2]) + END;
        let image = read("rom.hex", same.as_bytes()).expect("the same bytes twice");
        assert_eq!(image.segments().collect::<Vec<_>>(), [(3, &[0, 1, 2, 3][..])]);
        let different = record(4, 0, &[1, 2, 3]) + &record(3, 0, &[0, 1, 9, 9]) + END;
        assert_eq!(faults(&different), [(2, 14, "address 0005 is given twice: 09 here, 02 in line 1".to_owned())]);
    }

    #[test]
    fn all_faults_are_told_at_once_up_to_twenty() {
        let text = record(0, 0, &[1]) + ":zz\n" + &record(0, 0, &[2]) + ":0000000100\n";
        let lines: Vec<_> = faults(&text).into_iter().map(|(line, ..)| line).collect();
        assert_eq!(lines, [2, 3, 4]);
        assert_eq!(faults(&":\n".repeat(50)).len(), 20);
        let conflicts: String = (0..50).map(|byte| record(0, 0, &[byte])).collect();
        assert_eq!(faults(&(conflicts + END)).len(), 20);
        let long = ":".to_owned() + &"\u{1b}".repeat(500);
        let fault = &read("rom.hex", long.as_bytes()).expect_err("no digits")[0];
        assert_eq!(fault.text, format!(":{}", ".".repeat(99)));
    }
}
