//! The voltages and currents of nets at rest: Kirchhoff's laws, and figures of sheets and handbooks.

use coldboard::circuit::{Circuit, elaborate};
use coldboard::electrical::power::{Activity, Power};
use coldboard::electrical::solver::{Branch, Curve, Node, solve};
use coldboard::electrical::{OperatingPoint, Sheets};
use coldboard::key::KeyVec;
use coldboard::language::parse;
use coldboard::part::Library;
use coldboard::quantity::si::{Amperes, Hertz, Ohms, Volts};
use nalgebra::{DMatrix, DVector};
use proptest::prelude::*;

pub(super) fn circuit(lines: &str) -> Circuit {
    at("5", lines)
}

/// The same at another supply.
pub(super) fn at(volts: &str, lines: &str) -> Circuit {
    let text = format!("board b {{ rail VCC {volts} V  rail GND  {lines} }}");
    let mut library = Library::built_in();
    let file = library.add_source("test.board", text.clone());
    let (tree, problems) = parse(file, &text);
    assert_eq!(problems, []);
    let (circuit, problems) = elaborate(None, &[tree], &library);
    assert_eq!(problems, []);
    circuit.expect("a circuit without errors")
}

/// An output drives an input: what one gives, and the other needs and takes.
fn pair(from: &str, to: &str) -> (coldboard::electrical::Output, coldboard::electrical::Input) {
    let circuit = circuit(&format!("feed U1..U2 from VCC GND  U1 {from} {{ 1Y = x }}  U2 {to} {{ 1A = x }}"));
    let sheets = Sheets::new(&circuit);
    let pin = |chip: &str, name: &str| {
        let key = circuit.chip(chip).expect("a chip");
        (key, circuit.chips[key].part.pin_named(name).expect("a pin"))
    };
    let (one, y) = pin("U1", "1Y");
    let (two, a) = pin("U2", "1A");
    (sheets.output(&circuit, one, y).expect("an output"), sheets.input(&circuit, two, a).expect("an input"))
}

#[test]
fn fan_out_is_that_of_the_books() {
    // TTL 10 and LS 20 loads (TI SDLS025B, Fairchild DS006494: 0.4 mA / 40 uA, 16 mA / 1.6 mA; 0.4 mA / 20 uA, 8 mA /
    // 0.4 mA); HC 10 LSTTL loads (Motorola MC74HC153 Rev 6).
    for (from, to, high, low) in
        [("7404", "7404", Some(10), 10), ("74LS04", "74LS04", Some(20), 20), ("74HC04", "74LS04", None, 10)]
    {
        let (output, input) = pair(from, to);
        let (up, down) = (output.high.expect("high"), output.low.expect("low"));
        let loads = |rated: Amperes, each: Amperes| (rated / each + 1e-6) as u32;
        if let Some(high) = high {
            assert_eq!(loads(up.rated(), input.current_high), high, "{from}");
        }
        // HC gives its level at 4 mA for a supply of 4.5 V, and somewhat more at 5 V.
        assert!((low..=low + 1).contains(&loads(down.rated(), input.current_low)), "{from}");
    }
}

#[test]
fn noise_margins_are_those_of_the_books() {
    // LS to LS: 0.7 V and 0.3 V (electronics textbook, page 1159, table 16.1; TI SDLS025B).
    let (output, input) = pair("74LS04", "74LS04");
    let last = |side: &coldboard::electrical::Side| side.points.last().expect("a point").1;
    let Volts(high) = last(output.high.as_ref().expect("high")) - input.high;
    let Volts(low) = input.low - last(output.low.as_ref().expect("low"));
    assert!((high - 0.7).abs() < 1e-9 && (low - 0.3).abs() < 1e-9, "{high} {low}");
    // HC inputs want 30 % and 70 % of the supply (TI SCLS131D at 4.5 V and 6 V, so 3.5 V and 1.5 V at 5 V); an output
    // that is hardly loaded gives all but 0.1 V.
    let (output, input) = pair("74HC04", "74HC04");
    assert!((input.high.0 - 3.5).abs() < 1e-9 && (input.low.0 - 1.5).abs() < 1e-9);
    let Volts(unloaded) = output.high.as_ref().expect("high").unloaded();
    assert!((unloaded - 4.9).abs() < 1e-9, "{unloaded}");
}

