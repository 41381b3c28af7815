//! Instructions that say what they do: formulas against plain arithmetic, and a small machine that is followed on its board.

use super::texts::{open, prepared, ran, told};
use coldboard::contents::behaviour::{Behaviour, Memory};
use coldboard::language::ast::Word;
use coldboard::project::Project;
use std::sync::Arc;

fn behaviour(project: &Project) -> Arc<Behaviour> {
    assert_eq!(told(project, project.diagnostics()), [""; 0]);
    let span = project.contents().fillings()[0].span;
    project.contents().names.behaviour(&Word { node: "T".to_owned(), span }).expect("the set").clone()
}

/// Bytes from address 0 on; all others are unknown.
struct Bytes(Vec<Option<u8>>);

impl Memory for Bytes {
    fn read(&mut self, address: u64) -> Option<u8> {
        *self.0.get(address as usize)?
    }

    fn write(&mut self, address: u64, byte: Option<u8>) {
        self.0[address as usize] = byte;
    }
}

/// The text of the instruction at address 0, the registers after it, and memory.
#[track_caller]
fn after(set: &str, line: &str, registers: &[Option<u64>]) -> (String, Vec<Option<u64>>, Vec<Option<u8>>) {
    let project = open(&format!("instructions T {{ {set} }} program p for T {{ {line} }}"));
    let behaviour = behaviour(&project);
    let (_, bytes) = project.contents().filling("p").expect("a program").image.segments().next().expect("bytes");
    let mut memory = Bytes(bytes.iter().copied().map(Some).collect());
    memory.0.resize(256, Some(0));
    let decoded = behaviour.decode(&mut memory, 0).expect("an instruction");
    let mut registers = registers.to_vec();
    behaviour.execute(&decoded, &mut registers, &mut memory).expect("it can be done");
    (behaviour.text(&decoded, 0), registers, memory.0)
}

#[test]
fn comparisons_bind_less_than_sums() {
    let set = "state PC 16, A 8, C 1  effect compare(r, v) { C = r > v - 1 }
        CMP n: byte = 1, n { compare(A, n) }";
    for (a, n) in [(0x34u64, 0x35u64), (0x12, 0x12), (0, 255), (255, 0)] {
        let (_, registers, _) = after(set, &format!("CMP {n}"), &[Some(0), Some(a), Some(0)]);
        assert_eq!(registers, [Some(2), Some(a), Some(u64::from(a >= n))], "{a} {n}");
    }
}

#[test]
fn steps_come_one_after_another_and_registers_keep_their_low_bits() {
    let set = "registers r: A = 0, B = 1  state PC 8, A 8, B 4, Z 1
        SUM d: r, s: r = 0x40 + 2 * d + s { d = d + s  Z = d = 0 }
        SWAP = 0x10 { t = A  A = B  B = t }
        PUT s: r, [a: address] = 0x20 + s, low a, high a { [a] = s  s = [a] + 1 when Z else 0 }
        GO a: relative = 0x30, a { PC = PC + a }
        OR n: 0..15 = 0x80 + n { A = A or n * 16 }";
    let state = |a, b, z| [Some(0), Some(a), Some(b), Some(z)];
    // 0xFE + 2 = 0x100, of which A keeps 8 bits.
    let (text, registers, _) = after(set, "SUM A, B", &state(0xFE, 2, 0));
    assert_eq!((text.as_str(), registers), ("SUM A, B", vec![Some(1), Some(0), Some(2), Some(1)]));
    // B has four bits.
    let (_, registers, _) = after(set, "SWAP", &state(0x7A, 2, 0));
    assert_eq!(registers, [Some(1), Some(2), Some(0xA), Some(0)]);
    let (text, registers, memory) = after(set, "PUT A, [0x42]", &state(0x99, 3, 1));
    assert_eq!((text.as_str(), registers), ("PUT A, [0x42]", vec![Some(3), Some(0x9A), Some(3), Some(1)]));
    assert_eq!(memory[0x42], Some(0x99));
    let (_, registers, _) = after(set, "PUT B, [0x42]", &state(0x99, 3, 0));
    assert_eq!(registers, [Some(3), Some(0x99), Some(0), Some(0)]);
    let (text, registers, _) = after(set, "GO 0x10", &state(0, 0, 0));
    assert_eq!((text.as_str(), registers[0]), ("GO 0x10", Some(0x10)));
    let (text, registers, _) = after(set, "OR 9", &state(0x05, 0, 0));
    assert_eq!((text.as_str(), registers[1]), ("OR 9", Some(0x95)));
}

