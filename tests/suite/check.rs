//! The designs in `designs/faulty/`: each rule finds the one mistake of its design, and nothing in the right one.

use coldboard::check::{Finding, RULES, check};
use coldboard::circuit::elaborate;
use coldboard::cli::files::Disk;
use coldboard::diagnostic::terminal::Terminal;
use coldboard::diagnostic::{Diagnostic, Look};
use coldboard::language::parse;
use coldboard::part::Library;
use coldboard::project::Project;
use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("designs/faulty")
}

/// What is found on a board or assembly of a faulty design, with the text that a person reads.
fn checked(rule: &str, name: &str) -> (Vec<Finding>, String) {
    let mut project = Project::open(&Disk, &folder().join(format!("{rule}.board")), Library::built_in());
    assert_eq!(project.diagnostics(), [], "{rule}");
    let (circuit, problems) = project.circuit(Some(name));
    assert_eq!(problems, [], "{rule}, {name}");
    let findings = check(&circuit.expect("a circuit without errors"));
    let diagnostics: Vec<Diagnostic> = (findings.iter()).map(|finding| finding.diagnostic.clone()).collect();
    let shown = Terminal { colour: false, width: 100 }.render(project.sources(), &diagnostics);
    (findings, shown)
}

#[test]
fn each_rule_finds_the_one_mistake_of_its_design() {
    for rule in RULES.iter().map(|rule| rule.name) {
        let text = fs::read_to_string(folder().join(format!("{rule}.board"))).expect("every rule has its design");
        let mut comments = text.lines().map_while(|line| line.strip_prefix("# "));
        let place = comments.find_map(|line| line.strip_prefix("The mistake is at ")?.strip_suffix('.'));
        let place = place.expect("the design says where its mistake is");
        let (findings, shown) = checked(rule, "wrong");
        let found: Vec<_> = (findings.iter()).map(|finding| (finding.rule, finding.place.as_str())).collect();
        assert_eq!(found, [(rule, place)], "{shown}");
        let (_, shown) = checked(rule, "right");
        assert_eq!(shown, "", "{rule}");
    }
}

/// The second pair of one of them. Fairchild DM74LS03: an open collector stands 5.5 V; TI SDLS020F: that of an 06 30 V.
#[test]
fn an_open_collector_stands_what_its_sheet_says() {
    let (findings, shown) = checked("input-too-high", "wrong_pull");
    let found: Vec<_> = (findings.iter()).map(|finding| (finding.rule, finding.diagnostic.message.as_str())).collect();
    let message = "R1 brings 12 V on relay, and U1.1Y (pin 2) stands 5.5 V";
    assert_eq!(found, [("input-too-high", message)], "{shown}");
    let (_, shown) = checked("input-too-high", "right_pull");
    assert_eq!(shown, "");
}

#[test]
fn every_faulty_design_belongs_to_a_rule() {
    let stems: BTreeSet<String> = (fs::read_dir(folder()).expect("the folder"))
        .map(|entry| entry.expect("an entry").file_name())
        .map(|name| name.to_string_lossy().trim_end_matches(".board").to_owned())
        .collect();
    let rules: BTreeSet<String> = RULES.iter().map(|rule| rule.name.to_owned()).collect();
    assert_eq!(stems, rules);
}

#[test]
fn every_rule_lives_in_the_file_of_its_name() {
    for rule in RULES {
        let path = format!("src/check/rules/{}.rs", rule.name.replace('-', "_"));
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(path);
        let text = fs::read_to_string(&path).expect(rule.name);
        let header: String = (text.lines())
            .map_while(|line| line.strip_prefix("//!"))
            .map(|line| format!("{}\n", line.strip_prefix(' ').unwrap_or(line)))
            .collect();
        assert_eq!(rule.documentation, header, "{}", rule.name);
    }
}

#[test]
fn a_finding_says_what_why_and_what_to_do() {
    for rule in RULES {
        let (findings, _) = checked(rule.name, "wrong");
        for finding in findings {
            let diagnostic = &finding.diagnostic;
            assert_eq!(diagnostic.code, rule.name);
            assert!(!diagnostic.labels.is_empty(), "{}: a place", rule.name);
            assert!(!diagnostic.notes.is_empty(), "{}: why", rule.name);
            assert!(diagnostic.help.is_some(), "{}: what to do", rule.name);
        }
    }
}

/// What is found on a small design of the built-in library.
fn found(text: &str) -> Vec<Finding> {
    let mut library = Library::built_in();
    let file = library.add_source("test.board", text);
    let (tree, problems) = parse(file, text);
    assert_eq!(problems, []);
    let (circuit, problems) = elaborate(None, &[tree], &library);
    assert_eq!(problems, []);
    check(&circuit.expect("a circuit without errors"))
}

/// What one rule says of it.
pub(super) fn messages(text: &str, rule: &str) -> Vec<String> {
    let mut findings = found(text);
    findings.retain(|finding| finding.rule == rule);
    let message = |finding: Finding| finding.diagnostic.message;
    findings.into_iter().map(message).collect()
}