#[test]
fn a_lamp_on_a_register_leaves_a_good_high() {
    // A bench fact: a red lamp on a CMOS register at 5 V pulls its output to about 4.2 V, still a good high (common
    // practice). HC needs 3.5 V at 5 V (TI SCLS131D: 3.15 V at 4.5 V, 4.2 V at 6 V).
    let circuit = circuit(
        "feed U1..U2 from VCC GND
         U1 74HC574 { D1 = d  CLK = clk  /OE = GND  Q1 = q }
         U2 74HC04 { 1A = q }
         D1 led red 220 ohm { anode = q  cathode = GND }",
    );
    let view = OperatingPoint::new(&circuit);
    let net = circuit.net("q").expect("a net");
    let high = view.nets[net].high.expect("driven").volts;
    assert!(high.least <= Volts(4.2) && Volts(4.2) <= high.most, "{high:?}");
    assert!(high.least > Volts(3.5), "{high:?}");
    let led = view.currents.leds[&circuit.discrete("D1").expect("a lamp")];
    // R = (V - Vf) / I: between 4.2 V and 5 V over 220 ohm, 1.5 V to 2.7 V across the lamp.
    assert!(led.least > Amperes(5e-3) && led.most < Amperes(16e-3), "{led:?}");
}

#[test]
fn a_pull_down_on_an_ls_input_is_lifted() {
    // 0.4 mA through 10 kohm would be 4 V (Ohm's law); it flows at low only, so the input ends up in between.
    let circuit = circuit(
        "feed U1 from VCC GND  U1 74LS04 { 1A = a }  R1 resistor 10 kohm { 1 = a  2 = GND }
         R2 resistor 1 kohm { 1 = b  2 = GND }  feed U2 from VCC GND  U2 74LS04 { 1A = b }",
    );
    let view = OperatingPoint::new(&circuit);
    let off = |name: &str| view.nets[circuit.net(name).expect("a net")].off[0].expect("held");
    assert!(off("a").most > Volts(0.8), "no low any more");
    // 0.4 mA through 1 kohm: 0.4 V.
    assert!((off("b").most.0 - 0.4).abs() < 0.01, "{:?}", off("b"));
}

#[test]
fn a_series_resistor_passes_a_level_on() {
    let circuit = circuit(
        "feed U1..U2 from VCC GND  U1 74HC04 { 1A = GND  1Y = x }
         R1 resistor 1 kohm { 1 = x  2 = y }  U2 74HC04 { 1A = y }",
    );
    let view = OperatingPoint::new(&circuit);
    let off = view.nets[circuit.net("y").expect("a net")].off;
    let [high, low] = off.map(|range| range.expect("held"));
    // Two microamperes through a kiloohm are nothing beside volts.
    assert!(high.least > Volts(4.8) && low.most < Volts(0.2), "{high:?} {low:?}");
}

#[test]
fn moving_a_net_costs_its_charge_for_each_rise() {
    // P = Cpd V^2 f + CL V^2 f (Philips 74HC04: 21 pF for each gate; TI SCLS131D: 3 pF for an input; 3.6 pF for an inch
    // of copper). The net joins two pins of 3 pF; 1 MHz at 5 V.
    let circuit = circuit("feed U1..U2 from VCC GND  U1 74HC04 { 1A = GND  1Y = x }  U2 74HC04 { 1A = x }");
    let view = OperatingPoint::new(&circuit);
    let mut activity: Activity = KeyVec::filled(circuit.nets.len(), Hertz::ZERO);
    activity[circuit.net("x").expect("a net")] = Hertz(1e6);
    let power = Power::new(&circuit, &view, Some(&activity));
    let chip = power.chips[circuit.chip("U1").expect("a chip")];
    let load = (2.0 * 3e-12 + 3.6e-12) * 5.0 * 1e6;
    assert!((chip.loads.0 - load).abs() < 0.01 * load, "{:?} {load}", chip.loads);
    let inside = 21e-12 * 5.0 * 1e6;
    assert!((chip.internal.0 - inside).abs() < 1e-9, "{:?} {inside}", chip.internal);
    let at_rest = Power::new(&circuit, &view, None).chips[circuit.chip("U1").expect("a chip")];
    assert_eq!((at_rest.loads, at_rest.internal), (Amperes::ZERO, Amperes::ZERO));
}

