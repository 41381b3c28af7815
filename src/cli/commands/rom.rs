//! `coldboard rom`

use super::open::{read, unusable};
use crate::circuit::Circuit;
use crate::cli::exit::Exit;
use crate::cli::files::{outputs, suffixed, write_all};
use crate::cli::output::Output;
use crate::cli::shared::Shared;
use crate::contents::Filling;
use crate::diagnostic::did_you_mean;
use crate::export::rom;
use crate::image::{Format, Image};
use crate::project::Project;
use std::path::{Path, PathBuf};

/// Tell what memories hold, and write it for a programmer.
///
/// Without a name it lists all contents and programs of the design.
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    /// The design file.
    pub file: PathBuf,
    /// The contents or the program.
    pub name: Option<String>,
    /// Write a file for each byte lane, or each chip; the ending says the format: .hex (Intel), .s19 or .bin.
    #[arg(long, value_name = "FILE")]
    pub write: Option<PathBuf>,
    /// Take the chips of this board or assembly that hold it, each as a whole, instead of the byte lanes.
    #[arg(long, value_name = "BOARD")]
    pub chips: Option<String>,
    /// Print addresses and bytes beside the lines that make them.
    #[arg(long)]
    pub listing: bool,
}

/// What one chip is programmed with, and what it is called in messages and in the name of its file.
struct Piece {
    label: String,
    suffix: String,
    image: Image,
}

/// Tells and writes images.
pub(crate) fn run(arguments: &Arguments, all: &Shared, output: &mut Output) -> Exit {
    let mut project = match read(&arguments.file, all, output) {
        Ok(project) => project,
        Err(exit) => return exit,
    };
    let target = arguments.write.as_deref();
    let format = target.map(format_of).transpose();
    let format = match outputs(project.paths(), &[("--write", target)]).and(format) {
        Ok(format) => format,
        Err(sentence) => return unusable(output, &sentence),
    };
    let Some(name) = &arguments.name else {
        if arguments.write.is_some() || arguments.chips.is_some() || arguments.listing {
            let names = list(&project);
            return unusable(output, &format!("say which contents are meant:\n{names}"));
        }
        output.answer(&list(&project));
        return Exit::Good;
    };
    let Some(filling) = project.contents().filling(name).cloned() else {
        let names = project.contents().fillings().iter();
        let help = did_you_mean(name, names.map(|filling| filling.name.as_str()))
            .unwrap_or_else(|| "leave the name out to see what there is".to_owned());
        return unusable(output, &format!("there are no contents and no program {name}; {help}"));
    };
    let pieces = match &arguments.chips {
        None => lanes(&filling),
        Some(board) => {
            let (circuit, problems) = project.circuit(Some(board));
            output.diagnostics(project.sources(), &problems);
            let Some(circuit) = circuit else {
                return Exit::Unusable;
            };
            chips(&circuit, name)
        }
    };
    if pieces.is_empty() {
        return unusable(output, &format!("no chip there holds {name}"));
    }
    for piece in &pieces {
        output.answer(&rom::summary(&piece.label, &piece.image));
    }
    if arguments.listing {
        output.answer(&rom::listing(&filling, project.sources()));
    }
    if let (Some(path), Some(format)) = (target, format)
        && let Err(sentence) = write_all(&files(path, format, &pieces))
    {
        return unusable(output, &sentence);
    }
    Exit::Good
}

fn list(project: &Project) -> String {
    let fillings = project.contents().fillings();
    if fillings.is_empty() {
        return "the design has no contents and no program\n".to_owned();
    }
    let lines = fillings.iter().map(|filling| {
        let lanes = if filling.lanes == 1 { String::new() } else { format!(" in {} lanes", filling.lanes) };
        let title = if filling.title.is_empty() { String::new() } else { format!("  {}", filling.title) };
        format!("{}: {} bytes{lanes}{title}\n", filling.name, filling.image.len())
    });
    lines.collect()
}

fn lanes(filling: &Filling) -> Vec<Piece> {
    let pieces = (0..filling.lanes).map(|lane| Piece {
        label: if filling.lanes == 1 { filling.name.clone() } else { format!("{} lane {lane}", filling.name) },
        suffix: format!("lane{lane}"),
        // Without a first address nothing lies before it.
        image: filling.chip(lane, 0, None).unwrap_or_default(),
    });
    pieces.collect()
}

fn chips(circuit: &Circuit, name: &str) -> Vec<Piece> {
    let mut pieces = Vec::new();
    for chip in circuit.chips.values() {
        let Some(holds) = chip.initial_contents.as_ref().filter(|holds| holds.name == name) else {
            continue;
        };
        let Some(shape) = chip.part.function.memories.first() else {
            continue;
        };
        let blank = shape.blank.unwrap_or(0xFF) as u8;
        pieces.push(Piece {
            label: format!("{} ({})", chip.path, chip.number),
            suffix: chip.path.clone(),
            image: rom::whole_chip(&holds.image, shape.words, blank),
        });
    }
    pieces
}

/// The format that the ending of a file says.
fn format_of(path: &Path) -> Result<Format, String> {
    let ending = path.extension().unwrap_or_default().to_string_lossy();
    match ending.to_ascii_lowercase().as_str() {
        "hex" | "ihx" => Ok(Format::IntelHex),
        "s19" | "srec" | "mot" => Ok(Format::SRecord),
        "bin" => Ok(Format::Raw),
        _ => Err(format!("{} does not say its format: end it with .hex, .s19 or .bin", path.display())),
    }
}

/// The file of each piece.
fn files(path: &Path, format: Format, pieces: &[Piece]) -> Vec<(PathBuf, Vec<u8>)> {
    let files = pieces.iter().map(|piece| {
        let path = match pieces {
            [_] => path.to_owned(),
            _ => suffixed(path, &piece.suffix),
        };
        (path, rom::file(&piece.image, format))
    });
    files.collect()
}
