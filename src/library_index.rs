//! Build script: lists the parts of `library/` and the boards of `designs/` with their texts, so that the binary
//! carries them.
//!
//! The lists are sorted by path, so that the same folders give the same binary.

#![expect(clippy::print_stdout, reason = "a build script speaks to cargo there")]
#![allow(clippy::disallowed_methods, reason = "it writes the lists")]

use std::path::{Path, PathBuf};
use std::{env, fs, io};

fn main() -> io::Result<()> {
    println!("cargo::rerun-if-changed=src/library_index.rs");
    list("library", "part")?;
    list("designs", "board")
}

/// Writes the list of a folder's files with one ending.
fn list(folder: &str, extension: &str) -> io::Result<()> {
    println!("cargo::rerun-if-changed={folder}");
    let root = PathBuf::from(env::var_os("CARGO_MANIFEST_DIR").unwrap_or_default());
    let mut paths = Vec::new();
    collect(&root.join(folder), extension, &mut paths)?;
    let mut entries: Vec<(String, String)> = paths.iter().map(|path| entry(&root, path)).collect();
    entries.sort();
    let lines: Vec<String> =
        entries.iter().map(|(shown, whole)| format!("    ({shown:?}, include_str!({whole:?})),\n")).collect();
    let target = PathBuf::from(env::var_os("OUT_DIR").unwrap_or_default());
    let target = target.join(folder).with_extension("rs");
    fs::write(target, format!("[\n{}]\n", lines.concat()))
}

/// All files below a folder with one ending.
fn collect(folder: &Path, extension: &str, paths: &mut Vec<PathBuf>) -> io::Result<()> {
    for found in fs::read_dir(folder)? {
        let path = found?.path();
        if path.is_dir() {
            collect(&path, extension, paths)?;
        } else if path.extension().is_some_and(|found| found == extension) {
            paths.push(path);
        }
    }
    Ok(())
}

/// The path that messages show, with forward slashes, and the path that the compiler reads.
fn entry(root: &Path, path: &Path) -> (String, String) {
    let steps = path.strip_prefix(root).unwrap_or(path).iter();
    let shown: Vec<_> = steps.map(|step| step.to_string_lossy()).collect();
    (shown.join("/"), path.to_string_lossy().into_owned())
}
