//! Instruction sets and programs: bytes against encodings by hand, and what a person is told.

use coldboard::contents::Filling;
use coldboard::diagnostic::Diagnostic;
use coldboard::part::Library;
use coldboard::project::Project;
use coldboard::text::MemoryFiles;
use proptest::prelude::*;
use std::path::Path;

const SET: &str = "
names ports { LAMP = 0x40  BELL = 0x41  SPARE = 0x42..0x4F }
instructions TINY {
    registers r: A = 0, B = 1, C = 2
    registers index: X = 0, Y = 1
    NOP = 0x00
    LOAD d: r, n: byte = 0x10 + d, n
    LOAD d: r, [a: address] = 0x20 + d, low a, high a as LOAD_FROM
    LOAD d: r, [i: index, o: 0..15] = 0x30 + 4 * i + d, o
    PUSH SP = 0x0F
    MOVE d: r, s: r = 0x80 + 4 * d + s
    JUMP a: address = 0x90, low a, high a
    BRANCH a: relative = 0x91, a
    OUT p: 0..255, s: r = 0xA0 + s, p
    WORD n: word = 0x0E, low n, high n
}
";

fn open(text: &str) -> Project {
    let files = MemoryFiles::default().with("p.board", format!("{SET}{text}"));
    Project::open(&files, Path::new("p.board"), Library::built_in())
}

fn program(lines: &str) -> String {
    format!("program p for TINY {{\n{lines}\n}}\n")
}

fn filling(lines: &str) -> Filling {
    let project = open(&program(lines));
    assert_eq!(told(&project), Vec::<String>::new(), "{lines}");
    project.contents().filling("p").expect("a program").clone()
}

/// Address and bytes of each stretch.
fn bytes(lines: &str) -> Vec<(u64, Vec<u8>)> {
    let filling = filling(lines);
    let segments = filling.image.segments();
    segments.map(|(at, bytes)| (at, bytes.to_vec())).collect()
}

/// The text that each diagnostic points at, and its message.
fn told(project: &Project) -> Vec<String> {
    let line = |problem: &Diagnostic| {
        let place = problem.labels.first().map(|label| label.span);
        let text = place.map_or("", |span| project.sources().slice(span));
        format!("{text} | {}", problem.message)
    };
    project.diagnostics().iter().map(line).collect()
}

#[track_caller]
fn refused(text: &str, wanted: &[&str]) {
    assert_eq!(told(&open(text)), wanted, "{text}");
}

#[test]
fn every_form_has_its_bytes() {
    // Encoded by hand from the lines of SET.
    for (line, wanted) in [
        ("NOP", vec![0x00]),
        ("LOAD B, 5", vec![0x11, 0x05]),
        ("LOAD C, -1", vec![0x12, 0xFF]),
        ("LOAD A, [0x1234]", vec![0x20, 0x34, 0x12]),
        ("LOAD C, [Y, 15]", vec![0x36, 0x0F]),
        ("PUSH SP", vec![0x0F]),
        ("MOVE C, B", vec![0x89]),
        ("JUMP 0xBEEF", vec![0x90, 0xEF, 0xBE]),
        ("OUT ports.BELL, A", vec![0xA0, 0x41]),
        ("WORD -2", vec![0x0E, 0xFE, 0xFF]),
        ("LOAD A, \"H\"", vec![0x10, 0x48]),
        ("LOAD A, \"H\" - \"A\" + 1", vec![0x10, 8]),
        ("bytes \"Hi\", 0, -128, 255", vec![0x48, 0x69, 0, 0x80, 0xFF]),
        ("bytes low 0x1234, high 0x1234, not 0", vec![0x34, 0x12, 0xFF]),
        ("bytes 1 + 2 * 3, (1 + 2) * 3, 7 / 2, 7 % 4, -7 / 2, -7 % 4", vec![7, 9, 3, 3, 0xFC, 1]),
        ("bytes 0xF0 or 0x0F and 0x3C xor 0xFF, - (3)", vec![0xF3, 0xFD]),
        ("fill 3 with 0x55", vec![0x55; 3]),
    ] {
        assert_eq!(bytes(line), [(0, wanted)], "{line}");
    }
}

#[test]
fn labels_origins_and_constants_may_lean_on_one_another() {
    // 0x8000: 10 0A (LOAD A, SIZE * 2), 0x8002: loop: 91 FE, 0x8004: 90 02 80, 0x8007: 09, and at 0x8100: 07 80.
    let text = "constant SIZE = HALF + 2
        origin START
    constant HALF = 3
    constant START = 0x8000
    LOAD A, SIZE * 2
loop: BRANCH loop
    JUMP loop
table: bytes end - loop + 3   # (0x8008 - 0x8002) + 3
end:
    origin 0x8100
    bytes low table, high table";
    let wanted = [(0x8000, vec![0x10, 10, 0x91, 0xFE, 0x90, 0x02, 0x80, 9]), (0x8100, vec![0x07, 0x80])];
    assert_eq!(bytes(text), wanted);
    let listing = filling(text).listing;
    let at = |address, count| {
        let mut lines = listing.iter();
        lines.any(|line| line.address == address && line.bytes.len() == count)
    };
    assert!(at(0x8000, 2) && at(0x8004, 3) && at(0x8100, 2) && at(0x8002, 0));
}