#[test]
fn what_depends_on_something_unknown_is_unknown() {
    let set = "state PC 8, A 8, B 8, Z 1
        SUM = 1 { A = A + B  Z = A = 0 }
        ONE = 2 { A = 7 when Z else 7  B = 7 when Z else 8 }
        FAR = 3 { A = [200] }";
    let (_, registers, _) = after(set, "SUM", &[Some(0), Some(1), None, Some(0)]);
    assert_eq!(registers, [Some(1), None, None, None]);
    let (_, registers, _) = after(set, "ONE", &[Some(0), Some(1), None, None]);
    assert_eq!(registers, [Some(1), Some(7), None, None]);
}

#[test]
fn mistakes_in_what_instructions_do_are_found() {
    let refused = |set: &str, wanted: &[&str]| {
        let project = open(&format!("instructions T {{ {set} }} program p for T {{ GO }}"));
        assert_eq!(told(&project, project.diagnostics()), wanted, "{set}");
    };
    refused("state A 8  GO = 1 { }", &["A | `state` has no PC"]);
    refused("state PC 8, PC 8  GO = 1 { }", &["PC | PC is there twice"]);
    refused("state PC 8, A 40  GO = 1 { }", &["40 | a register has 1 to 32 bits"]);
    refused("GO = 1 { A = 2 }", &["GO = 1 { A = 2 } | the instructions have no registers to work on"]);
    refused("state PC 8  GO = 1 { PC = X }", &["X | X is no register, no operand and no name of a step above"]);
    refused("state PC 8  GO = 1 { test(1) }", &["test | there is no effect test"]);
    refused("state PC 8  effect a() { b() } effect b() { }  GO = 1 { a() }", &["b | the effect b comes later"]);
    refused("state PC 8  effect a() { a() }  GO = 1 { a() }", &["a | the effect a comes later"]);
    refused("state PC 8  effect a(v) { }  GO = 1 { a() }", &["a() | a takes 1, not 0"]);
    refused("state PC 8  GO = 1 { }  LD n: byte = 2, n { n = 1 }", &["n | n is given, and cannot be changed"]);
    refused(
        "registers r: A = 0  state PC 8  GO = 1 { }  LD d: r = 2 + d { d = 1 }",
        &["d | d may be A, which is no register of `state`"],
    );
    let deep: String = (1..12).map(|n| format!("effect e{n}() {{ e{m}() e{m}() e{m}() }} ", m = n - 1)).collect();
    refused(
        &format!("state PC 8  effect e0() {{ PC = 1 }} {deep} GO = 1 {{ e11() }}"),
        &["e0() | an instruction of more than 1000 steps"; 1],
    );
}

/// A counter, a ROM and a register: each clock takes the byte that the counter addresses.
fn machine(set: &str, trial: &str) -> String {
    format!(
        "instructions T {{ state PC 4, A 8 {set} }}
        program p for T {{ first: LIT 5 LIT 0x1F second: LIT 7 LIT 8 fill 11 with 1 third: LIT 9 }}
        board b {{
            rail VCC 5 V
            rail GND
            feed U1..U3 from VCC GND
            connector J1 header-1x04 {{ 1 VCC  2 GND  3 clk  4 /reset }}
            U1 74HC163 {{
                CLK = clk  /CLR = /reset  /LOAD = VCC  ENP = VCC  ENT = VCC  [A..D] = GND  Q[A..D] = pc[0..3]  RCO = open
            }}
            U2 28C256-15 holds p {{
                A[0..3] = pc[0..3]  A[4..14] = GND  DQ[0..7] = d[0..7]  /CE = GND  /OE = GND  /WE = VCC
            }}
            U3 74HC574 {{ CLK = clk  /OE = GND  D[1..8] = d[0..7]  Q[1..8] = a[0..7] }}
        }}
        trial t on b {{
            clock clk 1 MHz
            set /reset = low
            run for 2 clocks
            set /reset = high
            {trial}
        }}"
    )
}

const PLACES: &str = "machine T { start on rise clk when /reset is high  PC = pc  A = a  memory 0 = U2 }";