#[test]
fn an_hct_input_at_a_ttl_high_costs_extra() {
    // TI CD74HCT147, page 4: 450 uA for a unit load over -40 to 85 C; of an HCT32 no sheet here tells how many of them an
    // input counts. LS guarantees 2.7 V, HC all but 0.1 V.
    let circuit = circuit(
        "feed U1..U4 from VCC GND  U1 74LS04 { 1A = GND  1Y = x }  U2 74HCT32 { 1A = x  2A = x }
         U3 74HC04 { 1A = GND  1Y = y }  U4 74HCT32 { 1A = y }",
    );
    let view = OperatingPoint::new(&circuit);
    let power = Power::new(&circuit, &view, None);
    let inputs = |path: &str| power.chips[circuit.chip(path).expect("a chip")].inputs;
    assert!((inputs("U2").0 - 2.0 * 450e-6).abs() < 1e-9, "{:?}", inputs("U2"));
    assert_eq!(inputs("U4"), Amperes::ZERO);
}

/// A random net: resistors between nodes, the first two of which are fixed.
fn resistors() -> impl Strategy<Value = (usize, Vec<(usize, usize, f64)>, f64)> {
    (3..12_usize).prop_flat_map(|nodes| {
        let chain = proptest::collection::vec(1.0..1e6_f64, nodes - 1);
        let more = proptest::collection::vec((0..nodes, 0..nodes, 1.0..1e6_f64), 0..20);
        (Just(nodes), chain, more, 0.1..15.0_f64).prop_map(|(nodes, chain, mut more, volts)| {
            more.retain(|(a, b, _)| a != b);
            more.extend(chain.into_iter().enumerate().map(|(at, ohms)| (at, at + 1, ohms)));
            (nodes, more, volts)
        })
    })
}

fn node(at: usize, volts: f64) -> Node {
    match at {
        0 => Node::Fixed(Volts(volts)),
        1 => Node::Fixed(Volts::ZERO),
        _ => Node::Free(at - 2),
    }
}

proptest! {
    /// The same net as a system of equations, solved by a general library.
    #[test]
    fn resistor_nets_agree_with_linear_algebra((nodes, resistors, volts) in resistors()) {
        let branches: Vec<Branch> = resistors
            .iter()
            .map(|&(a, b, ohms)| Branch { from: node(a, volts), to: node(b, volts), curve: Curve::resistor(Ohms(ohms)) })
            .collect();
        let found = solve(nodes - 2, &branches).expect("an answer");
        let mut matrix = DMatrix::<f64>::zeros(nodes - 2, nodes - 2);
        let mut right = DVector::<f64>::zeros(nodes - 2);
        for &(a, b, ohms) in &resistors {
            for (own, other) in [(a, b), (b, a)] {
                if own < 2 {
                    continue;
                }
                matrix[(own - 2, own - 2)] += 1.0 / ohms;
                match other {
                    0 => right[own - 2] += volts / ohms,
                    1 => {}
                    _ => matrix[(own - 2, other - 2)] -= 1.0 / ohms,
                }
            }
        }
        let expected = matrix.lu().solve(&right).expect("a chain joins all nodes");
        for (found, expected) in found.iter().zip(expected.iter()) {
            // The solver lets a picosiemens leak from each node, so that none is left in the air.
            prop_assert!((found.0 - expected).abs() < 1e-3, "{:?} {}", found, expected);
        }
    }

    /// With diodes as well: at each free node the currents cancel (Kirchhoff).
    #[test]
    fn currents_cancel_at_every_node((nodes, resistors, volts) in resistors(), diodes in proptest::collection::vec((0..12_usize, 0..12_usize, 0.3..3.0_f64), 0..8)) {
        let mut branches: Vec<Branch> = resistors
            .iter()
            .map(|&(a, b, ohms)| Branch { from: node(a, volts), to: node(b, volts), curve: Curve::resistor(Ohms(ohms)) })
            .collect();
        for (a, b, knee) in diodes {
            let (a, b) = (a % nodes, b % nodes);
            if a != b {
                let curve = Curve::new(vec![
                    (Volts(knee - 1.0), Amperes::ZERO),
                    (Volts(knee), Amperes::ZERO),
                    (Volts(knee + 1.0), Amperes(0.1)),
                ]);
                branches.push(Branch { from: node(a, volts), to: node(b, volts), curve });
            }
        }
        let found = solve(nodes - 2, &branches).expect("an answer");
        for at in 0..nodes - 2 {
            let sum: f64 = branches
                .iter()
                .map(|branch| {
                    let out = f64::from(branch.from == Node::Free(at));
                    let back = f64::from(branch.to == Node::Free(at));
                    (out - back) * branch.current(&found).0
                })
                .sum();
            prop_assert!(sum.abs() < 1e-9, "{}", sum);
        }
    }
}
