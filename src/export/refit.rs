//! A refit as text for a person at a bench: both sides beside each other.

use crate::refit::{AtRest, Edit, Pair, Refit, Reordered, Replaced, Turned};
use crate::sweep::{Highest, Outcome, Verdict};
use crate::text::WIDEST_COLUMN;
use std::fmt::Write;

/// Lines of one kind that are shown; the rest is in the JSON view.
const MOST_LINES: usize = 40;

pub fn text(refit: &Refit) -> String {
    let mut out = String::new();
    let chips = refit.replaced.len();
    let plural = if chips == 1 { "chip" } else { "chips" };
    let _ = writeln!(out, "refit on {}: {chips} {plural}", refit.on);
    lines(&mut out, &refit.replaced, |out, chip| {
        let estimated = if chip.estimated { ", ESTIMATED figures" } else { "" };
        let _ = writeln!(out, "    {}: {} becomes {}{estimated}", chip.path, chip.from, chip.to);
        for pin in &chip.renamed {
            let _ = writeln!(out, "      another name: {pin}");
        }
    });
    if !refit.kept.is_empty() {
        out.push_str("\n  not replaced\n");
        lines(&mut out, &refit.kept, |out, chip| {
            let _ = writeln!(out, "    {} ({}): {}", chip.path, chip.number, chip.why);
        });
    }
    out.push_str("\n  what to change in the files, which are left as they are\n");
    lines(&mut out, &refit.edits, |out, line| edit(out, line, refit));
    for (what, list) in [("would be gone", &refit.findings.gone), ("would be new", &refit.findings.come)] {
        if !list.is_empty() {
            let _ = writeln!(out, "\n  findings of `coldboard check` that {what}");
            lines(&mut out, list, |out, text| {
                let _ = writeln!(out, "    {text}");
            });
        }
    }
    trials(&mut out, refit);
    timing(&mut out, refit);
    rests(&mut out, refit);
    currents(&mut out, refit);
    out
}

fn lines<T>(out: &mut String, list: &[T], mut line: impl FnMut(&mut String, &T)) {
    for item in list.iter().take(MOST_LINES) {
        line(out, item);
    }
    if list.len() > MOST_LINES {
        let _ = writeln!(out, "    and {} more", list.len() - MOST_LINES);
    }
}

fn edit(out: &mut String, edit: &Edit, refit: &Refit) {
    let _ = writeln!(out, "    {}: write {} for {} ({})", edit.place, edit.to, edit.from, edit.chips.join(" "));
    let renamed = |chip: &&Replaced| edit.chips.contains(&chip.path) && !chip.renamed.is_empty();
    if refit.replaced.iter().any(|chip| renamed(&chip)) {
        out.push_str("      and its pins by their new names\n");
    }
    if !edit.others.is_empty() {
        let _ = writeln!(
            out,
            "      the same line also makes {}, not to be changed so: give them a line, or a board, of their own",
            edit.others.join(" ")
        );
    }
}

fn trials(out: &mut String, refit: &Refit) {
    let mut rows: Vec<[String; 3]> = Vec::new();
    let mut notes: Vec<(usize, String)> = Vec::new();
    for pair in &refit.runs {
        let (is, would) = (&pair.outcome.is, &pair.outcome.would);
        rows.push([
            format!("{}, {}", pair.trial, pair.corner),
            verdict(&is.run).to_owned(),
            verdict(&would.run).to_owned(),
        ]);
        if let (Some(is), Some(would)) = (&is.highest, &would.highest) {
            let (is, would) = (rate(is, &pair.outcome.is.run), rate(would, &pair.outcome.would.run));
            rows.push(["  highest clock rate".to_owned(), is, would]);
        }
        if is.run.swallowed > 0 || would.run.swallowed > 0 {
            rows.push(["  pulses swallowed".to_owned(), is.run.swallowed.to_string(), would.run.swallowed.to_string()]);
        }
        let mut told = String::new();
        remarks(&mut told, pair);
        notes.push((rows.len(), told));
    }
    if rows.is_empty() {
        out.push_str("\n  no trial runs on it: nothing was tried\n");
        return;
    }
    let width = |at: usize| rows.iter().map(|row| row[at].chars().count()).max().unwrap_or(0).min(WIDEST_COLUMN);
    let (first, second) = (width(0), width(1).max("as it is".len()));
    let _ = writeln!(out, "\n  {:first$}  {:second$}  as it would be", "", "as it is");
    let searched = refit.runs.iter().any(|pair| pair.outcome.is.highest.is_some());
    let mut notes = notes.into_iter().peekable();
    for (at, [name, is, would]) in rows.iter().enumerate() {
        let _ = writeln!(out, "  {name:first$}  {is:second$}  {would}");
        while let Some((_, told)) = notes.next_if(|(end, _)| *end == at + 1) {
            out.push_str(&told);
        }
    }
    if searched {
        out.push_str(
            "  The rates were found by halving, and some lower ones were tried as well: that does not prove that all\n  \
             lower ones pass, and no trial proves what it does not exercise.\n",
        );
    }
}

fn verdict(run: &Outcome) -> &'static str {
    match run.verdict {
        Verdict::Passed => "passed",
        Verdict::Requirement => "A REQUIREMENT NOT KEPT",
        Verdict::Fault => "A FAULT",
        Verdict::Expectation => "FAILED",
        Verdict::Supply => "NOT RUN: OUTSIDE ITS SUPPLY RANGE",
    }
}

