//! The capacitance of each net: pins, copper, cables and the capacitors that stand on it.

use crate::circuit::{Chip, ChipKey, Circuit, DiscreteKind, Net, NetKey};
use crate::key::KeyVec;
use crate::part::rule::Rule;
use crate::part::{ColumnKind, LevelName, PinIndex, PinKind};
use crate::quantity::{Capacitance, Length};
use std::collections::{BTreeMap, BTreeSet};

/// Copper from one pin of a net to the next when the board does not tell: an inch.
const TRACE: Length = Length::from_raw(25_400);

/// Copper: 180 ps an inch over 50 ohm, 3.6 pF an inch (H. Johnson and M. Graham, High-Speed Digital Design, 1993,
/// equation 9-15), in femtofarads a millimetre.
const TRACE_FF_PER_MM: i64 = 142;

/// Ribbon cable: 23 pF a foot (PVC ribbon cable sheet, specification 100-4136), in femtofarads a millimetre.
const CABLE_FF_PER_MM: i64 = 75;

/// A pin whose sheet gives no capacitance. Memory sheets guarantee 6 to 12 pF (common practice).
const PIN: Capacitance = Capacitance::from_raw(10_000);

/// What loads a net, by where it comes from.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct NetCapacitance {
    /// Pins of chips.
    pub pins: Capacitance,
    /// Copper of the boards.
    pub traces: Capacitance,
    /// Wires of cables.
    pub cables: Capacitance,
    /// Capacitors from this net to another one.
    pub capacitors: Capacitance,
}

impl NetCapacitance {
    pub fn total(&self) -> Capacitance {
        self.pins + self.traces + self.cables + self.capacitors
    }
}

/// The capacitance of every net of a circuit.
#[derive(Clone, Debug, Default)]
pub struct Capacitances {
    pub nets: KeyVec<NetKey, NetCapacitance>,
    /// The rules that filled gaps, with the numbers of the parts.
    pub rules: BTreeMap<Rule, BTreeSet<String>>,
    most: bool,
}

impl Capacitances {
    /// Of a circuit, with the most that the sheets say of pins, or what is typical.
    pub fn new(circuit: &Circuit, most: bool) -> Capacitances {
        let mut rules: BTreeMap<Rule, BTreeSet<String>> = BTreeMap::new();
        let nets = circuit.nets.values().map(|net| net_capacitance(circuit, net, most, &mut rules));
        Capacitances { nets: nets.collect(), rules, most }
    }

    /// What an output of a chip drives: the net without the pin itself, which its sheet's delays include.
    pub fn load(&self, circuit: &Circuit, chip: ChipKey, pin: PinIndex) -> Capacitance {
        let chip = &circuit.chips[chip];
        let Some(net) = chip.nets[pin] else {
            return Capacitance::ZERO;
        };
        self.nets[net].total() - pin_capacitance(chip, pin, self.most).0
    }
}

fn net_capacitance(
    circuit: &Circuit,
    net: &Net,
    most: bool,
    rules: &mut BTreeMap<Rule, BTreeSet<String>>,
) -> NetCapacitance {
    let mut found = NetCapacitance::default();
    if net.rail.is_some() {
        return found;
    }
    for &(chip, pin) in &net.chip_pins {
        let chip = &circuit.chips[chip];
        let (pin, rule) = pin_capacitance(chip, pin, most);
        found.pins += pin;
        if let Some(rule) = rule {
            rules.entry(rule).or_default().insert(chip.number.clone());
        }
    }
    // Copper leads from pin to pin; a net of one pin has next to none.
    for &(chip, _) in net.chip_pins.iter().skip(1) {
        let trace = circuit.boards[circuit.chips[chip].board].trace;
        found.traces += along(trace.unwrap_or(TRACE), TRACE_FF_PER_MM);
    }
    found.cables = along(net.wire, CABLE_FF_PER_MM);
    for &(discrete, _) in &net.discrete_pins {
        if let DiscreteKind::Capacitor(value) = circuit.discretes[discrete].kind {
            found.capacitors += value;
        }
    }
    found
}

fn along(length: Length, femtofarads_per_mm: i64) -> Capacitance {
    Capacitance::from_raw((length * femtofarads_per_mm).raw() / 1000)
}

/// The capacitance of a pin, and the rule that gave it, if any.
fn pin_capacitance(chip: &Chip, pin: PinIndex, most: bool) -> (Capacitance, Option<Rule>) {
    let plain = matches!(chip.part.pins[pin].kind, PinKind::Power | PinKind::Ground | PinKind::None);
    if plain {
        return (Capacitance::ZERO, None);
    }
    let published = chip.electrical.as_ref().and_then(|family| {
        let wanted = if most { [ColumnKind::Limit, ColumnKind::Typ] } else { [ColumnKind::Typ, ColumnKind::Limit] };
        let figures: Vec<_> = family.figures(LevelName::InputCapacitance).collect();
        wanted.iter().find_map(|&kind| {
            figures.iter().find_map(|level| {
                let mut given = family.columns.iter().zip(&level.figures);
                let (_, figure) = given.find(|(column, figure)| column.kind == kind && figure.is_some())?;
                figure.and_then(|figure| figure.as_capacitance())
            })
        })
    });
    match published {
        Some(capacitance) => (capacitance, None),
        None => (PIN, Some(Rule::PinCapacitance)),
    }
}
