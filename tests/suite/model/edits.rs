//! Each edit with its result, and what is refused. What is expected follows from the text of the design by hand.

use coldboard::circuit::{Circuit, DiscreteKind, elaborate, freeze};
use coldboard::diagnostic::Diagnostic;
use coldboard::language::parse;
use coldboard::model::{Device, Edited, Model, Terminal};
use coldboard::part::Library;
use coldboard::quantity::{Frequency, Length, Resistance, Voltage};
use std::sync::{Arc, LazyLock};

static LIBRARY: LazyLock<Library> = LazyLock::new(Library::built_in);

const BOARD: &str = "
board one \"two gates and a can\" {
    rail VCC 5 V
    rail GND
    feed U1..U2, X1 from VCC GND
    connector BUS header-1x4 { 1 VCC  2 GND  3 a  4 y }
    U1 74HC00 { 1A = a  1B = b  1Y = y }
    U2 74HC00 { 1A = y  1B = y  1Y = z  2A = open }
    X1 OSC14 1 MHz { OUT = b }
    R1 resistor 10 kohm { 1 = VCC  2 = a }
    C1 capacitor 100 nF decouples U1
}
";

const TWO: &str = "
assembly two \"the same board twice\" {
    A, B: one
    supply PS1 5 V 1 A { plus = A.BUS.1  minus = A.BUS.2 }
    cable W1 ribbon 100 mm { A.BUS, B.BUS }
}
";

fn made(text: &str) -> Model {
    let mut library = LIBRARY.clone();
    let (tree, problems) = parse(library.add_source("test.board", text), text);
    assert_eq!(problems, []);
    let (circuit, problems) = elaborate(None, &[tree], &library);
    assert_eq!(problems, []);
    Model::clone(circuit.expect("a circuit").model())
}

fn board() -> Model {
    made(BOARD)
}

fn assembly() -> Model {
    made(&[BOARD, TWO].concat())
}

fn frozen(model: &Model) -> Circuit {
    let (circuit, problems) = freeze(&Arc::new(model.clone()));
    assert_eq!(problems, []);
    circuit
}

fn device(number: &str) -> Arc<Device> {
    let found = LIBRARY.find(number).expect("a number");
    Device::new(number, found, None, &LIBRARY)
}

fn pin(model: &Model, path: &str) -> Terminal {
    model.terminal(path).unwrap_or_else(|| panic!("{path}"))
}

fn volts(volts: i64) -> Voltage {
    Voltage::from_raw(volts * 1_000_000)
}

#[track_caller]
fn refused<T>(edited: Edited<T>) -> String {
    let problem: Diagnostic = match edited {
        Ok(_) => panic!("it was not refused"),
        Err(problem) => *problem,
    };
    assert_eq!(problem.code, "change");
    assert!(problem.help.is_some());
    problem.message
}

/// The paths of the pins of chips on a net.
fn chip_pins(circuit: &Circuit, net: &str) -> Vec<String> {
    let net = circuit.net(net).unwrap_or_else(|| panic!("{net}"));
    let pins = circuit.nets[net].chip_pins.iter();
    pins.map(|&(chip, pin)| circuit.pin_path(chip, pin)).collect()
}

