//! From a name that a person writes to the nets that it means.

use super::{BENCH, REGISTER, circuit};
use coldboard::circuit::Circuit;
use coldboard::part::Library;

/// The paths of a signal's nets, or why there is none.
fn signal(circuit: &Circuit, path: &str) -> String {
    match circuit.signal(path) {
        Ok(signal) => {
            let paths = signal.nets.iter().map(|net| circuit.nets[*net].path.as_str());
            paths.collect::<Vec<_>>().join(" ")
        }
        Err(problem) => problem.to_string(),
    }
}

#[test]
fn signals_are_nets_pins_and_buses() {
    let alone = circuit(REGISTER);
    assert_eq!(signal(&alone, "load"), "load");
    assert_eq!(signal(&alone, "BUS.3"), "m2");
    assert_eq!(signal(&alone, "m"), "m7 m6 m5 m4 m3 m2 m1 m0");
    assert_eq!(signal(&alone, "U1.Q"), "r7 r6 r5 r4 r3 r2 r1 r0");
    assert_eq!(signal(&alone, "U1.11"), "load");
    assert_eq!(signal(&alone, "U2.Y"), "`U2.Y` has no level: nothing is connected to Y");
    assert_eq!(signal(&alone, "U2.2"), "`U2.2` has no level: nothing is connected to Y");
    assert_eq!(signal(&alone, "CTL.2"), "`CTL.2` has no level: nothing is connected to 2");
    assert_eq!(signal(&alone, "CTL.4"), "there is no net, pin or bus `CTL.4`");

    let bench = circuit(&format!("{REGISTER}{BENCH}"));
    assert_eq!(signal(&bench, "B.r"), "B.r7 B.r6 B.r5 B.r4 B.r3 B.r2 B.r1 B.r0");
    assert_eq!(signal(&bench, "B.U1.Q1"), "B.r0");
    assert_eq!(signal(&bench, "P.m"), signal(&bench, "A.m"));
    // One net on both boards, only one board has it, different nets on two boards.
    assert_eq!(signal(&bench, "load"), "A.load");
    assert_eq!(signal(&bench, "n"), signal(&bench, "B.m"));
    assert_eq!(signal(&bench, "r"), "`r` may be any of A.r, B.r: they are not the same");
    assert_eq!(signal(&bench, "r0"), "`r0` may be any of A.r0, B.r0: they are not the same");
    assert_eq!(signal(&bench, "U1.CLK"), "A.load");
    assert_eq!(signal(&bench, "U1.Q"), "`U1.Q` may be any of A.U1.Q, B.U1.Q: they are not the same");
}

#[test]
fn a_bus_may_be_spread_over_boards() {
    let text = "board low { connector J header-1x3 { 1..3 m[0..2] } }
                board high { connector J header-1x1 { 1 m3 } connector K header-1x3 { 1..3 m[0..2] } }
                assembly a { L: low  H: high  cable W ribbon 1 mm { L.J, H.K } }";
    assert_eq!(signal(&circuit(text), "m"), "H.m3 L.m2 L.m1 L.m0");
    let apart = text.replace("cable W ribbon 1 mm { L.J, H.K }", "");
    assert_eq!(signal(&circuit(&apart), "m"), "`m` may be any of L.m, H.m: they are not the same");
}

#[test]
fn lists_of_names_have_the_highest_index_first() {
    let bench = circuit(&format!("{REGISTER}{BENCH}"));
    let of = |names: &[&str]| {
        let names: Vec<String> = names.iter().map(|name| (*name).to_owned()).collect();
        bench.signal_of(&names).map(|signal| {
            let paths = signal.nets.iter().map(|net| bench.nets[*net].path.as_str());
            (signal.path, paths.collect::<Vec<_>>().join(" "))
        })
    };
    let row = |a: &str, b: &str| Ok((a.to_owned(), b.to_owned()));
    assert_eq!(of(&["A.r0", "A.r1"]), row("A.r1..A.r0", "A.r1 A.r0"));
    assert_eq!(of(&["A.r1", "A.r0"]), row("A.r1..A.r0", "A.r1 A.r0"));
    assert_eq!(of(&["n"]).expect("a bus").0, "n");
    let wide = of(&["A.r0", "A.m"]).expect_err("too wide");
    assert_eq!(wide.to_string(), "`A.m` is a bus of 8 bits, where one bit is wanted");
}

#[test]
fn unknown_signals_offer_near_ones() {
    let bench = circuit(&format!("{REGISTER}{BENCH}"));
    let mut library = Library::default();
    let span = {
        let file = library.add_source("a", "x");
        coldboard::text::Span { file, start: 0, end: 1 }
    };
    let help = |path: &str| bench.signal(path).expect_err(path).at(span).help.unwrap_or_default();
    assert_eq!(help("laod"), "did you mean `load`?");
    assert_eq!(help("A.laod"), "did you mean `A.load`?");
    assert_eq!(help("A.U1.CKL"), "did you mean `A.U1.CLK`?");
    assert_eq!(help("strobe"), "write a net, a pin or a bus as in `A.m0`, `A.U1.Q3`, `A.m`");
    assert_eq!(help("r0"), "write the board as well, as in `A.r0`");
}
