//! The report of a timing analysis as text for a person at a bench.

use super::timing_paths::{line, path_text, straight};
use crate::quantity::Time;
use crate::text::WIDEST_COLUMN;
use crate::timing::Parts;
use crate::timing::report::{InputRow, OutputRow, Report, Run, TurnaroundRow};

/// Rows of one kind that are shown; the rest is in the JSON view.
const MOST_ROWS: usize = 12;
/// Different advices for more speed that are shown.
const MOST_ADVICE: usize = 4;
/// Where the bars of the histogram end.
const BAR: usize = 40;

/// The whole report, ending with its verdict.
pub fn text(report: &Report) -> String {
    let mut out = String::new();
    line(&mut out, &format!("timing of {}", report.on));
    clocks(&mut out, report);
    rates(&mut out, report);
    // What is told step by step is told once: for the run with the least slack.
    if let Some(run) = worst_run(report) {
        details(&mut out, run);
    }
    loops(&mut out, report);
    unused(&mut out, report);
    remarks(&mut out, report);
    if !report.rules.is_empty() {
        line(&mut out, "\n  figures that no sheet gives");
        for (rule, parts) in &report.rules {
            line(&mut out, &format!("    {rule}"));
            line(&mut out, &format!("      {}", parts.join(" ")));
        }
    }
    line(&mut out, &format!("\n  {}", verdict(report)));
    out
}

/// One line: whether everything holds.
pub fn verdict(report: &Report) -> String {
    if report.clocks.is_empty() {
        return "no clock: nothing was judged".to_owned();
    }
    let failing: Vec<String> = report
        .runs
        .iter()
        .filter(|run| !run.holds())
        .map(|run| {
            let kinds = run.failing.iter().map(|(kind, count)| format!("{count} {}", kind.word()));
            format!("{} parts: {}", run.parts.word(), kinds.collect::<Vec<_>>().join(", "))
        })
        .collect();
    if failing.is_empty() {
        let checks = report.runs.iter().map(|run| run.checks).max().unwrap_or(0);
        format!("holds: {checks} requirements at the given clocks")
    } else {
        format!("DOES NOT HOLD: {}", failing.join("; "))
    }
}

/// The run with the least slack; that of the slowest parts when none has any.
fn worst_run(report: &Report) -> Option<&Run> {
    let slack = |run: &Run| run.paths.first().map_or(Time::MAX, |path| path.slack);
    let rank = |run: &Run| (slack(run), run.parts != Parts::Slowest);
    report.runs.iter().min_by_key(|run| rank(run))
}

fn clocks(out: &mut String, report: &Report) {
    if report.clocks.is_empty() {
        line(
            out,
            "\n  no clock is known: write `clock NET 1 MHz` in a trial, name one with --clock NET=1MHz, or put an\n  \
             oscillator on the board",
        );
        return;
    }
    line(out, "\n  clocks");
    let shown: Vec<_> =
        report.clocks.iter().filter(|clock| clock.made_from.is_none() || clock.clocks_something).collect();
    let name = shown.iter().map(|clock| clock.net.chars().count()).max().unwrap_or(0).min(WIDEST_COLUMN);
    for clock in &shown {
        let least = if clock.made_from.is_some() { "at least " } else { "" };
        let times = format!("every {least}{}, high {}, low {}", clock.period, clock.high, clock.low);
        line(out, &format!("    {:name$}  {times}  ({})", clock.net, clock.origin));
    }
}

fn rates(out: &mut String, report: &Report) {
    if report.runs.iter().all(|run| run.rates.is_empty()) {
        return;
    }
    line(out, "\n  highest rates");
    for run in &report.runs {
        for rate in &run.rates {
            let highest = match (rate.highest, rate.period) {
                (Some(highest), Some(period)) => format!("{highest} ({period})"),
                _ => "nothing limits it".to_owned(),
            };
            let limit = rate
                .limit
                .as_ref()
                .map_or_else(String::new, |limit| format!("   {} of {} {}", limit.kind.word(), limit.at, limit.number));
            line(out, &format!("    {:8} parts  {}  {highest}{limit}", run.parts.word(), rate.clock));
        }
    }
    let never = report.runs.iter().filter(|run| run.at_any_rate > 0);
    let never: Vec<String> =
        never.map(|run| format!("{} hold with {} parts", run.at_any_rate, run.parts.word())).collect();
    if !never.is_empty() {
        let never = never.join(", ");
        line(out, &format!("    at no rate does all of it hold: {never}"));
    }
    // The same advice for parts of several speeds is told once.
    let mut told: Vec<(&str, Vec<&str>)> = Vec::new();
    for run in &report.runs {
        let limits = run.rates.iter().filter_map(|rate| rate.limit.as_ref());
        for advice in limits.filter_map(|limit| limit.advice.as_deref()) {
            let word = run.parts.word();
            match told.iter_mut().find(|(known, _)| *known == advice) {
                Some((_, words)) if words.contains(&word) => {}
                Some((_, words)) => words.push(word),
                None => told.push((advice, vec![word])),
            }
        }
    }
    for (advice, words) in told.iter().take(MOST_ADVICE) {
        let words = words.join(", ");
        line(out, &format!("    to be faster, {words} parts: {advice}"));
    }
}

