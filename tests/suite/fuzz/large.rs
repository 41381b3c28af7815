//! Inputs that are large and plain. Work that grows with the square of their size never ends on them.

/// Each with what is large in it.
pub(crate) fn inputs() -> Vec<(&'static str, String)> {
    let repeated = |before: &str, text: &str, times: usize, after: &str| {
        format!("{before}{}{after}", text.repeat(times))
    };
    let names = (0..60_000).map(|value| format!("A{value} = {value}\n"));
    let values = (0..60_000).map(|value| format!("A = {}..{}\n", value, u32::MAX));
    let ladder = (0..4000).map(|rung| {
        format!(
            "R{rung} resistor 1 kohm {{ 1 = a{rung}  2 = a{} }}\n",
            rung + 1
        )
    });
    vec![
        (
            "names of values",
            format!("names n {{ {} }}", names.collect::<String>()),
        ),
        (
            "values that overlap",
            format!("names n {{ {} }}", values.collect::<String>()),
        ),
        (
            "second bars in a row",
            repeated(
                "part p { package DIP8 { 1 A in } table { ",
                "H L | ",
                60_000,
                "} }",
            ),
        ),
        (
            "cells of a row",
            repeated(
                "part p { package DIP8 { 1 A in } table { ",
                "H ",
                100_000,
                "| L } }",
            ),
        ),
        (
            "values of a signal",
            repeated(
                "trial t on b { expect on rise a: b = 1",
                ", 1",
                60_000,
                " }",
            ),
        ),
        (
            "claims of a condition",
            repeated(
                "trial t on b { expect a is high",
                " and a is high",
                20_000,
                " }",
            ),
        ),
        (
            "statements of a trial",
            repeated("trial t on b { ", "expect a is high\n", 20_000, "}"),
        ),
        (
            "one long line",
            repeated("board b { ", "note \"x\" ", 50_000, "}"),
        ),
        (
            "a ladder of resistors",
            format!("board b {{ {} }}", ladder.collect::<String>()),
        ),
        ("comments", repeated("", "# x\n", 200_000, "")),
        ("braces", repeated("", "{", 200_000, "")),
        ("a word", repeated("board ", "x", 500_000, " { }")),
        ("marks", repeated("", "\u{FEFF}", 100_000, "board b { }")),
        (
            "one file again and again",
            repeated("", "use \"x.board\" ", 50_000, ""),
        ),
    ]
}
