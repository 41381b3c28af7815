//! Texts with mistakes, and what a person is told about each: place, message, help.

use super::hints;
use crate::language::parse;
use crate::text::Sources;

/// One line a mistake: `line:column message | help`.
fn told(text: &str) -> Vec<String> {
    let mut sources = Sources::new();
    let file = sources.add("x", text);
    let (_, problems) = parse(file, text);
    problems
        .iter()
        .map(|problem| {
            let place = sources.place(problem.labels[0].span);
            let help = problem.help.as_deref().unwrap_or("-");
            format!("{} {} | {help}", place.trim_start_matches("x:"), problem.message)
        })
        .collect()
}

/// Compares what is told, and tries every hint: applied, it leaves nothing to say at its place.
#[track_caller]
fn check(text: &str, wanted: &[&str]) {
    assert_eq!(told(text), wanted, "{text}");
    let mut sources = Sources::new();
    let file = sources.add("x", text);
    let (_, problems) = parse(file, text);
    for problem in &problems {
        let Some(mended) = hints::applied(text, problem) else { continue };
        let file = Sources::new().add("x", mended.as_str());
        let (_, left) = parse(file, &mended);
        let again = left.iter().find(|other| hints::is_same(other, problem));
        assert!(again.is_none(), "{text}\n{problem:?}\n{mended}\n{left:?}");
    }
}

#[test]
fn the_top_of_a_file() {
    check(
        "bord x {\n}\n",
        &["1:1 expected an item of a file such as `board` or `trial`, found `bord` | did you mean `board`?"],
    );
    check("}\nboard x { }", &["1:1 this `}` closes nothing | leave it out, or look for a `}` too many above"]);
    check("use \"abc\npart 4 { }", &["1:5 this text is not closed | write the closing `\"` on the same line"]);
    check("use\n", &["1:1 expected a text in quotation marks behind `use` | for example `use \"clock.board\"`"]);
    check(
        "board x\n rail VCC 5 V\n}\n",
        &[
            "1:7 expected a text in quotation marks or `{` behind `x` | for example `board clock \"clock and reset\" { rail VCC 5 V }`",
        ],
    );
    check(
        "trial t bench {\n}\n",
        &["1:9 expected `on`, found `bench` | for example `trial counts on bench { run for 1 ms }`"],
    );
    check(
        "board x “title” {\n}",
        &["1:9 expected a text in quotation marks or `{`, found `“` | texts stand in plain quotation marks: `\"`"],
    );
    check(
        "rail VCC 5 V\n",
        &["1:1 expected an item of a file such as `board` or `trial`, found `rail` | `rail` stands in a `board`"],
    );
}

#[test]
fn misspelt_words() {
    check(
        "trial a on b {\n exspect y = 3\n}\n",
        &["2:2 expected a step of a trial, found `exspect` | did you mean `expect`?"],
    );
    check(
        "board a {\n fed U1 from VCC GND\n rail VCC 5 V\n}\n",
        &["2:2 expected a statement of a board, found `fed` | did you mean `feed`?"],
    );
    check(
        "trial a on b {\n expect x is hgh\n}",
        &["2:14 expected `high`, `low`, `unknown`, `known` or `off`, found `hgh` | did you mean `high`?"],
    );
    check(
        "trial t on b {\n expect x = 1 wihtin 5 ms\n clok phi 1 MHz\n}",
        &[
            "2:15 expected an operator, `for`, `within` or a step of a trial, found `wihtin` | did you mean `within`?",
            "3:2 expected a step of a trial, found `clok` | did you mean `clock`?",
        ],
    );
    check(
        "assembly a {\n  A: b\n cabel W1 ribbon 250 mm { A.B, C.D }\n}",
        &["3:2 expected a statement of an assembly, found `cabel` | did you mean `cable`?"],
    );
    check(
        "board x {\n conector J1 header-1x4 {\n  1 CLK\n }\n}\n",
        &["2:2 expected a statement of a board, found `conector` | did you mean `connector`?"],
    );
    check(
        "part 1 {\n package DIP14 {\n  1 A inn\n  3 C out schmit\n }\n on raise CLK { q = D }\n Q = q wen OE else off\n}",
        &[
            "3:7 expected the kind of the pin, such as `in`, found `inn` | did you mean `in`?",
            "4:11 expected `schmitt` or a pin such as `2..9 D[1..8] in`, found `schmit` | did you mean `schmitt`?",
            "6:5 expected `rise` or `fall`, found `raise` | did you mean `rise`?",
            "7:8 `wen` is not understood here | did you mean `when`?",
        ],
    );
    check(
        "family HC {\n at 4.5 V {\n  inptu-high 3.15 V\n }\n suply 2..6 V\n}",
        &[
            "3:3 expected a row such as `input-high 3.15 V`, found `inptu-high` | did you mean `input-high`?",
            "5:2 expected `source`, `columns`, `supply`, `estimate`, `at` or `note`, found `suply` | did you mean `supply`?",
        ],
    );
}

