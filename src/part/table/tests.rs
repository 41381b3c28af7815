//! Tables of small parts: what they find, and what a writer gets to read.

use super::*;
use crate::language::ast::Item;
use crate::text::Sources;

/// A register with overrides, a decoder and an open-drain output.
const MODEL: &str = "
part T \"test\" {
    package X64 {
        1 /CLR in  2 CLK in  3 /OE in  4 EN in  5..8 D[1..4] in  9..12 Q[1..4] three-state
        13..14 S[0..1] in  15..18 /Y[0..3] out  19 N open-drain  20 T out  21 /T out
    }
    state q[1..4], t
    on rise CLK { q = D when EN else q + 1  t = not t }
    while CLR { q = 0  t = 0 }
    Q = q when OE else off
    Y = decode S and EN
    N = 0 when EN else off
    T = t
    /T = not t
TABLE
}";

fn load(table: &str) -> (Option<Part>, Vec<Diagnostic>, Sources) {
    let text = MODEL.replace("TABLE", table);
    let mut sources = Sources::new();
    let file = sources.add("t.part", text.clone());
    let (tree, mut problems) = crate::language::parse(file, &text);
    let Some(Item::Part(tree)) = tree.items.first() else {
        panic!("no part: {problems:?}");
    };
    let (part, more) = Part::load(tree);
    problems.extend(more);
    (part, problems, sources)
}

fn part(table: &str) -> Part {
    let (part, problems, _) = load(table);
    assert!(problems.is_empty(), "{problems:?}");
    part.expect("a part without problems")
}

/// The failures of a table as text.
fn failures(table: &str) -> Vec<String> {
    let failures = verify(&part(table), 1);
    failures.iter().map(|failure| failure.to_string()).collect()
}

#[test]
fn a_model_that_does_what_is_published_passes() {
    let tables = "
    table {
        /CLR  CLK   /OE  EN  D  |  Q
        L     *     L    *   *  |  L
        H     rise  L    H   H  |  H
        H     rise  L    H   9  |  9
        H     rise  L    H   *  |  =D
        H     rise  L    L   *  |  +1
        H     fall  L    *   *  |  hold
        H     L     L    *   *  |  hold
        H     H     L    *   *  |  hold
        *     *     H    *   *  |  off
    }
    table {
        EN  S[0..1]  |  /Y       N
        L   *        |  H        off
        L   *        |  15       H
        H   0        |  0b1110   L
        H   3        |  0x7      0
    }
    table {
        /CLR  CLK   |  T       /T
        L     *     |  L       H
        H     rise  |  toggle  toggle
        H     fall  |  hold    hold
    }
    table { EN | N
        *  | not=EN }
    table { EN | N
        L  | not=EN
        H  | not=EN }";
    assert_eq!(failures(tables), Vec::<String>::new());
}

#[test]
fn every_kind_of_cell_can_fail() {
    for (heading, row, output, expected) in [
        ("/CLR CLK /OE | Q", "L * L | H", "Q", "HHHH"),
        ("/CLR CLK /OE | Q", "L * L | 5", "Q", "LHLH"),
        ("/CLR CLK /OE | Q", "L * L | off", "Q", "ZZZZ"),
        ("/CLR CLK /OE | Q", "L * * | L", "Q", "LLLL"),
        ("/CLR CLK /OE EN D | Q", "H rise L H L | H", "Q", "HHHH"),
        ("/CLR CLK /OE EN D | Q", "H rise L H 5 | not=D", "Q", "HLHL"),
        ("/CLR CLK /OE EN D | Q", "H fall L H 5 | =D", "Q", "LHLH"),
        ("EN | N", "H | off", "N", "H"),
        ("EN | N", "L | L", "N", "L"),
        ("EN S | /Y", "H 2 | 4", "/Y", "LHLL"),
        ("S | /Y", "2 | 11", "/Y", "HLHH"),
    ] {
        let found = verify(&part(&format!("table {{ {heading}\n{row} }}")), 1);
        let [failure] = found.as_slice() else {
            panic!("{row}: {found:?}");
        };
        assert_eq!((failure.output.as_str(), failure.expected.as_str()), (output, expected), "{row}");
        assert_ne!(failure.found, failure.expected);
    }
    for row in [
        "H rise L L * | hold",
        "H rise L L * | -1",
        "H rise L L * | toggle",
        "H rise L H * | +1",
        "H * L L * | hold",
        "* L L L * | hold",
    ] {
        let found = failures(&format!("table {{ /CLR CLK /OE EN D | Q\n{row} }}"));
        assert_eq!(found.len(), 1, "{row}: {found:?}");
    }
    // What was unknown before cannot be held.
    let found = failures("table { CLK | Q\n L | hold }");
    assert_eq!(found, ["T: `Q` is XXXX where `hold` (it was XXXX) is published, with CLK=L"]);
}

