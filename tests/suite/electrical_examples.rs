//! Worked examples that makers and handbooks publish, with the digits that they print.

use super::electrical::{at, circuit};
use coldboard::circuit::Circuit;
use coldboard::electrical::power::Power;
use coldboard::electrical::pull::{drift_time, time_between};
use coldboard::electrical::solver::{Branch, Curve, Node, solve};
use coldboard::electrical::{Capacitances, Input, OperatingPoint, Output, Sheets};
use coldboard::quantity::si::{Amperes, Farads, Ohms, Seconds, Volts};

/// An output pin 1Y drives the input pin 1A of another chip, at a supply voltage.
fn pair(volts: &str, from: &str, to: &str) -> (Output, Input) {
    let circuit = at(volts, &format!("feed U1..U2 from VCC GND  U1 {from} {{ 1Y = x }}  U2 {to} {{ 1A = x }}"));
    ends(&circuit, "1Y", "1A")
}

/// A bus output of one chip drives an input of another one.
fn bus_pair(volts: &str, from: &str, output: &str, to: &str) -> (Output, Input) {
    let circuit = at(volts, &format!("feed U1..U2 from VCC GND  U1 {from} {{ {output} = x }}  U2 {to} {{ 1A = x }}"));
    ends(&circuit, output, "1A")
}

fn ends(circuit: &Circuit, output: &str, input: &str) -> (Output, Input) {
    let sheets = Sheets::new(circuit);
    let pin = |chip: &str, name: &str| {
        let key = circuit.chip(chip).expect("a chip");
        (key, circuit.chips[key].part.pin_named(name).expect("a pin"))
    };
    let ((one, y), (two, a)) = (pin("U1", output), pin("U2", input));
    (sheets.output(circuit, one, y).expect("an output"), sheets.input(circuit, two, a).expect("an input"))
}

fn rated(output: &Output, high: bool) -> Amperes {
    let side = if high { &output.high } else { &output.low };
    side.as_ref().expect("a side").rated()
}

/// So many loads as the rated current makes, whole ones.
fn loads(amps: Amperes, each: Amperes) -> u32 {
    (amps / each + 1e-6) as u32
}

/// TI SCBA004, page 7-181: a pull-up that lifts two inputs of 15 pF within 15 ns: R = t / (0.4 C N) = 1.25 kohm. 0.4 RC is
/// the time to 1.65 V of 5 V.
#[test]
fn a_pull_up_that_makes_fast_edges() {
    let ohms = Seconds(15e-9) / time_between(Ohms(1.0), Farads(2.0 * 15e-12), 0.0, 1.65 / 5.0);
    assert_eq!((ohms / 10.0).round(), 125.0, "{ohms}");
}

/// TI SCBA004, page 7-181: 50 uA into 20 pF drift by 2.5 V in a microsecond.
#[test]
fn a_floating_bus_drifts() {
    assert!((drift_time(Volts(2.5), Amperes(50e-6), Farads(20e-12)).0 - 1e-6).abs() < 1e-12);
}

/// TI SCBA004, page 7-183: 5 kohm that hold a bus stand 16 devices that leak 10 uA each before the level moves by 0.8 V.
#[test]
fn a_bus_holder_holds_sixteen_devices() {
    let moved = |devices: f64| {
        let leak = Amperes(devices * 10e-6);
        let hold = Branch { from: Node::Free(0), to: Node::Fixed(Volts::ZERO), curve: Curve::resistor(Ohms(5e3)) };
        let curve = Curve::new(vec![(Volts::ZERO, leak), (Volts(5.0), leak)]);
        let leak = Branch { from: Node::Fixed(Volts(5.0)), to: Node::Free(0), curve };
        solve(1, &[hold, leak]).expect("an answer")[0].0
    };
    assert!((moved(16.0) - 0.8).abs() < 1e-6, "{}", moved(16.0));
    assert!(moved(17.0) > 0.8);
}

/// Hitachi HD74AC Series Common Information, page 6: an edge that switches at once at the end of a line of 50 ohm takes
/// (3.85 V - 0.1 V) / 50 ohm = (5.4 V - 1.65 V) / 50 ohm = 75 mA at 5.5 V.
#[test]
fn a_line_takes_75_milliamperes_of_an_ac_output() {
    let (output, input) = pair("5.5", "74AC04", "74AC04");
    let (up, down) = (output.high.expect("high"), output.low.expect("low"));
    let Amperes(rising) = (input.high - down.unloaded()) / Ohms(50.0);
    let Amperes(falling) = (up.unloaded() - input.low) / Ohms(50.0);
    assert!((rising - 75e-3).abs() < 1e-9, "{rising}");
    assert!((falling - 75e-3).abs() < 1e-9, "{falling}");
}

