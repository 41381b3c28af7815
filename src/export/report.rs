//! The report of a trial as text for a person at a bench.

use crate::diagnostic::count;
use crate::language::ast::{Corner, PowerUp};
use crate::run::Step;
use crate::text::WIDEST_COLUMN;
use crate::trial::Report;
use crate::trial::report::{Finding, Table};
use std::fmt::Write;

/// Rows of one table that a terminal shows; the rest is in the JSON view.
const MOST_ROWS_SHOWN: usize = 2000;
/// Places of one kind of note that are shown.
const MOST_PLACES_SHOWN: usize = 8;

/// The whole report, ending with its verdict.
pub fn text(report: &Report) -> String {
    let mut out = String::new();
    let line = |out: &mut String, text: &str| {
        out.push_str(text);
        out.push('\n');
    };
    let title = format!(
        "trial {} on {}, {}, storage {} at power-up",
        report.trial,
        report.on,
        parts_word(report),
        power_up_word(report.power_up)
    );
    line(&mut out, &title);
    if report.untimed {
        line(&mut out, "  no delay was looked at: nothing is said about setup, hold, widths of pulses or rates");
    }
    for remark in &report.remarks {
        line(&mut out, &format!("  {remark}"));
    }
    for table in &report.tables {
        out.push('\n');
        out.push_str(&table_text(table));
    }
    for failure in &report.failures {
        line(&mut out, &format!("\n  FAILED at {}: {}", failure.time, failure.expectation));
        line(&mut out, &format!("    written at  {}", failure.place));
        line(&mut out, &format!("    found       {}", failure.found));
        if !failure.causes.is_empty() {
            line(&mut out, "    because");
            out.push_str(&causes(&failure.causes, 6));
        }
    }
    if !report.faults.is_empty() {
        line(&mut out, "\n  faults");
        out.push_str(&findings(&report.faults));
    }
    if !report.notes.is_empty() {
        line(&mut out, "\n  notes");
        out.push_str(&findings(&report.notes));
    }
    if !report.rules.is_empty() {
        line(&mut out, "\n  delays that no sheet gives");
        for rule in &report.rules {
            line(&mut out, &format!("    {}", rule.rule));
            line(&mut out, &format!("      {}", rule.parts.join(" ")));
        }
    }
    if !report.why.is_empty() {
        line(&mut out, "\n  why");
        out.push_str(&causes(&report.why, 4));
    }
    line(&mut out, &format!("\n  {}", verdict(report)));
    out
}

/// Which parts it ran with: `typical parts at 70 C`, or `untimed`.
fn parts_word(report: &Report) -> String {
    if report.untimed {
        return "untimed".to_owned();
    }
    let temperature = report.temperature.map_or(String::new(), |at| format!(" at {at}"));
    format!("{} parts{temperature}", corner_word(report.corner))
}

/// One line: passed or not, and how much was run.
pub fn verdict(report: &Report) -> String {
    let failed = !report.failures.is_empty() || !report.faults.is_empty();
    let word = match (report.passed, report.interrupted) {
        (true, _) => "passed",
        (false, true) if failed => "INTERRUPTED, AND FAILED",
        (false, true) => "INTERRUPTED, nothing failed until then",
        (false, false) => "FAILED",
    };
    let clocks = if report.clocks > 0 { format!(", {} clocks", report.clocks) } else { String::new() };
    format!(
        "{word}{}: {} passed, {} failed, {}, {} simulated{clocks}",
        if report.untimed { ", untimed" } else { "" },
        count(report.expectations_passed as usize, "expectation"),
        report.failures.len(),
        count(report.faults.len(), "fault"),
        report.end
    )
}

/// A chain of causes, the newest first.
pub fn causes(steps: &[Step], indent: usize) -> String {
    let time = steps.iter().map(|step| step.time.to_string().len()).max().unwrap_or(0);
    let net = steps.iter().map(|step| step.net.chars().count()).max().unwrap_or(0).min(WIDEST_COLUMN);
    let mut out = String::new();
    for step in steps {
        let level = step.level.word();
        let at = step.time.to_string();
        let _ = writeln!(out, "{:indent$}{at:>time$}  {:net$}  {level:<11}  {}", "", step.net, step.text);
    }
    out
}

fn findings(list: &[Finding]) -> String {
    let mut out = String::new();
    let mut shown: Vec<(&str, usize)> = Vec::new();
    for finding in list {
        let place = match shown.iter_mut().find(|(kind, _)| *kind == finding.kind) {
            Some(place) => place,
            None => {
                shown.push((finding.kind, 0));
                let last = shown.len() - 1;
                &mut shown[last]
            }
        };
        place.1 += 1;
        if place.1 > MOST_PLACES_SHOWN {
            continue;
        }
        let first = finding.first.map(|time| format!("first at {time}"));
        let times = (finding.count > 1).then(|| format!("{} times", finding.count));
        let when: Vec<String> = first.into_iter().chain(times).collect();
        let when = if when.is_empty() { String::new() } else { format!(" ({})", when.join(", ")) };
        let _ = writeln!(out, "    {}: {}{when}", finding.kind, finding.text);
    }
    for (kind, number) in shown.iter().filter(|(_, number)| *number > MOST_PLACES_SHOWN) {
        let _ = writeln!(out, "    {kind}: {} more places", number - MOST_PLACES_SHOWN);
    }
    out
}

fn table_text(table: &Table) -> String {
    let mut widths: Vec<usize> = table.columns.iter().map(|name| name.chars().count().min(WIDEST_COLUMN)).collect();
    let mut time_width = table.when.len();
    let rows = &table.rows[..table.rows.len().min(MOST_ROWS_SHOWN)];
    for (time, values) in rows {
        time_width = time_width.max(time.to_string().len());
        for (width, value) in widths.iter_mut().zip(values) {
            *width = (*width).max(value.chars().count()).min(WIDEST_COLUMN);
        }
    }
    let mut out = format!("  {:time_width$}", table.when);
    for (name, width) in table.columns.iter().zip(&widths) {
        let _ = write!(out, "  {name:>width$}");
    }
    out.push('\n');
    for (time, values) in rows {
        let at = time.to_string();
        let _ = write!(out, "  {at:>time_width$}");
        for (value, width) in values.iter().zip(&widths) {
            let _ = write!(out, "  {value:>width$}");
        }
        out.push('\n');
    }
    if table.cut || rows.len() < table.rows.len() {
        out.push_str("  the rest of the table is cut\n");
    }
    out
}

/// The word for a corner.
pub fn corner_word(corner: Corner) -> String {
    match corner {
        Corner::Fastest => "fastest".to_owned(),
        Corner::Typical => "typical".to_owned(),
        Corner::Slowest => "slowest".to_owned(),
        Corner::Random(seed) => format!("random (seed {seed})"),
    }
}

fn power_up_word(power_up: PowerUp) -> String {
    match power_up {
        PowerUp::Unknown => "unknown".to_owned(),
        PowerUp::Zero => "zero".to_owned(),
        PowerUp::One => "one".to_owned(),
        PowerUp::Random(seed) => format!("random (seed {seed})"),
    }
}
