//! Delays of 74HC parts, worked out from their sheets: typical ones at 25 C, the slowest from the narrowest range of
//! temperatures that holds 0 to 70 C; at 5 V on the straight line between the figures at 4.5 V and 6 V. Loads below the
//! 50 pF of the sheet make nothing shorter in either of these corners.

use super::parts::circuit;
use super::plain::{Shelf, tree};
use coldboard::delay::{ChipDelays, Transition};
use coldboard::language::ast::{AtBlock, ColumnKind, Corner, Item, Part, PartStatement, RowKind, Sheet, Template};
use coldboard::language::expand::Scope;
use coldboard::part::Library;
use std::collections::BTreeMap;

/// Picoseconds by input, output and edge: 0 rises, 1 falls. None where several rows speak of one path.
type Delays = BTreeMap<(String, String, usize), Option<i64>>;

/// The column of a corner.
fn column(sheet: &Sheet, corner: Corner) -> Option<usize> {
    let columns = sheet.columns.iter().enumerate();
    let celsius = |at: usize| {
        let (cold, hot) = sheet.columns[at].temperature;
        (cold.as_f64(), hot.as_f64())
    };
    let fits = columns.filter(|(at, column)| match corner {
        Corner::Typical => column.kind == ColumnKind::Typ && celsius(*at) == (25.0, 25.0),
        _ => column.kind == ColumnKind::Limit && celsius(*at).0 <= 0.0 && celsius(*at).1 >= 70.0,
    });
    let narrowest = fits.min_by(|(a, _), (b, _)| {
        let width = |at: usize| celsius(at).1 - celsius(at).0;
        width(*a).total_cmp(&width(*b))
    });
    narrowest.map(|(at, _)| at)
}

/// The pins of the templates that name pins of the package one by one.
fn pins(templates: &[Template], known: &dyn Fn(&String) -> bool) -> Vec<String> {
    let names = templates.iter().flat_map(|template| Scope::default().names(template).expect("names"));
    names.filter(known).collect()
}

/// The delays of a block.
fn delays(block: &AtBlock, column: usize, known: &dyn Fn(&String) -> bool) -> Delays {
    let mut found = Delays::new();
    for row in &block.rows {
        let RowKind::Delay(from, to, edge) = &row.kind else {
            continue;
        };
        let time = row.figures[column].and_then(|figure| figure.as_time());
        for from in pins(from, known) {
            for to in pins(to, known) {
                for way in edge.map_or(vec![0, 1], |edge| vec![edge as usize]) {
                    let key = (from.clone(), to.clone(), way);
                    let first = !found.contains_key(&key);
                    found.insert(key, time.map(|time| time.ps()).filter(|_| first));
                }
            }
        }
    }
    found
}

/// What the sheet of a part says at 5 V, if it has figures at 4.5 V and 6 V with 50 pF.
fn at_five_volts(part: &Part, corner: Corner, known: &dyn Fn(&String) -> bool) -> Delays {
    let mut sheets = part.body.iter().filter_map(|statement| match statement {
        PartStatement::Sheet(sheet) if sheet.name.node == "HC" => Some(sheet),
        _ => None,
    });
    let Some(sheet) = sheets.next() else {
        return Delays::new();
    };
    let Some(column) = column(sheet, corner) else {
        return Delays::new();
    };
    let at = |volts: f64| {
        let picofarads = |block: &AtBlock| block.load.map(|load| load.as_f64() * 1e12);
        let mut blocks = sheet.blocks.iter().filter(|block| {
            block.voltage.as_f64() == volts && picofarads(block).is_some_and(|load| (load - 50.0).abs() < 0.01)
        });
        blocks.next().map(|block| delays(block, column, known))
    };
    // Another block between the two, or a second load, would bend the line.
    let simple = sheet.blocks.iter().all(|block| {
        let volts = block.voltage.as_f64();
        volts <= 4.5 || volts >= 6.0
    });
    let (Some(low), Some(high), true) = (at(4.5), at(6.0), simple) else {
        return Delays::new();
    };
    let between = low.into_iter().filter_map(|(key, slow)| {
        let (slow, fast) = (slow?, (*high.get(&key)?)?);
        // A third of the way from 4.5 V to 6 V.
        Some((key, Some(slow + (fast - slow) / 3)))
    });
    between.collect()
}

#[test]
fn delays_of_hc_parts_are_those_of_their_sheets() {
    let mut library = Library::built_in();
    let (mut compared, mut parts, mut wrong) = (0, 0, Vec::new());
    let names: Vec<String> = library.names().map(str::to_owned).collect();
    for name in names {
        let tree = tree(&name);
        let Some(Item::Part(part)) = tree.items.first() else {
            continue;
        };
        let loaded = library.part(&name).expect("a part");
        let known = |pin: &String| loaded.pin_named(pin).is_some();
        for corner in [Corner::Typical, Corner::Slowest] {
            let expected = at_five_volts(part, corner, &known);
            if expected.is_empty() {
                continue;
            }
            parts += 1;
            let text = format!("board b {{ rail VCC 5 V  rail GND  feed U1 from VCC GND  U1 74HC{name} {{ }} }}");
            let circuit = circuit(&mut library, &text);
            let all = ChipDelays::new(&circuit, corner, None);
            let (key, chip) = circuit.chips.iter().next().expect("a chip");
            let table = all.table(key);
            let does = Shelf::default().description(&name);
            let row = |pins: &[usize], name: &str| pins.iter().position(|&pin| chip.part.pins[pin].name == name);
            for ((from, to, way), ps) in expected {
                let bit = does.inputs.iter().position(|input| *input == from);
                let output = does.outputs.iter().find(|output| output.pin == to);
                let (Some(bit), Some(output)) = (bit, output) else {
                    continue;
                };
                // A delay is taken only where the formulas let the input move the output.
                if output.arcs >> bit & 1 == 0 {
                    continue;
                }
                let function = &chip.part.function;
                let from_row = row(&function.inputs, &from).expect("an input");
                let to_row = row(&function.outputs, &to).expect("an output");
                let how = [Transition::Rise, Transition::Fall][way];
                let theirs = i64::from(table.delay(from_row, to_row, how));
                let ours = ps.unwrap_or_default();
                compared += 1;
                if (theirs - ours).abs() > 1 {
                    wrong.push(format!(
                        "{name}: {from} to {to}, {how:?}, {corner:?}: {ours} by the sheet, {theirs} ps in the engine"
                    ));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{} of {compared}: {}", wrong.len(), wrong.join("\n"));
    assert!(compared > 1000 && parts > 60, "{compared} delays of {parts} parts");
}
