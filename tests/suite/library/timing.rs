//! Every way from an input to an output has a published delay, or a reason why it has none.
//!
//! Where a sheet gives none, the slowest delay that it gives to that output stands in; this list is where to look
//! when another document turns up.

use super::{none_of, parts};
use coldboard::delay::{Conditions, DelayTable, Rule};
use coldboard::language::ast::Corner;
use coldboard::part::sheet::{ArcKind, Sheet};
use coldboard::part::{ColumnKind, Part};
use coldboard::quantity::Voltage;
use std::collections::BTreeSet;

/// Ways that a sheet does not time.
struct Gap {
    /// Part numbers.
    parts: &'static str,
    /// Families or grades; all when empty.
    sheets: &'static str,
    /// Pins or vectors.
    from: &'static str,
    /// Pins or vectors.
    to: &'static str,
    /// Why there is nothing.
    why: &'static str,
}

/// The document has no figure for it, or none that could be read.
const NOT_FOUND: &str = "no figure was found in the sheet's document";
/// The two clock inputs of these parts are joined inside.
const OTHER_CLOCK: &str = "the sheet times the other of two clock inputs that are joined inside";
/// As data pins of a memory, which show only what was stored before.
const NOT_ALONE: &str = "it moves the output only together with another input, which is timed";

const GAPS: &[Gap] = &[
    gap("181", "", "M S", "/F /G /P AEQB CN4", NOT_FOUND),
    gap("181", "", "CN", "AEQB", NOT_FOUND),
    gap("244", "AHC", "/1OE", "1Y1 1Y2 1Y3 1Y4", NOT_FOUND),
    gap("244", "AHC", "/2OE", "2Y1 2Y2 2Y3 2Y4", NOT_FOUND),
    gap("245 640 645", "", "DIR", "A B", NOT_FOUND),
    gap("160 161", "LS TTL", "/CLR", "RCO", NOT_FOUND),
    gap("190 191", "", "/LOAD A B C D", "/RCO MAX/MIN", NOT_FOUND),
    gap("190 191", "TTL", "/CTEN", "/RCO", NOT_FOUND),
    gap("192", "", "CLR /LOAD A B C D", "/CO /BO", NOT_FOUND),
    gap("193", "LS TTL", "CLR /LOAD A B C D", "/CO /BO", NOT_FOUND),
    gap("192", "", "A B C D", "Q", NOT_FOUND),
    gap("193", "LS TTL", "A B C D", "Q", NOT_FOUND),
    gap("192", "HC", "DOWN", "Q", NOT_FOUND),
    gap("192 193", "", "DOWN", "/CO", NOT_ALONE),
    gap("192 193", "", "UP", "/BO", NOT_ALONE),
    gap("393", "LS", "1CLK", "1QB 1QC", NOT_FOUND),
    gap("393", "LS", "2CLK", "2QB 2QC", NOT_FOUND),
    gap("138", "ALS", "G1 /G2A /G2B", "Y", NOT_FOUND),
    gap("158", "HC HCT", "/A/B", "1Y 2Y 3Y 4Y", NOT_FOUND),
    gap("158", "HCT", "/G", "1Y 2Y 3Y 4Y", NOT_FOUND),
    gap("373 374 573 574", "ALS", "/OE", "Q", NOT_FOUND),
    gap("573 574", "AHC", "/OE", "Q", NOT_FOUND),
    gap("173", "HCT", "M N", "Q", NOT_FOUND),
    gap("564", "HC", "/OE", "/Q", NOT_FOUND),
    gap("367 368", "HC HCT", "/1OE /2OE", "1Y1 1Y2 1Y3 1Y4 2Y1 2Y2", NOT_FOUND),
    gap("640", "HCT", "/OE", "A B", NOT_FOUND),
    gap("165", "HC LS TTL", "CLKINH", "QH /QH", OTHER_CLOCK),
    gap("166", "ALS", "CLKINH", "QH", OTHER_CLOCK),
    gap("165", "TTL", "H", "/QH", NOT_FOUND),
    gap("195", "LS", "/CLR", "/QD", NOT_FOUND),
    gap("299", "", "S0 S1", "IO", NOT_FOUND),
    gap("170 670", "LS", "WA WB", "Q", NOT_FOUND),
    gap("4060", "", "PHII", "PHIO /PHIO", NOT_FOUND),
    gap("189", "", "D", "/Q", NOT_ALONE),
    gap("219", "", "D", "Q", NOT_ALONE),
    gap("6116 6264 62256 628128 628512", "", "DQ", "DQ", NOT_ALONE),
    gap("28C16 28C64 28C256 28HC256", "", "/WE", "DQ", NOT_FOUND),
    gap("39SF010A 6116", "", "/WE", "DQ", NOT_FOUND),
];

