//! What holds for every file of the library.

use super::{library, none_of, parts};
use coldboard::export::part_page::review::review;
use coldboard::part::PinKind;
use coldboard::part::table::verify;

#[test]
fn every_file_reads_without_complaint() {
    none_of(library().iter().filter(|entry| !entry.problems.is_empty()).map(|entry| entry.rendered()).collect());
    assert!(parts().count() >= 12, "the first parts are there");
}

#[test]
fn every_file_holds_the_one_thing_that_its_name_says() {
    let mut found = Vec::new();
    for entry in library() {
        let names: Vec<&str> = if entry.room == "families" {
            entry.families.iter().map(|family| family.name.as_str()).collect()
        } else {
            entry.parts.iter().map(|part| part.name.as_str()).collect()
        };
        let count = entry.parts.len() + entry.families.len() + entry.others;
        if names != [entry.stem.as_str()] || count != 1 {
            found.push(format!("{}: holds {count}, of them {names:?}", entry.path));
        }
    }
    none_of(found);
}

#[test]
fn every_row_of_every_table_holds() {
    let mut found = Vec::new();
    for (entry, part) in parts() {
        // An oscillator has no inputs that a table could tell of.
        if part.tables.is_empty() && part.function.oscillator.is_none() {
            found.push(format!("{}: no function table", entry.path));
        }
        for seed in 1..=3 {
            let failures = verify(part, seed);
            found.extend(failures.iter().map(|failure| format!("{}: {failure}", entry.sources.place(failure.row))));
        }
    }
    none_of(found);
}

#[test]
fn every_sheet_names_its_source() {
    let mut found = Vec::new();
    for (entry, part) in parts() {
        for sheet in &part.sheets {
            let place = entry.sources.place(sheet.span);
            let blank = |text: &String| text.trim().is_empty();
            if sheet.sources.is_empty() || sheet.sources.iter().any(blank) {
                found.push(format!("{place}: {} has no source", sheet.name));
            }
            if sheet.blocks.is_empty() {
                found.push(format!("{place}: {} has no figures", sheet.name));
            }
        }
    }
    for entry in library() {
        for family in &entry.families {
            if family.sources.is_empty() || family.levels.is_empty() {
                found.push(format!("{}: no source, or no figures", entry.path));
            }
        }
    }
    none_of(found);
}

#[test]
fn every_pin_is_used() {
    let mut found = Vec::new();
    for (entry, part) in parts() {
        let function = &part.function;
        let masks = function.arcs.iter().chain(&function.data);
        let used = masks.fold(function.sensitive, |all, mask| all | mask);
        for (bit, &pin) in function.inputs.iter().enumerate() {
            let pin = &part.pins[pin];
            if used >> bit & 1 == 0 && !pin.drives() {
                found.push(format!("{}: no formula reads {}", entry.path, pin.name));
            }
        }
        // That outputs have a formula is asked for when a part is loaded; here, that they depend on something.
        for (bit, &pin) in function.outputs.iter().enumerate() {
            if function.arcs[bit] == 0 && function.oscillator.is_none() {
                found.push(format!("{}: nothing moves {}", entry.path, part.pins[pin].name));
            }
        }
        for kind in [PinKind::Power, PinKind::Ground] {
            if part.pins_of(kind).next().is_none() {
                found.push(format!("{}: no {kind:?} pin", entry.path));
            }
        }
    }
    none_of(found);
}

/// Every pin number of a package is there, as a person would count them.
#[test]
fn every_pin_of_a_package_is_listed() {
    let mut found = Vec::new();
    for (entry, part) in parts() {
        // DIP24N: a narrow one.
        let digits: String = part.package.chars().filter(char::is_ascii_digit).collect();
        let numbers: Vec<u32> = part.pins.iter().map(|pin| pin.number).collect();
        if !digits.parse().is_ok_and(|count| numbers == (1..=count).collect::<Vec<u32>>()) {
            found.push(format!("{}: {} with pins {numbers:?}", entry.path, part.package));
        }
    }
    none_of(found);
}

/// What a maker guarantees over all temperatures it guarantees at 25 C too (common practice): a row that says otherwise
/// has a slip of the pen in it.
#[test]
fn no_figures_of_a_row_are_at_odds() {
    let mut found = Vec::new();
    for (entry, part) in parts() {
        let problems = review(&entry.sources, part);
        let odd = problems.iter().filter(|problem| problem.code == "figure-order");
        found.extend(odd.map(|problem| format!("{}: {}", entry.path, problem.message)));
    }
    none_of(found);
}