#[test]
fn a_failure_names_the_row_and_what_was_applied() {
    let (part, _, sources) = load("table {\n /CLR CLK /OE D EN | Q T\n L * L 9 L | L L\n L rise L 9 L | 3 H\n}");
    let part = part.expect("a good part");
    let found = verify(&part, 7);
    let line = MODEL.lines().position(|line| line == "TABLE").expect("the place") + 1;
    assert_eq!(found.len(), 2);
    assert_eq!(sources.place(found[0].row), format!("t.part:{}:2", line + 3));
    assert_eq!(found[0].to_string(), "T: `Q` is LLLL where LLHH is published, with /CLR=L CLK=rise /OE=L D=9 EN=L");
    let message = found[1].to_diagnostic();
    assert_eq!(message.message, "the part T does not follow its function table");
    assert_eq!(message.labels[0].text, "`T` is L where H is published");
    assert_eq!(message.notes, ["applied: /CLR=L CLK=rise /OE=L D=9 EN=L"]);
    assert_eq!(found, verify(&part, 7), "the same seed, the same failures");
}

#[test]
fn what_does_not_matter_is_told_with_its_levels() {
    let found = failures("table { EN S | /Y\n H * | 15 }");
    assert_eq!(found, ["T: `/Y` is XXXX where HHHH is published, with EN=H S=*(XX)"]);
}

#[test]
fn memories_are_full_of_random_words() {
    let text = "part M \"\" { package DIP16 {
            1..3 A[0..2] in 4..7 D[0..3] in 8 /WE in 9..12 Q[0..3] out }
        memory cells 8 x 4
        while WE { cells at A = D }
        Q = cells at A
        table {
            /WE A D | Q
            L   5 * | =D
            H   5 * | hold
        }
        table {
            /WE A | Q
            H   * | hold
            H   2 | 0
        } }";
    let file = Sources::new().add("m.part", text);
    let (tree, _) = crate::language::parse(file, text);
    let Some(Item::Part(tree)) = tree.items.first() else {
        panic!("no part");
    };
    let (part, problems) = Part::load(tree);
    assert!(problems.is_empty(), "{problems:?}");
    let found = verify(&part.expect("a good part"), 3);
    let rows: Vec<&str> = found.iter().map(|failure| failure.inputs.as_str()).collect();
    assert_eq!(rows, ["/WE=H A=*(XXX)", "/WE=H A=2"]);
}

#[test]
fn mistakes_are_told_with_what_to_do() {
    for (table, message, help) in [
        ("", "this table is empty", "write the names of the pins in its first line, then one line for each row"),
        ("CLK | Q", "this table has a heading, but no rows", "write each row on a line of its own"),
        ("CLK\n L", "this table tells of no output", "write the inputs, a bar `|`, and the outputs"),
        ("CLKK | Q\n L | hold", "the part T has no pin `CLKK`", "did you mean `CLK`?"),
        ("OE | Q\n L | hold", "the part T has no pin `OE`", "did you mean `/OE`?"),
        ("CLK T | Q\n L L | hold", "`T` is not an input", "inputs stand before the bar `|`, outputs behind it"),
        ("CLK | D\n L | hold", "`D1` is not an output", "inputs stand before the bar `|`, outputs behind it"),
        ("D D3 | Q\n L L | hold", "`D3` stands in two columns", "leave one of them out"),
        ("D[1..] | Q\n L | hold", "`D[1..]` is not a name", "write a pin such as `CLK`, or several such as `D[1..8]`"),
        ("CLK EN | Q\n L | hold", "1 cell before the bar, but 2 columns", "write one cell for each column"),
        ("CLK | Q T\n L | hold hold hold", "3 cells behind the bar, but 2 columns", "write one cell for each column"),
        ("CLK | Q\n hold | hold", "`hold` cannot stand under `CLK`", "write `L`, `H`, `rise`, `fall`, `*` or a number"),
        (
            "CLK | Q\n L | *",
            "`*` cannot stand under `Q`",
            "write `L`, `H`, `off`, `hold`, a number, `+1`, `-1`, `toggle`, `=NAME` or `not=NAME`",
        ),
        ("D | Q\n 16 | hold", "16 does not fit the 4 bits of `D`", "write a smaller number"),
        ("CLK | T\n L | 0x2", "0x2 does not fit the 1 bit of `T`", "write a smaller number"),
        ("D | Q\n L | =DD", "there is no input column `DD`", "did you mean `D`?"),
        ("S | Q\n L | not=S", "`S` is 2 bits wide, but `Q` 4", "name a column of the same width, or of one bit"),
    ] {
        let (part, problems, _) = load(&format!("table {{ {table}\n }}"));
        let found: Vec<_> = problems.iter().map(|p| (p.message.as_str(), p.help.as_deref())).collect();
        assert_eq!(found, [(message, Some(help))], "{table}");
        assert!(part.is_none(), "{table}");
    }
}

#[test]
fn odd_cells_never_panic() {
    for cell in [
        "]",
        "[",
        "[]",
        "[,]",
        "a[1..2][",
        "[a..b]",
        "[1..99999999999]",
        "[1..65537]",
        "[Z..A]",
        "+",
        "-2",
        "0x",
        "=",
        "not=",
    ] {
        let (_, problems, _) = load(&format!("table {{ {cell} | {cell}\n {cell} | {cell} }}"));
        assert!(!problems.is_empty(), "{cell}");
        let (_, problems, _) = load(&format!("table {{ D | Q\n {cell} | {cell} }}"));
        assert!(!problems.is_empty(), "{cell}");
    }
}