#[test]
fn missing_marks() {
    check("board a {\n U1 74HC574 { D[1..8 = m }\n}", &["2:17 `]` is missing | close it: `[1..8]`"]);
    check("part 3 {\n Y = (A and B\n Z = C\n}", &["2:13 `)` is missing | close it: `(A and B)`"]);
    check("part 1 {\n state q[1..8\n Q = q\n}", &["2:10 `]` is missing | close it: `[1..8]`"]);
    check(
        "board x {\n each i in 0.7 { U[i] 74HC00 { } }\n}",
        &["2:13 expected `{`, `,`, an operator or `..`, found `.` | write two dots: `..`"],
    );
    check("board a {\n U1 74HC00 { CLK phi }\n}", &["2:18 expected `=`, found `phi` | for example `CLK = phi`"]);
    check("trial t on b {\n set x high\n}", &["2:8 expected `=`, found `high` | for example `set go = high`"]);
}

#[test]
fn missing_braces() {
    check(
        "board a {\n U1 74HC574 { D = m \n",
        &["2:13 the block `U1 74HC574` is never closed | write `}` where the block ends"],
    );
    check(
        "board a {\n    U1 74HC574 {\n        D = m\n}\n",
        &["2:16 the block `U1 74HC574` is never closed | write `}` where the block ends"],
    );
    check(
        "board a {\n  U1 74HC00 {\n    1A = x\n  U2 74HC04 { 1A = y }\n}\n",
        &["4:3 the block `U1 74HC00` is not closed | write `}` before this line"],
    );
    check(
        "board a {\n  U1 74HC00 { 1A = x }\n\nboard b {\n}\n",
        &["4:1 the block `board a` is not closed | write `}` before this line"],
    );
    check(
        "part 1 {\n  on rise CLK {\n    q = D\n\n  table {\n    A | Y\n  }\n}\n",
        &["5:3 the block `on rise CLK` is not closed | write `}` before this line"],
    );
    check(
        "board b {\n U1 74HC00 {\n  1A = x\n}\n\ntrial t on b {\n run for 1 ms\n}\n",
        &["6:1 the block `board b` is not closed | write `}` before this line"],
    );
    check(
        "board a {\n U1 74HC00 {\n 1A = x\n",
        &["2:12 the block `U1 74HC00` is never closed | write `}` where the block ends"],
    );
}

#[test]
fn unfinished_lines() {
    check(
        "trial a on b {\n run for\n expect x = 1\n}",
        &["2:6 expected a time such as `5 ms` or `3 clocks` behind `for` | for example `run for 3 clocks`"],
    );
    check(
        "trial t on b {\n  release\n  set x = 1\n}\n",
        &["2:3 expected a name such as `A.phi` behind `release` | for example `release go`"],
    );
    check(
        "part 4 {\n Y = A and \n node x = B\n}",
        &["2:8 expected a formula such as `A and B` behind `and` | for example `Y = A and B`"],
    );
    check(
        "board a {\n U1 74HC574 {\n  CLK = \n  D = x\n }\n}",
        &["3:7 expected a net behind `=` | for example `CLK = phi`"],
    );
    check(
        "part 5 {\n family HC {\n  at 5 V {\n   delay A -> Y 5 6\n   rate CLK 30 MHz\n  }\n }\n}",
        &["4:19 expected a unit or a figure behind `6` | for example `delay A -> Y 9 18 ns`"],
    );
    check(
        "part 1 {\n memory m 256\n Y = A\n}",
        &["2:11 expected `x` behind `256` | for example `memory cells 32768 x 8 blank 0xFF`"],
    );
    check(
        "part 1 {\n forbid A and B\n Y = A\n}",
        &[
            "2:15 expected a text in quotation marks or an operator behind `B` | for example `forbid S and R \"both at once\"`",
        ],
    );
    check(
        "board x {\n rail VCC 5\n rail VDD 5 V\n}",
        &["2:11 expected a unit behind `5` | for example `rail VCC 5 V`"],
    );
    check(
        "trial x on y {\n run for 10\n run until x\n expect z = 1\n}",
        &[
            "2:10 expected a unit, `clock` or `clocks` behind `10` | for example `run for 3 clocks`",
            "3:12 expected `=`, `!=`, `is` or `between` behind `x` | for example `run until done is high within 2000 clocks`",
        ],
    );
}

