//! Resistors and capacitors that give a chip its times.
//!
//! A pulse is as long as a resistor from the supply and a capacitor between two pins make it; an oscillator runs from a
//! resistor and a capacitor that meet at a junction, where its input hangs as well. What stands there otherwise is not
//! guessed at.

use crate::circuit::rows::{Chip, ChipKey, Circuit, NetKey};
use crate::diagnostic::Diagnostic;
use crate::model::{DiscreteKind, Problems, several};
use crate::part::PinIndex;
use crate::part::function::RcOscillator;
use crate::part::sheet::{Duration, Pair};
use crate::quantity::{Capacitance, Quantity, Resistance};

/// Finds the resistor and the capacitor of each timer of each chip that lives.
pub(super) fn time_chips(circuit: &mut Circuit, problems: &mut Problems) {
    let timed: Vec<ChipKey> = circuit
        .chips
        .iter()
        .filter(|(_, chip)| chip.fed && chip.part.function.timed() > 0)
        .map(|(key, _)| key)
        .collect();
    for key in timed {
        let chip = &circuit.chips[key];
        let around = Neighbourhood { circuit, key, chip };
        let function = &chip.part.function;
        let pulses = function.timers.iter().map(|timer| match timer.pins {
            Some(pins) => around.pulse(pins),
            None => Ok(None),
        });
        let rc_oscillator = function.rc_oscillator.iter().map(|rc_oscillator| around.rc_oscillator(rc_oscillator));
        let pairs = pulses.chain(rc_oscillator).enumerate();
        let pairs = pairs.map(|(timer, pair)| around.within_sheet(timer, pair?));
        let pairs: Vec<_> = pairs
            .map(|pair| {
                pair.unwrap_or_else(|problem| {
                    problems.report(*problem);
                    None
                })
            })
            .collect();
        circuit.chips[key].timing = pairs;
    }
}

type Found = Result<Option<Pair>, Box<Diagnostic>>;

/// A chip among what stands around it.
struct Neighbourhood<'c> {
    circuit: &'c Circuit,
    key: ChipKey,
    chip: &'c Chip,
}

/// What hangs on a net besides the chip's own pins, connectors and test points.
#[derive(Default)]
struct Attached {
    /// Each with the net behind it.
    resistors: Vec<(Resistance, NetKey)>,
    capacitors: Vec<(Capacitance, NetKey)>,
    /// Paths of anything else.
    others: Vec<String>,
}

