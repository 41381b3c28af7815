//! The rules, one file each, and what several of them ask of a circuit.

/// The list of the rules: a module for each, and its place in [`RULES`].
macro_rules! rules {
    ($($name:ident)*) => {
        $(pub(crate) mod $name;)*

        /// Every rule, in the order in which a person cures: supply, inputs, nets, outputs, connectors, papers.
        pub const RULES: &[super::Rule] = &[$($name::RULE),*];
    };
}

rules! {
    chip_not_fed
    wrong_supply
    missing_decoupling
    missing_bulk
    input_open
    unused_gate_input
    single_pin_net
    net_without_driver
    outputs_fight
    bus_contention
    bus_floats
    output_on_rail
    contact_short
    input_too_high
    level_mismatch
    fan_out
    level_under_load
    noise_margin
    led_current
    output_current
    supply_pin_current
    resistor_power
    weak_pull
    pull_up_range
    gated_clock
    clear_hazard
    bouncing_clock
    slow_clock_edge
    slow_edge
    clock_load
    no_reset
    memory_unreachable
    control_words
    rail_on_signal
    grounds_apart
    supply_current
    connector_current
    connector_label
    duplicate_reference
    not_searched
    acceptance
}

use crate::check::levels::amps;
use crate::circuit::{BoardKey, Chip, ChipKey, Circuit, Discrete, DiscreteKey, DiscreteKind, Net, NetKey};
use crate::electrical::Sheets;
use crate::electrical::contention::contention_current;
use crate::electrical::drive::{Driver, Enabled, disabled_outputs, inputs_from_rails};
use crate::electrical::operating_point::{NetOperatingPoint, OperatingPoint};
use crate::electrical::pull::resistors_on;
use crate::hazard::cone::Variable;
use crate::key::{Key, KeyVec};
use crate::logic::Word;
use crate::part::sheet::Signal;
use crate::part::{Part, PinIndex, PinKind};
use crate::quantity::si::{Ohms, Siemens};

/// A list in words, cut when it is long: `U1, U2 and 7 more`.
pub(super) fn list<T: AsRef<str>>(names: &[T]) -> String {
    const MOST: usize = 8;
    let shown: Vec<&str> = names.iter().take(MOST).map(AsRef::as_ref).collect();
    match (names.len().saturating_sub(MOST), shown.split_last()) {
        (0, Some((last, before))) if !before.is_empty() => {
            format!("{} and {last}", before.join(", "))
        }
        (0, _) => shown.concat(),
        (more, _) => format!("{} and {more} more", shown.join(", ")),
    }
}

/// A chip's pin in words: `U3.D4 (pin 5)`.
fn pin_in_words(circuit: &Circuit, chip: ChipKey, pin: PinIndex) -> String {
    let number = circuit.chips[chip].part.pins[pin].number;
    format!("{} (pin {number})", circuit.pin_path(chip, pin))
}

/// The board of a net's first name.
fn board_of(net: &Net) -> BoardKey {
    net.names.first().map_or_else(|| BoardKey::from_index(0), |(board, _)| *board)
}

/// How many pins a net holds together.
fn pins_on(net: &Net) -> usize {
    net.chip_pins.len() + net.discrete_pins.len() + net.connector_pins.len()
}

/// True for the families with bipolar inputs, which read an open input as high.
fn is_bipolar(chip: &Chip) -> bool {
    let family = chip.family.as_deref().unwrap_or("");
    matches!(family, "TTL" | "L" | "H" | "S" | "LS" | "AS" | "ALS" | "F")
}

/// Why an input that is connected to nothing is bad.
fn why_open(chip: &Chip) -> &'static str {
    if is_bipolar(chip) {
        "an open bipolar input mostly reads high, but it picks up noise from its neighbours and slows the gate down"
    } else {
        "an open CMOS input drifts: it reads high or low by chance, and near its threshold the chip draws a large \
         supply current and may oscillate"
    }
}

/// Inputs that are connected to nothing, though the design does not say that they are open on purpose. A port that is an
/// output all the time floats no more than other outputs.
fn open_inputs(circuit: &Circuit, chip: &Chip) -> Vec<(usize, PinIndex)> {
    let inputs = chip.part.function.inputs.iter().copied().enumerate();
    let open = |pin: &PinIndex| chip.nets[*pin].is_none() && !chip.open.contains(pin);
    let mut inputs: Vec<_> = inputs.filter(|(_, pin)| open(pin)).collect();
    if !inputs.is_empty() {
        let off = disabled_outputs(circuit, chip);
        inputs.retain(|&(_, pin)| !always_drives(&chip.part, off, pin));
    }
    inputs
}