#[test]
fn units_and_values() {
    check(
        "board a {\n R1 resistor 10k { 1 = a }\n R2 resistor 10 kohms { 1 = a }\n rail VDD 5 v\n}",
        &[
            "2:16 expected a unit or `pins`, found `k` | did you mean `10 kohm`?",
            "3:17 expected a unit or `pins`, found `kohms` | did you mean `10 kohm`?",
            "4:13 expected a unit, found `v` | did you mean `5 V`?",
        ],
    );
    check(
        "trial t on b {\n clock phi 1 Mhz\n run for 5 µs\n}",
        &[
            "2:14 expected a unit, found `Mhz` | did you mean `1 MHz`?",
            "3:12 expected a unit, `clock` or `clocks`, found `µs` | did you mean `5 us`?",
        ],
    );
    // 2^63 - 1 ps are 9223372 s.
    check(
        "trial t on b {\n run for 10 years\n run for 400 d\n}",
        &[
            "2:13 expected a unit, `clock` or `clocks`, found `years` | the longest unit of time is s, and the longest time 9223372 s",
            "3:14 expected a unit, `clock` or `clocks`, found `d` | the longest unit of time is s, and the longest time 9223372 s",
        ],
    );
    check(
        "board x {\n C1 100 nF decouples U1\n}",
        &["2:5 a value stands where the kind of the component belongs | write `C1 capacitor 100 nF`"],
    );
}

#[test]
fn marks_of_other_languages() {
    check(
        "trial a on b {\n expect CLK == 4\n}",
        &["2:13 expected `=`, `!=`, `is` or `between`, found `==` | compare with a single `=`"],
    );
    check(
        "board a {\n U1 74HC00 { 1A = x, 1B = y }\n U2 74HC00 { 1A <= b }\n}",
        &[
            "2:20 expected a connection such as `CLK = phi`, found `,` | leave the `,` out: blanks are enough between two",
            "3:17 expected `=`, found `<=` | write `=`",
        ],
    );
    check(
        "part 1 {\n Y = !A\n Z = A <= B\n X = A || B\n W = A & B\n V = A ^ B\n}",
        &[
            "2:6 expected a formula such as `A and B`, found `!` | write `not`",
            "3:8 expected a formula such as `A and B`, found `<=` | write `not A > B` for A <= B, and `not A < B` for A >= B",
            "4:8 expected an operator or a statement of a part, found `||` | write `or`",
            "5:8 expected an operator or a statement of a part, found `&` | write `and`",
            "6:8 expected an operator or a statement of a part, found `^` | write `xor`",
        ],
    );
    check(
        "board a {\n rail VCC 5 V;\n rail GND // ground\n}",
        &[
            "2:14 expected a statement of a board, found `;` | nothing ends a statement: leave the `;` out",
            "3:11 expected a name, found `//` | a comment starts with `#`",
        ],
    );
    check(
        "board x {\n rail VCC 5 V\n U1 74HC00 { D[0…3] = a }\n}",
        &[
            "2:1 expected a statement of a board, found the character U+00A0 | this only looks like a blank; write a plain one",
            "3:17 expected `]`, `,`, an operator or `..`, found `…` | write two dots: `..`",
        ],
    );
}

#[test]
fn words_of_other_blocks() {
    check(
        "assembly a {\n  rail VCC 5 V\n  A: b\n}",
        &["2:3 expected a statement of an assembly, found `rail` | `rail` stands in a `board`"],
    );
    check(
        "board a {\n  expect x = 1\n}",
        &["2:3 expected a statement of a board, found `expect` | `expect` stands in a `trial`"],
    );
    check(
        "trial t on b {\n  cable W1 ribbon 250 mm { A.B, C.D }\n}",
        &["2:3 expected a step of a trial, found `cable` | `cable` stands in an `assembly`"],
    );
}

