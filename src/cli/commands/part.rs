//! `coldboard part`

use super::open::{library, open, unusable};
use crate::cli::exit::Exit;
use crate::cli::files::{outputs, write};
use crate::cli::output::Output;
use crate::cli::shared::Shared;
use crate::diagnostic::json::Json;
use crate::diagnostic::terminal::summary;
use crate::diagnostic::{Diagnostic, Look, any_error};
use crate::export::package_svg::picture;
use crate::export::part_page::review::review;
use crate::export::part_page::{Page, text};
use crate::language::ast::Item;
use crate::part::library::NotFound;
use crate::part::{Library, Part};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Print the page of a part, draw its package, or verify a part file.
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    /// The part: 574 or 62256 with all its families or grades, 74HC574 or 62256-70 with one.
    #[arg(required_unless_present = "verify", conflicts_with = "verify")]
    pub number: Option<String>,
    /// Print as JSON.
    #[arg(long)]
    pub json: bool,
    /// Draw the package into an SVG file, instead of printing the page.
    #[arg(long, value_name = "FILE", conflicts_with_all = ["json", "verify"])]
    pub svg: Option<PathBuf>,
    /// Try the parts of a .part file: their function tables, pins, timing and sources.
    ///
    /// Ends with 0 when no error stands, 1 when one does, 2 when the file cannot be read.
    #[arg(long, value_name = "FILE")]
    pub verify: Option<PathBuf>,
}

/// Prints a page, draws a package, or verifies a file.
pub(crate) fn run(arguments: &Arguments, all: &Shared, output: &mut Output) -> Exit {
    match (&arguments.verify, &arguments.number) {
        (Some(file), _) => verify(file, arguments.json, all, output),
        (None, Some(number)) => page(number, arguments, all, output),
        (None, None) => Exit::Unusable,
    }
}

fn page(number: &str, arguments: &Arguments, all: &Shared, output: &mut Output) -> Exit {
    let library = match library(all, output) {
        Ok(library) => library,
        Err(exit) => return exit,
    };
    let found = look_up(&library, number);
    let problems = library.problems();
    output.diagnostics(library.sources(), &problems);
    let (part, sheet) = match found {
        Ok(found) => found,
        Err(problem) => {
            return unusable(output, &format!("{problem}; {}", problem.help()));
        }
    };
    if any_error(&problems) {
        return Exit::Unusable;
    }
    if let Some(path) = &arguments.svg {
        let written = outputs([], &[("--svg", Some(path))]).and_then(|()| write(path, picture(&part).as_bytes()));
        return match written {
            Ok(()) => Exit::Good,
            Err(sentence) => unusable(output, &sentence),
        };
    }
    let page = Page::new(&library, part, sheet);
    if arguments.json {
        output.answer_json(&page.json());
    } else {
        let text = text(&page, output.width());
        output.answer(&text);
    }
    Exit::Good
}

/// A part by its own name with all of its sheets, or by a whole number with one.
fn look_up(library: &Library, number: &str) -> Result<(Arc<Part>, Option<usize>), NotFound> {
    match library.part(number) {
        Some(part) => Ok((part, None)),
        None => library.find(number).map(|found| (found.part, found.sheet)),
    }
}

fn verify(file: &Path, json: bool, all: &Shared, output: &mut Output) -> Exit {
    let project = match open(file, all, output) {
        Ok(project) => project,
        Err(exit) => return exit,
    };
    // A file of the library is expected to stand in for the built-in one.
    let problems: Vec<Diagnostic> =
        project.diagnostics().iter().filter(|problem| problem.code != "hidden-part").cloned().collect();
    let broken = any_error(&problems);
    let names: Vec<&str> = project
        .files()
        .iter()
        .take(1)
        .flat_map(|tree| &tree.items)
        .filter_map(|item| match item {
            Item::Part(part) => Some(part.name.node.as_str()),
            _ => None,
        })
        .collect();
    if names.is_empty() && !broken {
        return unusable(output, &format!("{} describes no part", file.display()));
    }
    let parts = || names.iter().filter_map(|name| project.library().part(name));
    let reviews: Vec<(Arc<Part>, Vec<Diagnostic>)> =
        parts().map(|part| (part.clone(), review(project.sources(), &part))).collect();
    let found = reviews.iter().flat_map(|(_, found)| found);
    let everything: Vec<Diagnostic> = problems.iter().chain(found).cloned().collect();
    if json {
        output.answer_json(&Json.render(project.sources(), &everything));
    } else {
        output.answer_diagnostics(project.sources(), &everything);
        for (part, found) in &reviews {
            output.answer(&format!("{}: {}\n", part.name, summary(found)));
        }
    }
    if broken {
        Exit::Unusable
    } else if any_error(&everything) {
        Exit::Failed
    } else {
        Exit::Good
    }
}