/// What stands on it, by rule.
pub(super) fn stands(text: &str) -> Vec<(&'static str, String, String)> {
    let findings = found(text);
    let row = |finding: &Finding| {
        let severity = finding.diagnostic.severity.word().to_owned();
        (finding.rule, finding.place.clone(), severity)
    };
    findings.iter().map(row).collect()
}

pub(super) fn of_rule(text: &str, rule: &str) -> Vec<String> {
    let found = stands(text).into_iter().filter(|row| row.0 == rule);
    found.map(|(_, place, severity)| format!("{place}: {severity}")).collect()
}

/// Two buffers on one bus; what makes their enables.
fn bus(enables: &str) -> String {
    format!(
        "board b {{ rail VCC 5 V  rail GND  feed U1..U9 from VCC GND
            connector J header-1x20 {{ 1..8 m[0..7]  9 a  10 b  11 c  12 clk  13..16 d[0..3] }}
            U1 74HC541 {{ A[1..8] = GND  Y[1..8] = m[0..7]  /OE[1..2] = /one }}
            U2 74HC541 {{ A[1..8] = VCC  Y[1..8] = m[0..7]  /OE[1..2] = /two }}
            {enables} }}"
    )
    .replace("U1..U9", if enables.contains("U3") { "U1..U3" } else { "U1..U2" })
}

#[test]
fn enables_that_exclude_one_another_are_proven() {
    // SN74HC138 and SN74HC139 (TI SCLS107, SCLS108): one output at most is low. The rest is plain logic.
    for apart in [
        "U3 74HC138 { A = a  B = b  C = c  G1 = VCC  /G2A = GND  /G2B = GND  Y0 = /one  Y5 = /two }",
        "U3 74HC04 { 1A = a  1Y = /one  2A = /one  2Y = /two }",
        "U3 74HC74 { 1D = a  1CLK = clk  /1PRE = VCC  /1CLR = VCC  1Q = /one  /1Q = /two }",
    ] {
        assert_eq!(of_rule(&bus(apart), "bus-contention"), [] as [&str; 0], "{apart}");
    }
}

#[test]
fn enables_that_may_meet_are_told_apart_by_what_makes_them_meet() {
    for (together, severity) in [
        ("U3 74HC04 { 1A = a  1Y = /one  2A = a  2Y = /two }", "error"),
        (
            "SW1 switch { 1 = /one  2 = GND }  SW2 switch { 1 = /two  2 = GND }
             RN1 network isolated 4 pins 10 kohm { 1 = VCC  2 = /one  3 = VCC  4 = /two }",
            "warning",
        ),
        (
            "U3 74HC74 { 1D = a  1CLK = clk  2D = b  2CLK = clk  /1PRE = VCC  /2PRE = VCC  /1CLR = VCC  /2CLR = VCC
                         1Q = /one  2Q = /two }",
            "note",
        ),
    ] {
        assert_eq!(of_rule(&bus(together), "bus-contention"), [format!("m0: {severity}")], "{together}");
    }
}

/// A counter that is stepped by `step`; what makes `step`.
fn stepped(gates: &str) -> String {
    format!(
        "board b {{ rail VCC 5 V  rail GND  feed U1..U3 from VCC GND
            connector J header-1x8 {{ 1 clk  2 go  3 /reset  4 x  5..8 q[0..3] }}
            U1 74HC161 {{ CLK = step  /CLR = /reset  /LOAD = VCC  ENP = VCC  ENT = VCC  [A..D] = GND  Q[A..D] = q[0..3] }}
            {gates} }}"
    )
}

#[test]
fn a_clock_that_is_gated_while_the_gate_is_shut_is_clean() {
    // Plain logic: behind the rising edge an OR is held high by the clock, an AND lets the enable through.
    let register = "U3 74HC74 { 1D = go  1CLK = clk  /1PRE = VCC  /1CLR = VCC  1Q = en }";
    let with = |gate: &str| of_rule(&stepped(&format!("{register}  {gate}")), "gated-clock");
    assert_eq!(with("U2 74HC08 { 1A = clk  1B = en  1Y = step }"), ["step: warning"]);
    assert_eq!(with("U2 74HC32 { 1A = clk  1B = en  1Y = step }"), [] as [&str; 0]);
    // The other edge moves the enable: now the AND is the clean one.
    let register = "U3 74HC112 { 1J = go  1K = VCC  1CLK = clk  /1PRE = VCC  /1CLR = VCC  1Q = en }";
    let with = |gate: &str| of_rule(&stepped(&format!("{register}  {gate}")), "gated-clock");
    assert_eq!(with("U2 74HC08 { 1A = clk  1B = en  1Y = step }"), [] as [&str; 0]);
    assert_eq!(with("U2 74HC32 { 1A = clk  1B = en  1Y = step }"), ["step: warning"]);
}

