//! What static timing says of one side.

use super::result::{Limit, LimitingPath};
use crate::circuit::Circuit;
use crate::diagnostic::Diagnostic;
use crate::project::Project;
use crate::timing::{Options, Parts, analyse, sources};

/// The highest rate of each clock with the slowest parts, and the path that limits it.
///
/// # Errors
/// What is wrong with the clocks of the trials.
pub(super) fn limits(project: &Project, circuit: &Circuit) -> Result<Vec<Limit>, Vec<Diagnostic>> {
    let options =
        Options { parts: vec![Parts::Slowest], sources: sources::of_trials(circuit, project.trials())?, paths: 1 };
    let report = analyse(circuit, project.sources(), &options);
    let rates = report.runs.into_iter().flat_map(|run| {
        let failing: usize = run.failing.values().sum();
        run.rates.into_iter().map(move |rate| Limit {
            clock: rate.clock,
            given: rate.given,
            highest: rate.highest,
            failing,
            path: rate.limit.map(|path| LimitingPath {
                end: format!("{} of {} {}", path.kind.word(), path.at, path.number),
                steps: path
                    .steps
                    .iter()
                    .map(|step| {
                        format!("{} {} {} -> {} {}", step.chip, step.number, step.input, step.output, step.delay)
                    })
                    .collect(),
                least: path.least,
            }),
        })
    });
    Ok(rates.collect())
}