/// TI CD54HC147/CD74HCT147, page 4: a unit load is 360, 450 and 490 uA at 25, 85 and 125 C. Philips 74HC/HCT04 (September
/// 1993): 1.20 of them for each input, and 432 uA and 540 uA in the sheet; HCT245 at 125 C: 0.40, 1.50 and 0.90 are 196,
/// 735 and 441 uA.
#[test]
fn unit_loads_make_what_sheets_print() {
    let circuit = circuit("feed U1 from VCC GND  U1 74HCT04 { 1A = x }");
    let chip = &circuit.chips[circuit.chip("U1").expect("a chip")];
    let family = chip.electrical.as_ref().expect("a family");
    let row = family.figures(coldboard::part::LevelName::ExtraSupplyCurrent).next().expect("a row");
    let units: Vec<f64> =
        row.figures.iter().flatten().filter_map(|figure| figure.as_current()).map(|amps| amps.as_f64() * 1e6).collect();
    let [.., cool, warm, hot] = units[..] else { panic!("{units:?}") };
    for (unit, share, printed) in
        [(cool, 1.20, 432.0), (warm, 1.20, 540.0), (hot, 0.40, 196.0), (hot, 1.50, 735.0), (hot, 0.90, 441.0)]
    {
        assert!((unit * share - printed).abs() < 1e-6, "{unit} {share}");
    }
}

/// The same sheets: an input of an HCT04 takes at most 540 uA more up to 85 C, one of an HCT02 (Philips, December 1990) 1.50
/// unit loads of 450 uA. An LS output guarantees 2.7 V at high (TI SDLS025B), and so never reaches the supply. A 7404 draws
/// 33 mA at rest (Fairchild DS006494), an HCT147 80 uA (TI), and so does an HCT02, of which no sheet tells it.
#[test]
fn a_chip_draws_what_the_sheet_of_its_part_says() {
    use coldboard::electrical::OperatingPoint;
    use coldboard::electrical::power::Power;
    let circuit = circuit(
        "feed U1..U4 from VCC GND  U1 74LS04 { 1A = a  1Y = x }  U2 74HCT04 { 1A = x }
         U3 74HCT02 { 1A = x  1B = x }  U4 7404 { 1A = x }",
    );
    let power = Power::new(&circuit, &OperatingPoint::new(&circuit), None);
    let of = |path: &str| power.chips[circuit.chip(path).expect("a chip")];
    let near = |found: Amperes, wanted: f64| (found.0 - wanted).abs() < 1e-9;
    assert!(near(of("U2").inputs, 540e-6), "{:?}", of("U2"));
    assert!(near(of("U3").inputs, 2.0 * 1.5 * 450e-6), "{:?}", of("U3"));
    assert_eq!(of("U4").quiescent, Some(Amperes(33e-3)));
    assert_eq!(of("U3").quiescent, Some(Amperes(80e-6)));
}

/// SI-LIST, 5 February 2003, after H. Johnson and M. Graham, High-Speed Digital Design, 1993, equation 9-15: 5 inches of
/// 3.6 pF and a receiver of 3 pF make 21 pF. TI SCLS131D: 3 pF for an HC input.
#[test]
fn copper_and_a_receiver_load_an_output() {
    let circuit = circuit("trace 127 mm  feed U1..U2 from VCC GND  U1 74HC04 { 1Y = x }  U2 74HC04 { 1A = x }");
    let chip = circuit.chip("U1").expect("a chip");
    let pin = circuit.chips[chip].part.pin_named("1Y").expect("a pin");
    let load = Capacitances::new(&circuit, false).load(&circuit, chip, pin);
    assert_eq!((load.as_f64() * 1e12).round(), 21.0, "{load}");
}

/// Hitachi HD74AC Series Common Information (from memory): eight outputs of 94 mA make more than 750 mA, and 750 mA for
/// 4 ns take 0.1 V from 0.03 uF. 100 nF, as every chip has it, are enough.
#[test]
fn a_decoupling_capacitor_brings_an_edge() {
    let eight: f64 = [94e-3; 8].iter().sum();
    assert!(eight > 0.75, "{eight}");
    assert!((drift_time(Volts(0.1), Amperes(0.75), Farads(0.03e-6)).0 - 4e-9).abs() < 1e-15);
}