/// True for a pin that drives whatever the signals are; `off` is [`disabled_outputs`] of its chip.
fn always_drives(part: &Part, off: Word, pin: PinIndex) -> bool {
    let mut outputs = part.function.outputs.iter();
    let bit = outputs.position(|&output| output == pin);
    bit.is_some_and(|bit| (off.value | off.unknown) >> bit & 1 == 0)
}

/// Output bits of a chip that are connected to something.
fn connected_outputs(chip: &Chip) -> u64 {
    let outputs = chip.part.function.outputs.iter().enumerate();
    outputs.filter(|(_, pin)| chip.nets[**pin].is_some()).fold(0, |mask, (bit, _)| mask | 1 << bit)
}

/// Output bits that depend on an input.
///
/// Data that waits for a clock moves no output by itself; it counts for the outputs of the signal that its sheet
/// measures it against. An input of which the part says nothing counts for every output.
fn outputs_behind(part: &Part, input: usize) -> u64 {
    let moved_by = |input: usize| {
        let arcs = part.function.arcs.iter().enumerate();
        arcs.filter(|(_, inputs)| *inputs >> input & 1 == 1).fold(0, |mask, (bit, _)| mask | 1 << bit)
    };
    let direct = moved_by(input);
    if direct != 0 {
        return direct;
    }
    let blocks = part.sheets.iter().flat_map(|sheet| &sheet.blocks);
    let checks = blocks.flat_map(|block| &block.checks).filter(|check| check.signal == Signal::Input(input));
    let through = checks.fold(0, |mask, check| match check.kind.reference() {
        Some(Signal::Input(other)) => mask | moved_by(other),
        _ => mask,
    });
    if through != 0 { through } else { Word::mask(part.function.outputs.len() as u32) }
}

/// All resistors on a net that lead somewhere, in parallel.
fn all_resistors(circuit: &Circuit, net: NetKey) -> Option<Ohms> {
    let siemens: Siemens = resistors_on(circuit, net).map(|it| it.ohms.conductance()).sum();
    (siemens > Siemens::ZERO).then(|| siemens.resistance())
}

/// `and so for m1, m2 and 5 more`.
fn and_as_many(circuit: &Circuit, nets: &[NetKey]) -> String {
    let others: Vec<&str> = nets.iter().skip(1).map(|&net| circuit.nets[net].path.as_str()).collect();
    format!("it is the same for {}", list(&others))
}

/// What flows when two outputs fight, in words, and where that comes from.
fn what_flows(
    circuit: &Circuit,
    sheets: &Sheets,
    one: (ChipKey, PinIndex),
    two: (ChipKey, PinIndex),
) -> Option<String> {
    let output = |(chip, pin): (ChipKey, PinIndex)| sheets.output(circuit, chip, pin);
    let (one, two) = (output(one)?, output(two)?);
    let found = contention_current(&one, &two)?;
    let least = amps(found.least);
    let flow = match found.most {
        Some(most) => {
            format!("{least} to {} flow through both, by the short-circuit currents of their sheets", amps(most))
        }
        None => format!(
            "at least {least} flow through both, by the straight lines through the levels that their sheets guarantee; \
             most samples let more through"
        ),
    };
    let assumed = if one.assumed || two.assumed { " (of a memory or oscillator TTL levels are assumed)" } else { "" };
    Some(format!("when one is high and the other low, {flow}{assumed}"))
}

/// True for a net that only a contact moves.
fn is_contact(circuit: &Circuit, variable: Variable) -> bool {
    let Variable::Net(net) = variable else {
        return false;
    };
    let net = &circuit.nets[net];
    let contact = |(discrete, _): &(DiscreteKey, usize)| {
        matches!(
            circuit.discretes[*discrete].kind,
            DiscreteKind::Button | DiscreteKind::Switch | DiscreteKind::Changeover
        )
    };
    let driven = |&(chip, pin): &(ChipKey, PinIndex)| circuit.chips[chip].part.pins[pin].drives();
    net.discrete_pins.iter().any(contact) && !net.chip_pins.iter().any(driven)
}

/// True for an input that clocks storage.
fn is_clock(chip: &Chip, pin: PinIndex) -> bool {
    let function = &chip.part.function;
    let bit = function.inputs.iter().position(|&other| other == pin);
    let clocks = function.clock_inputs();
    bit.is_some_and(|bit| clocks >> bit & 1 == 1)
}

