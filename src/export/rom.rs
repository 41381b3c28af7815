//! What memories hold, for a programmer and for paper: files, checksums, listings.

use crate::contents::Filling;
use crate::image::{Format, Image, write_intel_hex, write_s_record};
use crate::text::Sources;
use std::fmt::Write;

/// What an erased cell reads as where nothing says otherwise.
const ERASED: u8 = 0xFF;

/// Bytes of one line of a listing.
const BYTES_A_LINE: usize = 4;

/// The bytes of an image as a file. A raw file begins at address 0 and has 0xFF in the gaps.
pub fn file(image: &Image, format: Format) -> Vec<u8> {
    match format {
        Format::IntelHex => write_intel_hex(image).into_bytes(),
        Format::SRecord => write_s_record(image).into_bytes(),
        Format::Raw => {
            let size = image.highest().map_or(0, |highest| highest as usize + 1);
            let mut bytes = vec![ERASED; size];
            for (start, given) in image.segments() {
                let start = start as usize;
                bytes[start..start + given.len()].copy_from_slice(given);
            }
            bytes
        }
    }
}

/// An image with every cell of a chip in it: what is not given is as the chip has it when it is blank.
pub fn whole_chip(image: &Image, words: u64, blank: u8) -> Image {
    let mut whole = Image::new();
    for address in 0..words {
        whole.insert(address, image.get(address).unwrap_or(blank));
    }
    whole
}

/// The sum of all bytes, modulo 65536, as programmers show it.
pub fn sum(image: &Image) -> u16 {
    let bytes = image.segments().flat_map(|(_, bytes)| bytes);
    bytes.fold(0, |sum: u16, &byte| sum.wrapping_add(byte.into()))
}

/// The CRC-32 of all bytes in order of their addresses (IEEE 802.3, as in Ethernet).
pub fn crc(image: &Image) -> u32 {
    let mut crc = crc32fast::Hasher::new();
    for (_, bytes) in image.segments() {
        crc.update(bytes);
    }
    crc.finalize()
}

/// One line: how much there is, and its checksums.
pub fn summary(label: &str, image: &Image) -> String {
    let stretches: Vec<String> = image
        .segments()
        .take(4)
        .map(|(start, bytes)| format!("0x{start:04X} to 0x{:04X}", start + bytes.len() as u64 - 1))
        .collect();
    let more = if image.segments().count() > 4 { " and more" } else { "" };
    format!(
        "{label}: {} bytes, {}{more}; sum 0x{:04X}, CRC-32 0x{:08X}\n",
        image.len(),
        stretches.join(", "),
        sum(image),
        crc(image)
    )
}

/// Addresses and bytes beside what makes them.
pub fn listing(filling: &Filling, sources: &Sources) -> String {
    let mut out = String::new();
    for line in &filling.listing {
        let source = sources.slice(line.span);
        let words: Vec<&str> =
            source.lines().map(|line| line.split('#').next().unwrap_or(line)).flat_map(str::split_whitespace).collect();
        let mut source = words.join(" ");
        // Of what makes no bytes only a label is a single word.
        if line.bytes.is_empty() && words.len() == 1 {
            source.push(':');
        }
        let mut rows: Vec<&[u8]> = line.bytes.chunks(BYTES_A_LINE).collect();
        if rows.is_empty() {
            rows.push(&[]);
        }
        for (at, row) in rows.into_iter().enumerate() {
            let address = line.address + (at * BYTES_A_LINE) as u64;
            let bytes: Vec<String> = row.iter().map(|byte| format!("{byte:02X}")).collect();
            let text = format!("{address:04X}  {:<12} {source}", bytes.join(" "));
            let _ = writeln!(out, "{}", text.trim_end());
            source.clear();
        }
    }
    out
}
