//! Paths of a timing analysis as text, step by step.

use crate::quantity::Time;
use crate::text::WIDEST_COLUMN;
use crate::timing::report::{FeedthroughRow, PathRow, Step};
use std::fmt::Write;

pub(super) fn path_text(out: &mut String, path: &PathRow) {
    let holds = if path.slack < Time::ZERO { "TOO SHORT" } else { "left over" };
    let told = if path.before {
        format!("{} of {} from {} to {}", path.needed, path.given, path.from, path.to)
    } else {
        let first = path.arrives - path.slack;
        format!("moves {} after the {}, must not before {first} ({})", path.arrives, path.from, path.to)
    };
    line(out, &format!("\n    {} of {} {}: {} {holds}; {told}", path.kind.word(), path.at, path.number, path.slack));
    if path.begins_at != Time::ZERO {
        line(out, &format!("      {}: there after {}", path.from, path.begins_at));
    }
    steps(out, &path.steps);
    let mut end = format!("      {} {}", path.kind.word(), path.least);
    if path.clock_at != Time::ZERO {
        let _ = write!(end, ", the clock there after {}", path.clock_at);
    }
    if path.common != Time::ZERO {
        let _ = write!(end, ", {} the same for both", path.common);
    }
    if let Some(place) = &path.place {
        let _ = write!(end, "   {place}");
    }
    line(out, &end);
    if let Some(advice) = &path.advice {
        line(out, &format!("      {advice}"));
    }
}

pub(super) fn straight(out: &mut String, row: &FeedthroughRow) {
    line(out, &format!("    {} to {}: {} to {}", row.input, row.output, row.earliest, row.latest));
    steps(out, &row.steps);
}

/// What an output drives: `1 input, 13.6 pF`.
fn burden(step: &Step) -> String {
    let inputs = if step.inputs == 1 { "input" } else { "inputs" };
    // Tenths of a picofarad are finer than any sheet.
    let tenths = (step.load.raw() + 50) / 100;
    format!("{} {inputs}, {}.{} pF", step.inputs, tenths / 10, tenths % 10)
}

/// One line a step, in columns.
fn steps(out: &mut String, steps: &[Step]) {
    let cells: Vec<[String; 5]> = steps
        .iter()
        .map(|step| {
            let cable = if step.cable > Time::ZERO { format!(" ({} cable)", step.cable) } else { String::new() };
            [
                format!("{} {}", step.chip, step.number),
                format!("{} -> {} {}", step.input, step.output, step.does),
                format!("{}{cable}", step.delay),
                format!("at {}", step.at),
                format!("{} ({})", step.net, burden(step)),
            ]
        })
        .collect();
    let width =
        |column: usize| cells.iter().map(|row| row[column].chars().count()).max().unwrap_or(0).min(WIDEST_COLUMN);
    let widths: Vec<usize> = (0..5).map(width).collect();
    for (row, step) in cells.iter().zip(steps) {
        let _ = writeln!(
            out,
            "      {:a$}  {:b$}  {:>c$}  {:>d$}  {:e$}  {}",
            row[0],
            row[1],
            row[2],
            row[3],
            row[4],
            step.source,
            a = widths[0],
            b = widths[1],
            c = widths[2],
            d = widths[3],
            e = widths[4],
        );
    }
}

pub(super) fn line(out: &mut String, text: &str) {
    out.push_str(text);
    out.push('\n');
}
