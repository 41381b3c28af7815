//! Refits: rates that the sheets of both families give by hand, sockets that do not fit, files that stay as they are.

use crate::sweep::{TOGGLE, ask, project};
use coldboard::circuit::Circuit;
use coldboard::language::ast::Corner;
use coldboard::model::Changes;
use coldboard::refit::{Asked, Limit, Refit, choose, compare};
use coldboard::sweep;
use coldboard::trial::{self, Options};
use std::fs;
use tempfile::TempDir;

fn replaced(text: &str, on: &str, refits: &[&str], rate: Option<&str>) -> Refit {
    let mut project = project(text);
    let circuit = project.circuit(Some(on)).0.expect("a circuit");
    let refits: Vec<String> = refits.iter().map(|&refit| refit.to_owned()).collect();
    let chosen = choose(&project, &circuit, &refits, false).expect("chosen");
    let asked = Asked {
        trials: project.trials().iter().collect(),
        corners: vec![Corner::Slowest],
        rate: rate.map(|rate| (None, sweep::range(rate).expect("a range"), 4)),
        cores: 2,
    };
    compare(&project, on, &chosen, &asked).expect("compared")
}

fn rates(refit: &Refit) -> [Option<&str>; 2] {
    let sides = &refit.runs[0].outcome;
    [&sides.is, &sides.would].map(|side| side.highest.as_ref().and_then(|rate| rate.passed.as_deref()))
}

#[test]
fn a_register_of_ac_raises_the_rate_as_its_sheet_says() {
    let refit = replaced(TOGGLE, "toggle", &["U1=74AC74"], Some("1MHz..60MHz/0.1MHz"));
    // HC at 5 V: 88 ns, 11.36 MHz (see the sweeps). TI SCAS521F (AC74), -40..85 C at 5 V: CLK to Q 10.5 ns, setup 3 ns;
    // with the HC04's 22.67 ns at 5 V: 36.17 ns, 27.65 MHz.
    assert_eq!(rates(&refit), [Some("11.3 MHz"), Some("27.6 MHz")]);
    assert!(refit.is_good());
    assert_eq!(refit.edits.len(), 1);
    assert_eq!(refit.edits[0].place, "toggle.board:8:5");
    assert_eq!((refit.edits[0].from.as_str(), refit.edits[0].to.as_str()), ("74HC74", "74AC74"));
    // Faster is other times only.
    let run = &refit.runs[0];
    assert!(run.difference.is_some());
    assert!(run.reordered.is_none(), "{:?}", run.reordered);
}

#[test]
fn a_whole_family_is_replaced() {
    let refit = replaced(TOGGLE, "toggle", &["HC=AC"], Some("1MHz..60MHz/0.1MHz"));
    // TI SCAS519E (AC04), -40..85 C at 5 V: 7.5 ns to high, the longer one. 10.5 + 7.5 + 3 = 21 ns: 47.62 MHz.
    assert_eq!(rates(&refit), [Some("11.3 MHz"), Some("47.6 MHz")]);
    let replaced: Vec<(&str, &str)> =
        (refit.replaced.iter()).map(|chip| (chip.path.as_str(), chip.to.as_str())).collect();
    assert_eq!(replaced, [("U1", "74AC74"), ("U2", "74AC04")]);
    // At rest, -55..125 C: HC 160 uA a package (TI SCLS131D), AC 80 uA (Fairchild 74AC244 Rev.1.4.0).
    assert_eq!(refit.at_rest.is.current, "320 uA");
    assert_eq!(refit.at_rest.would.current, "160 uA");
}

/// All that a run of the only trial shows, as JSON.
fn shown(project: &coldboard::project::Project, circuit: &Circuit) -> String {
    let images = |file: &_| project.image(file);
    let sources = project.sources();
    let prepared = trial::prepare(&project.trials()[0], circuit, sources, &images).expect("names");
    let options = Options { corner: Some(Corner::Slowest), ..Options::default() };
    let report = trial::run_once(&prepared, circuit, sources, &options);
    assert!(report.counters.events > 0);
    serde_json::to_string(&report).expect("JSON")
}

