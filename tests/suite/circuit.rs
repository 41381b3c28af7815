//! Elaboration: what a design is. Mistakes, signals, supplies and what always holds stand in files of their own.

mod always;
mod mistakes;
mod signals;
mod supplies;
mod timing;

use coldboard::circuit::{Circuit, DiscreteKind, elaborate};
use coldboard::diagnostic::{Diagnostic, any_error};
use coldboard::language::parse;
use coldboard::part::Library;
use coldboard::quantity::Voltage;
use std::sync::LazyLock;

/// Small parts of our own, so that the tests do not lean on the library.
const PARTS: &str = r#"
part latch "octal register" {
    package DIP20 {
        1 /OE in  11 CLK in  2..9 D[1..8] in  19..12 Q[1..8] three-state  20 VCC power  10 GND ground
    }
    state q[1..8]
    on rise CLK { q = D }
    Q = q when OE else off
}
part inverter "one gate" {
    package DIP8 { 1 A in  2 Y out  8 VCC power  4 GND ground }
    Y = not A
}
part can "oscillator" {
    package DIP8 { 5 OUT out  8 VCC power  4 GND ground }
    oscillator q
    OUT = q
}
"#;

/// The built-in library and these parts.
static LIBRARY: LazyLock<Library> = LazyLock::new(|| {
    let mut library = Library::built_in();
    library.add_text("parts.part", PARTS);
    assert!(!any_error(&library.problems()), "{:?}", library.problems());
    library
});

fn elaborated(name: Option<&str>, text: &str) -> (Option<Circuit>, Vec<String>, Vec<Diagnostic>) {
    let mut library = LIBRARY.clone();
    let file = library.add_source("test.board", text);
    let (tree, problems) = parse(file, text);
    assert!(problems.is_empty(), "{problems:?}");
    let (circuit, found) = elaborate(name, &[tree], &library);
    let lines = found.iter().map(|problem| {
        let mut line = format!("{}: {}", problem.code, problem.message);
        for label in &problem.labels {
            let slice = library.sources().slice(label.span);
            line += &format!(" | `{slice}` {}", label.text);
        }
        for note in &problem.notes {
            line += &format!(" | {note}");
        }
        if let Some(help) = &problem.help {
            line += &format!(" | help: {help}");
        }
        line
    });
    (circuit, lines.collect(), found)
}

/// The circuit of a text without mistakes.
fn circuit(text: &str) -> Circuit {
    let (circuit, lines, _) = elaborated(None, text);
    assert_eq!(lines, Vec::<String>::new());
    circuit.expect("a circuit")
}

/// All that is wrong with a text that makes no circuit.
fn problems(text: &str) -> Vec<String> {
    let (circuit, lines, found) = elaborated(None, text);
    assert!(circuit.is_none() && any_error(&found), "{lines:?}");
    lines
}

/// All that is wrong with the statements of a board with fed rails.
fn on_board(body: &str) -> Vec<String> {
    problems(&format!("board b {{ rail VCC 5 V rail GND\n{body} }}"))
}

fn volts(volts: i64) -> Voltage {
    Voltage::from_raw(volts * 1_000_000)
}

const REGISTER: &str = r#"
board register "one register" {
    rail VCC 5 V
    rail GND
    feed U1..U2 from VCC GND
    connector BUS header-2x5 { 1..8 m[0..7] "bit 0 first"  9 VCC  10 GND }
    connector CTL header-1x3 { 1 clk = load  2 open  3 spare = open }
    U1 latch { D[1..8] = m[0..7]  Q[1..8] = r[0..7]  CLK = load  /OE = GND }
    U2 inverter { 1 = r0  2 = open }
    D[0..7] led red 680 ohm { anode = r[0..7]  cathode = GND }
    C1..C2 capacitor 100 nF decouples U1, U2
    C3 capacitor 10 uF decouples U1..U2
    R1 resistor 10 kohm { 1 = VCC  2 = load }
}
"#;

#[test]
fn a_board_alone_is_its_chips_nets_and_rails() {
    let circuit = circuit(REGISTER);
    assert_eq!((circuit.name.as_str(), circuit.assembly), ("register", false));
    let chip = |path| &circuit.chips[circuit.chip(path).expect(path)];
    let net = |path| circuit.net(path).expect(path);
    assert_eq!(chip("U1").part.name, "latch");
    assert!(chip("U1").fed && chip("U2").fed);
    assert_eq!(chip("U1").supply, volts(5));
    assert_eq!(chip("U2").open, [1]);
    assert_eq!(circuit.net("U2.Y"), None);
    // The same node by its name, by pins of chips, by a connector's pin.
    assert_eq!(net("m0"), net("U1.D1"));
    assert_eq!(net("m0"), net("U1.2"));
    assert_eq!(net("m7"), net("BUS.8"));
    assert_eq!(net("r0"), net("U2.A"));
    assert_eq!(net("r3"), net("D3.1"));
    assert_eq!(net("GND"), net("D3.2"));
    let gnd = &circuit.nets[net("GND")];
    assert_eq!(gnd.rail.expect("a rail").fed, Some(Voltage::ZERO));
    assert_eq!(circuit.nets[net("VCC")].rail.expect("a rail").fed, Some(volts(5)));
    // U1 pins 1 and 10, U2 pin 4; cathodes and three capacitors; BUS 10.
    assert_eq!((gnd.chip_pins.len(), gnd.discrete_pins.len(), gnd.connector_pins.len()), (3, 11, 1));
    let control = &circuit.connectors[circuit.connector("CTL").expect("there")];
    let open: Vec<bool> = control.pins.iter().map(|pin| pin.open).collect();
    assert_eq!(open, [false, true, true]);
    assert_eq!(control.pins[0].label.as_deref(), Some("clk"));
    assert_eq!(control.pins[0].net, Some(net("load")));
}