#[test]
fn a_branch_reaches_as_far_as_its_byte() {
    // The distance counts from behind the two bytes of the instruction: 128 back, 127 on.
    assert_eq!(bytes("origin 200 BRANCH 202 - 128")[0].1, [0x91, 0x80]);
    assert_eq!(bytes("origin 200 BRANCH 202 + 127")[0].1, [0x91, 0x7F]);
    refused(
        &program("origin 200 BRANCH 202 - 129\nBRANCH 204 + 128"),
        &["202 - 129 | -129 bytes are too far to go", "204 + 128 | 128 bytes are too far to go"],
    );
}

#[test]
fn mistakes_of_programs_are_told_at_their_places() {
    for (lines, wanted) in [
        ("LAOD A, 5", vec!["LAOD | TINY has no instruction LAOD"]),
        ("LOAD A", vec!["LOAD A | LOAD does not take these operands"]),
        ("LOAD 5, A", vec!["LOAD 5, A | LOAD does not take these operands"]),
        ("LOAD A, B", vec!["LOAD A, B | LOAD does not take these operands"]),
        ("MOVE A, X", vec!["MOVE A, X | MOVE does not take these operands"]),
        ("LOAD A, 256", vec!["256 | 256 does not fit the operand n"]),
        ("LOAD A, [X, 16]", vec!["16 | 16 does not fit the operand o"]),
        ("JUMP -1", vec!["-1 | -1 does not fit the operand a"]),
        ("JUMP lop\nloop: NOP", vec!["lop | the program has no label or constant lop"]),
        ("LOAD A, B + 1", vec!["B | B is a word of the instructions, not a number"]),
        ("a: NOP\na: NOP", vec!["a | a is there twice"]),
        ("SP: NOP", vec!["SP | SP is a word of the instructions"]),
        ("NOP: NOP", vec!["NOP | NOP is a word of the instructions"]),
        ("bytes 1,\nNOP", vec!["NOP | the program has no label or constant NOP"]),
        ("bytes 256, -129", vec!["256 | 256 does not fit a byte", "-129 | -129 does not fit a byte"]),
        ("bytes low 0x10000", vec!["low 0x10000 | 65536 does not fit 16 bits"]),
        ("bytes 1 / 0", vec!["1 / 0 | this divides by zero"]),
        ("bytes \"é\"", vec!["\"é\" | `é` has no code of one byte"]),
        ("bytes \"ab\" + 1", vec!["\"ab\" | a text of one character is a number, a longer one is not"]),
        ("bytes ports.SPARE", vec!["ports.SPARE | SPARE stands for several values"]),
        ("constant a = b\nconstant b = a\nbytes a, b", vec!["a | a is made of itself"]),
        ("origin end\nend: NOP", vec!["end | end is not known yet"]),
        ("origin 5 NOP\norigin 4 JUMP 0", vec!["JUMP 0 | something is at address 0x0004 already"]),
        ("origin -1 NOP", vec!["-1 | -1 is no address"]),
        ("origin 0xFFFFFF JUMP 0", vec!["JUMP 0 | the program does not fit any memory"]),
        ("fill 0x7FFFFFFFFFFFFFFF with 0", vec!["0x7FFFFFFFFFFFFFFF | 9223372036854775807 bytes cannot be filled"]),
        ("a:", vec!["p | p holds nothing"]),
        ("constant unused = nothing\nNOP", vec!["nothing | the program has no label or constant nothing"]),
    ] {
        // Two at one place come in order of their texts.
        refused(&program(lines), &wanted);
    }
    let near = open(&program("LAOD A, 5"));
    assert_eq!(near.diagnostics()[0].help.as_deref(), Some("did you mean `LOAD`?"));
    let near = open(&program("JUMP lop\nloop: NOP"));
    assert_eq!(near.diagnostics()[0].help.as_deref(), Some("did you mean `loop`?"));
    refused("program q for TINI { NOP }", &["TINI | there are no instructions TINI"]);
}

