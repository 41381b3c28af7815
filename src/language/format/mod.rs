//! The canonical layout.
//!
//! Four blanks of indent, one statement a line, at most one empty line in a row. A block that was written on one line
//! stays there while it fits; pins and connections stay in the lines that their writer grouped them in. Pins, tables
//! and the rows of data sheets are set in columns. Only blanks and line ends change: every token and every comment of
//! the text is in the result, in its order.

mod columns;
mod layout;
mod tree;
mod update;

use crate::diagnostic::Diagnostic;
use crate::text::FileKey;

/// Columns of a line; longer ones are broken where the language has a place for it.
const WIDTH: usize = 100;

/// Blanks of one step of indent.
const INDENT: usize = 4;

/// The canonical layout of a text.
///
/// # Errors
/// The problems of a text that does not parse.
pub fn format(file: FileKey, text: &str) -> Result<String, Vec<Diagnostic>> {
    let (_, problems) = super::parse(file, text);
    if !problems.is_empty() {
        return Err(problems);
    }
    Ok(tree::read(text).map_or_else(String::new, |file| layout::print(&file)))
}

/// The canonical layout of a text, old spellings replaced by the present ones.
///
/// # Errors
/// As [`format()`].
pub fn format_updated(file: FileKey, text: &str) -> Result<String, Vec<Diagnostic>> {
    format(file, &update::update(text)).map_err(|problems| match super::parse(file, text) {
        (_, written) if !written.is_empty() => written,
        _ => problems,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::text::Sources;

    /// Formats a text, and checks that a second time changes nothing.
    fn formatted(text: &str) -> String {
        let file = Sources::new().add("test", "");
        let once = format(file, text).unwrap_or_else(|problems| panic!("{problems:?}"));
        let twice = format(file, &once).unwrap_or_else(|problems| panic!("{problems:?}\n{once}"));
        assert_eq!(once, twice);
        once
    }

    #[track_caller]
    fn check(text: &str, wanted: &str) {
        assert_eq!(formatted(text), wanted);
    }

    #[test]
    fn a_text_with_mistakes_is_not_touched() {
        let file = Sources::new().add("test", "");
        let problems = format(file, "bord x { }").expect_err("a mistake");
        assert_eq!(problems.len(), 1);
    }

    #[test]
    fn old_spellings_are_updated_on_demand() {
        let file = Sources::new().add("test", "");
        let old = "trial t on b { hold  /reset low for 2 clocks # hold\nset hold = high hold hold high for 1 ms }";
        let problems = format(file, old).expect_err("old spellings");
        assert_eq!(problems.len(), 2);
        assert_eq!(problems[0].message, "`hold` is now called `drive`");
        assert_eq!(
            format_updated(file, old).expect("updated"),
            "trial t on b {\n    drive /reset low for 2 clocks  # hold\n    set hold = high\n    drive hold high for 1 ms\n}\n"
        );
        let rows = "part 1 { family HC { at 5 V { hold D after CLK rise - 5 ns } } }";
        assert_eq!(format_updated(file, rows).expect("no old spelling"), format(file, rows).expect("parses"));
    }

    #[test]
    fn blanks_and_empty_lines_become_regular() {
        check("", "");
        check("\n\n  # only this  \n\n", "# only this\n");
        check(
            "\n\nuse   \"a.board\"\nuse\n\"b.board\"\n\n\n\nboard x\n\"title\"{rail VCC 5V\n\n\n\nrail   GND}board y{}",
            "use \"a.board\"\nuse \"b.board\"\n\n\
             board x \"title\" {\n    rail VCC 5 V\n\n    rail GND\n}\n\nboard y { }\n",
        );
    }

    #[test]
    fn comments_stay_where_they_are() {
        check(
            "# head\n\n# of x\nboard x { # inside\n# first\nrail VCC 5 V# five\n\n\n# second\n\nrail GND # none\n# last\n} # behind\n# end",
            "# head\n\n# of x\nboard x {  # inside\n    # first\n    rail VCC 5 V  # five\n\n    # second\n\n\
             \x20   rail GND  # none\n    # last\n}  # behind\n\n# end\n",
        );
        check(
            "board x {\nrail # why\nVCC\n# how\n5 V\nD[0 # low\n..7] led { 1 = a[0..7] }\n}",
            "board x {\n    rail  # why\n        VCC\n        # how\n        5 V\n    D[0..7]  # low\n            led {\n\
             \x20       1 = a[0..7]\n    }\n}\n",
        );
    }

    #[test]
    fn neighbouring_comments_stand_in_one_column() {
        check(
            "board x {\nrail VCC 5 V # a\nrail GND # b\n\nrail VDD 12 V # c\n}",
            "board x {\n    rail VCC 5 V  # a\n    rail GND      # b\n\n    rail VDD 12 V  # c\n}\n",
        );
    }

    #[test]
    fn blocks_on_one_line_stay_there_while_they_fit() {
        check(
            "board x {\nU1 74HC574 {CLK=phi D[1..8]=m[0..7]   /OE = GND}\n}",
            "board x {\n    U1 74HC574 { CLK = phi  D[1..8] = m[0..7]  /OE = GND }\n}\n",
        );
        let many =
            "A = aaaaaaaaaaaaaaaaaaaa B = bbbbbbbbbbbbbbbbbbbb C = cccccccccccccccccccc D = dddddddddddddddddddd";
        check(
            &format!("board x {{\nU1 74HC574 {{{many}}}\n}}"),
            "board x {\n    U1 74HC574 {\n        \
             A = aaaaaaaaaaaaaaaaaaaa  B = bbbbbbbbbbbbbbbbbbbb  C = cccccccccccccccccccc\n        \
             D = dddddddddddddddddddd\n    }\n}\n",
        );
        check("board x {\n}", "board x { }\n");
    }

    #[test]
    fn connections_keep_their_lines_and_align_one_a_line() {
        check(
            "board x {\nU1 74HC574 {\nCLK=phi /OE=GND\nD[1..8]=m[0..7]\n}\nU2 74HC574 {\nCLK=phi\nD[1..8]=(a, b,\nc)\n1..3 = open\n}\n}",
            "board x {\n    U1 74HC574 {\n        CLK = phi  /OE = GND\n        D[1..8] = m[0..7]\n    }\n\
             \x20   U2 74HC574 {\n        CLK     = phi\n        D[1..8] = (a, b, c)\n        1..3    = open\n    }\n}\n",
        );
    }

    #[test]
    fn pins_and_tables_stand_in_columns() {
        check(
            "part 1 \"x\" {\npackage DIP8 {\n1 A in\n2, 3 B[1..2] in schmitt\n10..9 Y[1..2] three-state\n}\n\
             table {\nA B | Y\n# rows\nrise 0x1F|hold # why\nL * | =A\n}\n}",
            "part 1 \"x\" {\n    package DIP8 {\n        1      A        in\n        2, 3   B[1..2]  in schmitt\n\
             \x20       10..9  Y[1..2]  three-state\n    }\n    table {\n        A     B     |  Y\n        # rows\n\
             \x20       rise  0x1F  |  hold  # why\n        L     *     |  =A\n    }\n}\n",
        );
        check(
            "board x {\nconnector J1 header-1x4 {\n1 CLK = phi \"clock\"\n2..3 D[0..1] \"data\"\n4 open\n}\n}",
            "board x {\n    connector J1 header-1x4 {\n        1     CLK     = phi  \"clock\"\n\
             \x20       2..3  D[0..1]        \"data\"\n        4     open\n    }\n}\n",
        );
        check(
            "part 1 {\npackage DIP8 {\n1 1A in 2 1B in 3 1Y out\n13 4A in 12 4B in 11 4Y out\n7 GND ground\n}\n}",
            "part 1 {\n    package DIP8 {\n        1  1A  in       2  1B in   3  1Y out\n        13 4A  in       12 4B in   11 4Y out\n\
             \x20       7  GND ground\n    }\n}\n",
        );
    }

    #[test]
    fn figures_stand_right_in_their_columns() {
        check(
            "part 1 {\nfamily HC {\nsource \"s\"\ncolumns typ 25 C,limit -40 .. 85 C\nat 4.5V 50pF {\ndelay CLK -> Q 9.5 18 ns\n\
             setup D, E before CLK rise - 120 ns from \"t\"\nstable A while w\n}\n}\n}",
            "part 1 {\n    family HC {\n        source \"s\"\n        columns typ 25 C, limit -40..85 C\n        at 4.5 V 50 pF {\n\
             \x20           delay  CLK -> Q              9.5  18 ns\n\
             \x20           setup  D, E before CLK rise    - 120 ns from \"t\"\n\
             \x20           stable A while w\n        }\n    }\n}\n",
        );
        check(
            "family HC {\nat 4.5 V {\ninput-high - 3.15 V\noutput-low at 20 uA 0.001 0.1 V\n}\n}",
            "family HC {\n    at 4.5 V {\n        input-high                - 3.15 V\n\
             \x20       output-low  at 20 uA  0.001  0.1 V\n    }\n}\n",
        );
    }

    #[test]
    fn long_formulas_break_at_their_outermost_operators() {
        let term = |n: usize| format!("(first{n} and second{n} or third{n})");
        let text = format!("part 1 {{\nY = {} or {} or {} or {}\n}}", term(1), term(2), term(3), term(4));
        check(
            &text,
            "part 1 {\n    Y = (first1 and second1 or third1) or (first2 and second2 or third2) or\n        \
             (first3 and second3 or third3) or (first4 and second4 or third4)\n}\n",
        );
    }

    #[test]
    fn the_breaks_of_a_formula_are_kept() {
        check(
            "part 1 {\nY = D0 when S = 0 else\n      D1 when S = 1 else\n  D2\nZ =\n A and\n\n B\n}",
            "part 1 {\n    Y = D0 when S = 0 else\n        D1 when S = 1 else\n        D2\n    Z = A and\n        B\n}\n",
        );
        check(
            "part 1 {\nwhile A or\nB { q = 0 }\n}",
            "part 1 {\n    while A or\n            B {\n        q = 0\n    }\n}\n",
        );
    }

    #[test]
    fn marks_have_their_blanks() {
        check(
            "assembly a{A,B :reg\ncable W1 ribbon 10way 25 cm reversed{A . BUS}}"
                .replace("A . BUS", "A.BUS , B.BUS")
                .as_str(),
            "assembly a {\n    A, B: reg\n    cable W1 ribbon 10 way 25 cm reversed { A.BUS, B.BUS }\n}\n",
        );
        check(
            "trial t on b{expect on rise s:v=1,-2 , more\nexpect not( a=1 and b!=2 ) within 3 clocks\nshow each clock :a,b as hex}",
            "trial t on b {\n    expect on rise s: v = 1, -2, more\n    expect not (a = 1 and b != 2) within 3 clocks\n    show each clock: a, b as hex\n}\n",
        );
        check(
            "part 1 {each i in 0 .. 3 , 7 { Y[ i + 1 , 2 ] = a-3 } (C,S)=A+B}",
            "part 1 { each i in 0..3, 7 { Y[i+1, 2] = a - 3 }  (C, S) = A + B }\n",
        );
    }

    #[test]
    fn labels_stand_out_and_encodings_stand_in_a_column() {
        check(
            "program p for T{loop : NOP # why\nLOAD   [ A,- ( 3 ) ] ,5\n\n\n# end\nend:}",
            "program p for T {\n    loop:\n        NOP  # why\n        LOAD [A, -(3)], 5\n\n    # end\n    end:\n}\n",
        );
        check(
            "instructions T{\nregisters r:A=0,B=1\nNOP=0\nLOAD d:r,[a:address]=1+d,low a as FROM\n}",
            "instructions T {\n    registers r: A = 0, B = 1\n    NOP                     = 0\n    LOAD d: r, [a: address] = 1 + d, low a as FROM\n}\n",
        );
        check(
            "contents c{\naddress{\n0..7 a[0..7]\n8 b\n}\nwhen a=1 and not(b or a!=LIST . X):x,y=2\n}"
                .replace("LIST . X", "LIST.X")
                .as_str(),
            "contents c {\n    address {\n        0..7  a[0..7]\n        8     b\n    }\n    when a = 1 and not (b or a != LIST.X): x, y = 2\n}\n",
        );
    }
}
