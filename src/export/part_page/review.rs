//! What the author of a part should mend: rows of the function table that the formulas do not follow, pins that
//! nothing uses, ways that no figure times, figures without a source or at odds with each other.

mod figures;

use super::tree;
use crate::diagnostic::{self, Diagnostic};
use crate::language::ast::{self, PartStatement};
use crate::part::sheet::{ArcKind, Sheet};
use crate::part::table::verify;
use crate::part::{Part, PinIndex, PinKind};
use crate::quantity::Voltage;
use crate::text::{Sources, Span};
use std::collections::{BTreeMap, BTreeSet};

/// The tables are run from several random starts.
const SEEDS: std::ops::RangeInclusive<u64> = 1..=3;
/// Names that one message lists.
const MOST_NAMES: usize = 12;

/// What there is to mend, in order of place.
pub fn review(sources: &Sources, part: &Part) -> Vec<Diagnostic> {
    let mut found = follows_its_tables(part);
    found.extend(uses_its_pins(sources, part));
    for sheet in &part.sheets {
        found.extend(is_sourced(sheet));
        found.extend(times_every_way(part, sheet));
        found.extend(figures::slips(sheet));
    }
    if part.sheets.is_empty() {
        let message = format!("the part {} has no sheet: it would have no delay", part.name);
        found.push(
            Diagnostic::warning("no-sheet", message)
                .at(part.span, "this part")
                .help("write `family HC { ... }` with the figures of its data sheet"),
        );
    }
    diagnostic::sort(&mut found);
    found
}

/// One failure for each row and output.
fn follows_its_tables(part: &Part) -> Vec<Diagnostic> {
    let mut seen = BTreeSet::new();
    let failures = SEEDS.flat_map(|seed| verify(part, seed));
    let mut found: Vec<Diagnostic> = failures
        .filter(|failure| seen.insert((failure.row, failure.output.clone())))
        .map(|failure| failure.to_diagnostic())
        .collect();
    // An oscillator has no inputs that a table could tell of.
    if part.tables.is_empty() && part.function.oscillator.is_none() {
        let message = format!("the part {} has no function table to be tried against", part.name);
        found.push(
            Diagnostic::warning("no-table", message)
                .at(part.span, "this part")
                .help("copy the function table of its data sheet into `table { ... }`"),
        );
    }
    found
}

fn uses_its_pins(sources: &Sources, part: &Part) -> Vec<Diagnostic> {
    let function = &part.function;
    let tree = tree(sources, part);
    let place = |pin: PinIndex| {
        let line = tree.as_ref().and_then(|tree| line_of(tree, part.pins[pin].number));
        line.unwrap_or(part.span)
    };
    let mut found = Vec::new();
    let masks = function.arcs.iter().chain(&function.data);
    let used = masks.fold(function.sensitive, |all, mask| all | mask);
    for (bit, &pin) in function.inputs.iter().enumerate() {
        if used >> bit & 1 == 0 && !part.pins[pin].drives() {
            let message = format!("no formula uses the pin {}", part.pins[pin].name);
            found.push(
                Diagnostic::error("pin-unused", message)
                    .at(place(pin), "read by nothing")
                    .help("use it in a formula, or make it `none` if the model leaves it out"),
            );
        }
    }
    for (bit, &pin) in function.outputs.iter().enumerate() {
        if function.arcs[bit] == 0 && function.oscillator.is_none() {
            let message = format!("no input moves the pin {}", part.pins[pin].name);
            found.push(
                Diagnostic::error("pin-unused", message).at(place(pin), "moved by nothing").help("mend its formula"),
            );
        }
    }
    for (kind, word) in [(PinKind::Power, "power"), (PinKind::Ground, "ground")] {
        if part.pins_of(kind).next().is_none() {
            let message = format!("the part {} has no {word} pin", part.name);
            found.push(
                Diagnostic::warning("no-supply", message)
                    .at(part.span, "this part")
                    .help(format!("write it into the package: `8 NAME {word}`")),
            );
        }
    }
    found
}