/// True for an input that clears, sets or opens storage as long as it lasts.
fn holds_storage(chip: &Chip, pin: PinIndex) -> bool {
    let function = &chip.part.function;
    let bit = function.inputs.iter().position(|&other| other == pin);
    let levels = function.level_inputs() & !function.write_inputs();
    bit.is_some_and(|bit| levels >> bit & 1 == 1)
}

/// True for a net that only open drains drive.
fn is_open_drain(circuit: &Circuit, operating_point: &NetOperatingPoint) -> bool {
    let open = |driver: &Driver| circuit.chips[driver.chip].part.pins[driver.pin].kind == PinKind::OpenDrain;
    !operating_point.drivers.is_empty() && operating_point.drivers.iter().all(open)
}

/// Nets that are held, and on a single board those that lead to a connector, through which anything may come, with what
/// hangs on them.
fn driven_nets(circuit: &Circuit, operating_point: &OperatingPoint) -> KeyVec<NetKey, bool> {
    held_from(circuit, operating_point, |net| !circuit.assembly && !net.connector_pins.is_empty())
}

/// Nets that something of the circuit holds at a level, at least at times: a rail, an output that is not tied off, a
/// resistor or the arm of a changeover switch that leads to such a net.
///
/// A button or switch holds nothing while it is open, and an LED lets no current through in the direction that would
/// be needed.
fn held_nets(circuit: &Circuit, operating_point: &OperatingPoint) -> KeyVec<NetKey, bool> {
    held_from(circuit, operating_point, |_| false)
}

/// Nets that are held when the given ones are as well.
fn held_from(
    circuit: &Circuit,
    operating_point: &OperatingPoint,
    given: impl Fn(&Net) -> bool,
) -> KeyVec<NetKey, bool> {
    let mut driven = KeyVec::filled(circuit.nets.len(), false);
    let mut reached: Vec<NetKey> = Vec::new();
    for (key, net) in circuit.nets.iter() {
        let drives = |driver: &Driver| driver.enabled != Enabled::Never;
        if net.rail.is_some() || given(net) || operating_point.nets[key].drivers.iter().any(drives) {
            driven[key] = true;
            reached.push(key);
        }
    }
    while let Some(net) = reached.pop() {
        for &(discrete, pin) in &circuit.nets[net].discrete_pins {
            for other in passed_on(&circuit.discretes[discrete], pin, &driven) {
                if !driven[other] {
                    driven[other] = true;
                    reached.push(other);
                }
            }
        }
    }
    driven
}

/// Nets that a discrete holds at a level because one of its pins is on a net that is held.
fn passed_on(discrete: &Discrete, pin: usize, driven: &KeyVec<NetKey, bool>) -> Vec<NetKey> {
    let net = |pin: usize| discrete.nets.get(pin).copied().flatten();
    match discrete.kind {
        DiscreteKind::Resistor(_) => net(1 - pin.min(1)).into_iter().collect(),
        DiscreteKind::Network(_, true) if pin == 0 => discrete.nets.iter().skip(1).flatten().copied().collect(),
        DiscreteKind::Network(_, true) => net(0).into_iter().collect(),
        DiscreteKind::Network(_, false) => net(pin ^ 1).into_iter().collect(),
        DiscreteKind::Changeover => {
            let held = |pin: usize| net(pin).is_some_and(|net| driven[net]);
            net(0).filter(|_| held(1) && held(2)).into_iter().collect()
        }
        DiscreteKind::Capacitor(..)
        | DiscreteKind::Led(..)
        | DiscreteKind::Button
        | DiscreteKind::Switch
        | DiscreteKind::TestPoint => Vec::new(),
    }
}

#[cfg(test)]
pub(crate) mod bench {
    //! Small designs for the tests of the rules.

    use crate::check::{Finding, Subject, rule};
    use crate::circuit::{Circuit, elaborate};
    use crate::language::{ast::File, parse};
    use crate::part::Library;
    use crate::text::Sources;

