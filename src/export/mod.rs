//! What a run found out, as files for other eyes: one format, one file.
//!
//! Each format turns plain results into bytes and knows nothing of disks or terminals.

pub mod blocks;
pub mod diagram;
pub mod package;
pub mod package_svg;
pub mod part_page;
pub mod power;
pub mod refit;
pub mod report;
pub mod rom;
pub mod svg;
pub mod sweep_csv;
pub mod sweep_svg;
pub mod sweep_text;
mod timing_paths;
pub mod timing_svg;
pub mod timing_text;
pub mod vcd;
mod vcd_names;