/// The line of the package that a pin stands in.
fn line_of(tree: &ast::Part, number: u32) -> Option<Span> {
    let packages = tree.body.iter().filter_map(|statement| match statement {
        PartStatement::Package(package) => Some(package),
        _ => None,
    });
    let mut lines = packages.flat_map(|package| &package.pins);
    let line = lines.find(|line| line.numbers.numbers.contains(&number))?;
    Some(line.numbers.span.to(line.name.span))
}

fn is_sourced(sheet: &Sheet) -> Vec<Diagnostic> {
    let named = sheet.sources.iter().any(|source| !source.trim().is_empty());
    let mut found = Vec::new();
    if sheet.blocks.is_empty() {
        let message = format!("the sheet {} has no figures", sheet.name);
        found.push(
            Diagnostic::warning("no-figures", message)
                .at(sheet.span, "this sheet")
                .help("write `at 5 V 50 pF { ... }` with the rows of the data sheet"),
        );
    } else if !named {
        found.extend(unsourced_rows(sheet));
    }
    found
}

/// A sheet without a source is in order when each of its rows names one.
fn unsourced_rows(sheet: &Sheet) -> Option<Diagnostic> {
    let named = |source: &Option<String>| source.as_ref().is_some_and(|source| !source.trim().is_empty());
    let arcs = sheet.blocks.iter().flat_map(|block| &block.arcs);
    let checks = sheet.blocks.iter().flat_map(|block| &block.checks);
    let arcs = arcs.map(|arc| (arc.span, named(&arc.source)));
    let checks = checks.map(|check| (check.span, named(&check.source)));
    let durations = sheet.blocks.iter().flat_map(|block| &block.durations);
    let durations = durations.map(|row| (row.span, named(&row.source)));
    let bare: BTreeSet<Span> =
        arcs.chain(checks).chain(durations).filter(|(_, named)| !named).map(|(span, _)| span).collect();
    let others = sheet.blocks.iter().any(|block| !block.thresholds.is_empty() || block.start_up.is_some());
    if bare.is_empty() && !others {
        return None;
    }
    let message = format!("the figures of the sheet {} have no source", sheet.name);
    let mut problem = Diagnostic::error("no-source", message).at(sheet.span, "no `source`");
    if let Some(&first) = bare.first() {
        problem = problem.at(first, "such as this row");
    }
    Some(problem.help("write `source \"PUBLISHER DOCUMENT, DATE\"`, or `source \"from memory\"` when it is"))
}

/// Ways from an input to an output that the sheet does not time, those of the same outputs and voltages together. The
/// blocks of one voltage, which differ in their load, count together; a voltage without any delay holds other things.
fn times_every_way(part: &Part, sheet: &Sheet) -> Vec<Diagnostic> {
    let function = &part.function;
    let timed: BTreeSet<(Voltage, usize, usize)> = sheet
        .blocks
        .iter()
        .flat_map(|block| block.arcs.iter().map(move |arc| (block.voltage, arc)))
        .filter(|(_, arc)| arc.kind != ArcKind::OutputHold && arc.figures.iter().any(Option::is_some))
        .map(|(voltage, arc)| (voltage, arc.from, arc.to))
        .collect();
    let voltages = sheet.delay_voltages();
    // From one input, at the same voltages: the outputs.
    let mut ways: BTreeMap<(usize, Vec<Voltage>), Vec<usize>> = BTreeMap::new();
    for (to, arc) in function.arcs.iter().enumerate() {
        for from in (0..function.inputs.len()).filter(|from| arc >> from & 1 == 1) {
            let missing: Vec<Voltage> =
                voltages.iter().filter(|&&voltage| !timed.contains(&(voltage, from, to))).copied().collect();
            if !missing.is_empty() {
                ways.entry((from, missing)).or_default().push(to);
            }
        }
    }
    // To the same outputs, at the same voltages: the inputs.
    let mut untimed: BTreeMap<(Vec<usize>, Vec<Voltage>), Vec<usize>> = BTreeMap::new();
    for ((from, at), outputs) in ways {
        untimed.entry((outputs, at)).or_default().push(from);
    }
    let names = |bits: &[usize], word: &[PinIndex]| {
        let names = bits.iter().map(|&bit| part.pins[word[bit]].name.clone());
        listed(&names.collect::<Vec<_>>())
    };
    let message = |((outputs, at), inputs): ((Vec<usize>, Vec<Voltage>), Vec<usize>)| {
        let at: Vec<String> = at.iter().map(Voltage::to_string).collect();
        let message = format!(
            "{} does not time {} -> {} at {}",
            sheet.name,
            names(&inputs, &function.inputs),
            names(&outputs, &function.outputs),
            listed(&at),
        );
        Diagnostic::warning("way-untimed", message)
            .at(sheet.span, "this sheet")
            .note("the longest of the other delays to the same output stands in")
            .help("write a row for it, if the data sheet has one")
    };
    untimed.into_iter().map(message).collect()
}