impl Neighbourhood<'_> {
    fn attached(&self, net: NetKey) -> Attached {
        let mut attached = Attached::default();
        let row = &self.circuit.nets[net];
        for &(chip, pin) in &row.chip_pins {
            if chip != self.key {
                attached.others.push(self.circuit.pin_path(chip, pin));
            }
        }
        for &(key, pin) in &row.discrete_pins {
            let discrete = &self.circuit.discretes[key];
            let far = |pin: usize| discrete.nets.get(pin).copied().flatten();
            let ends: Vec<usize> = match discrete.kind {
                DiscreteKind::TestPoint => continue,
                DiscreteKind::Network(_, true) if pin == 0 => (1..discrete.nets.len()).collect(),
                DiscreteKind::Network(_, true) => vec![0],
                _ => vec![pin ^ 1],
            };
            for far in ends.into_iter().map(far) {
                match (&discrete.kind, far) {
                    (DiscreteKind::Resistor(ohms) | DiscreteKind::Network(ohms, _), Some(far)) => {
                        attached.resistors.push((*ohms, far));
                    }
                    (DiscreteKind::Capacitor(farads), Some(far)) => {
                        attached.capacitors.push((*farads, far));
                    }
                    _ => attached.others.push(discrete.path.clone()),
                }
            }
        }
        attached
    }

    /// The resistor from the supply and the capacitor between the pins of a timer.
    fn pulse(&self, [resistor, capacitor]: [PinIndex; 2]) -> Found {
        let name = |pin: PinIndex| &self.chip.part.pins[pin].name;
        let Some(net) = self.chip.nets[resistor] else {
            if self.chip.open.contains(&resistor) {
                return Ok(None);
            }
            let message = format!("nothing gives {} its time", self.circuit.pin_path(self.key, resistor));
            return Err(self.problem(message, "no resistor and no capacitor").help(format!(
                "put a resistor from {0} to the supply, and a capacitor from {0} to {1}; or write `{0} = open` where it \
                 is not used",
                name(resistor),
                name(capacitor)
            )).into());
        };
        let attached = self.attached(net);
        let second = self.chip.nets[capacitor];
        let at_second = second.filter(|&net| self.circuit.nets[net].rail.is_none());
        let at_second = at_second.map(|net| self.attached(net)).unwrap_or_default();
        let alone = attached.others.is_empty() && at_second.others.is_empty();
        let alone = alone && at_second.resistors.is_empty() && at_second.capacitors.len() <= 1;
        match (attached.resistors.as_slice(), attached.capacitors.as_slice()) {
            (&[(resistance, up)], &[(capacitance, far)]) if alone && Some(far) == second && self.is_supply(up) => {
                Ok(Some(Pair { resistance, capacitance }))
            }
            _ => {
                let path = self.circuit.pin_path(self.key, resistor);
                let message = format!("what stands at {path} gives no time that can be read");
                let others = attached.others.iter().chain(&at_second.others);
                let mut problem = self.problem(message, "timed by its surroundings");
                problem =
                    problem.note(format!("found there: {}", found(&attached, &others.cloned().collect::<Vec<_>>())));
                Err(problem.help(format!(
                    "put one resistor from {0} to the supply of the chip, one capacitor from {0} to {1}, and nothing else",
                    name(resistor),
                    name(capacitor)
                )).into())
            }
        }
    }

    /// The resistor and the capacitor of an oscillator; none where its input is driven from outside.
    fn rc_oscillator(&self, rc_oscillator: &RcOscillator) -> Found {
        let pin = self.chip.part.function.inputs[rc_oscillator.input];
        let Some(net) = self.chip.nets[pin] else {
            return Ok(None);
        };
        let [first, second] = rc_oscillator.pins.map(|pin| self.chip.nets[pin]);
        let at_input = self.attached(net);
        let behind = at_input.resistors.iter().map(|&(_, far)| far);
        let junctions = std::iter::once(net)
            .chain(behind.filter(|&far| self.circuit.nets[far].rail.is_none() && Some(far) != first));
        for junction in junctions {
            let attached = self.attached(junction);
            let timing: Vec<_> = attached.resistors.iter().filter(|(_, far)| Some(*far) == first).collect();
            let charged: Vec<_> = attached.capacitors.iter().filter(|(_, far)| Some(*far) == second).collect();
            if timing.is_empty() && charged.is_empty() {
                continue;
            }
            let direct = junction == net;
            let alone = attached.others.is_empty()
                && attached.resistors.len() == 1 + usize::from(!direct)
                && attached.capacitors.len() == 1
                && (direct
                    || at_input.others.is_empty() && at_input.resistors.len() == 1 && at_input.capacitors.is_empty());
            if let (&[&(resistance, _)], &[&(capacitance, _)], true) = (timing.as_slice(), charged.as_slice(), alone) {
                return Ok(Some(Pair { resistance, capacitance }));
            }
            let path = self.circuit.pin_path(self.key, pin);
            let name = |pin: PinIndex| &self.chip.part.pins[pin].name;
            let message = format!("what stands at {path} gives no frequency that can be read");
            return Err(self
                .problem(message, "runs from a resistor and a capacitor")
                .note(format!("found at the junction: {}", found(&attached, &attached.others)))
                .help(format!(
                    "let one resistor to {} and one capacitor to {} meet, and lead one more resistor from there to {}; \
                     or drive {} by a clock",
                    name(rc_oscillator.pins[0]),
                    name(rc_oscillator.pins[1]),
                    name(pin),
                    name(pin)
                ))
                .into());
        }
        Ok(None)
    }

    /// True for a net that is at the supply voltage of the chip.
    fn is_supply(&self, net: NetKey) -> bool {
        let rail = self.circuit.nets[net].rail;
        rail.and_then(|rail| rail.fed) == Some(self.chip.supply)
    }

    /// Tells when the sheet speaks of other resistors and capacitors only.
    fn within_sheet(&self, timer: usize, pair: Option<Pair>) -> Found {
        let (Some(pair), Some(sheet)) = (pair, self.chip.sheet) else {
            return Ok(pair);
        };
        let sheet = &self.chip.part.sheets[sheet];
        let rows = sheet.blocks.iter().flat_map(|block| &block.durations);
        let rows: Vec<&Duration> = rows.filter(|row| row.timer == timer).collect();
        if rows.iter().any(|row| row.covers(pair)) {
            return Ok(Some(pair));
        }
        let message =
            format!("the sheet of {} gives no time for {} and {}", self.chip.number, pair.resistance, pair.capacitance);
        let mut problem = self.problem(message, "timed by these");
        let mut reported: Vec<String> = Vec::new();
        for row in rows {
            let text = ranges(row);
            if !reported.contains(&text) {
                reported.push(text);
            }
        }
        for text in reported {
            problem = problem.note(format!("it speaks of {text}"));
        }
        Err(problem.help("take values that the sheet speaks of").into())
    }

    fn problem(&self, message: String, label: &str) -> Diagnostic {
        Diagnostic::error("timing", message).at(self.chip.span, format!("{} is {label}", self.chip.path))
    }
}

/// `10 kohm and 20 kohm, 1 nF, U2.A`.
fn found(attached: &Attached, others: &[String]) -> String {
    let resistors = attached.resistors.iter().map(|(ohms, _)| ohms.to_string());
    let capacitors = attached.capacitors.iter().map(|(farads, _)| farads.to_string());
    let all: Vec<String> = resistors.chain(capacitors).chain(others.iter().cloned()).collect();
    several(&all)
}

/// The resistors and capacitors that a row holds for.
fn ranges(row: &Duration) -> String {
    let range = |least: Quantity, most: Option<Quantity>| match most {
        Some(most) if most == least => format!("{least}"),
        Some(most) => format!("{least} to {most}"),
        None => format!("{least} or more"),
    };
    let (least, most) = row.resistors;
    let resistors = range(Quantity::Resistance(least), most.map(Quantity::Resistance));
    let (least, most) = row.capacitors;
    let capacitors = range(Quantity::Capacitance(least), most.map(Quantity::Capacitance));
    format!("{resistors} with {capacitors}")
}
