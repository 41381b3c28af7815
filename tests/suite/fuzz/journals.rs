//! Journals of sweeps: read, put together, shown, and gone on with. An input may be several journals, which a line with
//! three dashes parts.

use super::language::open;
use coldboard::export::{sweep_csv, sweep_svg, sweep_text};
use coldboard::project::Project;
use coldboard::sweep::{AXES, Asked, Clock, Plan, frequencies, journal, voltages, work};
use crc::{CRC_32_ISO_HDLC, Crc};
use std::sync::LazyLock;

/// What is gone on with: four points of an inverter.
const DESIGN: &str = r#"
board inverter {
    rail VCC 5 V
    rail GND
    feed U1 from VCC GND
    U1 74HC04 { 1A = a  1Y = y  [2..6]A = GND }
}
trial inverts on inverter {
    clock a 1 MHz
    run for 3 clocks
    run for 100 ns
    expect y is high
}
"#;

static PROJECT: LazyLock<Project> = LazyLock::new(|| open("inverter.board", DESIGN.as_bytes()));

static PLAN: LazyLock<Plan<'static>> = LazyLock::new(|| {
    let asked = Asked {
        voltages: voltages("4.5V,5V").expect("voltages"),
        clock: Clock::Rates(frequencies("1MHz,2MHz").expect("rates")),
        ..Asked::default()
    };
    Plan::new(&PROJECT, asked).unwrap_or_else(|problems| panic!("{problems:?}"))
});

/// The fingerprint of the design, the library and the program, as seeds write it.
const HERE: &str = "DESIGN";

/// Seeds do not know the fingerprint.
fn here(text: &str) -> String {
    text.replace(HERE, &PLAN.header().design).replace("VERSION", &PLAN.header().coldboard)
}

/// Journals as a seed tells them: its lines have no checksums, which no mutation would survive.
fn journals(input: &[u8]) -> Vec<String> {
    let text = here(&String::from_utf8_lossy(input));
    let journals = text.split("---\n");
    let signed = |journal: &str| journal.split_inclusive('\n').map(signed).collect();
    journals.map(signed).collect()
}

/// A line with its checksum, where it has a form that can have one: CRC-32 as in IEEE 802.3, by the crate `crc`.
fn signed(line: &str) -> String {
    let text = line.trim_end_matches(['\r', '\n']);
    match text.strip_suffix('}') {
        None => line.to_owned(),
        Some(item) => {
            let checksum = Crc::<u32>::new(&CRC_32_ISO_HDLC).checksum(text.as_bytes());
            format!("{item},\"crc\":\"{checksum:08x}\"}}{}", &line[text.len()..])
        }
    }
}

pub(crate) fn one(input: &[u8]) {
    // As it is, most is damaged.
    if let Err(sentence) = journal::read("raw", input) {
        assert!(sentence.starts_with("raw:"), "{sentence}");
    }
    let mut read = Vec::new();
    for (number, text) in journals(input).iter().enumerate() {
        let name = format!("j{number}");
        match journal::read(&name, text.as_bytes()) {
            Ok(found) => {
                let good = journal::whole(&found.header, &found.rows);
                let again = journal::read(&name, good.as_bytes()).expect("what was written");
                assert_eq!((&again.header, &again.rows), (&found.header, &found.rows));
                assert!(again.damaged.is_empty(), "{:?}", again.damaged);
                gone_on_with(&found);
                read.push((name, found));
            }
            Err(sentence) => assert!(sentence.starts_with(&name), "{sentence}"),
        }
    }
    let Ok(sweep) = journal::merge(read) else {
        return;
    };
    let whole = journal::whole(&sweep.header, &sweep.rows);
    let again = journal::read("whole", whole.as_bytes()).expect("what was written");
    assert_eq!((&again.header, &again.rows), (&sweep.header, &sweep.rows));
    sweep_csv::csv(&sweep);
    let axes = [None, Some(AXES[1]), Some(AXES[5]), Some("no axis")];
    for across in axes {
        for down in axes {
            // Either may be refused, with a sentence.
            let _ = sweep_text::text(&sweep, across, down);
            let _ = sweep_svg::svg(&sweep, across, down);
        }
    }
}

/// A journal that fits the plan is made whole, with every point once.
fn gone_on_with(found: &journal::Journal) {
    if journal::unlike(PLAN.header(), &found.header).is_some() {
        return;
    }
    let mut fresh = 0;
    let sweep = work(&PLAN, 1, found.rows.clone(), &mut |_| {
        fresh += 1;
        Ok(())
    });
    let sweep = sweep.expect("a sweep");
    let points: Vec<usize> = sweep.rows.iter().map(|row| row.point).collect();
    assert_eq!(points, PLAN.header().slice_points().collect::<Vec<_>>());
    assert_eq!(fresh + found.rows.len(), points.len());
}

/// A seed is a journal, or several, of which each can be read.
pub(crate) fn accepted(input: &[u8]) {
    for text in journals(input) {
        let read = journal::read("seed", text.as_bytes());
        read.unwrap_or_else(|sentence| panic!("{sentence}"));
    }
}
