//! What a run found out, as files for other eyes: one format, one file.
//!
//! Each format turns plain results into bytes and knows nothing of disks or terminals.

pub mod blocks;
pub mod diagram;
pub mod package;
pub mod package_svg;
pub mod part_page;
pub mod power;
pub mod report;
pub mod rom;
pub mod svg;
pub mod swap;
pub mod sweep_csv;
pub mod sweep_svg;
pub mod sweep_text;
mod timing_paths;
pub mod timing_svg;
pub mod timing_text;
pub mod vcd;
mod vcd_names;

/// A kind of file that recorded signals can be written as.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Format {
    /// What it is called on the command line.
    pub name: &'static str,
    /// What it is good for, in one sentence.
    pub summary: &'static str,
    /// The ending of its files, without the dot.
    pub extension: &'static str,
}

/// Every format of recorded signals.
pub const FORMATS: &[Format] = &[
    Format {
        name: "vcd",
        summary: "every change of the recorded signals, for a waveform viewer (IEEE Std 1364-2005)",
        extension: "vcd",
    },
    Format {
        name: "diagram",
        summary: "a timing diagram in the manner of a data sheet, for a browser or for paper",
        extension: "svg",
    },
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn formats_can_be_told_apart() {
        for (index, format) in FORMATS.iter().enumerate() {
            assert!(format.extension.bytes().all(|b| b.is_ascii_lowercase()));
            for other in &FORMATS[index + 1..] {
                assert_ne!(format.name, other.name);
                assert_ne!(format.extension, other.extension);
            }
        }
    }
}
