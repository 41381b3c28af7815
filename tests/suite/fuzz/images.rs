//! Image files: read in every format, and written back.

use coldboard::export::rom;
use coldboard::image::{self, Format, Image, LARGEST_FILE};

const FORMATS: [Format; 3] = [Format::IntelHex, Format::SRecord, Format::Raw];

/// Gaps are filled in a raw file: one that is larger is not written here.
const LARGEST_RAW: u64 = 1 << 20;

pub(crate) fn one(input: &[u8]) {
    Format::guess("rom", input);
    for format in FORMATS {
        match image::read(format, "rom", input) {
            Ok(image) => good(&image, input),
            Err(faults) => {
                assert!(!faults.is_empty() && faults.len() <= 20, "{}", faults.len());
                let lines = input.iter().filter(|&&byte| byte == b'\n' || byte == b'\r').count() + 1;
                for fault in faults {
                    assert!((1..=lines).contains(&fault.line), "{fault:?}");
                    assert!(fault.column >= 1 && !fault.message.is_empty(), "{fault:?}");
                    assert!(fault.text.chars().count() <= 103, "{fault:?}");
                    fault.to_diagnostic("rom");
                }
            }
        }
    }
}

fn good(image: &Image, input: &[u8]) {
    // Two digits make a byte, so that a file never gives more bytes than it has.
    assert!(image.len() <= input.len());
    let mut end = None;
    for (start, bytes) in image.segments() {
        assert!(!bytes.is_empty() && end.is_none_or(|end| start > end));
        assert_eq!(image.get(start), bytes.first().copied());
        end = Some(start + bytes.len() as u64);
        assert_eq!(end.and_then(|end| image.get(end)), None);
    }
    assert_eq!(end, image.highest().map(|highest| highest + 1));
    rom::summary("rom", image);
    for format in [Format::IntelHex, Format::SRecord] {
        let written = rom::file(image, format);
        if written.len() > LARGEST_FILE {
            continue;
        }
        let again = image::read(format, "again", &written);
        assert_eq!(again.as_ref(), Ok(image), "{format:?}");
        assert!(written.is_ascii());
    }
    if image.highest().is_none_or(|highest| highest < LARGEST_RAW) {
        let written = rom::file(image, Format::Raw);
        let again = image::read(Format::Raw, "again", &written).expect("bytes");
        let held = image.segments().all(|(start, bytes)| {
            let addresses = start..;
            addresses.zip(bytes).all(|(at, &byte)| again.get(at) == Some(byte))
        });
        assert!(held);
    }
}

/// A seed is read in the format that it looks like.
pub(crate) fn accepted(input: &[u8]) {
    let format = Format::guess("rom", input);
    image::read(format, "rom", input).unwrap_or_else(|faults| panic!("{faults:?}"));
}
