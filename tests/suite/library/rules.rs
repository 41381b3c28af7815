//! What holds for every file of the library.

use super::{library, none_of, parts};
use coldboard::part::sheet::{ArcKind, Block};
use coldboard::part::table::verify;
use coldboard::part::{Part, PinKind};

#[test]
fn every_file_reads_without_complaint() {
    none_of(
        library()
            .iter()
            .filter(|entry| !entry.problems.is_empty())
            .map(|entry| entry.rendered())
            .collect(),
    );
    assert!(parts().count() >= 12, "the first parts are there");
}

#[test]
fn every_file_holds_the_one_thing_that_its_name_says() {
    let mut found = Vec::new();
    for entry in library() {
        let names: Vec<&str> = if entry.room == "families" {
            entry
                .families
                .iter()
                .map(|family| family.name.as_str())
                .collect()
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
            found.extend(
                failures
                    .iter()
                    .map(|failure| format!("{}: {failure}", entry.sources.place(failure.row))),
            );
        }
    }
    none_of(found);
}

#[test]
fn arcs() {
    let mut found = Vec::new();
    for (entry, part) in parts() {
        for sheet in &part.sheets {
            let mut volts: Vec<_> = sheet.blocks.iter().map(|b| b.voltage).collect();
            volts.dedup();
            for v in volts {
                let blocks: Vec<&Block> = sheet.blocks.iter().filter(|b| b.voltage == v).collect();
                let mut miss = std::collections::BTreeMap::<String, Vec<String>>::new();
                for (to, mask) in part.function.arcs.iter().enumerate() {
                    for from in 0..64 {
                        if mask >> from & 1 == 0 {
                            continue;
                        }
                        let has = blocks.iter().any(|b| {
                            b.arcs.iter().any(|a| {
                                a.from == from
                                    && a.to == to
                                    && a.kind != ArcKind::OutputHold
                                    && a.figures.iter().any(|f| f.is_some())
                            })
                        });
                        if !has {
                            miss.entry(part.pins[part.function.inputs[from]].name.clone())
                                .or_default()
                                .push(part.pins[part.function.outputs[to]].name.clone());
                        }
                    }
                }
                for (f, t) in miss {
                    found.push(format!(
                        "{}: {} {v}: {f} -> {}",
                        entry.path,
                        sheet.name,
                        t.join(",")
                    ));
                }
            }
        }
    }
    none_of(found);
}
