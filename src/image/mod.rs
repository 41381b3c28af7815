//! ROM images: what a memory is filled with, and the files that images come in.
//!
//! An [`Image`] says which byte stands at which address. [`read`] makes one from a file and reports everything that is
//! wrong with the file at once, with line and column, because a damaged image is a bench problem like any other.

mod bytes;
mod fault;
mod intel_hex;
mod raw;
mod records;
mod s_record;

pub use bytes::Image;
pub use fault::ImageFault;
pub use intel_hex::write_intel_hex;
pub use s_record::write_s_record;

/// The largest file that is read, in bytes.
pub const LARGEST_FILE: usize = 16 << 20;

/// The kinds of image files.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Format {
    /// Intel HEX, record types 00 to 05.
    IntelHex,
    /// Motorola S-records, types S0 to S9.
    SRecord,
    /// The bytes themselves, from address 0 on.
    Raw,
}

impl Format {
    /// The format that a file most likely has: by the ending of its path, else by how it begins.
    pub fn guess(path: &str, bytes: &[u8]) -> Format {
        let ending = path.rsplit_once('.').map_or("", |(_, ending)| ending);
        match ending.to_ascii_lowercase().as_str() {
            "hex" | "ihx" => Format::IntelHex,
            "s19" | "srec" | "mot" => Format::SRecord,
            "bin" => Format::Raw,
            _ => match bytes {
                [b':', ..] => Format::IntelHex,
                [b'S', b'0'..=b'9', ..] => Format::SRecord,
                _ => Format::Raw,
            },
        }
    }
}