#[test]
fn a_refitted_circuit_runs_as_one_whose_file_was_changed() {
    // The second of these has a pin that leads nowhere, so that its pins are counted otherwise.
    let own = "
part one { package DIP8 { 1 A in  2 Y out  4 GND ground  8 VCC power } Y = not A }
part two { package DIP8 { 1 A in  2 Y out  3 N none  4 GND ground  8 VCC power } Y = A }
board toggle { rail VCC 5 V  rail GND  feed U1..U2 from VCC GND
    U1 one { A = clk  Y = x }
    U2 one { A = x  Y = y } }
trial runs on toggle { clock clk 1 MHz  run for 20 clocks  show each clock: x, y }
";
    for (text, from, to, path) in [
        (TOGGLE, "U1 74HC74", "U1 74AC74", "U1"),
        (TOGGLE, "U2 74HC04", "U2 74LS04", "U2"),
        (own, "U2 one", "U2 two", "U2"),
    ] {
        let project_as_is = project(text);
        let circuit = project_as_is.changed(Some("toggle"), &Changes::default()).0;
        let number = to.split_once(' ').expect("a number").1;
        let refits = [format!("{path}={number}")];
        let circuit = circuit.expect("a circuit");
        let chosen = choose(&project_as_is, &circuit, &refits, false).expect("chosen");
        let changes = Changes { chips: chosen.chips, ..Changes::default() };
        let changed = project_as_is.changed(Some("toggle"), &changes).0.expect("a circuit");
        let edited_text = text.replace(from, to);
        assert_ne!(edited_text, text);
        let edited = project(&edited_text);
        let written = edited.changed(Some("toggle"), &Changes::default()).0.expect("a circuit");
        for (a, b) in changed.nets.values().zip(written.nets.values()) {
            assert_eq!((&a.path, &a.chip_pins), (&b.path, &b.chip_pins));
        }
        for (a, b) in changed.chips.values().zip(written.chips.values()) {
            assert_eq!((&a.number, &a.nets, &a.open), (&b.number, &b.nets, &b.open));
            assert_eq!((a.sheet, &a.family, a.supply), (b.sheet, &b.family, b.supply));
        }
        assert_eq!(shown(&project_as_is, &changed), shown(&edited, &written));
    }
}

#[test]
fn of_several_refits_of_one_chip_the_last_one_counts() {
    let refit = replaced(TOGGLE, "toggle", &["*=AC", "U2=74HC04"], None);
    assert_eq!(refit.replaced.len(), 1);
    assert_eq!(refit.replaced[0].path, "U1");
}

#[test]
fn what_a_part_does_otherwise_is_seen() {
    // The 163 clears at a clock only, the 161 at once (TI SCLS297D, SCLS298D).
    let text = "board counter { rail VCC 5 V  rail GND  feed U1 from VCC GND  C1 capacitor 100 nF decouples U1
        connector J1 header-1x4 { 1 VCC  2 GND  3 clk  4 /clear }
        U1 74HC161 { CLK = clk  /CLR = /clear  /LOAD = VCC  ENP = VCC  ENT = VCC  [A..D] = GND  Q[A..D] = q[0..3] } }
        trial clears on counter { set clk = low  set /clear = low  run for 1 us  expect q = 0 }";
    let refit = replaced(text, "counter", &["U1=74HC163"], None);
    assert!(!refit.is_good());
    let run = &refit.runs[0];
    assert!(run.outcome.is.run.passed_all());
    let reordered = run.reordered.as_ref().expect("other levels");
    assert!(reordered.net.starts_with('q'), "{reordered:?}");
    assert_eq!(reordered.level.is, Some("low"));
    assert_eq!(reordered.level.would, Some("unknown"));
    let first = run.difference.as_ref().expect("a difference");
    assert_eq!((first.level.is, first.level.would), ("low", "unknown"));
    let text = coldboard::export::refit::text(&refit);
    assert!(text.contains("is low, and would be unknown"), "{text}");
    assert!(text.contains("other levels, not only other times: change number"), "{text}");
}

