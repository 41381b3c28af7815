//! Runs of hundreds of thousands of clocks, as a person meets them: causes from their beginning to their end, waveform files
//! that are written meanwhile, bounded memory, and signals.
//!
//! A counter tells by arithmetic what must come of it. Its clock of 10 MHz is low for the first half of each period, so
//! it rises at 50, 150, ... ns. It is cleared for two clocks, so at clock n of those that follow, at 150 + 100 n ns, it
//! takes n mod 16, and bit b has moved last at the greatest multiple of 2^b.

mod causes;
mod files;
mod signals;

use crate::terminal::coldboard as command;
use coldboard::quantity::{Quantity, Time};
use serde_json::Value;
use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use tempfile::TempDir;

/// From one rise of the clock to the next, in picoseconds, and when it rises last before the counter counts.
const PERIOD: i64 = 100_000;
const CLEARED: i64 = 150_000;

/// The counter; a flip-flop that takes q1 once (r) and one that is held clear (held); an inverter behind a switch (up), one
/// behind nothing (y).
const BOARD: &str = "board long {
    rail VCC 5 V
    rail GND
    feed U1..U3 from VCC GND
    connector POWER terminal-1x2 { 1 VCC  2 GND }
    connector CONTROL header-1x8 { 1 clk  2 /reset  3 strobe  4 /hold  5 r  6 held  7 carry  8 GND }
    U1 74HC163 {
        CLK = clk  /CLR = /reset  /LOAD = VCC  ENP = VCC  ENT = VCC  [A..D] = GND
        Q[A..D] = q[0..3]  RCO = carry
    }
    U2 74HC74 {
        1D = q1  1CLK = strobe  /1PRE = VCC  /1CLR = VCC  1Q = r  /1Q = open
        2D = VCC  2CLK = clk  /2PRE = VCC  /2CLR = /hold  2Q = held  /2Q = open
    }
    U3 74HC14 { 1A = q3  1Y = half  2A = raw  2Y = up  3A = free  3Y = y  [4..6]A = GND  [4..6]Y = open }
    SW1 switch { 1 = raw  2 = GND }
    R1 resistor 10 kohm { 1 = raw  2 = VCC }
    C[1..3] capacitor 100 nF decouples U1..U3
}
";

/// The beginning of each trial: at its end 4 clocks have been counted. The flip-flop took q1 = 1 behind the third; q1 has been that
/// since the second.
const BEGINNING: &str = "
    clock clk 10 MHz
    set strobe = low
    set /hold = low
    drive /reset low for 2 clocks
    set /reset = high
    run for 3 clocks
    set strobe = high
    run for 1 clock
    set strobe = low
";

/// Clocks that are counted in the trial `long`, and where the switch is worked.
const CLOCKS: i64 = 299_999;
const CLOSED: i64 = 100_000;
const OPENED: i64 = 200_000;

/// A design with the board and some trials: name, and what comes after the beginning.
fn design(trials: &[(&str, &str)]) -> String {
    let trials = trials.iter().map(|(name, text)| format!("trial {name} on long {{{BEGINNING}{text}\n}}\n"));
    BOARD.to_owned() + &trials.collect::<String>()
}

/// A folder with such a design.
fn folder(trials: &[(&str, &str)]) -> TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("long.board"), design(trials)).expect("written");
    folder
}

/// The trial with a switch that is worked on the way, and what is expected at its end.
fn worked(end: &str) -> String {
    format!(
        "    run for {} clocks\n    close SW1\n    run for {} clocks\n    open SW1\n    run for {} clocks\n{end}",
        CLOSED - 4,
        OPENED - CLOSED,
        CLOCKS - OPENED
    )
}

/// When the clock rises that makes the counter count to n.
fn rise(n: i64) -> i64 {
    CLEARED + n * PERIOD
}

/// When n clocks have been counted and the clock is low again, to the picosecond: where a trial stands behind so many.
fn behind(n: i64) -> i64 {
    rise(n) + PERIOD / 2
}

/// At which count bit b moved last, of n.
fn moved(bit: u32, n: i64) -> i64 {
    n >> bit << bit
}

struct Answer {
    code: i32,
    out: String,
    err: String,
}

fn ask(folder: &Path, arguments: &str) -> Answer {
    answer(command(folder, arguments).output().expect("it ran"))
}

fn answer(output: std::process::Output) -> Answer {
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("text");
    Answer { code: output.status.code().expect("an exit code"), out: text(output.stdout), err: text(output.stderr) }
}

/// The reports of a run that was asked for them as JSON.
fn reports(answer: &Answer) -> Vec<Value> {
    let value: Value =
        serde_json::from_str(&answer.out).unwrap_or_else(|error| panic!("{error}: {}{}", answer.out, answer.err));
    value.as_array().expect("a list").clone()
}

/// A time as reports write it, in picoseconds.
fn ps(value: &Value) -> i64 {
    let text = value.as_str().expect("a text");
    let time = text.parse::<Quantity>().ok().and_then(Quantity::as_time);
    time.map(Time::ps).unwrap_or_else(|| panic!("{text}"))
}

/// A chain of causes: when, which net, its level, and why.
fn chain(value: &Value) -> Vec<(i64, String, String, String)> {
    let text = |value: &Value| value.as_str().expect("a text").to_owned();
    let steps = value.as_array().expect("a chain").iter();
    steps
        .map(|step| {
            let (net, level) = (text(&step["net"]), text(&step["level"]));
            (ps(&step["time"]), net, level, text(&step["text"]))
        })
        .collect()
}

/// The names in a folder.
fn names(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).expect("listed").flatten();
    let mut names: Vec<String> = entries.map(|entry| entry.file_name().to_string_lossy().into_owned()).collect();
    names.sort();
    names
}