#[test]
fn a_chip_is_put_on_a_board_and_taken_out() {
    let mut model = board();
    let one = model.board("").expect("the board");
    let chip = model.add_chip(one, "U3", device("74HC04")).expect("added");
    for (name, net) in [("VCC", "VCC"), ("GND", "GND"), ("1A", "z"), ("1Y", "new")] {
        let segment = model.add_segment(one, net).expect("copper");
        let terminal = pin(&model, &format!("U3.{name}"));
        model.connect(terminal, segment).expect("connected");
    }
    let circuit = frozen(&model);
    let row = &circuit.chips[circuit.chip("U3").expect("U3")];
    assert!(row.fed);
    assert_eq!((row.number.as_str(), row.supply), ("74HC04", volts(5)));
    assert_eq!(circuit.chip("U3"), circuit.chips.keys().next_back());
    assert_eq!(chip_pins(&circuit, "z"), ["U2.1Y", "U3.1A"]);
    assert_eq!(chip_pins(&circuit, "new"), ["U3.1Y"]);

    let twice = model.add_chip(one, "U3", device("74HC04"));
    assert_eq!(refused(twice), "U3 is there already");
    let taken = model.add_chip(one, "R1", device("74HC04"));
    assert_eq!(refused(taken), "R1 is there already");
    let dotted = model.add_chip(one, "U.4", device("74HC04"));
    assert_eq!(refused(dotted), "`U.4` is no name");

    model.remove_chip(chip).expect("removed");
    let circuit = frozen(&model);
    assert_eq!(circuit.chip("U3"), None);
    assert_eq!(circuit.net("new"), None, "copper without pins is no net");
    assert_eq!(chip_pins(&circuit, "z"), ["U2.1Y"]);
    let gone = "this chip is not in the design any more";
    assert_eq!(refused(model.remove_chip(chip)), gone);
    assert_eq!(refused(model.substitute(chip, device("74HC04"))), gone);
    // A new chip of that name is another one.
    model.add_chip(one, "U3", device("74HC04")).expect("added");
    assert_eq!(refused(model.remove_chip(chip)), gone);
}

#[test]
fn a_chip_that_is_taken_out_leaves_what_stands_around_it() {
    let mut model = board();
    let chip = model.chip("U1").expect("U1");
    model.remove_chip(chip).expect("removed");
    let circuit = frozen(&model);
    let capacitor = &circuit.discretes[circuit.discrete("C1").expect("C1")];
    assert_eq!(capacitor.decouples, []);
    assert_eq!(capacitor.nets, [circuit.net("VCC"), circuit.net("GND")]);
    assert_eq!(chip_pins(&circuit, "y"), ["U2.1A", "U2.1B"]);
}

#[test]
fn another_number_stands_in_the_socket_by_the_numbers_of_its_pins() {
    let mut model = board();
    let chip = model.chip("U1").expect("U1");
    model.substitute(chip, device("74HCT00")).expect("it fits");
    let circuit = frozen(&model);
    let row = &circuit.chips[circuit.chip("U1").expect("U1")];
    assert_eq!((row.number.as_str(), row.family.as_deref()), ("74HCT00", Some("HCT")));
    assert_eq!(chip_pins(&circuit, "y"), ["U1.1Y", "U2.1A", "U2.1B"]);
    // The inverter has an output at pin 2, where the gate has an input.
    let message = refused(model.substitute(chip, device("74HC04")));
    assert_eq!(message, "74HC04 does not fit the socket of U1 (74HCT00)");
    assert_eq!(frozen(&model).chips[circuit.chip("U1").expect("U1")].number, "74HCT00");
}

#[test]
fn a_joint_is_opened_and_made() {
    let mut model = board();
    let terminal = pin(&model, "U2.1A");
    model.disconnect(terminal).expect("it is connected");
    let circuit = frozen(&model);
    assert_eq!(circuit.net("U2.1A"), None);
    assert_eq!(chip_pins(&circuit, "y"), ["U1.1Y", "U2.1B"]);
    assert_eq!(refused(model.disconnect(terminal)), "nothing is connected to U2.1A");
    model.leave_open(terminal).expect("it is free");
    let circuit = frozen(&model);
    let chip = &circuit.chips[circuit.chip("U2").expect("U2")];
    assert!(chip.open.contains(&chip.part.pin_named("1A").expect("a pin")));
    let z = model.segment("z").expect("z");
    model.connect(terminal, z).expect("it is open");
    assert_eq!(refused(model.connect(terminal, z)), "U2.1A is connected to z");
    assert_eq!(refused(model.leave_open(terminal)), "U2.1A is connected to z");
    let circuit = frozen(&model);
    assert_eq!(chip_pins(&circuit, "z"), ["U2.1A", "U2.1Y"]);
    let Terminal::Chip(chip, _) = terminal else { panic!("a pin of a chip") };
    let message = refused(model.connect(Terminal::Chip(chip, 99), z));
    assert_eq!(message, "U2 has no pin of index 99");
    assert_eq!(model.terminal("U2.99"), None);
    assert_eq!(model.terminal("BUS.5"), None);
}