/// By hand: the first clock with the reset released takes the byte at 0, and so on; the counter wraps at 16.
#[test]
fn instructions_are_followed_on_the_board() {
    let set = "LIT n: 0..255 = n { A = n }";
    let trial = format!("{PLACES} show each instruction: A as decimal profile T agree with T run for 18 clocks");
    for untimed in [false, true] {
        let report = ran(&machine(set, &trial), untimed);
        assert!(report.passed, "{:?}", report.failures);
        let [instructions, profile] = report.tables.as_slice() else {
            panic!("two tables");
        };
        assert_eq!(instructions.columns, ["address", "instruction", "A", "clocks"]);
        let cells: Vec<Vec<&str>> =
            instructions.rows.iter().map(|(_, cells)| cells.iter().map(String::as_str).collect()).collect();
        assert_eq!(
            cells[..3],
            [["0000", "LIT 5", "5", "1"], ["0001", "LIT 0x1F", "31", "1"], ["0002", "LIT 7", "7", "1"]]
        );
        assert_eq!(cells[16], ["0000", "LIT 5", "5", "1"]);
        assert_eq!(cells.len(), 17, "the last one is not over yet");
        let rows: Vec<Vec<&str>> =
            profile.rows.iter().map(|(_, cells)| cells.iter().map(String::as_str).collect()).collect();
        // 13 of 17 are 76.5 %, 3 are 17.6 %, 1 is 5.9 %.
        let wanted = [["second", "13", "13", "76.5 %"], ["first", "3", "3", "17.6 %"], ["third", "1", "1", "5.9 %"]];
        assert_eq!(rows, wanted);
    }
}

#[test]
fn the_first_instruction_that_differs_ends_the_run() {
    let trial = format!("{PLACES} agree with T run for 18 clocks");
    let report = ran(&machine("LIT n: 0..255 = n { A = n + 1 when n = 8 else n }", &trial), false);
    let [failure] = report.failures.as_slice() else {
        panic!("one failure: {:?}", report.failures);
    };
    assert_eq!(failure.expectation, "agree with T");
    let found = failure.found.replace(|c: char| c.is_ascii_digit() || c == '.', "#");
    assert!(failure.found.starts_with("after LIT 8 at 0003, begun at "), "{found}");
    assert!(failure.found.ends_with(", A is 0x08, not 0x09"), "{found}");
    assert!(!failure.causes.is_empty());
    // A byte that is no instruction.
    let report = ran(
        &machine(
            "LIT n: 0..31 = n { A = n }  ODD = 0x80 { }",
            &trial.replace("agree", "load U2 from random T seed 3 without LIT agree"),
        ),
        false,
    );
    assert!(report.failures[0].found.starts_with("after ODD at 0000"), "{:?}", report.failures[0].found);
}

/// A start that depends on an unknown level ends the comparison, and a memory that is loaded is loaded for both.
#[test]
fn a_comparison_does_not_fall_asleep() {
    let set = "LIT n: 0..255 = n { A = [(PC - 1) % 16] }";
    let report =
        ran(&machine(set, &format!("{PLACES} agree with T run for 5 clocks release /reset run for 5 clocks")), false);
    let found: Vec<&str> = report.failures.iter().map(|failure| failure.found.as_str()).collect();
    assert_eq!(found, ["after 4 instructions, it is unknown whether one begins: /reset is high"]);
    // Ten begin; the first one, and the first one after the load, take over what the board has.
    let load = "agree with T run for 5 clocks load U2 from random T seed 3 run for 5 clocks";
    let report = ran(&machine(set, &format!("{PLACES} {load}")), false);
    assert!(report.passed, "{:?}", report.failures);
    assert_eq!(report.remarks, ["agreed: 8 instructions at 8 addresses, 1 of 1 forms"]);
}

#[test]
fn mistakes_in_a_machine_are_found_before_anything_runs() {
    let refused = |trial: &str, wanted: &[&str]| {
        let mut project = open(&machine("LIT n: 0..255 = n { A = n }", trial));
        assert_eq!(prepared(&mut project).expect_err("mistakes"), wanted, "{trial}");
    };
    let place = |text: &str| PLACES.replace("PC = pc  A = a", text);
    refused(&place("A = a"), &[&format!("{} | the machine has no PC", place("A = a"))]);
    refused(&place("PC = pc  B = a"), &["B | T has no register B"]);
    refused(&place("PC = pc  A = pc"), &["A | A has 8 bits, pc has 4"]);
    refused(&place("PC = pc  PC = pc"), &["PC | PC is there twice"]);
    refused(&PLACES.replace("machine T", "machine S"), &["S | there are no instructions S"]);
    refused(&PLACES.replace("U2", "U3"), &["U3 | `U3` is a 74HC574, which has no memory to load"]);
    refused("agree with T", &["T | the trial does not say where registers and memory are"]);
    let twice = format!("{PLACES} {PLACES}");
    refused(&twice, &[&format!("{PLACES} | the trial has two machines")]);
    let two_starts = PLACES.replace("PC = pc", "start on fall clk  PC = pc");
    refused(&two_starts, &["start on fall clk | an instruction begins in one way"]);
    refused(&format!("{PLACES} load U2 from random T without NIL"), &["NIL | T has no instruction NIL"]);
    refused(&format!("{PLACES} load U2 from random T without LIT"), &["T | no instruction is left"]);
}
