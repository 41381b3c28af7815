//! Elaboration: what a design is, what is wrong with it, and how its signals are found.

use coldboard::circuit::{Circuit, DiscreteKind, elaborate};
use coldboard::diagnostic::{Diagnostic, any_error};
use coldboard::language::parse;
use coldboard::part::Library;
use coldboard::quantity::Voltage;
use proptest::prelude::*;

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

fn elaborated(name: Option<&str>, text: &str) -> (Option<Circuit>, Vec<String>, Vec<Diagnostic>) {
    let mut library = Library::built_in();
    library.add_text("parts.part", PARTS);
    assert!(!any_error(&library.problems()), "{:?}", library.problems());
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
    assert_eq!(
        (circuit.name.as_str(), circuit.assembly),
        ("register", false)
    );
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
    assert_eq!(
        circuit.nets[net("VCC")].rail.expect("a rail").fed,
        Some(volts(5))
    );
    // U1 pins 1 and 10, U2 pin 4; cathodes and three capacitors; BUS 10.
    assert_eq!(
        (
            gnd.chip_pins.len(),
            gnd.discrete_pins.len(),
            gnd.connector_pins.len()
        ),
        (3, 11, 1)
    );
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
        let DiscreteKind::Capacitor(_, chips) = &discrete.kind else {
            panic!("{path}")
        };
        let chips: Vec<&str> = chips
            .iter()
            .map(|chip| circuit.chips[*chip].path.as_str())
            .collect();
        let nets: Vec<&str> = discrete
            .nets
            .iter()
            .map(|net| circuit.nets[net.expect("wired")].path.as_str())
            .collect();
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
    let same = |a: &str, b: &str| {
        assert_eq!(
            circuit.net(a).expect(a),
            circuit.net(b).expect(b),
            "{a} {b}"
        )
    };
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
    let names: Vec<String> = ground
        .names
        .iter()
        .map(|(board, name)| format!("{}.{name}", circuit.boards[*board].path))
        .collect();
    assert_eq!(names, ["A.GND", "B.GND", "P.GND"]);
    assert_eq!(ground.path, "A.GND");
    assert_eq!(ground.wire.to_string(), "350 mm");
    assert_eq!(circuit.nets[net("A.load")].wire.to_string(), "50 mm");
    assert_eq!(ground.rail.expect("a rail").fed, Some(Voltage::ZERO));
    assert_eq!(
        circuit.nets[net("B.VCC")].rail.expect("a rail").fed,
        Some(volts(5))
    );
    assert!(
        circuit
            .chips
            .values()
            .all(|chip| chip.fed && chip.supply == volts(5))
    );
    let left = &circuit.connectors[circuit.connector("P.LEFT").expect("there")];
    assert!(left.pins.iter().all(|pin| pin.cables.len() == 1));
}

#[test]
fn a_board_without_a_supply_is_dead() {
    let text = BENCH.replace("cable W2 ribbon 100 mm reversed { B.BUS, P.RIGHT }", "");
    let circuit = circuit(&format!("{REGISTER}{text}"));
    let fed = |path| circuit.chips[circuit.chip(path).expect(path)].fed;
    assert!(fed("A.U1") && !fed("B.U1"));
    assert_eq!(
        circuit.nets[circuit.net("B.VCC").expect("there")]
            .rail
            .expect("a rail")
            .fed,
        None
    );
}

