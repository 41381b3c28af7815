//! `coldboard refit`

use super::open::{read, unusable, whole};
use crate::cli::exit::Exit;
use crate::cli::output::Output;
use crate::cli::shared::Shared;
use crate::diagnostic::{Diagnostic, any_error};
use crate::export::refit as view;
use crate::language::ast::Trial;
use crate::project::Project;
use crate::refit::{Asked, choose, compare};
use crate::sweep;
use std::path::PathBuf;

/// Compare a design with itself as it would be with other chips.
///
/// A refit is WHAT=WITH. WHAT is a chip (COUNT.U1), a board in place (COUNT.*), everything (*), a family (HC) or a number
/// (74HC574); WITH is a number or a family. The files are not changed. Ends with 0 when all trials pass as it would be,
/// 1 when some fail, 2 when the input cannot be used or a part does not fit its socket.
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    /// The design file.
    pub file: PathBuf,
    /// What is replaced, such as U3=74AC574, COUNT.*=AC or HC=AC; of several for one chip the last one counts, so that a
    /// wide one can stand before its exceptions.
    #[arg(required = true, value_name = "WHAT=WITH")]
    pub refits: Vec<String>,
    /// The board or assembly; that of the trials that are named, or else the assembly of the file.
    #[arg(long, value_name = "NAME")]
    pub on: Option<String>,
    /// The trials, with commas between; all of the board or assembly when none is named.
    #[arg(long, value_name = "TRIALS", value_delimiter = ',')]
    pub trial: Vec<String>,
    /// Corners: fastest, typical, slowest, all (these three), random:SEED, random:1..20.
    #[arg(long, value_name = "CORNERS", default_value = "all")]
    pub corner: String,
    /// Look for the highest clock rate of both, as in 1MHz..50MHz/0.1MHz: from, to, and how finely.
    #[arg(long, value_name = "[NAME=]FROM..TO[/STEP]", allow_hyphen_values = true)]
    pub rate: Option<String>,
    /// Allow figures estimated from another family where a part has no sheet.
    #[arg(long)]
    pub estimated: bool,
    /// Cores to work on; all of them when no number is given.
    #[arg(long, value_name = "N", value_parser = whole(1..=1024), allow_negative_numbers = true)]
    pub cores: Option<u16>,
    /// Print the comparison as JSON.
    #[arg(long)]
    pub json: bool,
}

/// Lower rates that are tried once the highest one is found.
const SAMPLES: usize = 8;

/// Compares.
pub(crate) fn run(arguments: &Arguments, all: &Shared, output: &mut Output) -> Exit {
    let corners = match sweep::corners(&arguments.corner) {
        Ok(corners) => corners,
        Err(sentence) => return unusable(output, &sentence),
    };
    let rate = arguments.rate.as_ref().map(|text| {
        let (name, values) = sweep::named(text);
        Ok((name.map(str::to_owned), sweep::range(values)?, SAMPLES))
    });
    let rate = match rate.transpose() {
        Ok(rate) => rate,
        Err::<_, String>(sentence) => return unusable(output, &sentence),
    };
    let mut project = match read(&arguments.file, all, output) {
        Ok(project) => project,
        Err(exit) => return exit,
    };
    let on = match on(arguments, &mut project) {
        Ok(on) => on,
        Err(problems) => {
            output.diagnostics(project.sources(), &problems);
            return Exit::Unusable;
        }
    };
    let (circuit, problems) = project.circuit(Some(&on));
    output.diagnostics(project.sources(), &problems);
    let Some(circuit) = circuit.filter(|_| !any_error(&problems)) else {
        return Exit::Unusable;
    };
    let compared = choose(&project, &circuit, &arguments.refits, arguments.estimated).and_then(|chosen| {
        let cores = arguments.cores.map(usize::from);
        let asked = Asked {
            trials: trials(&project, &on, &arguments.trial),
            corners,
            rate,
            cores: cores.unwrap_or_else(|| std::thread::available_parallelism().map_or(1, usize::from)),
        };
        compare(&project, &on, &chosen, &asked)
    });
    let refit = match compared {
        Ok(refit) => refit,
        Err(problems) => {
            output.diagnostics(project.sources(), &problems);
            return Exit::Unusable;
        }
    };
    if arguments.json {
        if let Err(sentence) = output.json(&refit) {
            return unusable(output, &sentence);
        }
    } else {
        output.answer(&view::text(&refit));
    }
    if refit.is_good() { Exit::Good } else { Exit::Failed }
}

/// The board or assembly: the one that is named, that of the named trials, or the assembly of the file.
fn on(arguments: &Arguments, project: &mut Project) -> Result<String, Vec<Diagnostic>> {
    let told = |message: String, help: String| vec![Diagnostic::error("refit", message).help(help)];
    let mut found: Vec<&str> = Vec::new();
    for name in &arguments.trial {
        let trial = project.trial_named(name);
        let trial = trial.map_err(|sentence| vec![Diagnostic::error("refit", sentence)])?;
        if !found.contains(&trial.on.node.as_str()) {
            found.push(&trial.on.node);
        }
    }
    match (&arguments.on, found.as_slice()) {
        (Some(on), []) => Ok(on.clone()),
        (Some(on), [only]) if on == only => Ok(on.clone()),
        (None, [only]) => Ok((*only).to_owned()),
        (None, []) => {
            let (circuit, problems) = project.circuit(None);
            circuit.map(|circuit| circuit.name.clone()).ok_or(problems)
        }
        (_, several) => Err(told(
            format!("these trials run on {}", several.join(" and ")),
            "name trials of one board or assembly".to_owned(),
        )),
    }
}

fn trials<'a>(project: &'a Project, on: &str, named: &[String]) -> Vec<&'a Trial> {
    let here = project.trials().iter().filter(|trial| trial.on.node == on);
    here.filter(|trial| named.is_empty() || named.contains(&trial.name.node)).collect()
}