    /// Parts of a tiny library, with pins as on the real ones.
    const PARTS: &str = r#"
        part 04 "six inverters" {
            package DIP14 { 1 1A in 2 1Y out 3 2A in 4 2Y out 5 3A in 6 3Y out 7 GND ground
                            8 4Y out 9 4A in 10 5Y out 11 5A in 12 6Y out 13 6A in 14 VCC power }
            each i in 1..6 { [i]Y = not [i]A }
            family HC { source "test" columns limit 25 C at 4.5 V 50 pF { delay [1..6]A -> [1..6]Y 19 ns } }
            family LS { source "test" columns limit 25 C at 5 V 15 pF { delay [1..6]A -> [1..6]Y 15 ns } }
        }
        part 00 "four NAND gates" {
            package DIP14 { 1 1A in 2 1B in 3 1Y out 4 2A in 5 2B in 6 2Y out 7 GND ground
                            8 3Y out 9 3A in 10 3B in 11 4Y out 12 4A in 13 4B in 14 VCC power }
            each i in 1..4 { [i]Y = not ([i]A and [i]B) }
            family HC { source "test" columns limit 25 C at 4.5 V 50 pF { delay [1..4]A -> [1..4]Y 23 ns } }
        }
        part 05 "six inverters, open drain" {
            package DIP14 { 1 1A in 2 1Y open-drain 3 2A in 4 2Y open-drain 5 3A in 6 3Y open-drain 7 GND ground
                            8 4Y open-drain 9 4A in 10 5Y open-drain 11 5A in 12 6Y open-drain 13 6A in 14 VCC power }
            each i in 1..6 { [i]Y = 0 when [i]A else off }
            family HC { source "test" columns limit 25 C at 4.5 V 50 pF { delay [1..6]A -> [1..6]Y 19 ns } }
        }
        part 574 "octal register" {
            package DIP20 { 1 /OE in 11 CLK in 2..9 D[1..8] in 19..12 Q[1..8] three-state 20 VCC power 10 GND ground }
            state q[1..8]
            on rise CLK { q = D }
            Q = q when OE else off
            family HC { source "test" columns limit 25 C
                at 4.5 V 50 pF { delay CLK -> Q 36 ns setup D before CLK rise 20 ns } }
        }
        part 74 "two D-type flip-flops" {
            package DIP14 { 1 /1CLR in 2 1D in 3 1CLK in 4 /1PRE in 5 1Q out 6 /1Q out 7 GND ground
                            8 /2Q out 9 2Q out 10 /2PRE in 11 2CLK in 12 2D in 13 /2CLR in 14 VCC power }
            state q[1..2]
            each i in 1..2 {
                on rise [i]CLK { q[i] = [i]D }
                while [i]CLR { q[i] = 0 }
                while [i]PRE { q[i] = 1 }
                [i]Q = q[i]
                /[i]Q = not q[i]
            }
            family HC { source "test" columns limit 25 C
                at 4.5 V 50 pF { setup 1D before 1CLK rise 20 ns setup 2D before 2CLK rise 20 ns } }
        }
        part 245 "octal transceiver" {
            package DIP20 { 1 DIR in 2..9 A[1..8] in-out 18..11 B[1..8] in-out 19 /OE in 20 VCC power 10 GND ground }
            B = A when OE and DIR else off
            A = B when OE and not DIR else off
            family HC { source "test" columns limit 25 C at 4.5 V 50 pF { delay A -> B 26 ns } }
        }
    "#;

    /// The circuit of a design that elaborates without an error, and its texts.
    pub(crate) fn circuit(text: &str) -> (Circuit, Sources) {
        let mut library = Library::default();
        library.add_text("parts.part", PARTS);
        let file = library.add_source("test.board", text);
        let (tree, problems): (File, _) = parse(file, text);
        assert!(problems.is_empty(), "{problems:#?}");
        library.add(&tree);
        assert_eq!(library.problems(), []);
        let (circuit, problems) = elaborate(None, &[tree], &library);
        assert!(problems.is_empty(), "{problems:#?}");
        let circuit = circuit.expect("a circuit without errors");
        (circuit, library.sources().clone())
    }

    /// What one rule finds.
    pub(crate) fn findings_on(name: &str, circuit: &Circuit) -> Vec<Finding> {
        let mut findings = Vec::new();
        (rule(name).expect("a rule").find)(&Subject::new(circuit), &mut findings);
        findings
    }

    /// The places and severities of what one rule finds on a design.
    pub(crate) fn places(name: &str, text: &str) -> Vec<String> {
        let findings = findings_on(name, &circuit(text).0);
        let word = |finding: &Finding| finding.diagnostic.severity.word();
        (findings.iter()).map(|finding| format!("{}: {}", finding.place, word(finding))).collect()
    }

    /// The only finding of one rule on a design.
    pub(crate) fn only(name: &str, text: &str) -> Finding {
        let mut findings = findings_on(name, &circuit(text).0);
        assert_eq!(findings.len(), 1, "{findings:#?}");
        findings.remove(0)
    }
}