#[test]
fn a_bridge_makes_one_net_of_two_with_both_names() {
    let mut model = board();
    let [b, z] = ["b", "z"].map(|name| model.segment(name).expect(name));
    let bridge = model.bridge(b, z).expect("joined");
    let circuit = frozen(&model);
    assert_eq!(circuit.net("b"), circuit.net("z"));
    assert_eq!(chip_pins(&circuit, "z"), ["U1.1B", "U2.1Y", "X1.OUT"]);
    assert_eq!(refused(model.bridge(b, b)), "b would be joined to itself");
    model.remove_bridge(bridge).expect("removed");
    let circuit = frozen(&model);
    assert_ne!(circuit.net("b"), circuit.net("z"));
    let gone = "this bridge is not in the design any more";
    assert_eq!(refused(model.remove_bridge(bridge)), gone);
}

#[test]
fn a_bridge_between_rails_is_a_short() {
    let mut model = board();
    let [vcc, gnd] = ["VCC", "GND"].map(|name| model.segment(name).expect(name));
    model.bridge(vcc, gnd).expect("joined");
    let (circuit, problems) = freeze(&Arc::new(model));
    assert_eq!(problems[0].message, "a bridge joins VCC (5 V) to GND (0 V)");
    assert!(circuit.chips.values().all(|chip| !chip.fed));
}

#[test]
fn copper_is_cut_between_its_pins() {
    let mut model = board();
    let y = model.segment("y").expect("y");
    // In order of writing: the connector, then U1, then U2.
    let paths = ["BUS.4", "U1.1Y", "U2.1A", "U2.1B"].map(|path| pin(&model, path));
    let (_, row) = model.segments().find(|(id, _)| *id == y).expect("y");
    assert_eq!(row.pins, paths);
    model.cut(y, 2, "y2").expect("cut");
    let circuit = frozen(&model);
    assert_eq!(chip_pins(&circuit, "y"), ["U1.1Y"]);
    assert_eq!(chip_pins(&circuit, "y2"), ["U2.1A", "U2.1B"]);
    assert_eq!(circuit.net("BUS.4"), circuit.net("y"));
    let message = refused(model.cut(y, 2, "y3"));
    assert_eq!(message, "y has 2 pins, and cannot be cut behind 2 of them");
    assert_eq!(refused(model.cut(y, 1, "a")), "a is there already");
}

#[test]
fn a_rail_behind_a_cut_is_fed_no_more() {
    let mut model = board();
    let vcc = model.segment("VCC").expect("VCC");
    // The connector, U1, U2, X1, R1, C1.
    model.cut(vcc, 2, "cut").expect("cut");
    let circuit = frozen(&model);
    let fed = circuit.chips.values().map(|chip| chip.fed);
    assert_eq!(fed.collect::<Vec<_>>(), [true, false, false]);
}

#[test]
fn conductors_are_taken_out_swapped_and_added() {
    let mut model = assembly();
    let cable = model.cable("W1").expect("W1");
    let connector = model.connector("B.BUS").expect("B.BUS");
    let circuit = frozen(&model);
    assert_eq!(circuit.net("A.a"), circuit.net("B.a"));
    model.swap_conductors(cable, [2, 3], connector).expect("swapped");
    let circuit = frozen(&model);
    assert_eq!(circuit.net("A.a"), circuit.net("B.y"));
    assert_eq!(circuit.net("A.y"), circuit.net("B.a"));
    assert_ne!(circuit.net("A.a"), circuit.net("A.y"));
    assert_eq!(circuit.nets[circuit.net("A.a").expect("a")].wire, Length::from_raw(100_000));

    // Without its conductor for VCC the other board is not fed.
    model.remove_conductor(cable, 0).expect("removed");
    let circuit = frozen(&model);
    let fed = |path: &str| circuit.chips[circuit.chip(path).expect(path)].fed;
    assert!(fed("A.U1") && !fed("B.U1"));
    let message = refused(model.remove_conductor(cable, 3));
    assert_eq!(message, "W1 has 3 conductors, and none of index 3");
    let a = model.connector("A.BUS").expect("A.BUS");
    model.add_conductor(cable, vec![(a, 0), (connector, 0)]).expect("added");
    let circuit = frozen(&model);
    assert!(circuit.chips.values().all(|chip| chip.fed));
    assert_eq!(circuit.cables.values().next().expect("W1").wires.len(), 4);

    let twice = model.add_conductor(cable, vec![(a, 0), (a, 0)]);
    assert_eq!(refused(twice), "a conductor ends at A.BUS.1 twice");
    let beyond = model.add_conductor(cable, vec![(a, 0), (a, 4)]);
    assert_eq!(refused(beyond), "A.BUS has no pin 5");
    let alone = model.add_conductor(cable, vec![(a, 0)]);
    assert_eq!(refused(alone), "a conductor joins contacts, and not 1");
    model.remove_cable(cable).expect("removed");
    let circuit = frozen(&model);
    assert_eq!(circuit.cables.len(), 0);
    assert_ne!(circuit.net("A.a"), circuit.net("B.y"));
    let gone = "this cable is not in the design any more";
    assert_eq!(refused(model.remove_cable(cable)), gone);
}

