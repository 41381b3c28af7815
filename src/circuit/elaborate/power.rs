//! Supplies and rails: which nets have a voltage, and which chips live.

use super::assembly::{Assembler, PlanPole, PlanSupply};
use super::changes::Changes;
use super::switches::behind_switches;
use super::{Problems, several};
use crate::circuit::{BoardKey, Chip, Circuit, Net, NetKey, Supply};
use crate::diagnostic::Diagnostic;
use crate::key::KeyVec;
use crate::language::ast;
use crate::language::expand::Scope;
use crate::part::PinKind;
use crate::quantity::{Current, Voltage};
use crate::text::Span;

/// The voltage that each net is held at by supplies.
type Fed = KeyVec<NetKey, Option<Voltage>>;

impl Assembler<'_> {
    /// Reads a supply and the connector pins of its poles.
    pub(super) fn supply(&mut self, scope: &Scope, supply: &ast::Supply) -> Option<()> {
        let name = self.problems.take(scope.name(&supply.name))?;
        let problem = if let Some(first) = self.supplies_called.get(&name) {
            Some(
                Diagnostic::error("name-twice", format!("two supplies are called {name}"))
                    .at(supply.span, "the second one")
                    .at(*first, "the first one")
                    .help("give each supply a name of its own"),
            )
        } else if supply.voltage <= Voltage::ZERO || supply.current <= Current::ZERO {
            let message = format!("{name} needs a voltage and a current above zero");
            let help = "write them as in `5 V 1 A`";
            Some(
                Diagnostic::error("supply", message)
                    .at(supply.span, "these values")
                    .help(help),
            )
        } else {
            let lacks = |plus: bool| !supply.poles.iter().any(|(pole, _)| *pole == plus);
            let missing = if lacks(true) {
                Some("plus")
            } else {
                lacks(false).then_some("minus")
            };
            missing.map(|pole| {
                Diagnostic::error(
                    "supply",
                    format!("the {pole} pole of {name} is not connected"),
                )
                .at(supply.span, "this supply")
                .help(format!("write `{pole} = A.POWER.1` in its block"))
            })
        };
        if let Some(problem) = problem {
            self.problems.unclear(problem);
            return None;
        }
        let mut poles = Vec::new();
        for (plus, path) in &supply.poles {
            for flat in self.paths(scope, path)? {
                let pins = self.pins(&flat, path.span);
                let pins = self.problems.take(pins)?;
                poles.push(PlanPole {
                    plus: *plus,
                    pins,
                    span: path.span,
                });
            }
        }
        self.supplies_called.insert(name.clone(), supply.span);
        let (voltage, current, span) = (supply.voltage, supply.current, supply.span);
        self.supplies.push(PlanSupply {
            name,
            voltage,
            current,
            poles,
            span,
        });
        Some(())
    }
}

/// What reaches a net: the first plus pole with its voltage, the first minus pole.
#[derive(Clone, Default)]
struct Reached {
    plus: Option<(Voltage, Pole)>,
    minus: Option<Pole>,
    told: bool,
}

#[derive(Clone)]
struct Pole {
    supply: String,
    span: Span,
}

/// Feeds the rails of a board that stands alone, from the bench.
pub(super) fn feed_board(circuit: &mut Circuit, changes: &Changes) {
    let voltage = |net: &Net| {
        let declared = net.rail?.declared;
        Some(changes.voltages.get(&net.path).copied().unwrap_or(declared))
    };
    let fed = circuit.nets.values().map(voltage).collect();
    let entered: Vec<NetKey> = (circuit.nets.iter())
        .filter(|(_, net)| net.rail.is_some() && !net.connector_pins.is_empty())
        .map(|(key, _)| key)
        .collect();
    for (net, way) in behind_switches(circuit, entered) {
        if let Some(rail) = &mut circuit.nets[net].rail {
            rail.via = Some(way);
        }
    }
    feed(circuit, &fed);
}