#[test]
fn texts() {
    check(
        "board x {\n note unquoted words\n note \"a\n rail VCC 5 V\n}",
        &[
            "2:7 expected a text in quotation marks, found `unquoted` | for example `note \"what a builder must know\"`",
            "3:7 this text is not closed | write the closing `\"` on the same line",
        ],
    );
    check(
        "part 1 { table { A B | Y \"x\" } }",
        &["1:26 expected a row of a table, found `\"x\"` | for example `L rise 5 | 5`"],
    );
}

#[test]
fn what_belongs_into_a_rule_is_sent_there() {
    check(
        "part X {\n start busy\n}",
        &["2:2 expected a statement of a part, found `start` | `start` stands in an `on` or `while` block"],
    );
    check(
        "part X {\n on rise A {\n when A start busy\n }\n}",
        &["3:9 expected `{` or an operator, found `start` | for example `when A = 5 { q = D }`"],
    );
}

#[test]
fn nothing_that_can_be_guessed() {
    check(
        "board x {\n %\n}",
        &[
            "2:2 expected a statement of a board, found `%` | a board holds `rail`, `trace`, `feed`, `connector`, `unused-path`, `synchroniser`, `each`, `note`, `accept` and components such as `U1 74HC574 { CLK = phi }`",
        ],
    );
    check(
        "part 1 {\n %\n}",
        &[
            "2:2 expected a statement of a part, found `%` | a part holds `package`, `state`, `memory`, `oscillator`, `timer`, `power-up`, `node`, `on`, `while`, `forbid`, `table`, `family`, `grade`, `each`, `note` and assignments such as `Y = A and B`",
        ],
    );
    check(
        "assembly x {\n %\n}",
        &[
            "2:2 expected a statement of an assembly, found `%` | an assembly holds `cable`, `supply`, `unused-path`, `synchroniser`, `each`, `note`, `accept` and boards such as `A, B: register`",
        ],
    );
    check(
        "trial t on b {\n %\n}",
        &[
            "2:2 expected a step of a trial, found `%` | a trial holds `power-up`, `corner`, `temperature`, `clock`, `count`, `load`, `drive`, `set`, `release`, `press`, `close`, `open`, `flip`, `step`, `run`, `expect`, `show`, `machine`, `agree`, `profile`, `vectors`, `record`, `each`, `repeat`, `together`, `do` and `note`",
        ],
    );
    check("part 1 {\n Y = %\n}", &["2:6 expected a formula such as `A and B`, found `%` | for example `Y = A and B`"]);
    check("board x {\n U1 74HC00 {\n  %\n }\n}", &["3:3 expected a connection such as `CLK = phi`, found `%` | -"]);
}

/// Each example of a help line is a statement of its block.
#[test]
fn examples_parse() {
    use super::blocks::Block;
    use super::mistake::read;
    for block in Block::ALL {
        let Some(rule) = block.rest() else { continue };
        let starters = block.starters().split_whitespace();
        for word in starters.chain(["", "run for", "expect on", "expect never", "show on"]) {
            let example = block.example(word);
            let end = if *block == Block::File { "" } else { "\n}" };
            assert!(read(rule, &format!("{example}{end}")).is_ok(), "{block:?}: {example}");
        }
    }
}

#[test]
fn contents_and_programs() {
    check(
        "instructions T {\n NOP = 0\n LOAD n: byte = 1 n\n}\nprogram p for T {\n LOAD (5\n bytes 1 2\n}",
        &[
            "3:19 expected `=` or an operand such as `n: byte` behind `n` | for example `LOAD n: byte = 0x10, n`",
            "6:8 `)` is missing | close it: `(5)`",
            "7:10 expected `,`, an operator or a line of a program, found `2` | for example `bytes 1, 2, \"text\", 0`",
        ],
    );
    check(
        "contents c {\n adress { 0 a }\n when a = 1 x\n when a == 1: x\n els: none\n}",
        &[
            "2:2 expected a statement of contents, found `adress` | did you mean `address`?",
            "3:13 expected `,`, `:`, an operator or `..`, found `x` | for example `when step = 0: pc_out, ir_load`",
            "4:9 expected `:` or an operator, found `==` | compare with a single `=`",
            "5:2 expected a statement of contents, found `els` | did you mean `else`?",
        ],
    );
    check(
        "program p for T {\n NOP\nboard b { }",
        &["3:1 the block `program p for T` is not closed | write `}` before this line"],
    );
    check("names s {\n A =\n B = 2\n}", &["2:4 expected a number behind `=` | for example `FETCH = 0`"]);
}