#[test]
fn two_phases_of_one_ring_keep_their_order() {
    // A ring of two flip-flops counts 00, 10, 11, 01: when the first has risen, the second is still low. So a pulse
    // from the second phase, which gates what the first one clocked, is clean (plain logic).
    let ring = |gate: &str| {
        format!(
            "board b {{ rail VCC 5 V  rail GND  feed U1..U4 from VCC GND
                connector J header-1x8 {{ 1 osc  2 go  3 /reset  4 open  5..8 q[0..3] }}
                U1 74HC161 {{ CLK = step  /CLR = /reset  /LOAD = VCC  ENP = VCC  ENT = VCC  [A..D] = GND  Q[A..D] = q[0..3] }}
                U2 74HC175 {{ CLK = osc  /CLR = /reset  D1 = /two  D2 = one  D3 = GND  D4 = GND  Q1 = one  Q2 = two  /Q2 = /two }}
                U3 74HC74 {{ 1D = go  1CLK = one  /1PRE = VCC  /1CLR = /reset  1Q = en }}
                U4 74HC11 {{ {gate}  2A = GND  2B = GND  2C = GND  3A = GND  3B = GND  3C = GND }} }}"
        )
    };
    let clean = ring("1A = one  1B = two  1C = en  1Y = step");
    assert_eq!(of_rule(&clean, "gated-clock"), [] as [&str; 0]);
    let cut = ring("1A = one  1B = /two  1C = en  1Y = step");
    assert_eq!(of_rule(&cut, "gated-clock"), ["step: warning"]);
}

#[test]
fn one_input_on_two_ways_is_a_hazard() {
    // E. B. Eichelberger, 1965: go and not go, once over an inverter.
    let gates = "U2 74HC00 { 1A = go  1B = go  1Y = no  2A = go  2B = no  2Y = step }  U3 74HC04 { 1A = x }";
    assert_eq!(of_rule(&stepped(gates), "gated-clock"), ["step: warning"]);
    let direct = "U2 74HC04 { 1A = go  1Y = step }  U3 74HC04 { 1A = x }";
    assert_eq!(of_rule(&stepped(direct), "gated-clock"), [] as [&str; 0]);
}

#[test]
fn a_lever_at_a_latch_is_debounced() {
    // Two cross-coupled gates at a changeover switch (common practice).
    let latch = "SW1 changeover { common = GND  up = /set  down = /clear }
        R1..R2 resistor 10 kohm { 1 = (/set, /clear)  2 = VCC }
        U2 74HC00 { 1A = /set  1B = other  1Y = step  2A = /clear  2B = step  2Y = other }  U3 74HC04 { 1A = x }";
    assert_eq!(of_rule(&stepped(latch), "bouncing-clock"), [] as [&str; 0]);
    let bare = "SW1 changeover { common = step  up = VCC  down = GND }
        R1 resistor 10 kohm { 1 = step  2 = GND }  U2 74HC04 { 1A = x }  U3 74HC04 { 1A = x }";
    assert_eq!(of_rule(&stepped(bare), "bouncing-clock"), ["SW1: warning"]);
}

#[test]
fn what_is_accepted_with_a_reason_is_set_aside() {
    let text = fs::read_to_string(folder().join("memory-unreachable.board")).expect("the design");
    let text = text.split("board right").next().expect("the wrong one");
    let accepted = text.replacen("feed U1", "accept memory-unreachable at U1 \"enough\"\n    feed U1", 1);
    assert_eq!(stands(text).len(), 1);
    assert_eq!(stands(&accepted), []);
    let elsewhere = accepted.replace("at U1", "at U2");
    let rules: Vec<&str> = stands(&elsewhere).iter().map(|row| row.0).collect();
    assert_eq!(rules, ["acceptance", "memory-unreachable"]);
}

#[test]
fn a_strap_on_a_backplane_is_meant() {
    // Slots that tell a board its number by pins on ground or supply (common practice).
    let slots = |pin: &str, board: &str| {
        format!(
            "board back {{ rail VCC 5 V  rail GND
                 connector POWER terminal-1x2 {{ 1 VCC  2 GND }}
                 connector SLOT header-1x4 {{ 1 VCC  2 GND  3 {pin}  4 open }} }}
             board card {{ rail VCC 5 V  rail GND  feed U1 from VCC GND
                 connector SLOT header-1x4 {{ 1 VCC  2 GND  3 id  4 open }}
                 C1 capacitor 100 nF decouples U1
                 U1 74HC04 {{ {board}  [2..6]A = GND }} }}
             assembly both {{ B: back  C: card  cable W1 ribbon 4 way 100 mm {{ B.SLOT, C.SLOT }}
                 supply PS1 5 V 1 A {{ plus = B.POWER.1  minus = B.POWER.2 }} }}"
        )
    };
    let found = |pin: &str, board: &str| of_rule(&slots(pin, board), "rail-on-signal");
    assert_eq!(found("id = GND", "1A = id"), [] as [&str; 0]);
    assert_eq!(found("low = GND", "1A = id"), ["C.id: error"]);
    assert_eq!(found("id = GND", "1A = GND  1Y = id"), ["C.id: error"]);
}