/// Fan-out. ALS: 20 and 80 of its own loads (Philips 74ALS00A); F: 50 and 33 (Philips 74F00); LS: 5 TTL loads (8 mA of
/// 1.6 mA); HC: more than 50 of its own (electronics textbook, page 1159, table 16.1).
#[test]
fn fan_out_is_that_of_the_sheets() {
    for (from, to, high, low) in
        [("74ALS04", "74ALS04", Some(20), 80), ("74F04", "74F04", Some(50), 33), ("74LS04", "7404", None, 5)]
    {
        let (output, input) = pair("5", from, to);
        if let Some(high) = high {
            assert_eq!(loads(rated(&output, true), input.current_high), high, "{from}");
        }
        assert_eq!(loads(rated(&output, false), input.current_low), low, "{from}");
    }
    let (output, input) = pair("5", "74HC04", "74HC04");
    assert!(loads(rated(&output, false), input.current_low) > 50);
}

/// Bus outputs of HC and HCT: 15 LSTTL loads (TI SCLS041G, HC595; Hitachi HD74HCT540/541), plain ones 10 (Motorola
/// MC74HC153 Rev 6), at 4.5 V.
#[test]
fn bus_outputs_drive_fifteen_lsttl_loads() {
    for (from, output, most) in [("74HC541", "Y1", 15), ("74HCT541", "Y1", 15), ("74HC04", "1Y", 10)] {
        let circuit = at("4.5", &format!("feed U1 from VCC GND  U1 {from} {{ {output} = x }}"));
        let sheets = Sheets::new(&circuit);
        let chip = circuit.chip("U1").expect("a chip");
        let pin = circuit.chips[chip].part.pin_named(output).expect("a pin");
        let output = sheets.output(&circuit, chip, pin).expect("an output");
        let (_, load) = pair("5", "74LS04", "74LS04");
        assert_eq!(loads(rated(&output, false), load.current_low), most, "{from}");
    }
}

/// Noise margins. HC: 1.25 V at both levels, at 4.5 V (electronics textbook, page 1159, table 16.1), which is 28 % of the
/// supply (ST M54HC699); AC: almost 1.5 V at 5 V (Hitachi HD74AC Series Common Information, page 38); an LS244: 0.4 V
/// (Integral IN74LS244).
#[test]
fn noise_margins_are_those_of_the_sheets() {
    let margins = |(output, input): (Output, Input)| {
        let high = output.high.expect("high").unloaded() - input.high;
        (high.0, (input.low - output.low.expect("low").unloaded()).0)
    };
    let (high, low) = margins(pair("4.5", "74HC04", "74HC04"));
    assert!((high - 1.25).abs() < 1e-9 && (low - 1.25).abs() < 1e-9, "{high} {low}");
    assert_eq!((high / 4.5 * 100.0).round(), 28.0);
    let (high, low) = margins(pair("5", "74AC04", "74AC04"));
    assert!((1.35..1.5).contains(&high) && (1.35..1.5).contains(&low), "{high} {low}");
    let (_, low) = margins(bus_pair("5", "74LS244", "1Y1", "74LS04"));
    assert!((low - 0.4).abs() < 1e-9, "{low}");
}

/// R = (V - Vf) / I (every handbook). Vishay 83012 Rev.2.3: 2 V at 20 mA, typically, so 150 ohm at 5 V; Hewlett-Packard
/// 5964-9371: 1.8 V at 2 mA, so 1.6 kohm. The lamps of the sheets lie within ours.
#[test]
fn the_resistor_of_a_lamp() {
    for (ohms, amps) in [(150, 20e-3), (1600, 2e-3)] {
        let circuit = circuit(&format!("D1 led red {ohms} ohm {{ anode = VCC  cathode = GND }}"));
        let lamp = OperatingPoint::new(&circuit).currents.leds[&circuit.discrete("D1").expect("a lamp")];
        assert!(lamp.least.0 < amps && amps < lamp.most.0, "{lamp:?}");
    }
}

/// Ohm's law: what leaves the rails through a divider, a pull-up whose net is low, and a resistor from rail to rail. An LS
/// output at low stands near ground.
#[test]
fn resistors_are_drawn_from_the_supply() {
    let circuit = circuit(
        "feed U1 from VCC GND  U1 74HC04 { 1A = GND  1Y = x }
         R1 resistor 1 kohm { 1 = VCC  2 = mid }  R2 resistor 4 kohm { 1 = mid  2 = GND }
         R3 resistor 500 ohm { 1 = VCC  2 = GND }
         R4 resistor 1 kohm { 1 = x  2 = VCC }
         SW1 button { 1 = go  2 = GND }  RN1 network bussed 2 pins 10 kohm { 1 = VCC  2 = go }",
    );
    let view = OperatingPoint::new(&circuit);
    let power = Power::new(&circuit, &view, None);
    let board = power.boards.values().next().expect("a board");
    let expected = 5.0 / 5e3 + 5.0 / 500.0 + 5.0 / 1e3 + 5.0 / 10e3;
    assert!((board.resistors.0 - expected).abs() < 1e-5, "{:?} {expected}", board.resistors);
    assert_eq!(board.leds, Amperes::ZERO);
}