fn details(out: &mut String, run: &Run) {
    let word = run.parts.word();
    if !run.histogram.is_empty() {
        let head = format!("\n  slack, {word} parts, {} requirements", run.checks);
        line(out, &head);
        histogram(out, run);
    }
    if !run.paths.is_empty() {
        line(out, &format!("\n  worst paths, {word} parts"));
        for path in &run.paths {
            path_text(out, path);
        }
    }
    if !run.turn_rounds.is_empty() {
        let head = format!("\n  buses that change hands, {word} parts");
        line(out, &head);
        for row in run.turn_rounds.iter().take(MOST_ROWS) {
            turn_round(out, row);
        }
        more(out, run.turn_rounds.len());
    }
    if !run.inputs.is_empty() {
        line(out, &format!("\n  inputs from outside, {word} parts"));
        for row in run.inputs.iter().take(MOST_ROWS) {
            line(out, &format!("    {}: {}", row.net, window(row)));
        }
        more(out, run.inputs.len());
    }
    if !run.outputs.is_empty() {
        line(out, &format!("\n  outputs, {word} parts"));
        outputs(out, run);
    }
    if !run.straight.is_empty() {
        line(out, &format!("\n  straight through, {word} parts"));
        for row in run.straight.iter().take(MOST_ROWS) {
            straight(out, row);
        }
        more(out, run.straight.len());
    }
    if run.contradictory > 0 {
        line(
            out,
            &format!(
                "\n  left out at {} places: ways through two outputs that are never on together",
                run.contradictory
            ),
        );
    }
}

fn turn_round(out: &mut String, row: &TurnaroundRow) {
    let overlap = if row.overlap > Time::ZERO {
        format!("both drive for up to {} ({} off, {} on)", row.overlap, row.overlapping.0, row.overlapping.1)
    } else {
        "never two at once".to_owned()
    };
    let gap = if row.gap > Time::ZERO {
        format!("nobody for up to {} ({} off, {} on)", row.gap, row.parted.0, row.parted.1)
    } else {
        "never nobody".to_owned()
    };
    let text = format!("    {}, {}: {overlap}; {gap}", row.net, row.edge);
    line(out, &text);
}

fn outputs(out: &mut String, run: &Run) {
    // Of the edges that move an output, the one behind which it moves last.
    let mut last: Vec<&OutputRow> = Vec::new();
    for row in run.outputs.iter().filter(|row| !is_its_own_clock(row)) {
        match last.iter_mut().find(|other| other.net == row.net) {
            Some(other) if other.latest >= row.latest => {}
            Some(other) => *other = row,
            None => last.push(row),
        }
    }
    for row in last.iter().take(MOST_ROWS) {
        let when = if row.earliest == row.latest {
            row.latest.to_string()
        } else {
            format!("{} to {}", row.earliest, row.latest)
        };
        let edge = reference(&row.edge, row.root.as_deref());
        line(out, &format!("    {}: moves {when} after the {edge}", row.net));
    }
    more(out, last.len());
    let told = |net: &str| last.iter().any(|row| row.net == net);
    let clocks = run.outputs.iter().filter(|row| is_its_own_clock(row));
    let mut clocks: Vec<&str> = clocks.map(|row| row.net.as_str()).collect();
    clocks.retain(|net| !told(net));
    clocks.dedup();
    if !clocks.is_empty() {
        let clocks = listed(&clocks);
        line(out, &format!("    {clocks}: made as clocks; when they move behind another clock is not told"));
    }
}