#[test]
fn findings_of_the_rules_come_and_go() {
    // Open collectors may be tied together; the push-pull outputs of the 04 fight (common practice).
    let text = "board wired { rail VCC 5 V  rail GND  feed U1 from VCC GND  C1 capacitor 100 nF decouples U1
        connector J1 header-1x5 { 1 VCC  2 GND  3 a  4 b  5 y }
        U1 74LS05 { 1A = a  2A = b  1Y = y  2Y = y  [3..6]A = GND }
        R1 resistor 1 kohm { 1 = VCC  2 = y } }";
    let refit = replaced(text, "wired", &["U1=74LS04"], None);
    assert_eq!(refit.findings.come.len(), 1, "{:?}", refit.findings);
    assert!(refit.findings.come[0].starts_with("outputs-fight"), "{:?}", refit.findings);
    let back = replaced(&text.replace("74LS05", "74LS04"), "wired", &["74LS04=74LS05"], None);
    assert_eq!(back.findings.gone, refit.findings.come);
    assert!(back.findings.come.is_empty());
}

#[test]
fn a_part_that_does_not_fit_is_refused_with_its_pins() {
    let folder = folder(TOGGLE);
    let (code, out, err) = ask(folder.path(), "refit toggle.board U2=74HC00");
    assert_eq!(code, 2);
    assert!(out.is_empty());
    assert!(err.contains("74HC00 does not fit the socket of U2 (74HC04)"), "{err}");
    // 04: outputs 2, 4, 6, 8, 10, 12; 00: outputs 3, 6, 8, 11 (common practice).
    for pin in
        ["pin 2: 1Y (out) against 1B (in)", "pin 3: 2A (in) against 1Y (out)", "pin 12: 6Y (out) against 4A (in)"]
    {
        assert!(err.contains(pin), "{pin}: {err}");
    }
    assert!(!err.contains("pin 1:"), "{err}");
}

#[test]
fn what_cannot_be_replaced_is_told() {
    let folder = folder(TOGGLE);
    for (refit, told) in [
        ("U9=74HC00", "`U9` is no chip, number or family of toggle"),
        ("A.*=AC", "there is no board A in toggle"),
        ("U1=74QQ99", "there is no part `74QQ99`"),
        ("U1", "`U1` is not a refit"),
        ("*=HC", "no chip would change"),
        ("U2=74BCT04", "74BCT04: the library has no BCT sheet for the 04"),
    ] {
        let (code, _, err) = ask(folder.path(), &format!("refit toggle.board {refit}"));
        assert_eq!(code, 2, "{refit}");
        assert!(err.contains(told), "{refit}: {err}");
    }
}

#[test]
fn a_part_without_a_sheet_stays_unless_an_estimate_is_allowed() {
    let text = TOGGLE
        .replace("74HC04 {", "74HC14 {")
        .replace(
            "    U2",
            "    U3 74HC161 {
        CLK = clk  /CLR = VCC  /LOAD = VCC  ENP = VCC  ENT = VCC  [A..D] = GND }\n    U2",
        )
        .replace("U1, U2 from", "U1..U3 from");
    let folder = folder(&text);
    let (_, out, err) = ask(folder.path(), "refit toggle.board *=AC --corner slowest");
    assert!(out.contains("U1: 74HC74 becomes 74AC74"), "{out}{err}");
    assert!(out.contains("U3 (74HC161): 74AC161: the library has no AC sheet for the 161"), "{out}");
    let (_, out, _) = ask(folder.path(), "refit toggle.board *=AC --corner slowest --estimated");
    assert!(out.contains("U3: 74HC161 becomes 74AC161, ESTIMATED figures"), "{out}");
    assert!(out.contains("write 74AC161 estimated for 74HC161 (U3)"), "{out}");
    assert!(!out.contains("stay as they are"), "{out}");
    assert_eq!(fs::read_to_string(folder.path().join("toggle.board")).expect("read"), text);
}