/// The paths of a signal's nets, or why there is none.
fn signal(circuit: &Circuit, path: &str) -> String {
    match circuit.signal(path) {
        Ok(signal) => {
            let paths = signal
                .nets
                .iter()
                .map(|net| circuit.nets[*net].path.as_str());
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
    assert_eq!(
        signal(&alone, "U2.Y"),
        "`U2.Y` has no level: nothing is connected to Y"
    );
    assert_eq!(
        signal(&alone, "U2.2"),
        "`U2.2` has no level: nothing is connected to Y"
    );
    assert_eq!(
        signal(&alone, "CTL.2"),
        "`CTL.2` has no level: nothing is connected to 2"
    );
    assert_eq!(
        signal(&alone, "CTL.4"),
        "there is no net, pin or bus `CTL.4`"
    );

    let bench = circuit(&format!("{REGISTER}{BENCH}"));
    assert_eq!(
        signal(&bench, "B.r"),
        "B.r7 B.r6 B.r5 B.r4 B.r3 B.r2 B.r1 B.r0"
    );
    assert_eq!(signal(&bench, "B.U1.Q1"), "B.r0");
    assert_eq!(signal(&bench, "P.m"), signal(&bench, "A.m"));
    // One net on both boards, only one board has it, different nets on two boards.
    assert_eq!(signal(&bench, "load"), "A.load");
    assert_eq!(signal(&bench, "n"), signal(&bench, "B.m"));
    assert_eq!(
        signal(&bench, "r"),
        "`r` may be any of A.r, B.r: they are not the same"
    );
    assert_eq!(
        signal(&bench, "r0"),
        "`r0` may be any of A.r0, B.r0: they are not the same"
    );
    assert_eq!(signal(&bench, "U1.CLK"), "A.load");
    assert_eq!(
        signal(&bench, "U1.Q"),
        "`U1.Q` may be any of A.U1.Q, B.U1.Q: they are not the same"
    );
}

#[test]
fn a_bus_may_be_spread_over_boards() {
    let text = "board low { connector J header-1x3 { 1..3 m[0..2] } }
                board high { connector J header-1x1 { 1 m3 } connector K header-1x3 { 1..3 m[0..2] } }
                assembly a { L: low  H: high  cable W ribbon 1 mm { L.J, H.K } }";
    assert_eq!(signal(&circuit(text), "m"), "H.m3 L.m2 L.m1 L.m0");
    let apart = text.replace("cable W ribbon 1 mm { L.J, H.K }", "");
    assert_eq!(
        signal(&circuit(&apart), "m"),
        "`m` may be any of L.m, H.m: they are not the same"
    );
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
    assert_eq!(
        wide.to_string(),
        "`A.m` is a bus of 8 bits, where one bit is wanted"
    );
}

#[test]
fn unknown_signals_offer_near_ones() {
    let bench = circuit(&format!("{REGISTER}{BENCH}"));
    let mut library = Library::default();
    let span = {
        let file = library.add_source("a", "x");
        coldboard::text::Span {
            file,
            start: 0,
            end: 1,
        }
    };
    let help = |path: &str| {
        bench
            .signal(path)
            .expect_err(path)
            .at(span)
            .help
            .unwrap_or_default()
    };
    assert_eq!(help("laod"), "did you mean `load`?");
    assert_eq!(help("A.laod"), "did you mean `A.load`?");
    assert_eq!(help("A.U1.CKL"), "did you mean `A.U1.CLK`?");
    assert_eq!(
        help("strobe"),
        "write a net, a pin or a bus as in `A.m0`, `A.U1.Q3`, `A.m`"
    );
    assert_eq!(help("r0"), "write the board as well, as in `A.r0`");
}

const TWO: &str = r#"
board end {
    rail VCC 5 V
    rail GND
    connector J1 header-1x2 { 1 VCC  2 GND }
    connector J2 header-1x2 { 1 VCC  2 GND }
}
"#;

#[test]
fn a_connector_turned_round_is_a_short() {
    let text = "assembly a { A, B: end
        cable W1 ribbon 100 mm { A.J1, B.J1 }
        cable W2 ribbon 100 mm reversed { A.J2, B.J2 }
        supply PS1 5 V 1 A { plus = A.J1.1  minus = A.J1.2 } }";
    let (circuit, lines, _) = elaborated(None, &format!("{TWO}{text}"));
    assert_eq!(
        lines,
        [
            "rail-conflict: cable W2 joins A.VCC (5 V) to A.GND (0 V) \
             | `cable W2 ribbon 100 mm` its wire from A.J2.1 to B.J2.2 | `VCC` 5 V here | `GND` 0 V here \
             | help: see whether a connector is turned round, or its pins are in another order",
            "supply-short: PS1 is shorted: its poles meet on A.VCC | `A.J1.1` 5 V here | `A.J1.2` minus here \
             | it is one net: A.VCC, A.GND, B.VCC, B.GND | cables on it: W1, W2 \
             | help: move one of the poles, or turn the connector round that is the wrong way",
        ]
    );
    let circuit = circuit.expect("it is clear what is there");
    let net = &circuit.nets[circuit.net("B.GND").expect("there")];
    assert_eq!(net.rail.expect("a rail").fed, None);
}

#[test]
fn supplies_that_disagree_are_told_once_for_a_net() {
    let supplies = |poles: &str| {
        let text = format!("{TWO} assembly a {{ A: end  {poles} }}");
        elaborated(None, &text).1
    };
    let two = "supply PS1 5 V 1 A { plus = A.J1.1  minus = A.J1.2 }";
    assert_eq!(
        supplies(&format!(
            "{two} supply PS2 3.3 V 1 A {{ plus = A.J2.1  minus = A.J2.GND }}"
        )),
        [
            "supply-short: PS1 (5 V) and PS2 (3.3 V) meet on A.VCC | `A.J1.1` 5 V here | `A.J2.1` 3.3 V here \
          | it is one net: A.VCC | help: move one of the poles"
        ]
    );
    assert_eq!(
        supplies(&format!(
            "{two} supply PS2 5 V 1 A {{ plus = A.J2.2  minus = A.J2.1 }}"
        )),
        [
            "supply-short: plus of PS1 and minus of PS2 meet on A.VCC | `A.J1.1` 5 V here | `A.J2.1` minus here \
             | it is one net: A.VCC | help: move one of the poles",
            "supply-short: plus of PS2 and minus of PS1 meet on A.GND | `A.J2.2` 5 V here | `A.J1.2` minus here \
             | it is one net: A.GND | help: move one of the poles",
        ]
    );
    let same = supplies(&format!(
        "{two} supply PS2 5 V 1 A {{ plus = A.J2.1  minus = A.J2.2 }}"
    ));
    assert!(same.is_empty(), "{same:?}");
}

#[test]
fn unknown_parts_and_pins_offer_the_near_name() {
    assert_eq!(
        on_board("U1 lach { } R1 resitor 1 kohm { } U2 qqqqqqq { }"),
        [
            "unknown-part: there is no part `lach` in the library or the design | `lach` not known \
             | help: did you mean `latch`?",
            "unknown-part: there is no part `resitor` in the library or the design | `resitor` not known \
             | help: did you mean `resistor`?",
            "unknown-part: there is no part `qqqqqqq` in the library or the design | `qqqqqqq` not known \
             | help: write a number such as 74HC574, or describe the part in the design: `part NAME { ... }`",
        ]
    );
    assert_eq!(
        on_board("U1 latch { OE = GND  D = m[0..7]  21 = m0  zz = x }"),
        [
            "unknown-pin: latch has no pin `OE` | `OE` no such pin | help: did you mean `/OE`?",
            "unknown-pin: latch has no pin `D` | `D` no such pin \
             | help: `D` is a row of 8 pins: write each with its index",
            "unknown-pin: latch has no pin 21 | `21` no such pin | help: its pins are 1 to 20",
            "unknown-pin: latch has no pin `zz` | `zz` no such pin \
             | help: its pins are /OE, D1, D2, D3, D4, D5, D6, D7, D8, GND, CLK, Q8, Q7, Q6, Q5, Q4 and 4 more",
        ]
    );
    assert_eq!(
        on_board("D1 led red { plus = a  3 = b }"),
        [
            "unknown-pin: led has no pin `plus` | `plus` no such pin | help: its pins are anode, cathode",
            "unknown-pin: led has no pin 3 | `3` no such pin | help: its pins are 1 to 2",
        ]
    );
}

#[test]
fn numbers_of_pins_and_nets_must_match() {
    assert_eq!(
        on_board("U1 latch { D[1..8] = m[0..6] }"),
        [
            "count: 8 pins, 7 nets | `D[1..8] = m[0..6]` these do not match \
          | pins: pin 2 (D1), pin 3 (D2), pin 4 (D3), pin 5 (D4), pin 6 (D5), pin 7 (D6), pin 8 (D7), pin 9 (D8) \
          | nets: m0, m1, m2, m3, m4, m5, m6 | help: name one net for each pin, or one net for all"
        ]
    );
    assert_eq!(
        on_board("D[0..2] led red { anode = (a, b)  cathode = GND }"),
        [
            "count: 3 parts with 1 pin each, 2 nets | `anode = (a, b)` these do not match | parts: D0, D1, D2 \
          | pins: the anode | nets: a, b | help: name one net for each pin, or one net for all"
        ]
    );
    assert_eq!(
        on_board("connector J1 header-1x4 { 1..3 a[0..1]  4 x }"),
        [
            "count: 3 pins, 2 labels, 2 nets | `1..3` these pins | `a[0..1]` these labels \
          | pins: 1, 2, 3 | labels: a0, a1 | help: write one label for each pin, or one for all"
        ]
    );
}

#[test]
fn a_pin_has_one_net() {
    assert_eq!(
        on_board("U1 inverter { A = a  1 = b  Y = a  2 = a }"),
        [
            "wired-twice: pin 1 (A) of U1 is wired twice | `1 = b` to b here | `A = a` to a here \
          | help: keep one of the two, or give both nets the same name"
        ]
    );
    assert_eq!(
        on_board("U1 inverter { A = open  1 = b }"),
        [
            "wired-twice: pin 1 (A) of U1 is wired twice | `1 = b` to b here | `open` open here \
          | help: keep one of the two, or give both nets the same name"
        ]
    );
    assert_eq!(
        on_board("feed U1 from VCC GND  U1 inverter { 8 = GND }"),
        [
            "wired-twice: pin 8 (VCC) of U1 is wired twice | `VCC` to VCC here | `8 = GND` to GND here \
          | help: keep one of the two, or give both nets the same name"
        ]
    );
    assert_eq!(
        on_board("connector J1 header-1x2 { 1 a  1 b  3 c }"),
        [
            "wired-twice: pin 1 of J1 is described twice | `1` again here | help: take one of the two lines away",
            "unknown-pin: J1 has no pin 3 | `3` no such pin | help: header-1x2 has pins 1 to 2",
        ]
    );
}

#[test]
fn values_fit_their_kind() {
    assert_eq!(
        on_board(
            "R1 resistor { } D1 led red 100 nF { } D2 led { } C1 capacitor 0 nF { } SW1 button 5 V { }"
        ),
        [
            "value: this resistor lacks a resistance | `R1 resistor` this one \
             | help: write it as in `R1 resistor 10 kohm { 1 = VCC  2 = /reset }`",
            "value: a capacitance does not belong to `led` | `100 nF` this value \
             | help: write it as in `D1 led red 680 ohm { anode = run  cathode = GND }`",
            "value: this led lacks a colour | `D2 led` this one \
             | help: write it as in `D1 led red 680 ohm { anode = run  cathode = GND }`",
            "value: a capacitance must be more than zero | `0 nF` this value \
             | help: write it as in `C1 capacitor 100 nF decouples U1`",
            "value: a voltage does not belong to `button` | `5 V` this value \
             | help: write it as in `SW1 button { 1 = /reset  2 = GND }`",
        ]
    );
    assert_eq!(
        on_board(
            "RN1 network isolated 9 pins 1 kohm { } X1 can { } U1 inverter 1 MHz { } R1 resistor 1 ohm 2 ohm { }"
        ),
        [
            "value: an isolated network has two pins for each resistor, so their number is even \
             | `RN1 network` this one \
             | help: write it as in `RN1 network bussed 9 pins 10 kohm { 1 = VCC  2..9 = m[0..7] }`",
            "value: this can swings by itself: at which frequency? | `X1 can` no frequency \
             | help: write it as in `X1 can 1 MHz { ... }`",
            "value: a frequency does not belong to inverter | `1 MHz` this value | help: take it away",
            "value: this resistor has a resistance twice | `2 ohm` this value \
             | help: write it as in `R1 resistor 10 kohm { 1 = VCC  2 = /reset }`",
        ]
    );
}

#[test]
fn feeds_name_chips_and_rails() {
    assert_eq!(
        on_board(
            "feed U9 from VCC GND  feed U1 from VC GND  feed U1 from GND VCC  feed R1 from VCC GND \
             U1 inverter { } R1 resistor 1 kohm { } C1 capacitor 1 nF decouples U2  rail VCC 3.3 V"
        ),
        [
            "unknown-reference: there is no chip U9 on this board | `U9` no such chip | help: did you mean `U1`?",
            "unknown-rail: VC is not a rail of this board | `VC` used as a rail | help: did you mean `VCC`?",
            "unknown-rail: this feeds chips with 0 V over 5 V | `GND` the rail for the power pins \
             | `VCC` the rail for the ground pins | help: name the positive rail first, then ground",
            "unknown-reference: R1 (resistor) is not a chip | `R1` no such chip | help: did you mean `U1`?",
            "unknown-reference: there is no chip U2 on this board | `U2` no such chip | help: did you mean `U1`?",
            "rail-twice: the rail VCC has two voltages | `VCC` 3.3 V here | `VCC` 5 V here \
             | help: keep one of the two lines, or give the second rail another name",
        ]
    );
}

#[test]
fn two_parts_of_one_name_both_stay() {
    let circuit = circuit(
        "board b { rail VCC 5 V rail GND feed U1 from VCC GND U1 inverter { A = a } U1 inverter { A = b } }",
    );
    assert_eq!(circuit.chips.len(), 2);
    assert!(circuit.chips.values().all(|chip| chip.fed));
    assert_eq!(circuit.net("U1.A"), circuit.net("a"));
}

#[test]
fn what_an_assembly_names_must_be_there() {
    let on_bench = |body: &str| {
        problems(&format!(
            "{TWO} board wide {{ connector J1 header-1x3 {{ 1..3 GND }} }}\nassembly a {{ {body} }}"
        ))
    };
    assert_eq!(
        on_bench("A: en  B: a  C: end  C: end"),
        [
            "unknown-board: there is no board en in the design | `en` no such board | help: did you mean `end`?",
            "unknown-board: a is an assembly; only boards can be put in place | `a` no such board \
             | help: describe it: `board a { ... }`",
            "name-twice: two boards are called C | `C` the second one | `C` the first one \
             | help: give each board in place a name of its own",
        ]
    );
    assert_eq!(
        on_bench("A: gone  B: end  cable W1 ribbon 1 mm { A.J1, B.J1 }"),
        [
            "unknown-board: there is no board gone in the design | `gone` no such board \
             | help: describe it: `board gone { ... }`"
        ]
    );
    let cables = |wires: &str| on_bench(&format!("A, B: end  W: wide  cable W1 ribbon {wires}"));
    assert_eq!(
        cables("1 mm { A.J1, W.J1 }"),
        [
            "cable: W1 joins connectors of different size: A.J1 and W.J1 | `W.J1` 3 pins | `A.J1` 2 pins \
          | help: list its wires one by one: `A.J1.1 to B.J1.3`"
        ]
    );
    assert_eq!(
        cables("3 way 1 mm { A.J1, B.J1 }"),
        [
            "cable: W1 has 3 ways, its connectors have 2 pins | `cable W1 ribbon 3 way 1 mm` 3 ways | `A.J1` 2 pins \
          | help: take a cable of as many ways, or list its wires one by one"
        ]
    );
    assert_eq!(
        cables("1 mm reversed { A.J1, B.J1, B.J2 }"),
        [
            "cable: a reversed cable joins two connectors, W1 joins 3 | `cable W1 ribbon 1 mm` reversed \
          | help: list its wires one by one, or make it two cables"
        ]
    );
    assert_eq!(
        cables("1 mm { A.J3, D.J1 }"),
        [
            "unknown-connector: A (end) has no connector J3 | `A.J3` no such connector | help: did you mean `J1`?"
        ]
    );
    assert_eq!(
        cables(
            "1 mm { A.J1.5 to B.J1.1  A.J1.VC to B.J1.1  A.J1 to B.J1.2  W.J1.GND to B.J1.2  Q.J1.1 to B.J1.2 }"
        ),
        [
            "unknown-pin: A.J1 has no pin 5 | `A.J1.5` no such pin | help: its pins are 1 to 2",
            "unknown-pin: no pin of A.J1 has the label VC | `A.J1.VC` no such pin | help: did you mean `VCC`?",
            "unknown-pin: `A.J1` is a connector: which of its pins? | `A.J1` no pin is named \
             | help: write `A.J1.1`, or another of its 2 pins or labels",
            "unknown-pin: 3 pins have the label W.J1.GND | `W.J1.GND` a wire ends at one pin \
             | help: write its number, one of 1, 2, 3",
            "unknown-board: there is no board Q in this assembly | `Q.J1.1` no such board | help: put it in place: `Q: BOARD`",
        ]
    );
    assert_eq!(
        on_bench(
            "A: end  supply PS1 5 V 1 A { plus = A.J1.1  minus = A.J1.3 }  supply PS2 0 V 1 A { plus = A.J1.1 }"
        ),
        [
            "unknown-pin: A.J1 has no pin 3 | `A.J1.3` no such pin | help: its pins are 1 to 2",
            "supply: PS2 needs a voltage and a current above zero | `PS2 0 V 1 A` these values \
             | help: write them as in `5 V 1 A`",
        ]
    );
    assert_eq!(
        on_bench("A: end  supply PS1 5 V 1 A { plus = A.J1.1 }"),
        [
            "supply: the minus pole of PS1 is not connected | `PS1 5 V 1 A` this supply \
          | help: write `minus = A.POWER.1` in its block"
        ]
    );
}

#[test]
fn a_supply_reaches_every_pin_of_a_label_that_leads_somewhere() {
    let board = "board p { rail V 5 V rail W 5 V connector J header-1x4 { 1..2 V = (V, W)  3 N = GND  4 open } }";
    let text = |minus: &str| {
        format!(
            "{board} assembly a {{ P: p  supply PS1 5 V 1 A {{ plus = P.J.V  minus = P.J.{minus} }} }}"
        )
    };
    let circuit = circuit(&text("N"));
    let fed = |path| {
        circuit.nets[circuit.net(path).expect(path)]
            .rail
            .expect("a rail")
            .fed
    };
    assert_eq!((fed("P.V"), fed("P.W")), (Some(volts(5)), Some(volts(5))));
    assert_eq!(
        problems(&text("4")),
        [
            "supply: nothing is behind P.J.4 | `P.J.4` a pole of PS1 ends here \
          | help: connect the supply to a pin that leads to a rail"
        ]
    );
}

/// Lines of a board and of an assembly that mostly fit together.
fn soup() -> impl Strategy<Value = String> {
    let number = 0..6u32;
    let board = (0..14usize, number.clone(), number.clone(), number.clone());
    let board = board.prop_map(|(kind, a, b, c)| match kind {
        0 => format!("L{a} latch {{ D[1..{b}] = m[1..{b}]  CLK = n{b} }}"),
        1 => format!("U{a} inverter {{ A = n{b}  2 = n{c} }}"),
        2 => format!(
            "L[0..{a}] latch {{ Q[1..8] = m[{b}..{}]  11 = open }}",
            b + 7
        ),
        3 => format!("feed U{}..U{} from VCC GND", a.min(b), a.max(b)),
        4 => format!("rail R{a} {a} V"),
        5 => "rail VCC 5 V".to_owned(),
        6 => format!("C{a} capacitor 1 nF decouples U{b}, U{c}"),
        7 => format!(
            "RN{a} network bussed {} pins 1 kohm {{ 1 = VCC  2 = n{c} }}",
            b + 2
        ),
        8 => format!(
            "connector K{a} header-1x3 {{ 1..2 n[{b}..{}]  3 GND }}",
            b + 1
        ),
        9 => format!("connector K{a} header-1x3 {{ 1 VCC  2 n{b} = n{c} }}"),
        10 => format!("each i in {a}..{b} {{ R[i] resistor 1 kohm {{ 1 = n[i+{c}]  2 = GND }} }}"),
        11 => format!("D{a} led red {{ anode = n{b}  cathode = n{c} }}"),
        12 => format!("SW{a} changeover {{ common = n{a}  up = n{b}  down = n{c} }}"),
        _ => format!("X{a} can {b} MHz {{ OUT = n{c} }}"),
    });
    let joint = (0..4usize, number.clone(), number.clone(), number);
    let joint = joint.prop_map(|(kind, a, b, c)| match kind {
        0 => format!("cable W# ribbon {b} mm {{ B{a}.J{b}, B{c}.J{a} }}"),
        1 => format!("cable W# ribbon 5 mm reversed {{ B{c}.J{b}, B{a}.J{c} }}"),
        2 => format!(
            "cable W# jumper 5 mm {{ B{b}.J{b}.{} to B{a}.J{c}.2 }}",
            c.min(2) + 1
        ),
        _ => format!("supply PS# 5 V 1 A {{ plus = B{a}.J{b}.1  minus = B{b}.J{c}.3 }}"),
    });
    let board = proptest::collection::vec(board, 0..8);
    let joints = proptest::collection::vec(joint, 0..8);
    (board, joints).prop_map(|(board, joints)| {
        let joints = joints.iter().enumerate();
        let joints: Vec<String> = joints
            .map(|(at, line)| line.replace('#', &at.to_string()))
            .collect();
        format!(
            "board b {{ rail VCC 5 V rail GND U[0..5] inverter {{ }}
                each i in 0..5 {{ connector J[i] header-1x3 {{ 1 VCC  2 n[i]  3 GND }} }}\n{} }}
             assembly a {{ B[0..5]: b\n{} }}",
            board.join("\n"),
            joints.join("\n")
        )
    })
}