#[test]
fn cables_join_boards_of_assemblies_only() {
    let mut model = assembly();
    let length = Length::from_raw(1_000_000);
    let taken = model.add_cable("W1", "jumper", length);
    assert_eq!(refused(taken), "W1 is there already");
    let cable = model.add_cable("W2", "jumper", length).expect("added");
    let [a, b] = ["A.BUS", "B.BUS"].map(|path| model.connector(path).expect(path));
    // A conductor between two rails of different voltage is what it is in a text.
    model.add_conductor(cable, vec![(a, 0), (b, 1)]).expect("added");
    let (_, problems) = freeze(&Arc::new(model));
    let codes: Vec<&str> = problems.iter().map(|problem| problem.code).collect();
    assert_eq!(codes, ["rail-conflict", "supply-short"]);
    let message = refused(board().add_cable("W2", "jumper", length));
    assert_eq!(message, "a board that stands alone has no cables");
}

#[test]
fn pins_and_copper_of_different_boards_are_joined_by_cables() {
    let mut model = assembly();
    let terminal = pin(&model, "A.U2.2B");
    let segment = model.segment("B.a").expect("B.a");
    let message = refused(model.connect(terminal, segment));
    assert_eq!(message, "A.U2.2B and B.a are on different boards");
}

#[test]
fn discretes_come_go_and_have_other_values() {
    let mut model = board();
    let one = model.board("").expect("the board");
    let r1 = model.discrete("R1").expect("R1");
    let value = DiscreteKind::Resistor(Resistance::from_raw(4_700_000));
    model.set_value(r1, value.clone()).expect("set");
    let circuit = frozen(&model);
    assert_eq!(circuit.discretes[circuit.discrete("R1").expect("R1")].kind, value);
    let other = model.set_value(r1, DiscreteKind::Switch);
    assert_eq!(refused(other), "R1 is a resistor and becomes no switch");
    let zero = model.set_value(r1, DiscreteKind::Resistor(Resistance::ZERO));
    assert_eq!(refused(zero), "the value of a resistor must be more than zero");
    model.remove_discrete(r1).expect("removed");
    assert_eq!(frozen(&model).discrete("R1"), None);
    let gone = "this discrete is not in the design any more";
    assert_eq!(refused(model.remove_discrete(r1)), gone);

    let pins = model.add_discrete(one, "SW1", DiscreteKind::Switch, 3);
    assert_eq!(refused(pins), "a switch does not have 3 pins");
    model.add_discrete(one, "SW1", DiscreteKind::Switch, 2).expect("added");
    for (terminal, net) in [("SW1.1", "a"), ("SW1.2", "GND")] {
        let segment = model.segment(net).expect(net);
        let terminal = pin(&model, terminal);
        model.connect(terminal, segment).expect("connected");
    }
    let circuit = frozen(&model);
    let switch = &circuit.discretes[circuit.discrete("SW1").expect("SW1")];
    assert_eq!(switch.nets, [circuit.net("a"), circuit.net("GND")]);
}

