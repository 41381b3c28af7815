//! Requirements of the sheets at their limits: what is just enough holds, a picosecond less is told.
//!
//! The supply is 4.5 V, a voltage of the sheets, so that their figures count as they are printed. In the slowest corner
//! they are the limits over -40..85 C, in the typical one those at 25 C.

use coldboard::language::ast::Corner;
use coldboard::part::Library;
use coldboard::project::Project;
use coldboard::text::MemoryFiles;
use coldboard::trial::{Options, Report, Unattended, prepare, run};
use std::path::Path;

/// Runs the statements of a trial on a board with some chips.
fn tried(chips: &str, statements: &str, corner: Corner) -> Report {
    let text = format!(
        "board one {{ rail VCC 4.5 V  rail GND  feed U1 from VCC GND\n{chips}\n}}
        trial limit on one {{\n{statements}\n}}"
    );
    let files = MemoryFiles::default().with("one.board", text);
    let mut project = Project::open(&files, Path::new("one.board"), Library::built_in());
    assert_eq!(project.diagnostics(), []);
    let (circuit, problems) = project.circuit(None);
    assert_eq!(problems, []);
    let circuit = circuit.expect("a circuit");
    let trial = &project.trials()[0];
    let images = |file: &_| project.image(file);
    let prepared = prepare(trial, &circuit, project.sources(), &images).expect("known names");
    let options = Options { corner: Some(corner), ..Options::default() };
    run(&prepared, &circuit, project.sources(), &options, &mut Unattended)
}

/// Kind, place and count of each fault; `failed` for an expectation.
fn told(report: &Report) -> Vec<String> {
    let faults = report.faults.iter();
    let faults = faults.map(|fault| format!("{} {} x{}", fault.kind, fault.place, fault.count));
    let failures = report.failures.iter().map(|_| "failed".to_owned());
    faults.chain(failures).collect()
}

const NOTHING: [&str; 0] = [];

const REGISTER: &str = "U1 74HC574 { D[1..8] = d[0..7]  Q[1..8] = q[0..7]  CLK = clk  /OE = GND }";

/// 74HC574 (TI SCLS148F, August 2003): D before CLK, at 4.5 V, 20 ns at 25 C and 25 ns over -40..85 C.
#[test]
fn setup_at_the_limit() {
    let run = |before: i64, corner| {
        let statements = format!(
            "set clk = low  set d = 0x00  run for 1 us  set d = 0xA5  run for {before} ps  set clk = high
            run for 1 us  expect q = 0xA5"
        );
        tried(REGISTER, &statements, corner)
    };
    assert_eq!(told(&run(25_001, Corner::Slowest)), NOTHING);
    assert_eq!(told(&run(25_000, Corner::Slowest)), NOTHING);
    assert_eq!(told(&run(20_000, Corner::Typical)), NOTHING);
    // The four bits that move, of 0xA5, are told; and what the register takes is unknown there.
    let late = ["setup U1.D1 x1", "setup U1.D3 x1", "setup U1.D6 x1", "setup U1.D8 x1", "failed"];
    assert_eq!(told(&run(24_999, Corner::Slowest)), late);
    assert_eq!(told(&run(19_999, Corner::Typical)), late);
    let found = &run(24_999, Corner::Slowest).failures[0].found;
    assert!(found.starts_with("q is 0x??"), "{found}");
}

/// 74HC574 (TI SCLS148F, August 2003): D after CLK, at 4.5 V, 5 ns.
#[test]
fn hold_at_the_limit() {
    let run = |after: i64, second: u8| {
        let statements = format!(
            "set clk = low  set d = 0xA5  run for 1 us  set clk = high  run for {after} ps  set d = {second}
            run for 1 us  expect q = 0xA5"
        );
        tried(REGISTER, &statements, Corner::Slowest)
    };
    assert_eq!(told(&run(5_001, 0xA4)), NOTHING);
    assert_eq!(told(&run(5_000, 0xA4)), NOTHING);
    assert_eq!(told(&run(4_999, 0xA4)), ["hold U1.D1 x1", "failed"]);
    // What does not move cannot move too early.
    assert_eq!(told(&run(1, 0xA5)), NOTHING);
}

/// 74HC574 (TI SCLS148F, August 2003): at 4.5 V over -40..85 C CLK high and low 20 ns, and 24 MHz: 41 667 ps.
#[test]
fn width_and_rate_at_the_limit() {
    let run = |high: i64, low: i64| {
        let statements = format!(
            "set clk = low  set d = 0xA5  run for 1 us
            set clk = high  run for {high} ps  set clk = low  run for {low} ps
            set clk = high  run for 1 us  set clk = low  run for 1 us"
        );
        tried(REGISTER, &statements, Corner::Slowest)
    };
    assert_eq!(told(&run(20_000, 30_000)), NOTHING);
    assert_eq!(told(&run(19_999, 30_000)), ["pulse width U1.CLK x1"]);
    assert_eq!(told(&run(30_000, 20_000)), NOTHING);
    assert_eq!(told(&run(30_000, 19_999)), ["pulse width U1.CLK x1"]);
    assert_eq!(told(&run(21_000, 20_667)), NOTHING);
    assert_eq!(told(&run(21_000, 20_666)), ["rate U1.CLK x1"]);
}

/// 74HC74 (TI SCLS094E, December 2015): /CLR inactive before CLK, at 4.5 V over -40..85 C, 6 ns.
#[test]
fn recovery_at_the_limit() {
    let chip = "U1 74HC74 { 1D = d  1CLK = clk  /1CLR = /clear  /1PRE = VCC  1Q = q
        2D = GND  2CLK = GND  /2CLR = VCC  /2PRE = VCC }";
    let run = |before: i64, data: &str| {
        let statements = format!(
            "set clk = low  set d = {data}  set /clear = low  run for 1 us
            set /clear = high  run for {before} ps  set clk = high  run for 1 us  expect q is {data}"
        );
        tried(chip, &statements, Corner::Slowest)
    };
    assert_eq!(told(&run(6_000, "high")), NOTHING);
    assert_eq!(told(&run(5_999, "high")), ["recovery U1./1CLR x1", "failed"]);
    // A flip-flop that is clear and stays clear does not mind.
    assert_eq!(told(&run(5_999, "low")), NOTHING);
}

/// 74HC377 (Nexperia 74HC_HCT377 Rev 4, February 2016): D before CLK, at 4.5 V over -40..85 C, 15 ns.
#[test]
fn a_register_that_is_not_to_take_anything_does_not_mind_late_data() {
    let chip = "U1 74HC377 { D[1..8] = d[0..7]  Q[1..8] = q[0..7]  CLK = clk  /CLKEN = /take }";
    let run = |take: &str| {
        let statements = format!(
            "set clk = low  set d = 0x11  set /take = low  run for 1 us  set clk = high  run for 1 us
            set clk = low  set /take = {take}  run for 1 us
            set d = 0x10  run for 14999 ps  set clk = high  run for 1 us"
        );
        tried(chip, &statements, Corner::Slowest)
    };
    assert_eq!(told(&run("high")), NOTHING);
    assert_eq!(told(&run("low")), ["setup U1.D1 x1"]);
}