/// Reads an image file; its name is for the messages.
///
/// # Errors
/// All faults of the file in order of their lines, 20 at most.
pub fn read(format: Format, name: &str, bytes: &[u8]) -> Result<Image, Vec<ImageFault>> {
    if bytes.len() > LARGEST_FILE {
        return Err(vec![ImageFault {
            line: 1,
            column: 1,
            message: format!("the file is too large: {} bytes", bytes.len()),
            help: format!("an image file holds {LARGEST_FILE} bytes at most; check that {name} is an image of a ROM"),
            text: String::new(),
        }]);
    }
    match format {
        Format::IntelHex => intel_hex::read(name, bytes),
        Format::SRecord => s_record::read(name, bytes),
        Format::Raw => Ok(raw::read(bytes)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::collections::BTreeMap;

    fn segments(image: &Image) -> Vec<(u64, &[u8])> {
        image.segments().collect()
    }

    /// Bytes at addresses that are likely to touch and to lie beside the 64 KiB and 16 MiB limits.
    fn contents() -> impl Strategy<Value = BTreeMap<u64, u8>> {
        let base = prop_oneof![Just(0), Just(0xFFF0), Just(0xFF_FFF0), Just(0xFFFF_FF00_u64)];
        let address = (base, 0..40_u64).prop_map(|(base, offset)| base + offset);
        prop::collection::btree_map(address, any::<u8>(), 0..100)
    }

    fn image(contents: &BTreeMap<u64, u8>) -> Image {
        let mut image = Image::new();
        for (&address, &byte) in contents {
            assert!(image.insert(address, byte));
        }
        image
    }

    #[test]
    fn bytes_that_touch_join_into_segments() {
        let mut image = Image::new();
        assert_eq!((image.highest(), image.is_empty()), (None, true));
        for (address, byte) in [(5, 50), (3, 30), (9, 90), (4, 40), (10, 100), (4, 41)] {
            assert!(image.insert(address, byte));
        }
        assert_eq!(segments(&image), [(3, &[30, 41, 50][..]), (9, &[90, 100])]);
        assert_eq!((image.len(), image.highest()), (5, Some(10)));
        let got = [2, 3, 5, 6, 9, 11, u64::MAX].map(|address| image.get(address));
        assert_eq!(got, [None, Some(30), Some(50), None, Some(90), None, None]);
        assert!(!image.insert(1 << 32, 0));
        assert!(image.insert(0xFFFF_FFFF, 1));
        assert_eq!(image.highest(), Some(0xFFFF_FFFF));
    }

    #[test]
    fn formats_are_guessed_by_ending_then_by_beginning() {
        for (path, bytes, format) in [
            ("a.hex", &b"S1"[..], Format::IntelHex),
            ("a.IHX", b"", Format::IntelHex),
            ("a.s19", b"", Format::SRecord),
            ("a.b.srec", b":", Format::SRecord),
            ("a.mot", b"", Format::SRecord),
            ("a.bin", b":00", Format::Raw),
            ("a.rom", b":00", Format::IntelHex),
            ("hex", b"S0", Format::SRecord),
            ("a", b"SO", Format::Raw),
            ("a", b"", Format::Raw),
        ] {
            assert_eq!(Format::guess(path, bytes), format, "{path}");
        }
    }

    #[test]
    fn raw_files_start_at_zero_and_have_a_limit() {
        let image = read(Format::Raw, "a.bin", &[7, 8]).expect("bytes");
        assert_eq!(segments(&image), [(0, &[7, 8][..])]);
        assert_eq!(read(Format::Raw, "a.bin", &[]), Ok(Image::new()));
        let large = vec![0; LARGEST_FILE + 1];
        assert!(read(Format::Raw, "a.bin", &large[1..]).is_ok());
        let faults = read(Format::Raw, "a.bin", &large).expect_err("too large");
        assert_eq!(faults[0].message, "the file is too large: 16777217 bytes");
    }

    #[test]
    fn faults_become_diagnostics_that_start_with_the_place() {
        let faults = read(Format::IntelHex, "rom.hex", b":00000001FE\n").expect_err("checksum");
        let diagnostic = faults[0].to_diagnostic("rom.hex");
        assert_eq!(diagnostic.code, "image");
        assert_eq!(diagnostic.message, "rom.hex:1:10: the checksum is FE, but the record's bytes give FF");
        assert_eq!(diagnostic.notes, ["the line reads :00000001FE"]);
        assert!(diagnostic.help.is_some() && diagnostic.labels.is_empty());
    }

    proptest! {
        #[test]
        fn what_is_written_reads_back(contents in contents()) {
            let image = image(&contents);
            prop_assert_eq!(image.len(), contents.len());
            let bytes = image.segments().flat_map(|(start, bytes)| (start..).zip(bytes.iter().copied()));
            prop_assert!(bytes.eq(contents));
            let hex = write_intel_hex(&image);
            prop_assert_eq!(read(Format::IntelHex, "", hex.as_bytes()), Ok(image.clone()));
            let s_records = write_s_record(&image);
            prop_assert_eq!(read(Format::SRecord, "", s_records.as_bytes()), Ok(image));
        }

        #[test]
        fn order_of_insertion_does_not_matter(contents in contents(), places in prop::collection::vec(0..100_usize, 100)) {
            let mut shuffled: Vec<_> = contents.iter().zip(places).collect();
            shuffled.sort_by_key(|&(_, place)| place);
            let mut other = Image::new();
            for ((&address, &byte), _) in shuffled {
                other.insert(address, byte);
            }
            prop_assert_eq!(other, image(&contents));
        }

        /// A checksum notices every change of a single digit.
        #[test]
        fn a_changed_digit_is_noticed(contents in contents(), place: prop::sample::Index, change in 1..16_u8) {
            let image = image(&contents);
            for (format, text) in [(Format::IntelHex, write_intel_hex(&image)), (Format::SRecord, write_s_record(&image))] {
                let mut bytes = text.into_bytes();
                // The digit after an `S` stands outside the sum.
                let digits: Vec<_> = (1..bytes.len())
                    .filter(|&at| bytes[at].is_ascii_hexdigit() && bytes[at - 1] != b'S')
                    .collect();
                let at = digits[place.index(digits.len())];
                let digit = (bytes[at] as char).to_digit(16).expect("a digit") as u8;
                bytes[at] = b"0123456789ABCDEF"[usize::from(digit ^ change)];
                prop_assert!(read(format, "", &bytes).is_err());
            }
        }

        #[test]
        fn any_bytes_are_read_or_refused(bytes: Vec<u8>) {
            for format in [Format::IntelHex, Format::SRecord, Format::Raw] {
                if let Err(faults) = read(format, "any", &bytes) {
                    prop_assert!((1..=20).contains(&faults.len()));
                }
            }
        }

        #[test]
        fn any_records_are_read_or_refused(lines in prop::collection::vec("(:|S[0-9])[0-3F]{0,16}", 0..40)) {
            for format in [Format::IntelHex, Format::SRecord] {
                if let Err(faults) = read(format, "any", lines.join("\n").as_bytes()) {
                    prop_assert!((1..=20).contains(&faults.len()));
                    prop_assert!(faults.is_sorted_by_key(|fault| fault.line));
                }
            }
        }
    }
}