const fn gap(
    parts: &'static str,
    sheets: &'static str,
    from: &'static str,
    to: &'static str,
    why: &'static str,
) -> Gap {
    Gap { parts, sheets, from, to, why }
}

#[test]
fn every_way_is_timed_or_named() {
    let mut found = Vec::new();
    let mut used = BTreeSet::new();
    for (entry, part) in parts() {
        for sheet in &part.sheets {
            for (voltage, from, to) in untimed(part, sheet) {
                let gap = GAPS.iter().position(|gap| gap.covers(part, sheet, from, to));
                match gap {
                    Some(gap) => {
                        used.insert(gap);
                    }
                    None => {
                        let (from, to) = (input(part, from), output(part, to));
                        let place = entry.sources.place(sheet.span);
                        found.push(format!("{place}: {} at {voltage} does not time {from} -> {to}", sheet.name));
                    }
                }
            }
        }
    }
    for (at, gap) in GAPS.iter().enumerate() {
        if !used.contains(&at) {
            let Gap { parts, sheets, from, to, why } = gap;
            found.push(format!("{parts} {sheets}: {from} -> {to} is timed now, and no gap ({why})"));
        }
    }
    none_of(found);
}

/// The ways that a sheet does not time at some voltage, as bits of the input and the output word. The blocks of one
/// voltage, which differ in their load, count together. A voltage without any delay holds thresholds or requirements.
fn untimed(part: &Part, sheet: &Sheet) -> Vec<(Voltage, usize, usize)> {
    let timed: BTreeSet<(Voltage, usize, usize)> = sheet
        .blocks
        .iter()
        .flat_map(|block| block.arcs.iter().map(move |arc| (block.voltage, arc)))
        .filter(|(_, arc)| arc.kind != ArcKind::OutputHold && arc.figures.iter().any(Option::is_some))
        .map(|(voltage, arc)| (voltage, arc.from, arc.to))
        .collect();
    let voltages = sheet.delay_voltages();
    let ways = part.function.arcs.iter().enumerate();
    let ways = ways.flat_map(|(to, arc)| (0..64).filter(move |from| arc >> from & 1 == 1).map(move |from| (from, to)));
    let ways: Vec<(usize, usize)> = ways.collect();
    let all = voltages.iter().flat_map(|&voltage| ways.iter().map(move |&(from, to)| (voltage, from, to)));
    all.filter(|way| !timed.contains(way)).collect()
}

/// Typical delays that a sheet gives besides its limits, at another supply or load, leave the slowest corner alone.
#[test]
fn no_limit_is_guessed_where_the_sheet_has_one() {
    let mut found = Vec::new();
    for (entry, part) in parts() {
        for sheet in &part.sheets {
            let arcs = || sheet.blocks.iter().flat_map(|block| &block.arcs);
            let ways = |wanted: &dyn Fn(ColumnKind) -> bool| -> BTreeSet<_> {
                arcs()
                    .filter(|arc| {
                        let mut given = sheet.columns.iter().zip(&arc.figures);
                        given.any(|(column, figure)| figure.is_some() && wanted(column.kind))
                    })
                    .map(|arc| (arc.from, arc.to, arc.kind))
                    .collect()
            };
            let limits = ways(&|kind| kind == ColumnKind::Limit);
            let typical = ways(&|kind| kind == ColumnKind::Typ);
            if limits.is_empty() || !typical.is_subset(&limits) {
                continue;
            }
            let conditions = Conditions::at(Voltage::from_raw(5_000_000), Corner::Slowest);
            let table = DelayTable::new(part, Some(sheet), &conditions);
            if table.rules.contains(&Rule::SlowestIsTwiceTypical) {
                found.push(format!("{}: {}", entry.path, sheet.name));
            }
        }
    }
    none_of(found);
}

fn input(part: &Part, bit: usize) -> &str {
    &part.pins[part.function.inputs[bit]].name
}

fn output(part: &Part, bit: usize) -> &str {
    &part.pins[part.function.outputs[bit]].name
}

impl Gap {
    fn covers(&self, part: &Part, sheet: &Sheet, from: usize, to: usize) -> bool {
        let listed = |list: &str, word: &str| list.split_whitespace().any(|other| other == word);
        let pins = |list: &str, pin: usize| {
            let mut names = list.split_whitespace();
            names.any(|name| part.pins_called(name).is_some_and(|pins| pins.contains(&pin)))
        };
        listed(self.parts, &part.name)
            && (self.sheets.is_empty() || listed(self.sheets, &sheet.name))
            && pins(self.from, part.function.inputs[from])
            && pins(self.to, part.function.outputs[to])
    }
}
