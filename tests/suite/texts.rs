//! Designs of one text: opened, their mistakes in short, their first trial run.

use coldboard::diagnostic::Diagnostic;
use coldboard::part::Library;
use coldboard::project::Project;
use coldboard::text::{MemoryFiles, Spanned};
use coldboard::trial::{Options, Prepared, Report, Unattended, prepare, run, run_untimed};
use std::path::Path;

pub(crate) fn open(text: &str) -> Project {
    Project::open(&MemoryFiles::default().with("d.board", text), Path::new("d.board"), Library::built_in())
}

/// The text at the first place of each problem, and its message.
pub(crate) fn told(project: &Project, problems: &[Diagnostic]) -> Vec<String> {
    let line = |problem: &Diagnostic| {
        let text = problem.labels.first().map_or("", |label| project.sources().slice(label.span));
        format!("{text} | {}", problem.message)
    };
    problems.iter().map(line).collect()
}

/// The first trial with its names looked up, or what is wrong with it.
pub(crate) fn prepared(project: &mut Project) -> Result<Prepared, Vec<String>> {
    let circuit = project.circuit(Some("b")).0.expect("a circuit");
    let images = |file: &Spanned<String>| project.image(file);
    let prepared = prepare(&project.trials()[0], &circuit, project.sources(), &images);
    prepared.map_err(|problems| told(project, &problems))
}

/// Runs the first trial of a text on its board `b`.
#[track_caller]
pub(crate) fn ran(text: &str, untimed: bool) -> Report {
    let mut project = open(text);
    assert_eq!(told(&project, project.diagnostics()), [""; 0]);
    let prepared = prepared(&mut project).unwrap_or_else(|problems| panic!("{problems:?}"));
    let circuit = project.circuit(Some("b")).0.expect("a circuit");
    let options = Options::default();
    match untimed {
        true => run_untimed(&prepared, &circuit, project.sources(), &options, &mut Unattended).expect("no delays"),
        false => run(&prepared, &circuit, project.sources(), &options, &mut Unattended),
    }
}