fn listed(names: &[String]) -> String {
    match names.split_at_checked(MOST_NAMES) {
        Some((first, rest)) if !rest.is_empty() => {
            format!("{} and {} more", first.join(", "), rest.len())
        }
        _ => names.join(", "),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::part::Library;

    fn told(text: &str) -> Vec<String> {
        let mut library = Library::default();
        library.add_text("x.part", text);
        let problems = library.problems();
        let part = library.part("X").unwrap_or_else(|| panic!("{problems:?}"));
        let sources = library.sources();
        review(sources, &part)
            .iter()
            .map(|problem| {
                let place = sources.place(problem.labels[0].span);
                format!("{} {}: {}", place, problem.severity.word(), problem.message)
            })
            .collect()
    }

    #[test]
    fn a_good_part_has_nothing_to_mend() {
        let good = r#"part X {
            package DIP4 { 1 A in  2 GND ground  3 Y out  4 VCC power }
            Y = not A
            table { A | Y
                    L | H
                    H | L }
            family HC { columns limit 25 C  at 5 V { delay A -> Y 9 ns from "Maker" } }
        }"#;
        assert_eq!(told(good), [""; 0]);
    }

    #[test]
    fn each_mistake_is_told_at_its_place() {
        let bad = r#"part X {
            package DIP6 { 1 A in  2 B in
                           3 C in  4 Y out  5 Z out }
            Y = A or B
            Z = A
            table {
                A B | Y
                L L | H
                H * | H
            }
            family HC { columns limit 25 C
                        at 4.5 V { delay A -> Y, Z 9 ns }
                        at 6 V { delay A -> Z 9 ns  delay B -> Y 7 ns } }
            family LS { }
        }"#;
        assert_eq!(
            told(bad),
            [
                "x.part:1:6 warning: the part X has no ground pin",
                "x.part:1:6 warning: the part X has no power pin",
                "x.part:3:28 error: no formula uses the pin C",
                "x.part:8:17 error: the part X does not follow its function table",
                "x.part:11:20 error: the figures of the sheet HC have no source",
                "x.part:11:20 warning: HC does not time A -> Y at 6 V",
                "x.part:11:20 warning: HC does not time B -> Y at 4.5 V",
                "x.part:14:20 warning: the sheet LS has no figures",
            ]
        );
    }

    #[test]
    fn a_part_without_table_and_sheet_is_told() {
        let bare = "part X { package DIP4 { 1 A in  2 GND ground  3 Y out  4 VCC power }  Y = A }";
        assert_eq!(
            told(bare),
            [
                "x.part:1:6 warning: the part X has no function table to be tried against",
                "x.part:1:6 warning: the part X has no sheet: it would have no delay",
            ]
        );
    }
}