#[test]
fn chips_of_one_line_that_do_not_all_change_are_told() {
    let text = "board pair { rail VCC 5 V  rail GND  feed U1..U2 from VCC GND  C1..C2 capacitor 100 nF decouples U1..U2
        connector J1 header-1x4 { 1 VCC  2 GND  3 a  4 y }
        U1..U2 74HC04 { 1A = (a, x)  1Y = (x, y)  [2..6]A = GND } }
        assembly two { A, B: pair  supply PS1 5 V 1 A { plus = A.J1.1, B.J1.1  minus = A.J1.2, B.J1.2 } }";
    let text = text.replace(
        "plus = A.J1.1, B.J1.1  minus = A.J1.2, B.J1.2",
        "plus = A.J1.1  plus = B.J1.1  minus = A.J1.2  minus = B.J1.2",
    );
    let refit = replaced(&text, "two", &["A.*=AC"], None);
    assert_eq!(refit.edits.len(), 1);
    assert_eq!(refit.edits[0].chips, ["A.U1", "A.U2"]);
    assert_eq!(refit.edits[0].others, ["B.U1", "B.U2"]);
}

#[test]
fn any_number_of_cores_gives_the_same_bytes() {
    let folder = folder(TOGGLE);
    let arguments = "refit toggle.board HC=AC --rate 1MHz..60MHz/1MHz --json --cores";
    let one = ask(folder.path(), &format!("{arguments} 1"));
    assert_eq!(one.0, 0, "{}", one.2);
    assert_eq!(one, ask(folder.path(), &format!("{arguments} 2")));
}

fn folder(text: &str) -> TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("toggle.board"), text).expect("written");
    folder
}

/// Static timing of both sides. Two counters in a row: from the clock to the carry of the first, and from there to the
/// setup time of the second's enable. TI SCLS297D, September 2003, over -40..85 C at 4.5 / 6 V: 54 / 46 and 43 / 37 ns; TI
/// SDLS060, March 1988: 35 ns and 20 ns.
#[test]
fn static_timing_stands_beside_the_trials() {
    let text = "board two {
        rail VCC 5 V
        rail GND
        feed U1..U2 from VCC GND
        connector J1 header-1x4 { 1 VCC  2 GND  3 clk  4 /clear }
        U1 74HC161 { CLK = clk  /CLR = /clear  /LOAD = VCC  ENP = VCC  ENT = VCC  [A..D] = GND  Q[A..D] = a[0..3]  RCO = carry }
        U2 74HC161 { CLK = clk  /CLR = /clear  /LOAD = VCC  ENP = VCC  ENT = carry  [A..D] = GND  Q[A..D] = b[0..3]  RCO = open }
    }
    trial counts on two { clock clk 1 MHz  drive /clear low for 2 clocks  set /clear = high  run for 20 clocks }";
    let refit = replaced(text, "two", &["HC=LS"], None);
    let highest = |limits: &[Limit]| {
        let [limit] = limits else {
            panic!("{limits:?}");
        };
        let path = limit.path.as_ref().expect("a limit");
        assert!(path.end.starts_with("setup of U2.ENT"), "{path:?}");
        limit.highest.expect("a rate").as_f64()
    };
    let at_5_v = |at_4_5: f64, at_6: f64| at_4_5 + (at_6 - at_4_5) / 3.0;
    let hc = 1e9 / (at_5_v(54.0, 46.0) + at_5_v(43.0, 37.0));
    let ls = 1e9 / (35.0 + 20.0);
    // Times are whole picoseconds, and rates are rounded down.
    assert!((highest(&refit.timing.is) - hc).abs() < 1e3, "{hc}");
    assert!((highest(&refit.timing.would) - ls).abs() < 1e3, "{ls}");
}