#[test]
fn mistakes_of_instruction_sets_are_told_without_a_program() {
    let set =
        |lines: &str| format!("instructions OWN {{\n registers r: A = 0, B = 1\n registers s: A = 4\n {lines}\n}}");
    for (lines, wanted) in [
        ("X n: byte = 1, n\n X m: word = 2, m", "X m: word = 2, m | two forms of X cannot be told apart"),
        ("X n: r = 1\n X m: s = 2", "X m: s = 2 | two forms of X cannot be told apart"),
        ("X n: r = 1\n X B = 2", "X B = 2 | two forms of X cannot be told apart"),
        ("X n: byt = 1, n", "byt | byt is no kind of operand"),
        ("X n: byte = 1, m", "m | m is no operand of this instruction"),
        ("X n: byte, n: byte = 1, n", "n | two operands are called n"),
        ("X n: 5..4 = n", "5..4 | this range runs down"),
        ("X n: byte = 0xF0 + n, 0", "0xF0 + n | 256 does not fit a byte"),
        ("X n: 0..9999999 = n / 99999", "n / 99999 | too many values go into this byte"),
        ("registers r: Z = 1\n X = 0", "r | r is a kind of operand already"),
        ("registers byte: Z = 1\n X = 0", "byte | byte is a kind of operand already"),
        ("registers t: Z = 1, Z = 2\n X = 0", "Z | Z is there twice"),
    ] {
        refused(&set(lines), &[wanted]);
    }
    // These can be told apart: brackets, another register, a number in place of a register, another count.
    refused(&set("X n: byte = 1, n\n X [n: byte] = 2, n\n X n: r = 4 + n\n X n: byte, m: byte = 3, n, m"), &[]);
    refused(
        "names a { X = 1  X = 2  Y = -1  Z = 3..2  W = 1 }\nnames a { V = 0 }",
        &[
            "X | X is named twice",
            "-1 | a name stands for a number that is not negative",
            "3..2 | this range runs down",
            "W | X has this value already",
            "a | two names or instructions are called a",
        ],
    );
}

#[test]
fn long_and_deep_programs_stay_within_bounds() {
    // A chain of constants, each of which leans on the next one; and one that leans on the one before.
    let forward: String = (0..3000).map(|i| format!("constant c{i} = c{} + 1\n", i + 1)).collect();
    let project = open(&program(&format!("{forward}constant c3000 = 0\nbytes c0")));
    assert!(told(&project).iter().any(|line| line.contains("too many times in a row")));
    assert!(project.diagnostics().len() <= 51);
    let backward: String = (1..3000).map(|i| format!("constant c{i} = c{} + 1\n", i - 1)).collect();
    let text = format!("constant c0 = 0\n{backward}bytes low c2999, high c2999");
    assert_eq!(bytes(&text)[0].1, [0xB7, 0x0B], "2999 is 0x0BB7");
    let sum = vec!["1"; 2000].join(" + ");
    let project = open(&program(&format!("bytes {sum}")));
    assert!(told(&project).iter().any(|line| line.contains("more than 1000 operators")));
    let many = "fill 0x100000 with 1\nfill 1 with 1";
    refused(&program(many), &["fill 1 with 1 | the program does not fit any memory"]);
    let wrong = "LAOD 1\n".repeat(5000);
    assert!(open(&program(&wrong)).diagnostics().len() <= 51);
}

/// Pieces of programs, for lines that come near to meaning something.
const PIECES: &[&str] = &[
    "NOP",
    "LOAD",
    "A",
    "B",
    ",",
    "[",
    "]",
    "5",
    "-1",
    "0x1234",
    "\"text\"",
    "\"c\"",
    "loop:",
    "loop",
    "\n",
    "origin",
    "constant",
    "SIZE",
    "=",
    "bytes",
    "fill",
    "with",
    "low",
    "high",
    "not",
    "+",
    "*",
    "/",
    "(",
    ")",
    "BRANCH",
    "JUMP",
    "ports.LAMP",
    "MOVE",
    "X",
    "SP",
    "and",
];

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_lines_get_an_answer(pieces in prop::collection::vec(prop::sample::select(PIECES), 0..60)) {
        let project = open(&program(&pieces.join(" ")));
        if let Some(filling) = project.contents().filling("p") {
            prop_assert!(filling.image.len() <= 1 << 20);
        }
    }

    #[test]
    fn formulas_are_those_of_whole_numbers(a in -1000i64..1000, b in 1i64..1000, c in 0i64..256) {
        // After the meaning of Rust's own integer operators.
        let text = format!("bytes low (({a}) * 3 + {b} / 7 - {c}), {a} % {b} and 0x7F, high ({b} * 60), not {c} xor -1");
        let wanted = [
            (a * 3 + b.div_euclid(7) - c) as u8,
            (a.rem_euclid(b) & 0x7F) as u8,
            ((b * 60) >> 8) as u8,
            (!c ^ -1) as u8,
        ];
        prop_assert_eq!(&bytes(&text)[0].1, &wanted);
    }
}
