//! Supplies and rails: which nets have a voltage, and which chips live.

use super::keys::Keys;
use super::nets::Nets;
use crate::circuit::rows::{BoardKey, Chip, Circuit, NetKey, Supply};
use crate::circuit::switches::through_switches;
use crate::diagnostic::Diagnostic;
use crate::key::KeyVec;
use crate::model::{self, Model, Problems, several};
use crate::part::PinKind;
use crate::quantity::Voltage;
use crate::text::Span;

/// The voltage that each net is held at by supplies.
type Fed = KeyVec<NetKey, Option<Voltage>>;

/// Feeds rails and chips: of a board that stands alone from the bench, of an assembly from its supplies.
pub(super) fn feed(model: &Model, keys: &Keys, nets: &Nets, circuit: &mut Circuit, problems: &mut Problems) {
    let mut fed =
        if model.assembly { from_supplies(model, keys, circuit, problems) } else { from_bench(model, nets, circuit) };
    for segment in model.unfed.keys() {
        if let Some(&net) = nets.of.get(segment) {
            fed[net] = None;
        }
    }
    write_down(circuit, &fed);
}

/// The rails of a board that stands alone.
fn from_bench(model: &Model, nets: &Nets, circuit: &mut Circuit) -> Fed {
    let rows = circuit.nets.values();
    let mut fed: Fed = rows.map(|net| Some(net.rail?.declared)).collect();
    for (segment, voltage) in &model.bench {
        if let Some(&net) = nets.of.get(segment) {
            fed[net] = Some(*voltage);
        }
    }
    for net in &nets.clashing {
        fed[*net] = None;
    }
    let entered: Vec<NetKey> = (circuit.nets.iter())
        .filter(|(_, net)| net.rail.is_some() && !net.connector_pins.is_empty())
        .map(|(key, _)| key)
        .collect();
    for (net, way) in through_switches(circuit, entered) {
        if let Some(rail) = &mut circuit.nets[net].rail {
            rail.via = Some(way);
        }
    }
    fed
}

/// Connects the supplies of an assembly, and feeds what they reach.
fn from_supplies(model: &Model, keys: &Keys, circuit: &mut Circuit, problems: &mut Problems) -> Fed {
    let nothing = Reached::default();
    let mut reached: KeyVec<NetKey, Reached> = KeyVec::filled(circuit.nets.len(), nothing);
    for (_, supply) in model.supplies() {
        let supply = connect(supply, keys, circuit, &mut reached, problems);
        circuit.supplies.push(supply);
    }
    let voltage = |net: &Reached| match (&net.plus, &net.minus) {
        _ if net.reported => None,
        (Some((voltage, _)), _) => Some(*voltage),
        (None, minus) => minus.as_ref().map(|_| Voltage::ZERO),
    };
    let mut fed: Fed = reached.values().map(voltage).collect();
    let poles: Vec<NetKey> = (fed.iter())
        .filter(|(_, volts)| volts.is_some_and(|volts| volts > Voltage::ZERO))
        .map(|(key, _)| key)
        .collect();
    for (net, way) in through_switches(circuit, poles) {
        if fed[net].is_none()
            && let Some(rail) = &mut circuit.nets[net].rail
        {
            rail.via = Some(way);
            fed[net] = fed[way.1];
        }
    }
    fed
}

/// The row of a supply; what its poles reach is written down.
fn connect(
    supply: &model::Supply,
    keys: &Keys,
    circuit: &Circuit,
    reached: &mut KeyVec<NetKey, Reached>,
    problems: &mut Problems,
) -> Supply {
    let mut row = Supply {
        name: supply.name.as_ref().to_owned(),
        voltage: supply.voltage,
        current: supply.current,
        plus: Vec::new(),
        minus: Vec::new(),
        pins: Vec::new(),
        span: supply.span,
    };
    for terminal in &supply.poles {
        for &(connector, pin) in &terminal.contacts {
            let key = keys.connectors[connector];
            let Some(net) = circuit.connectors[key].pins[pin].net else {
                let path = circuit.connector_pin_path(key, pin);
                problems.unclear(
                    Diagnostic::error("supply", format!("nothing is behind {path}"))
                        .at(terminal.span, format!("a pole of {} ends here", supply.name))
                        .help("connect the supply to a pin that leads to a rail"),
                );
                continue;
            };
            row.pins.push((key, pin));
            let nets = if terminal.plus { &mut row.plus } else { &mut row.minus };
            nets.push(net);
            let voltage = terminal.plus.then_some(supply.voltage);
            let end = Terminal { supply: row.name.clone(), span: terminal.span };
            if let Some(problem) = meet(circuit, net, &mut reached[net], voltage, end) {
                problems.report(problem);
            }
        }
    }
    for nets in [&mut row.plus, &mut row.minus] {
        nets.sort_unstable();
        nets.dedup();
    }
    row
}