fn rate(highest: &Highest, run: &Outcome) -> String {
    match (&highest.passed, &highest.failed) {
        (None, _) if run.verdict == Verdict::Supply => "not run".to_owned(),
        (None, _) => "not even the lowest".to_owned(),
        (Some(passed), None) => format!("{passed} or more"),
        (Some(passed), Some(_)) => passed.clone(),
    }
}

/// What there is to say of one trial below its rows.
fn remarks(out: &mut String, pair: &Pair) {
    let sides = [("as it is", &pair.outcome.is), ("as it would be", &pair.outcome.would)];
    for (side, what) in sides {
        if let Some(first) = &what.run.first {
            let _ = writeln!(out, "      {side}: {first}");
        }
        if let Some(limit) = what.highest.as_ref().and_then(|highest| highest.limit.as_ref()) {
            let _ = writeln!(out, "      above the highest rate, {side}: {limit}");
        }
    }
    turned(out, &pair.faults);
    if let Some(first) = &pair.difference {
        let _ = writeln!(
            out,
            "      first difference: at {} {} is {}, and would be {}",
            first.time, first.net, first.level.is, first.level.would
        );
    }
    if let Some(order) = &pair.reordered {
        let _ = writeln!(out, "      other levels, not only other times: {}", otherwise(order));
    }
    if let Some(time) = &pair.compared {
        let _ = writeln!(out, "      levels were compared until {time}: the run is too long to keep more of them");
    }
}

/// The first change of a net that is another one on the other side, as a sentence.
fn otherwise(order: &Reordered) -> String {
    let Reordered { net, change, time, level } = order;
    let side = |level: &Option<&str>, time: &Option<String>| {
        let (level, time) = (level.as_ref()?, time.as_ref()?);
        Some(format!("{level} at {time}"))
    };
    match (side(&level.is, &time.is), side(&level.would, &time.would)) {
        (Some(is), Some(would)) => {
            format!("change number {change} of {net} is to {is}, and would be to {would}")
        }
        (Some(is), None) => format!("change number {change} of {net}, to {is}, would not come"),
        (None, Some(would)) => {
            format!("{net} would change once more, to {would}: that would be its change number {change}")
        }
        (None, None) => format!("the changes of {net}"),
    }
}

fn turned(out: &mut String, faults: &Turned<String>) {
    for (what, list) in [("a fault that would be gone", &faults.gone), ("a new fault", &faults.come)] {
        for text in list.iter().take(MOST_LINES) {
            let _ = writeln!(out, "      {what}: {text}");
        }
    }
}

fn rests(out: &mut String, refit: &Refit) {
    for (what, list) in [("would no longer", &refit.rules.gone), ("would now", &refit.rules.come)] {
        if list.is_empty() {
            continue;
        }
        let _ = writeln!(out, "\n  delays that {what} rest on a rule, because no sheet gives them");
        for rests in list {
            let _ = writeln!(out, "    {}\n      {}", rests.rule, rests.parts.join(" "));
        }
    }
}

fn timing(out: &mut String, refit: &Refit) {
    if refit.timing.is.is_empty() && refit.timing.would.is_empty() {
        return;
    }
    out.push_str("\n  static timing, slowest parts\n");
    for (side, limits) in [("as it is", &refit.timing.is), ("as it would be", &refit.timing.would)] {
        for limit in limits {
            let rate = limit.highest.map_or("no limit".to_owned(), |rate| format!("at most {rate}"));
            let _ = writeln!(out, "    {side}: {} {}, {rate}", limit.clock, limit.given);
            if limit.failing > 0 {
                let _ = writeln!(
                    out,
                    "      AT THIS RATE {} not kept",
                    match limit.failing {
                        1 => "a requirement is".to_owned(),
                        some => format!("{some} requirements are"),
                    }
                );
            }
            if let Some(path) = &limit.path {
                for step in &path.steps {
                    let _ = writeln!(out, "      {step}");
                }
                let _ = writeln!(out, "      {} {}", path.end, path.least);
            }
        }
    }
}

fn currents(out: &mut String, refit: &Refit) {
    let side = |rest: &AtRest| match rest.chips {
        0 => "no figure".to_owned(),
        1 => format!("{} (1 chip)", rest.current),
        chips => format!("{} ({chips} chips)", rest.current),
    };
    let _ = writeln!(
        out,
        "\n  supply current at rest, by the largest limits of the sheets: {}, and would be {}",
        side(&refit.at_rest.is),
        side(&refit.at_rest.would)
    );
    out.push_str("    without what switching and lamps draw\n");
    if !refit.at_rest.would.without.is_empty() {
        let _ = writeln!(out, "    no figure for {}", refit.at_rest.would.without.join(" "));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::refit::Both;

    fn told(is: Option<&'static str>, would: Option<&'static str>) -> String {
        let time = |level: Option<&str>| level.map(|_| "12 ns".to_owned());
        otherwise(&Reordered {
            net: "q0".to_owned(),
            change: 4,
            time: Both { is: time(is), would: time(would) },
            level: Both { is, would },
        })
    }

    #[test]
    fn a_change_that_is_missing_is_told_as_such() {
        assert_eq!(
            told(Some("high"), Some("unknown")),
            "change number 4 of q0 is to high at 12 ns, and would be to unknown at 12 ns"
        );
        assert_eq!(told(Some("high"), None), "change number 4 of q0, to high at 12 ns, would not come");
        assert_eq!(
            told(None, Some("high")),
            "q0 would change once more, to high at 12 ns: that would be its change number 4"
        );
    }
}