#[test]
fn supplies_and_oscillators_have_other_values() {
    let mut model = assembly();
    let supply = model.supply("PS1").expect("PS1");
    model.set_voltage(supply, volts(6)).expect("set");
    let can = model.chip("A.X1").expect("A.X1");
    let rate = Frequency::from_raw(2_500_000_000);
    model.set_frequency(can, rate).expect("set");
    let circuit = frozen(&model);
    assert!(circuit.chips.values().all(|chip| chip.supply == volts(6)));
    let frequency = |path: &str| circuit.chips[circuit.chip(path).expect(path)].frequency;
    assert_eq!(frequency("A.X1"), Some(rate));
    assert_ne!(frequency("B.X1"), Some(rate));
    let zero = model.set_voltage(supply, Voltage::ZERO);
    assert_eq!(refused(zero), "PS1 needs a voltage above zero");
    let gate = model.chip("A.U1").expect("A.U1");
    assert_eq!(refused(model.set_frequency(gate, rate)), "A.U1 is no oscillator");
    let stopped = model.set_frequency(can, Frequency::ZERO);
    assert_eq!(refused(stopped), "a frequency must be more than zero");

    model.remove_supply(supply).expect("removed");
    let circuit = frozen(&model);
    assert_eq!(circuit.supplies.len(), 0);
    assert!(circuit.chips.values().all(|chip| !chip.fed));
    let gone = "this supply is not in the design any more";
    assert_eq!(refused(model.remove_supply(supply)), gone);
}

#[test]
fn rails_of_a_board_alone_are_fed_from_the_bench() {
    let mut model = board();
    let [vcc, a] = ["VCC", "a"].map(|name| model.segment(name).expect(name));
    model.set_bench_voltage(vcc, volts(3)).expect("set");
    let circuit = frozen(&model);
    let rail = circuit.nets[circuit.net("VCC").expect("VCC")].rail.expect("a rail");
    assert_eq!((rail.declared, rail.fed), (volts(5), Some(volts(3))));
    assert!(circuit.chips.values().all(|chip| chip.supply == volts(3)));
    assert_eq!(refused(model.set_bench_voltage(a, volts(3))), "a is no rail");
    model.unfeed(vcc).expect("a rail");
    let circuit = frozen(&model);
    assert!(circuit.chips.values().all(|chip| !chip.fed));
    assert_eq!(refused(model.unfeed(a)), "a is no rail");
    let mut model = assembly();
    let vcc = model.segment("A.VCC").expect("A.VCC");
    let message = refused(model.set_bench_voltage(vcc, volts(3)));
    assert_eq!(message, "the rails of an assembly are fed by its supplies");
}

#[test]
fn an_edit_leaves_the_circuit_alone_that_was_frozen_before() {
    let before = frozen(&board());
    let mut model = Model::clone(before.model());
    let chip = model.chip("U1").expect("U1");
    model.remove_chip(chip).expect("removed");
    assert!(before.chip("U1").is_some());
    assert!(before.model().chip("U1").is_some());
}

#[test]
fn of_two_things_with_one_name_the_other_is_found_when_the_first_is_gone() {
    let text = "board b { U1 74HC00 { 1A = x }  U1 74HC04 { 1A = y } }";
    let mut model = made(text);
    let chip = model.chip("U1").expect("U1");
    model.remove_chip(chip).expect("removed");
    let circuit = frozen(&model);
    assert_eq!(circuit.chips[circuit.chip("U1").expect("U1")].number, "74HC04");
    assert_eq!(circuit.net("U1.1A"), circuit.net("y"));
}

#[test]
fn a_hundred_thousand_joints_in_a_chain_are_one_net() {
    const COUNT: usize = 100_000;
    let mut model = made(
        "board b {
            each i in 0..49999 { TP[i] testpoint { 1 = n[i] } }
            each i in 50000..99999 { TP[i] testpoint { 1 = n[i] } }
        }",
    );
    let segments: Vec<_> = model.segments().map(|(id, _)| id).collect();
    assert_eq!(segments.len(), COUNT);
    // From the far end, so that each joins a chain to a younger one.
    for pair in segments.windows(2).rev() {
        model.bridge(pair[0], pair[1]).expect("a bridge");
    }
    let circuit = frozen(&model);
    assert_eq!(circuit.nets.len(), 1);
    let net = circuit.nets.values().next().expect("a net");
    assert_eq!((net.names.len(), net.discrete_pins.len()), (COUNT, COUNT));
    assert_eq!(net.path, "n0");
}