/// What reaches a net: the first plus pole with its voltage, the first minus pole.
#[derive(Clone, Default)]
struct Reached {
    plus: Option<(Voltage, Terminal)>,
    minus: Option<Terminal>,
    reported: bool,
}

#[derive(Clone)]
struct Terminal {
    supply: String,
    span: Span,
}

/// A pole reaches a net: a plus pole with its voltage. Returns what is wrong when others are there that do not agree;
/// once for a net.
fn meet(
    circuit: &Circuit,
    net: NetKey,
    reached: &mut Reached,
    voltage: Option<Voltage>,
    terminal: Terminal,
) -> Option<Diagnostic> {
    match voltage {
        Some(voltage) if reached.plus.is_none() => reached.plus = Some((voltage, terminal.clone())),
        None if reached.minus.is_none() => reached.minus = Some(terminal.clone()),
        _ => {}
    }
    if reached.reported {
        return None;
    }
    let (voltage_there, plus) = reached.plus.as_ref()?;
    let path = &circuit.nets[net].path;
    let problem = if let Some(minus) = &reached.minus {
        let message = if plus.supply == minus.supply {
            format!("{} is shorted: its poles meet on {path}", plus.supply)
        } else {
            format!("plus of {} and minus of {} meet on {path}", plus.supply, minus.supply)
        };
        Diagnostic::error("supply-short", message)
            .at(plus.span, format!("{voltage_there} here"))
            .at(minus.span, "minus here")
    } else if let Some(voltage) = voltage.filter(|voltage| voltage != voltage_there) {
        let (one, two) = (&plus.supply, &terminal.supply);
        let message = format!("{one} ({voltage_there}) and {two} ({voltage}) meet on {path}");
        Diagnostic::error("supply-short", message)
            .at(plus.span, format!("{voltage_there} here"))
            .at(terminal.span, format!("{voltage} here"))
    } else {
        return None;
    };
    reached.reported = true;
    Some(way_between(circuit, net, problem))
}

/// Says what holds a net together, so that the wrong joint can be found.
fn way_between(circuit: &Circuit, net: NetKey, problem: Diagnostic) -> Diagnostic {
    let net = &circuit.nets[net];
    let names = net.names.iter().map(|name| circuit.name_path(name));
    let names: Vec<String> = names.collect();
    let mut cables: Vec<&str> = Vec::new();
    for (connector, pin) in &net.connector_pins {
        for cable in &circuit.connectors[*connector].pins[*pin].cables {
            let cable = circuit.cables[*cable].name.as_str();
            if cables.len() < 20 && !cables.contains(&cable) {
                cables.push(cable);
            }
        }
    }
    let problem = problem.note(format!("it is one net: {}", several(&names)));
    match cables.as_slice() {
        [] => problem.help("move one of the poles"),
        _ => problem
            .note(format!("cables on it: {}", several(&cables)))
            .help("move one of the poles, or turn the connector round that is the wrong way"),
    }
}

/// Writes the voltages down at rails and chips.
fn write_down(circuit: &mut Circuit, fed: &Fed) {
    let Circuit { nets, chips, boards, .. } = circuit;
    let mut highest: KeyVec<BoardKey, Voltage> = KeyVec::filled(boards.len(), Voltage::ZERO);
    for key in nets.keys() {
        let net = &mut nets[key];
        if let Some(rail) = &mut net.rail {
            rail.fed = fed[key];
        }
        for (board, _) in &net.names {
            highest[*board] = highest[*board].max(fed[key].unwrap_or_default());
        }
    }
    for chip in chips.values_mut() {
        let supply = supply_of(chip, fed, highest[chip.board]).unwrap_or_default();
        chip.fed = supply > Voltage::ZERO;
        chip.supply = supply.max(Voltage::ZERO);
    }
}

/// The voltage between a chip's power and ground pins, when all of them are held somewhere. A part without power pins,
/// which is formulas only, takes the highest voltage of its board.
fn supply_of(chip: &Chip, fed: &Fed, highest: Voltage) -> Option<Voltage> {
    let voltages =
        |kind: PinKind| -> Option<Vec<Voltage>> { chip.part.pins_of(kind).map(|pin| fed[chip.nets[pin]?]).collect() };
    let power = voltages(PinKind::Power)?.into_iter().min().unwrap_or(highest);
    let ground = voltages(PinKind::Ground)?.into_iter().max().unwrap_or_default();
    Some(power - ground)
}
