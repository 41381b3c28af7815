//! What the writer of a part gets to read.

use super::*;

const PINS: &str = "4 D[1..4] in\n1 CLK in\n1 /OE in\n4 Q[1..4] out\n1 Y three-state";

/// The messages and helps of a part with one mistake.
fn complaints(body: &str) -> Vec<(&'static str, String, String)> {
    let (part, problems) = load(&source(PINS, body));
    assert!(part.is_none(), "accepted: {body}");
    let text = |problem: &Diagnostic| problem.help.clone().unwrap_or_default();
    problems.iter().map(|p| (p.code, p.message.clone(), text(p))).collect()
}

#[test]
fn mistakes_are_told_with_what_to_do() {
    let rest = "Y = D1 when OE else off";
    for (body, code, message, help) in [
        ("Q = DD", "unknown-name", "there is nothing to read under the name `DD`", "did you mean `D`?"),
        (
            "Q = D[1..4] X = CLK",
            "unknown-name",
            "there is nothing to assign under the name `X`",
            "write a pin of the package, a state or a node",
        ),
        (
            "Q = D[1..3]",
            "width",
            "3 bits stand where 4 bits are wanted",
            "take a slice such as `D[0..3]`, or join pieces: `(a, b)`",
        ),
        (
            "Q = D when D else 0",
            "width",
            "4 bits stand where 1 bit is wanted",
            "take a slice such as `D[0..3]`, or join pieces: `(a, b)`",
        ),
        ("Q = D + 16", "width", "16 does not fit 4 bits", "write a smaller number, or widen the other side"),
        ("Q[1..3] = D[1..3]", "no-formula", "nothing says what the output `Q4` is", "write `Q4 = ...`"),
        ("Q = D Q2 = CLK", "set-twice", "`Q2` is set twice", "say it in one formula, with `when ... else`"),
        (
            "Q = D when OE else off",
            "output-kind",
            "`Q1` is a push-pull output, but its formula lets it go",
            "declare it `three-state` or `open-drain`",
        ),
        (
            "state q q = D Q = D",
            "storage",
            "stored bits are set inside `on` or `while`",
            "write `on rise CLK { q = D }`",
        ),
        (
            "on rise CLK { Q = D } Q = D",
            "storage",
            "only stored bits are set at an edge or a level",
            "declare it: `state q[1..8]`, and let the output follow: `Q = q`",
        ),
        (
            "state q[1..4] on rise OE { q = D } Q = q",
            "trigger",
            "an edge is of one pin or node, by its exact name",
            "write `on rise CLK`; for an active-low pin write its name with the slash",
        ),
        (
            "state q, r on rise q { r = D1 } Q = D",
            "trigger",
            "storage cannot be clocked by storage directly",
            "name it first: `node tick = q`",
        ),
        ("node a = b node b = CLK Q = D", "order", "this node is read before it is defined", "move its definition up"),
        ("state CLK Q = D", "name-twice", "`CLK` has been declared before", "choose another name"),
        (
            "node a = CLK when OE else off Q = D",
            "off",
            "only an output can let go",
            "move `off` to the formula of the output",
        ),
        (
            "memory cells 4 x 4 cells at 0 = D Q = D",
            "storage",
            "a memory is written inside `on` or `while`",
            "write `while write { cells at A = D }`",
        ),
        (
            "memory cells 4 x 4 while CLK { cell at 0 = D } Q = D",
            "unknown-name",
            "there is no memory `cell`",
            "did you mean `cells`?",
        ),
        (
            "memory cells 16 x 4 Q = cells at CLK",
            "width",
            "1 bit stands where 4 bits are wanted",
            "take a slice such as `D[0..3]`, or join pieces: `(a, b)`",
        ),
        (
            "Q = D at CLK",
            "width",
            "1 bit of address cannot pick one of 4 bits",
            "the vector needs 2, 4, 8, ... bits, as many as the address can name",
        ),
    ] {
        assert_eq!(complaints(&format!("{body}\n{rest}")), [(code, message.to_owned(), help.to_owned())], "{body}");
    }
}

#[test]
fn an_output_that_can_let_go_must() {
    assert_eq!(
        complaints("Q = D Y = D1"),
        [(
            "output-kind",
            "`Y` is declared as an output that can let go, but its formula never does".to_owned(),
            "write `... else off`".to_owned()
        )]
    );
}

#[test]
fn a_wrong_node_is_reported_once() {
    let found = complaints("node a = DD node b = a and CLK node c = b Q = D and c Y = b when OE else off");
    assert_eq!(found.len(), 1, "{found:?}");
}

#[test]
fn sizes_are_bounded() {
    let wide: Vec<String> = (0..70).map(|at| format!("state q{at}")).collect();
    let found = complaints(&format!("{} Q = D Y = D1 when OE else off", wide.join(" ")));
    assert_eq!(
        (found[0].0, found[0].1.as_str()),
        ("too-large", "a part with 70 stored bits cannot be modelled; 64 is the most")
    );
    for memory in ["3 x 8", "0 x 8", "33554432 x 8", "99999999999999999999 x 8", "16 x 65"] {
        let body = format!("memory cells {memory} Q = D Y = D1 when OE else off");
        let (part, problems) = load(&source(PINS, &body));
        let usable = part.is_some_and(|part| part.function.memories[0].words > 0);
        assert!(!problems.is_empty() || !usable, "accepted: {memory}");
    }
}
