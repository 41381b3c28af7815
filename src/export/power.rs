//! What a machine draws: as a table for a person, as JSON for a program.

use crate::circuit::{BoardKey, Circuit, SupplyKey};
use crate::electrical::power::{BoardPower, Power, without_figure};
use crate::electrical::power_distribution::NetCurrents;
use crate::quantity::si::{Amperes, Watts};
use crate::quantity::{Current, Time};
use crate::text::WIDEST_COLUMN;
use serde::Serialize;
use std::fmt::Write;

/// Chips that the table names, the hottest first.
const HOTTEST: usize = 8;

/// Pins and wires that the table names, and the least current that is worth a line.
const BUSIEST: usize = 8;
const LITTLE: Amperes = Amperes(1e-3);

/// Where the activity comes from.
#[derive(Clone, Debug, Serialize)]
pub struct Run {
    pub trial: String,
    pub time: Time,
    /// True when all its expectations passed.
    pub passed: bool,
    /// True when it was interrupted, and nothing had failed until then.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub interrupted: bool,
}

/// What is told.
#[derive(Clone, Copy, Debug)]
pub struct PowerReport<'a> {
    /// Of which machine.
    pub circuit: &'a Circuit,
    pub power: &'a Power,
    /// Through which pins and wires.
    pub net_currents: &'a [NetCurrents],
    /// While a trial ran; at rest without one.
    pub run: Option<&'a Run>,
    pub only: Option<BoardKey>,
}

impl PowerReport<'_> {
    fn tells(&self, board: BoardKey) -> bool {
        self.only.is_none_or(|only| only == board)
    }
}

/// The table: boards, the worst first, then the hottest chips, the pins and wires that carry the most, and the supplies.
pub fn text(report: PowerReport<'_>) -> String {
    let mut text = match report.run {
        None => format!("{}, at rest\n\n", report.circuit.name),
        Some(run) => format!(
            "{}, while `{}` ran for {}{}\n\n",
            report.circuit.name,
            run.trial,
            run.time,
            match (run.passed, run.interrupted) {
                (true, _) => "",
                (false, true) => " (then it was interrupted)",
                (false, false) => " (it did not pass)",
            }
        ),
    };
    boards(&mut text, report);
    hottest(&mut text, report);
    let busiest = busiest(report);
    if !busiest.is_empty() {
        text.push('\n');
        let mut rows = vec![["the most current", "net", "carries"].map(str::to_owned)];
        rows.extend(busiest);
        table(&mut text, &rows);
    }
    supplies(&mut text, report);
    remarks(&mut text, report);
    text
}

fn boards(text: &mut String, report: PowerReport<'_>) {
    let heads = ["board", "chips", "at rest", "moving", "lamps", "resistors", "together"];
    let mut rows = vec![heads.map(str::to_owned)];
    let mut boards: Vec<(&str, BoardPower)> = (report.power.boards.iter())
        .filter(|(key, _)| report.tells(*key))
        .map(|(key, board)| {
            let row = &report.circuit.boards[key];
            let name = if row.path.is_empty() { &row.design } else { &row.path };
            (name.as_str(), *board)
        })
        .collect();
    boards.sort_by(|a, b| b.1.total().total_cmp(&a.1.total()));
    let mut all = BoardPower::default();
    for (name, board) in &boards {
        rows.push(row(name, board));
        all.chips += board.chips;
        all.without_figure += board.without_figure;
        all.quiescent += board.quiescent;
        all.dynamic += board.dynamic;
        all.leds += board.leds;
        all.resistors += board.resistors;
    }
    if boards.len() > 1 {
        rows.push(row("together", &all));
    }
    table(text, &rows);
}

fn hottest(text: &mut String, report: PowerReport<'_>) {
    let chips = report.power.chips.iter();
    let mut chips: Vec<_> = chips
        .map(|(key, chip)| (&report.circuit.chips[key], chip))
        .filter(|(row, chip)| report.tells(row.board) && chip.heat() > Watts::ZERO)
        .collect();
    chips.sort_by(|a, b| b.1.heat().total_cmp(&a.1.heat()));
    if chips.is_empty() {
        return;
    }
    text.push('\n');
    let mut rows = vec![["hottest", "", "draws", "heat"].map(str::to_owned)];
    for (row, chip) in chips.iter().take(HOTTEST) {
        rows.push([row.path.clone(), row.number.clone(), amps(chip.total()), watts(chip.heat())]);
    }
    table(text, &rows);
}

fn supplies(text: &mut String, report: PowerReport<'_>) {
    let circuit = report.circuit;
    if report.only.is_some() || circuit.supplies.is_empty() {
        return;
    }
    for (key, supply) in circuit.supplies.iter() {
        let drawn = amps(report.power.supplies[key]);
        let _ = write!(text, "\n{}: {drawn} of {}", supply.name, supply.current);
        let chips = without_figure(circuit, report.power, Some(key));
        if !chips.is_empty() {
            let chips = chips.join(", ");
            let _ = write!(text, ", at least: of {chips} no sheet tells what they draw");
        }
    }
    text.push('\n');
}

