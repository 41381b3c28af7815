//! What a machine draws: as a table for a person, as JSON for a program.

use crate::circuit::{Circuit, SupplyKey};
use crate::electrical::power::{BoardPower, Power, untold};
use crate::quantity::{Current, Time};
use serde::Serialize;
use std::fmt::Write;

/// Chips that the table names, the hottest first.
const HOTTEST: usize = 8;

/// Where the activity comes from.
#[derive(Clone, Debug, Serialize)]
pub struct Run {
    /// The trial.
    pub trial: String,
    /// How long it ran.
    pub time: Time,
    /// True when all its expectations held.
    pub passed: bool,
}

/// The table: boards, the worst first, then the hottest chips and the supplies.
pub fn text(circuit: &Circuit, power: &Power, run: Option<&Run>) -> String {
    let mut text = match run {
        None => format!("{}, at rest\n\n", circuit.name),
        Some(run) => format!(
            "{}, while `{}` ran for {}{}\n\n",
            circuit.name,
            run.trial,
            run.time,
            if run.passed { "" } else { " (it did not pass)" }
        ),
    };
    let mut rows = vec![
        [
            "board",
            "chips",
            "at rest",
            "moving",
            "lamps",
            "resistors",
            "together",
        ]
        .map(str::to_owned),
    ];
    let mut boards: Vec<(&str, BoardPower)> = (power.boards.iter())
        .map(|(key, board)| {
            let row = &circuit.boards[key];
            let name = if row.path.is_empty() {
                &row.design
            } else {
                &row.path
            };
            (name.as_str(), *board)
        })
        .collect();
    boards.sort_by(|a, b| b.1.total().total_cmp(&a.1.total()));
    let mut all = BoardPower::default();
    for (name, board) in &boards {
        rows.push(row(name, board));
        all.chips += board.chips;
        all.untold += board.untold;
        all.rest += board.rest;
        all.moving += board.moving;
        all.lamps += board.lamps;
        all.resistors += board.resistors;
    }
    if boards.len() > 1 {
        rows.push(row("together", &all));
    }
    table(&mut text, &rows);
    let mut chips: Vec<(f64, &str, &str, f64)> = (power.chips.iter())
        .map(|(key, chip)| {
            let row = &circuit.chips[key];
            (
                chip.heat(),
                row.path.as_str(),
                row.number.as_str(),
                chip.total(),
            )
        })
        .filter(|chip| chip.0 > 0.0)
        .collect();
    chips.sort_by(|a, b| b.0.total_cmp(&a.0));
    if !chips.is_empty() {
        text.push('\n');
        let mut rows = vec![["hottest", "", "draws", "heat"].map(str::to_owned)];
        for (heat, path, number, drawn) in chips.iter().take(HOTTEST) {
            rows.push([
                (*path).to_owned(),
                (*number).to_owned(),
                amps(*drawn),
                watts(*heat),
            ]);
        }
        table(&mut text, &rows);
    }
    for (key, supply) in circuit.supplies.iter() {
        let drawn = power.supplies[key];
        let _ = write!(
            text,
            "\n{}: {} of {}",
            supply.name,
            amps(drawn),
            supply.current
        );
        match untold(circuit, power, Some(key)).as_slice() {
            [] => {}
            chips => text.push_str(&format!(
                ", at least: of {} no sheet tells what they draw",
                chips.join(", ")
            )),
        }
    }
    if !circuit.supplies.is_empty() {
        text.push('\n');
    }
    text.push_str("\nAt rest: the most that the sheets of the families guarantee for a package; lamps: all lit, the\nbrightest that may be; resistors: the most that may flow through each.\n");
    if run.is_some() {
        text.push_str("Moving: pins, copper, cables and the insides of CMOS chips, as often as the nets rose in the trial.\n");
    }
    if all.untold > 0 {
        let _ = writeln!(
            text,
            "+: of {} no sheet tells what they draw at rest.",
            untold(circuit, power, None).join(", ")
        );
    }
    text
}