proptest! {
    #[test]
    fn every_circuit_is_whole_and_every_refusal_has_a_reason(text in soup(), alone: bool) {
        let (circuit, lines, found) = elaborated(Some(if alone { "b" } else { "a" }), &text);
        let Some(circuit) = circuit else {
            prop_assert!(any_error(&found));
            return Ok(());
        };
        let electrical = ["supply-short", "rail-conflict"];
        prop_assert!(found.iter().all(|problem| electrical.contains(&problem.code)), "{lines:?}");
        let mut pins = 0;
        for (key, net) in circuit.nets.iter() {
            prop_assert_eq!(circuit.net(&net.path), Some(key));
            prop_assert!(!net.names.is_empty());
            for (chip, pin) in &net.chip_pins {
                prop_assert_eq!(circuit.chips[*chip].nets[*pin], Some(key));
            }
            for (discrete, pin) in &net.discrete_pins {
                prop_assert_eq!(circuit.discretes[*discrete].nets[*pin], Some(key));
            }
            for (connector, pin) in &net.connector_pins {
                prop_assert_eq!(circuit.connectors[*connector].pins[*pin].net, Some(key));
            }
            pins += net.chip_pins.len() + net.discrete_pins.len() + net.connector_pins.len();
        }
        let chips = circuit.chips.values().flat_map(|chip| &chip.nets);
        let discretes = circuit.discretes.values().flat_map(|discrete| &discrete.nets);
        let connectors = circuit.connectors.values().flat_map(|connector| &connector.pins);
        let wired = chips.chain(discretes).filter(|net| net.is_some()).count();
        prop_assert_eq!(wired + connectors.filter(|pin| pin.net.is_some()).count(), pins);
        for cable in circuit.cables.values() {
            for wire in &cable.wires {
                let nets = wire.iter().filter_map(|(connector, pin)| circuit.connectors[*connector].pins[*pin].net);
                let nets: Vec<_> = nets.collect();
                prop_assert!(nets.windows(2).all(|pair| pair[0] == pair[1]));
            }
        }
    }
}