/// Connects the supplies of an assembly, and feeds what they reach.
pub(super) fn feed_assembly(
    circuit: &mut Circuit,
    supplies: Vec<PlanSupply>,
    changes: &Changes,
    problems: &mut Problems,
) {
    let mut reached: KeyVec<NetKey, Reached> =
        KeyVec::filled(circuit.nets.len(), Reached::default());
    for mut supply in supplies {
        if let Some(&voltage) = changes.voltages.get(&supply.name) {
            supply.voltage = voltage;
        }
        let (mut plus, mut minus) = (Vec::new(), Vec::new());
        let mut pins = Vec::new();
        for pole in &supply.poles {
            for (connector, pin) in &pole.pins {
                let Some(net) = circuit.connectors[*connector].pins[*pin].net else {
                    let path = circuit.connector_pin_path(*connector, *pin);
                    problems.unclear(
                        Diagnostic::error("supply", format!("nothing is behind {path}"))
                            .at(pole.span, format!("a pole of {} ends here", supply.name))
                            .help("connect the supply to a pin that leads to a rail"),
                    );
                    continue;
                };
                pins.push((*connector, *pin));
                let nets = if pole.plus { &mut plus } else { &mut minus };
                nets.push(net);
                let voltage = pole.plus.then_some(supply.voltage);
                let end = Pole {
                    supply: supply.name.clone(),
                    span: pole.span,
                };
                if let Some(problem) = meet(circuit, net, &mut reached[net], voltage, end) {
                    problems.report(problem);
                }
            }
        }
        for nets in [&mut plus, &mut minus] {
            nets.sort_unstable();
            nets.dedup();
        }
        let PlanSupply {
            name,
            voltage,
            current,
            span,
            ..
        } = supply;
        circuit.supplies.push(Supply {
            name,
            voltage,
            current,
            plus,
            minus,
            pins,
            span,
        });
    }
    let voltage = |net: &Reached| match (&net.plus, &net.minus) {
        _ if net.told => None,
        (Some((voltage, _)), _) => Some(*voltage),
        (None, minus) => minus.as_ref().map(|_| Voltage::ZERO),
    };
    let mut fed: Fed = reached.values().map(voltage).collect();
    let poles: Vec<NetKey> = (fed.iter())
        .filter(|(_, volts)| volts.is_some_and(|volts| volts > Voltage::ZERO))
        .map(|(key, _)| key)
        .collect();
    for (net, way) in behind_switches(circuit, poles) {
        if fed[net].is_none()
            && let Some(rail) = &mut circuit.nets[net].rail
        {
            rail.via = Some(way);
            fed[net] = fed[way.1];
        }
    }
    feed(circuit, &fed);
}

/// A pole reaches a net: a plus pole with its voltage. Returns what is wrong when others are there that do not agree;
/// once for a net.
fn meet(
    circuit: &Circuit,
    net: NetKey,
    reached: &mut Reached,
    voltage: Option<Voltage>,
    pole: Pole,
) -> Option<Diagnostic> {
    match voltage {
        Some(voltage) if reached.plus.is_none() => reached.plus = Some((voltage, pole.clone())),
        None if reached.minus.is_none() => reached.minus = Some(pole.clone()),
        _ => {}
    }
    if reached.told {
        return None;
    }
    let (voltage_there, plus) = reached.plus.as_ref()?;
    let path = &circuit.nets[net].path;
    let problem = if let Some(minus) = &reached.minus {
        let message = if plus.supply == minus.supply {
            format!("{} is shorted: its poles meet on {path}", plus.supply)
        } else {
            format!(
                "plus of {} and minus of {} meet on {path}",
                plus.supply, minus.supply
            )
        };
        Diagnostic::error("supply-short", message)
            .at(plus.span, format!("{voltage_there} here"))
            .at(minus.span, "minus here")
    } else if let Some(voltage) = voltage.filter(|voltage| voltage != voltage_there) {
        let (one, two) = (&plus.supply, &pole.supply);
        let message = format!("{one} ({voltage_there}) and {two} ({voltage}) meet on {path}");
        Diagnostic::error("supply-short", message)
            .at(plus.span, format!("{voltage_there} here"))
            .at(pole.span, format!("{voltage} here"))
    } else {
        return None;
    };
    reached.told = true;
    Some(way_between(circuit, net, problem))
}

/// Says what holds a net together, so that the wrong joint can be found.
fn way_between(circuit: &Circuit, net: NetKey, problem: Diagnostic) -> Diagnostic {
    let net = &circuit.nets[net];
    let name = |(board, name): &(_, String)| format!("{}.{name}", circuit.boards[*board].path);
    let names: Vec<String> = net.names.iter().map(name).collect();
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
fn feed(circuit: &mut Circuit, fed: &Fed) {
    let Circuit {
        nets,
        chips,
        boards,
        ..
    } = circuit;
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
    let voltages = |kind: PinKind| -> Option<Vec<Voltage>> {
        chip.part
            .pins_of(kind)
            .map(|pin| fed[chip.nets[pin]?])
            .collect()
    };
    let power = voltages(PinKind::Power)?
        .into_iter()
        .min()
        .unwrap_or(highest);
    let ground = voltages(PinKind::Ground)?
        .into_iter()
        .max()
        .unwrap_or_default();
    Some(power - ground)
}