/// What the figures are.
fn remarks(text: &mut String, report: PowerReport<'_>) {
    text.push_str(
        "\nAt rest: the most that the sheets of the families guarantee for a package; lamps: all lit, the\n\
         brightest that may be; resistors: the most that may flow through each.\n",
    );
    if report.run.is_some() {
        text.push_str(
            "Moving: pins, copper, cables and the insides of CMOS chips, as often as the nets rose in the trial.\n",
        );
    }
    let circuit = report.circuit;
    let names: Vec<&str> = (without_figure(circuit, report.power, None).into_iter())
        .filter(|path| {
            let chip = circuit.chip(path);
            chip.is_some_and(|chip| report.tells(circuit.chips[chip].board))
        })
        .collect();
    if !names.is_empty() {
        let names = names.join(", ");
        let _ = writeln!(text, "+: of {names} no sheet tells what they draw at rest.");
    }
}

/// The connector pins and wires that carry the most: their paths, nets and currents.
fn busiest(report: PowerReport<'_>) -> Vec<[String; 3]> {
    let circuit = report.circuit;
    let mut found: Vec<(Amperes, String, &str)> = Vec::new();
    for net_currents in report.net_currents {
        let net = circuit.nets[net_currents.net].path.as_str();
        for (&(connector, pin), &amps) in &net_currents.pins {
            if report.tells(circuit.connectors[connector].board) {
                found.push((amps, circuit.connector_pin_path(connector, pin), net));
            }
        }
        for (&cable, &amps) in &net_currents.cables {
            let wires = circuit.cables[cable].wires.iter().flatten();
            let mut boards = wires.map(|(connector, _)| circuit.connectors[*connector].board);
            if boards.any(|board| report.tells(board)) {
                let name = format!("a wire of {}", circuit.cables[cable].name);
                found.push((amps, name, net));
            }
        }
    }
    found.retain(|(amps, ..)| *amps >= LITTLE);
    found.sort_by(|a, b| b.0.total_cmp(&a.0));
    let rows = found.into_iter().take(BUSIEST);
    rows.map(|(drawn, what, net)| [what, net.to_owned(), amps(drawn)]).collect()
}

fn row(name: &str, board: &BoardPower) -> [String; 7] {
    let without_figure = if board.without_figure > 0 { "+" } else { "" };
    [
        name.to_owned(),
        board.chips.to_string(),
        format!("{}{without_figure}", amps(board.quiescent)),
        amps(board.dynamic),
        amps(board.leds),
        amps(board.resistors),
        format!("{}{without_figure}", amps(board.total())),
    ]
}

/// The first column to the left, the others to the right.
fn table<const N: usize>(text: &mut String, rows: &[[String; N]]) {
    let width =
        |column: usize| rows.iter().map(|row| row[column].chars().count()).max().unwrap_or(0).min(WIDEST_COLUMN);
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

/// A current to three digits.
fn amps(amps: Amperes) -> String {
    let mut step = 1.0;
    let raw = amps.0 * 1e12;
    while raw.abs() / step >= 1000.0 {
        step *= 10.0;
    }
    Current::from_raw(((raw / step).round() * step) as i64).to_string()
}

/// A power to three digits.
fn watts(Watts(watts): Watts) -> String {
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
    /// What, on which net, how much.
    busiest: Vec<[String; 3]>,
    supplies: Vec<Supply<'a>>,
}

#[derive(Serialize)]
struct Board<'a> {
    board: &'a str,
    chips: usize,
    #[serde(rename = "untold")]
    without_figure: usize,
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
    /// Chips that are not counted, because no sheet tells what they draw.
    without: Vec<&'a str>,
    gives: Current,
}

/// Everything, for a program.
pub fn json(report: PowerReport<'_>) -> String {
    let PowerReport { circuit, power, run, .. } = report;
    let boards = power.boards.iter();
    let boards = boards.filter(|(key, _)| report.tells(*key)).map(|(key, board)| Board {
        board: &circuit.boards[key].path,
        chips: board.chips,
        without_figure: board.without_figure,
        rest: amps(board.quiescent),
        moving: amps(board.dynamic),
        lamps: amps(board.leds),
        resistors: amps(board.resistors),
        together: amps(board.total()),
    });
    let chips = power.chips.iter();
    let chips = chips.filter(|(key, _)| report.tells(circuit.chips[*key].board));
    let chips = chips.map(|(key, chip)| Chip {
        chip: &circuit.chips[key].path,
        number: &circuit.chips[key].number,
        rest: chip.quiescent.map(|rest| amps(rest + chip.inputs)),
        moving: amps(chip.loads + chip.internal),
        heat: watts(chip.heat()),
    });
    let supply = |key: SupplyKey| Supply {
        supply: &circuit.supplies[key].name,
        drawn: amps(power.supplies[key]),
        without: without_figure(circuit, power, Some(key)),
        gives: circuit.supplies[key].current,
    };
    let all = All {
        name: &circuit.name,
        run,
        boards: boards.collect(),
        chips: chips.collect(),
        busiest: busiest(report),
        supplies: circuit.supplies.keys().map(supply).collect(),
    };
    let mut text = serde_json::to_string_pretty(&all).expect("texts and lists always have a JSON form");
    text.push('\n');
    text
}