fn more(out: &mut String, rows: usize) {
    if rows > MOST_ROWS {
        line(out, &format!("    and {} more", rows - MOST_ROWS));
    }
}

/// Names with commas between, as many as a report shows of one kind.
fn listed(names: &[&str]) -> String {
    match names.split_at_checked(MOST_ROWS) {
        Some((first, rest)) if !rest.is_empty() => {
            format!("{} and {} more", first.join(", "), rest.len())
        }
        _ => names.join(", "),
    }
}

/// True for an output that is a clock, compared with its own edge.
fn is_its_own_clock(row: &OutputRow) -> bool {
    let clock = row.edge.split_once(" of ").map(|(_, clock)| clock);
    clock == Some(row.net.as_str())
}

/// When an input must stand still, in words. It may be free again before the edge, or come behind it.
fn window(row: &InputRow) -> String {
    let zero = Time::ZERO;
    let before = row.before.map(|time| match time < zero {
        true => format!("there {} after", zero - time),
        false => format!("there {time} before"),
    });
    let after = row.after.map(|time| match time < zero {
        true => format!("free to move from {} before", zero - time),
        false => format!("still there {time} after"),
    });
    let both: Vec<String> = before.into_iter().chain(after).collect();
    let edge = reference(&row.edge, row.root.as_deref());
    format!("{} the {edge}", both.join(" and "))
}

/// The edge that times count from. A made clock moves behind that of the clock that it begins with.
fn reference(edge: &str, root: Option<&str>) -> String {
    root.map_or_else(|| edge.to_owned(), |root| format!("edge of {root} that brings the {edge}"))
}

fn histogram(out: &mut String, run: &Run) {
    let most = run.histogram.iter().map(|bin| bin.count).max().unwrap_or(1).max(1);
    let width = run.histogram.iter().map(|bin| bin.from.to_string().len()).max().unwrap_or(0);
    let mut skipped = false;
    for bin in &run.histogram {
        if bin.count == 0 {
            if !std::mem::replace(&mut skipped, true) {
                line(out, &format!("    {:>width$}", "..."));
            }
            continue;
        }
        skipped = false;
        let bar = "#".repeat((bin.count * BAR).div_ceil(most));
        let mark = if bin.from < Time::ZERO { " <" } else { "" };
        line(out, &format!("    {:>width$}  {:5}  {bar}{mark}", bin.from.to_string(), bin.count));
    }
}

fn loops(out: &mut String, report: &Report) {
    if !report.loops.is_empty() {
        line(out, "\n  loops without storage: cut, and not timed all the way round");
        for around in &report.loops {
            line(out, &format!("    {}", around.join(" -> ")));
        }
    }
}

fn unused(out: &mut String, report: &Report) {
    if !report.unused.is_empty() {
        line(out, "\n  paths that are said to be unused");
        for row in &report.unused {
            let told = match (row.exists, row.left_out) {
                (false, _) => "THERE IS NO SUCH PATH".to_owned(),
                (true, 0) => "never the worst at its end".to_owned(),
                (true, count) => format!("left out {count} times"),
            };
            line(out, &format!("    {}: {told}: {}", row.place, row.reason));
        }
    }
}

fn remarks(out: &mut String, report: &Report) {
    if !report.remarks.is_empty() || !report.unclocked.is_empty() {
        line(out, "\n  not judged");
    }
    for remark in &report.remarks {
        line(out, &format!("    {remark}"));
    }
    for pin in report.unclocked.iter().take(MOST_ROWS) {
        line(out, &format!("    no clock reaches {pin}"));
    }
    more(out, report.unclocked.len());
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(before: Option<i64>, after: Option<i64>) -> String {
        window(&InputRow {
            net: "d".to_owned(),
            edge: "rise of clk".to_owned(),
            root: None,
            before: before.map(Time::from_ps),
            after: after.map(Time::from_ps),
        })
    }

    // A negative hold time means that the data may change before the edge (common practice).
    #[test]
    fn times_below_zero_are_told_on_their_side_of_the_edge() {
        assert_eq!(
            told(Some(60_000), Some(-52_000)),
            "there 60 ns before and free to move from 52 ns before the rise of clk"
        );
        assert_eq!(told(Some(-5_000), Some(9_000)), "there 5 ns after and still there 9 ns after the rise of clk");
        assert_eq!(told(None, Some(0)), "still there 0 ns after the rise of clk");
    }
}