#[test]
fn capacitors_stand_at_the_supply_pins_of_their_chips() {
    let circuit = circuit(REGISTER);
    let at = |path: &str| {
        let discrete = &circuit.discretes[circuit.discrete(path).expect(path)];
        assert!(matches!(discrete.kind, DiscreteKind::Capacitor(_)), "{path}");
        let chips: Vec<&str> = (discrete.decouples.iter()).map(|chip| circuit.chips[*chip].path.as_str()).collect();
        let nets: Vec<&str> = discrete.nets.iter().map(|net| circuit.nets[net.expect("wired")].path.as_str()).collect();
        (chips.join(" "), nets.join(" "))
    };
    let row = |a: &str| (a.to_owned(), "VCC GND".to_owned());
    assert_eq!(at("C1"), row("U1"));
    assert_eq!(at("C2"), row("U2"));
    assert_eq!(at("C3"), row("U1 U2"));
}

#[test]
fn nets_are_dealt_out_to_rows_of_parts() {
    let circuit = circuit(
        "board b { each i in 0..1 { U[i+1] latch { D[1..8] = m[8*i..8*i+7]  CLK = phi } }
                   U[3..4] latch { D[1..8] = m[0..15]  Q[1..8] = q[0..7] }
                   R1..R3 resistor 1 kohm { 1 = (a, b, c)  2 = a } }",
    );
    let same = |a: &str, b: &str| assert_eq!(circuit.net(a).expect(a), circuit.net(b).expect(b), "{a} {b}");
    same("U2.D1", "m8");
    same("U1.CLK", "U2.CLK");
    same("U3.D8", "m7");
    same("U4.D8", "m15");
    same("U3.Q2", "U4.Q2");
    same("R3.1", "c");
    same("R3.2", "a");
}

const BENCH: &str = r#"
board backplane {
    connector LEFT header-2x5 { 1..8 m[0..7]  9 V = V5  10 G = GND }
    connector RIGHT header-2x5 { 10..3 n[0..7]  2 V5  1 G = GND }
    connector POWER terminal-1x2 { 1 plus = V5  2 minus = GND }
    connector EXTRA header-1x2 { 1 x  }
    rail V5 5 V
    rail GND
}
assembly bench {
    cable W1 ribbon 10 way 250 mm { A.BUS, P.LEFT }
    cable W2 ribbon 100 mm reversed { B.BUS, P.RIGHT }
    cable W3 jumper 50 mm { A.CTL.1 to B.CTL.clk  A.CTL.2 to P.EXTRA.2 }
    A, B: register
    P: backplane
    supply PS1 5 V 1 A { plus = P.POWER.plus  minus = P.POWER.2 }
}
"#;

#[test]
fn cables_make_nets_one() {
    let circuit = circuit(&format!("{REGISTER}{BENCH}"));
    assert_eq!((circuit.name.as_str(), circuit.assembly), ("bench", true));
    let net = |path| circuit.net(path).expect(path);
    assert_eq!(net("A.m0"), net("P.m0"));
    // Pin 1 of B.BUS meets pin 10 of P.RIGHT.
    assert_eq!(net("B.m0"), net("P.n0"));
    assert_eq!(net("B.m7"), net("P.RIGHT.3"));
    assert_ne!(net("A.m0"), net("B.m0"));
    assert_eq!(net("A.load"), net("B.load"));
    assert_eq!(net("A.GND"), net("B.GND"));
    let ground = &circuit.nets[net("P.GND")];
    let names: Vec<String> =
        ground.names.iter().map(|(board, name)| format!("{}.{name}", circuit.boards[*board].path)).collect();
    assert_eq!(names, ["A.GND", "B.GND", "P.GND"]);
    assert_eq!(ground.path, "A.GND");
    assert_eq!(ground.wire.to_string(), "350 mm");
    assert_eq!(circuit.nets[net("A.load")].wire.to_string(), "50 mm");
    assert_eq!(ground.rail.expect("a rail").fed, Some(Voltage::ZERO));
    assert_eq!(circuit.nets[net("B.VCC")].rail.expect("a rail").fed, Some(volts(5)));
    assert!(circuit.chips.values().all(|chip| chip.fed && chip.supply == volts(5)));
    let left = &circuit.connectors[circuit.connector("P.LEFT").expect("there")];
    assert!(left.pins.iter().all(|pin| pin.cables.len() == 1));
}

#[test]
fn a_board_without_a_supply_is_dead() {
    let text = BENCH.replace("cable W2 ribbon 100 mm reversed { B.BUS, P.RIGHT }", "");
    let circuit = circuit(&format!("{REGISTER}{text}"));
    let fed = |path| circuit.chips[circuit.chip(path).expect(path)].fed;
    assert!(fed("A.U1") && !fed("B.U1"));
    assert_eq!(circuit.nets[circuit.net("B.VCC").expect("there")].rail.expect("a rail").fed, None);
}

#[test]
fn two_parts_of_one_name_both_stay() {
    let circuit =
        circuit("board b { rail VCC 5 V rail GND feed U1 from VCC GND U1 inverter { A = a } U1 inverter { A = b } }");
    assert_eq!(circuit.chips.len(), 2);
    assert!(circuit.chips.values().all(|chip| chip.fed));
    assert_eq!(circuit.net("U1.A"), circuit.net("a"));
}

const TWO: &str = r#"
board end {
    rail VCC 5 V
    rail GND
    connector J1 header-1x2 { 1 VCC  2 GND }
    connector J2 header-1x2 { 1 VCC  2 GND }
}
"#;
