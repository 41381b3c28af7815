//! Inputs that are large and plain. Work that grows with the square of their size never ends on them, and columns that
//! are set to the width of what is in them get too wide.

/// Longer than a column of `format!` may be wide.
const LONG: usize = 70_000;

fn repeated(before: &str, text: &str, times: usize, after: &str) -> String {
    format!("{before}{}{after}", text.repeat(times))
}

/// Designs, each with what is large in it.
pub(crate) fn designs() -> Vec<(&'static str, String)> {
    let names = (0..60_000).map(|value| format!("A{value} = {value}\n"));
    let values = (0..60_000).map(|value| format!("A{value} = {value}..{}\n", u32::MAX));
    let rung = |rung| format!("R{rung} resistor 1 kohm {{ 1 = a{rung}  2 = a{} }}\n", rung + 1);
    let ladder: String = (0..4000).map(rung).collect();
    let alike = (0..4000).map(|form| format!("AN_INSTRUCTION_{form} = 0\n"));
    let shown = format!(
        "instructions I {{ {} }} board b {{ R1 resistor 1 ohm {{ 1 = a  2 = a1 }} }} \
         trial t on b {{ set a = low run for 1 us show now: a as I }}",
        alike.collect::<String>()
    );
    vec![
        ("names of values", format!("names n {{ {} }}", names.collect::<String>())),
        ("values that overlap", format!("names n {{ {} }}", values.collect::<String>())),
        ("values of a signal", repeated("trial t on b { expect on rise a: b = 1", ", 1", 60_000, " }")),
        ("claims of a condition", repeated("trial t on b { expect a is high", " and a is high", 20_000, " }")),
        ("statements of a trial", repeated("trial t on b { ", "expect a is high\n", 20_000, "}")),
        ("one long line", repeated("board b { ", "note \"x\" ", 50_000, "}")),
        ("a comment behind a long line", repeated("board b {\nnote \"", "x", LONG, "\" # c\n}")),
        ("a ladder of resistors", format!("board b {{ {ladder} }}")),
        ("comments", repeated("", "# x\n", 200_000, "")),
        ("braces", repeated("", "{", 200_000, "")),
        ("the name of a board", repeated("board ", "x", LONG, " { rail VCC 5 V rail GND }")),
        ("byte order marks", repeated("", "\u{FEFF}", 100_000, "board b { }")),
        ("one file again and again", repeated("", "use \"x.board\" ", 50_000, "")),
        ("names of one value", shown),
    ]
}

/// Parts.
pub(crate) fn parts() -> Vec<(&'static str, String)> {
    let long = "x".repeat(LONG);
    let words = format!(
        "part p \"{long}\" {{ package {long} {{ 1 A in 2 Y out 8 VCC power 4 GND ground }} Y = not A \
         table {{ A | Y\n L | H\n H | L\n }} note \"{long}\" family {long} {{ source \"{long}\" columns typ 25 C \
         note \"{long}\" at 5 V {{ delay A -> Y 10 ns from \"{long}\" }} }} }}"
    );
    vec![
        ("second bars in a row", repeated("part p { package DIP8 { 1 A in } table { ", "H L | ", 60_000, "} }")),
        ("cells of a row", repeated("part p { package DIP8 { 1 A in } table { ", "H ", 100_000, "| L } }")),
        ("words and texts", words),
    ]
}

/// Journals.
pub(crate) fn journals() -> Vec<(&'static str, String)> {
    let long = "x".repeat(LONG);
    let axis = |name: &str, values: &str| format!("{{\"name\":\"{name}\",\"values\":[{values}]}}");
    let header = |voltages: &str, clocks: &str| {
        let one = "\"as written\"";
        let axes = [
            axis("trial", "\"inverts\""),
            axis("voltage", voltages),
            axis("temperature", one),
            axis("corner", one),
            axis("power-up", one),
            axis("clock", clocks),
        ];
        format!(
            "{{\"coldboard\":\"VERSION\",\"design\":\"DESIGN\",\"axes\":[{}],\"changed\":[],\"search\":null,\"slice\":null}}\n",
            axes.join(",")
        )
    };
    let row = |point: usize, voltage: &str| {
        format!(
            "{{\"point\":{point},\"at\":[\"inverts\",\"{voltage}\",\"as written\",\"as written\",\"as written\",\"1 MHz\"],\"highest\":null,\
             \"outcome\":{{\"verdict\":\"passed\",\"passed\":1,\"failed\":0,\"faults\":0,\"first\":null,\"end\":\"1 us\",\"clocks\":3,\"swallowed\":0,\"rules\":[]}}}}\n"
        )
    };
    let wide = header(&format!("\"{long}\",\"5 V\""), "\"1 MHz\"") + &row(0, &long) + &row(1, "5 V");
    let rates: Vec<String> = (0..10_000).map(|rate| format!("\"{rate} Hz\"")).collect();
    vec![("a value of an axis", wide), ("a grid without rows", header("\"4 V\",\"5 V\"", &rates.join(",")))]
}