#[test]
fn the_design_to_make_is_the_one_named_or_the_only_one() {
    let message = |name: Option<&str>, text: &str| elaborated(name, text).1.concat();
    assert_eq!(
        message(None, ""),
        "unknown-design: the design has no board | help: write one: `board NAME { ... }`"
    );
    assert_eq!(
        message(None, "board a { } board b { }"),
        "unknown-design: which one? the design has a, b | help: name the board or assembly"
    );
    assert_eq!(
        message(Some("bord"), "board board1 { }"),
        "unknown-design: there is no board or assembly `bord` in the design | help: did you mean `board1`?"
    );
    let (circuit, lines, _) = elaborated(Some("b"), "board a { U1 nonsense { } } board b { }");
    assert_eq!(
        (circuit.expect("b is fine").name, lines.len()),
        ("b".to_owned(), 0)
    );
}

#[test]
fn endless_designs_are_refused_in_bounded_time() {
    let deep = "board b { each i in 0..65534 { each j in 0..65534 { each k in 0..65534 { } } } }";
    assert_eq!(
        problems(deep),
        [
            "too-large: the repetitions of this design never seem to end \
          | more than 8000000 names and repetitions were laid out | help: write smaller ranges"
        ]
    );
    let many = "board b { U[0..65534] latch { D1 = m } }";
    assert_eq!(
        problems(many),
        [
            "too-large: the design has more than 1000000 pins | `U[0..65534] latch` this is one too many \
          | help: split it into several assemblies"
        ]
    );
    let rails = "board b { each i in 0..99 { rail X[0..65534] } }";
    assert_eq!(
        problems(rails),
        [
            "too-large: the design has more than 1000000 pins | `X[0..65534]` this is one too many \
          | help: split it into several assemblies"
        ]
    );
    let placed = "board b { U[0..999] latch { } } assembly a { B[0..99]: b }";
    assert_eq!(
        problems(placed),
        [
            "too-large: the design has more than 1000000 pins | `B[0..99]` this is one too many \
          | help: split it into several assemblies"
        ]
    );
    let wrong = "board b { each i in 0..65534 { U[i] latch { zz[i] = m } } }";
    let lines = problems(wrong);
    assert_eq!(lines.len(), 501);
    assert_eq!(
        lines[500],
        "too-many: there are 500 errors or more; these came first"
    );
}

#[test]
fn ten_thousand_chips_take_a_moment() {
    let text = "board slice { connector L header-1x10 { 1..8 a[0..7] 9 phi 10 GND } connector R header-1x10 { 1..8 b[0..7] 9 phi 10 GND }
                  rail VCC 5 V rail GND
                  each i in 0..99 { U[i] latch { D[1..8] = n[i*8..i*8+7]  Q[1..8] = n[i*8+8..i*8+15]  CLK = phi  /OE = GND } }
                  feed U[0..99] from VCC GND  C[0..99] capacitor 100 nF decouples U[0..99] }
                assembly big { S[0..99]: slice  each i in 0..98 { cable W[i] ribbon 100 mm { S[i].R, S[i+1].L } } }";
    let start = std::time::Instant::now();
    let circuit = circuit(text);
    assert_eq!(circuit.chips.len(), 10_000);
    assert_eq!(circuit.net("S0.phi"), circuit.net("S99.phi"));
    // It takes about 0.2 s in a test build; a quadratic step would need minutes.
    assert!(start.elapsed().as_secs() < 20, "{:?}", start.elapsed());
}
