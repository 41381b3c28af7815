//! `unused-path`: what it leaves out, and what is told when it leaves out nothing.

use super::*;
use coldboard::language::format::format;
use coldboard::text::Sources;

/// Two ways from a register to the next, straight and through five gates of 25 ns (74HC08, TI SCLS081I); 45 + 25 ns for
/// the registers (74HC574, TI SCLS148F), at 4.5 V over -40..85 C.
fn design(statements: &str) -> String {
    format!(
        "board test {{ rail VCC 4.5 V  rail GND
        feed U1..U4 from VCC GND  connector J1 header-1x2 {{ 1 clk  2 d }}
        U1 74HC574 {{ CLK = clk  /OE = GND  D[1..2] = d  D[3..8] = GND  Q1 = x  Q2 = y  Q[3..8] = open }}
        U2 74HC08 {{ [1..4]A = (x, g1, g2, g3)  [1..4]B = VCC  [1..4]Y = g[1..4] }}
        U3 74HC08 {{ 1A = g4  1B = y  1Y = z  [2..4]A = GND  [2..4]B = GND  [2..4]Y = open }}
        U4 74HC574 {{ CLK = clk  /OE = GND  D1 = z  D[2..8] = GND  Q1 = q  Q[2..8] = open }}
        {statements} }}"
    )
}

fn period(statements: &str) -> (i64, Report) {
    let report = report_of(&design(statements), Parts::Slowest, &["clk=1MHz"]);
    (report.runs[0].rates[0].period.expect("a limit").ps(), report)
}

#[test]
fn a_path_that_is_named_is_left_out() {
    let long = (45 + 5 * 25 + 25) * 1000;
    let short = (45 + 25 + 25) * 1000;
    assert_eq!(period("").0, long);
    for statement in [
        "unused-path U1.Q1 to U4.D1 \"x is set once\"",
        "unused-path x to z \"x is set once\"",
        "unused-path U2 to U4 \"x is set once\"",
        "unused-path U1.Q1 to U3.1A \"x is set once\"",
        "unused-path U2.[1..2]A to U4.D \"x is set once\"",
    ] {
        let (found, report) = period(statement);
        assert_eq!(found, short, "{statement}");
        assert!(report.unused[0].exists && report.unused[0].left_out > 0, "{statement}");
        assert_eq!(report.unused[0].reason, "x is set once");
    }
    // From the second output to the end is another path: the long one stays.
    let (found, report) = period("unused-path U1.Q2 to U4.D1 \"y rests\"");
    assert_eq!(found, long);
    assert!(report.unused[0].exists);
}

#[test]
fn a_statement_that_matches_nothing_is_told() {
    let (found, report) = period("unused-path U4.Q1 to U1.D1 \"the wrong way round\"");
    assert_eq!(found, (45 + 5 * 25 + 25) * 1000);
    assert!(!report.unused[0].exists);
    let text = coldboard::export::timing_text::text(&report);
    assert!(text.contains("THERE IS NO SUCH PATH: the wrong way round"), "{text}");
}

#[test]
fn an_assembly_names_the_board_first() {
    let text = "board one { rail VCC 4.5 V  rail GND  feed U1 from VCC GND
            connector POWER terminal-1x2 { 1 VCC  2 GND }  connector BUS header-1x3 { 1 clk  2 x  3 GND }
            U1 74HC574 { CLK = clk  /OE = GND  D1 = x  D[2..8] = GND  Q1 = x  Q[2..8] = open } }
        assembly both { A, B: one
            cable W1 ribbon 3 way 1 m { A.BUS, B.BUS }
            supply PS1 4.5 V 1 A { plus = A.POWER.1  minus = A.POWER.2 }
            supply PS2 4.5 V 1 A { plus = B.POWER.1  minus = B.POWER.2 }
            unused-path A.U1.Q1 to B.U1.D1 \"B only sends\" }";
    let report = report_of(text, Parts::Slowest, &["A.clk=1MHz"]);
    assert!(report.unused[0].exists);
}

#[test]
fn unknown_ends_are_told_with_a_near_name() {
    assert_eq!(mistakes(&design("unused-path U1.Q9 to U4.D1 \"\"")), ["there is no pin, chip or net `U1.Q9`"]);
    assert_eq!(mistakes(&design("unused-path U1.Q1 to U44 \"\"")), ["there is no pin, chip or net `U44`"]);
}

#[test]
fn it_has_a_canonical_layout() {
    let text = "board b {\n    unused-path   U1.Q1   to U4.D1\n  \"why\"\n}\n";
    let file = Sources::new().add("t.board", text);
    let laid_out = format(file, text).expect("a text that parses");
    assert_eq!(laid_out, "board b {\n    unused-path U1.Q1 to U4.D1 \"why\"\n}\n");
    let other = text.replace("unused-path", "synchroniser");
    let laid_out = format(file, &other).expect("a text that parses");
    assert_eq!(laid_out, "board b {\n    synchroniser U1.Q1 to U4.D1 \"why\"\n}\n");
}