fn row(name: &str, board: &BoardPower) -> [String; 7] {
    let untold = if board.untold > 0 { "+" } else { "" };
    [
        name.to_owned(),
        board.chips.to_string(),
        format!("{}{untold}", amps(board.rest)),
        amps(board.moving),
        amps(board.lamps),
        amps(board.resistors),
        format!("{}{untold}", amps(board.total())),
    ]
}

/// The first column to the left, the others to the right.
fn table<const N: usize>(text: &mut String, rows: &[[String; N]]) {
    let width = |column: usize| {
        rows.iter()
            .map(|row| row[column].chars().count())
            .max()
            .unwrap_or(0)
    };
    let widths: Vec<usize> = (0..N).map(width).collect();
    for row in rows {
        let mut line = String::new();
        for (column, cell) in row.iter().enumerate() {
            let width = widths[column];
            let _ = match column {
                0 => write!(line, "{cell:width$}"),
                _ => write!(line, "  {cell:>width$}"),
            };
        }
        text.push_str(line.trim_end());
        text.push('\n');
    }
}

/// Amperes to three digits.
fn amps(amps: f64) -> String {
    let mut step = 1.0;
    let raw = amps * 1e12;
    while raw.abs() / step >= 1000.0 {
        step *= 10.0;
    }
    Current::from_raw(((raw / step).round() * step) as i64).to_string()
}

/// Watts to three digits.
fn watts(watts: f64) -> String {
    let milli = watts * 1e3;
    match milli {
        1000.0.. => format!("{watts:.2} W"),
        100.0.. => format!("{milli:.0} mW"),
        10.0.. => format!("{milli:.1} mW"),
        1.0.. => format!("{milli:.2} mW"),
        _ => format!("{:.0} uW", milli * 1e3),
    }
}

#[derive(Serialize)]
struct All<'a> {
    name: &'a str,
    run: Option<&'a Run>,
    boards: Vec<Board<'a>>,
    chips: Vec<Chip<'a>>,
    supplies: Vec<Supply<'a>>,
}

#[derive(Serialize)]
struct Board<'a> {
    board: &'a str,
    chips: usize,
    untold: usize,
    rest: String,
    moving: String,
    lamps: String,
    resistors: String,
    together: String,
}

#[derive(Serialize)]
struct Chip<'a> {
    chip: &'a str,
    number: &'a str,
    rest: Option<String>,
    moving: String,
    heat: String,
}

#[derive(Serialize)]
struct Supply<'a> {
    supply: &'a str,
    drawn: String,
    gives: Current,
}

/// Everything, for a program.
pub fn json(circuit: &Circuit, power: &Power, run: Option<&Run>) -> String {
    let boards = power.boards.iter().map(|(key, board)| Board {
        board: &circuit.boards[key].path,
        chips: board.chips,
        untold: board.untold,
        rest: amps(board.rest),
        moving: amps(board.moving),
        lamps: amps(board.lamps),
        resistors: amps(board.resistors),
        together: amps(board.total()),
    });
    let chips = power.chips.iter().map(|(key, chip)| Chip {
        chip: &circuit.chips[key].path,
        number: &circuit.chips[key].number,
        rest: chip.rest.map(|rest| amps(rest + chip.inputs)),
        moving: amps(chip.loads + chip.inside),
        heat: watts(chip.heat()),
    });
    let supply = |key: SupplyKey| Supply {
        supply: &circuit.supplies[key].name,
        drawn: amps(power.supplies[key]),
        gives: circuit.supplies[key].current,
    };
    let all = All {
        name: &circuit.name,
        run,
        boards: boards.collect(),
        chips: chips.collect(),
        supplies: circuit.supplies.keys().map(supply).collect(),
    };
    let mut text =
        serde_json::to_string_pretty(&all).expect("texts and lists always have a JSON form");
    text.push('\n');
    text
}
