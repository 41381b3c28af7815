//! What chips, boards and supplies draw: at rest from the sheets, and while signals move.
//!
//! - At rest a chip draws what the sheet of its part guarantees, where that tells it, else what its family's sheet does for
//!   a package. That is one figure for many parts: the most for small ones, and bus drivers of bipolar families may draw
//!   more.
//! - Moving a net costs a charge C V for each rise, that is a current C V f from the supply of the chip that drives it
//!   (P = CL V^2 f; the sheets of HC parts). C is what is typical of pins, copper and cables. Where several outputs
//!   drive a net, each has an equal share.
//! - Inside, a chip costs the charge of its power dissipation capacitance Cpd for each cycle (P = Cpd V^2 f N): per gate,
//!   buffer, channel or multiplexer for each connected output, as often as it rises; per flip-flop for each that a clock
//!   moves, as often as the clock rises; per package once, at the rate of its fastest input.
//! - An input with TTL levels takes extra supply current while it is held at a TTL high. It counts for each input whose
//!   net is not sure to rise above the supply less 1 V, as if it were high all the time.
//! - Lamps, resistors and contacts count with the most that may leave a rail through each of them, or through the outputs
//!   of each net, in any state of its group of nets, as if all did at once; on the board where it leaves the rail.
//! - Parts with grades (memories) have no sheet that tells what they draw: they are named, not counted.

use super::capacitance::Capacitances;
use super::operating_point::OperatingPoint;
use super::sheet::{at_supply, extra_current};
use crate::circuit::{BoardKey, Chip, ChipKey, Circuit, NetKey, Supply, SupplyKey};
use crate::key::KeyVec;
use crate::language::ast::Share;
use crate::part::{ColumnKind, LevelName, PinKind};
use crate::quantity::si::{Amperes, Farads, Hertz, Volts, Watts};
use std::collections::BTreeMap;

/// An input nearer than this to its supply takes no extra current.
const FULL_HIGH: Volts = Volts(1.0);

/// How often each net rises in a second.
pub type Activity = KeyVec<NetKey, Hertz>;

/// What a chip draws.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ChipPower {
    /// At rest; `None` when no sheet tells it.
    pub quiescent: Option<Amperes>,
    /// For its inputs that are held at a TTL high, at most.
    pub inputs: Amperes,
    /// For the nets that it moves.
    pub loads: Amperes,
    /// For what moves inside it.
    pub internal: Amperes,
    pub supply: Volts,
}

impl ChipPower {
    pub fn total(&self) -> Amperes {
        self.quiescent.unwrap_or_default() + self.inputs + self.loads + self.internal
    }

    /// What becomes heat in it: its LEDs aside.
    pub fn heat(&self) -> Watts {
        self.total() * self.supply
    }
}

/// What a board draws.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct BoardPower {
    /// Chips that are fed.
    pub chips: usize,
    /// How many of them no sheet tells the current at rest of.
    pub without_figure: usize,
    /// Of its chips at rest, inputs at a TTL high with them.
    pub quiescent: Amperes,
    /// Of its chips for the nets that they move, and for what moves inside.
    pub dynamic: Amperes,
    /// Of its lamps while all are lit.
    pub leds: Amperes,
    /// Of its resistors and contacts.
    pub resistors: Amperes,
}

impl BoardPower {
    pub fn total(&self) -> Amperes {
        self.quiescent + self.dynamic + self.leds + self.resistors
    }
}

/// What a circuit draws.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Power {
    pub chips: KeyVec<ChipKey, ChipPower>,
    pub boards: KeyVec<BoardKey, BoardPower>,
    /// What each board draws from each rail.
    pub rails: BTreeMap<(NetKey, BoardKey), Amperes>,
    /// By bench supply: what its boards draw.
    pub supplies: KeyVec<SupplyKey, Amperes>,
}

impl Power {
    /// Of a circuit; at rest when no activity is given.
    pub fn new(circuit: &Circuit, operating_point: &OperatingPoint, activity: Option<&Activity>) -> Power {
        let quiescent = |chip: &Chip| ChipPower {
            quiescent: (chip.electrical.as_ref())
                .and_then(|family| at_supply(family, LevelName::SupplyCurrent, chip.supply.volts())),
            supply: chip.supply.volts(),
            ..ChipPower::default()
        };
        let mut chips: KeyVec<ChipKey, ChipPower> = circuit.chips.values().map(quiescent).collect();
        for (key, inputs) in ttl_highs(circuit, operating_point).iter() {
            chips[key].inputs = *inputs;
        }
        if let Some(activity) = activity {
            for (key, chip) in circuit.chips.iter().filter(|(_, chip)| chip.fed) {
                chips[key].internal = internal(chip, activity);
            }
            let capacitances = Capacitances::new(circuit, false);
            for (key, net) in operating_point.nets.iter() {
                let load = capacitances.nets[key];
                let farads = (load.pins + load.traces + load.cables).farads();
                let fed = || net.drivers.iter().filter(|driver| circuit.chips[driver.chip].fed);
                let share = farads * activity[key] / fed().count().max(1) as f64;
                for driver in fed() {
                    let chip = &mut chips[driver.chip];
                    chip.loads += share * chip.supply;
                }
            }
        }
        let mut boards: KeyVec<BoardKey, BoardPower> = KeyVec::filled(circuit.boards.len(), BoardPower::default());
        let mut rails: BTreeMap<(NetKey, BoardKey), Amperes> = BTreeMap::new();
        for (key, chip) in circuit.chips.iter().filter(|(_, chip)| chip.fed) {
            let power = chips[key];
            let board = &mut boards[chip.board];
            board.chips += 1;
            board.without_figure += usize::from(power.quiescent.is_none());
            board.quiescent += power.quiescent.unwrap_or_default() + power.inputs;
            board.dynamic += power.loads + power.internal;
            let mut pins = chip.part.pins_of(PinKind::Power);
            if let Some(net) = pins.find_map(|pin| chip.nets[pin]) {
                *rails.entry((net, chip.board)).or_default() += power.total();
            }
        }
        for drawn in operating_point.currents.sources.values() {
            let board = &mut boards[drawn.board];
            let sum = if drawn.has_leds { &mut board.leds } else { &mut board.resistors };
            *sum += drawn.amps;
            *rails.entry((drawn.rail, drawn.board)).or_default() += drawn.amps;
        }
        let of_supply = |supply: &Supply| {
            let its = rails.iter();
            let its = its.filter(|((net, _), _)| supply.plus.contains(&source_rail(circuit, *net)));
            its.map(|(_, amps)| amps).sum()
        };
        let supplies = circuit.supplies.values().map(of_supply).collect();
        Power { chips, boards, rails, supplies }
    }
}

/// What the inputs of each chip add that may be held at a TTL high.
fn ttl_highs(circuit: &Circuit, operating_point: &OperatingPoint) -> KeyVec<ChipKey, Amperes> {
    let mut extra = KeyVec::filled(circuit.chips.len(), Amperes::ZERO);
    for net in operating_point.nets.values() {
        let Some(high) = net.high else { continue };
        for load in &net.loads {
            let chip = &circuit.chips[load.chip];
            let supply = chip.supply.volts();
            let unit = extra_current(chip, load.pin);
            if let Some(unit) = unit
                && high.volts.least < supply - FULL_HIGH
            {
                extra[load.chip] += unit;
            }
        }
    }
    extra
}

/// What moves inside a chip: Cpd V f for each share of it that its sheet counts.
fn internal(chip: &Chip, activity: &Activity) -> Amperes {
    let Some((farads, per)) = power_capacitance(chip) else {
        return Amperes::ZERO;
    };
    let function = &chip.part.function;
    let rate = |pin: usize| chip.nets[pin].map_or(Hertz::ZERO, |net| activity[net]);
    let inputs = || function.inputs.iter().map(|&pin| rate(pin));
    let cycles: Hertz = match per {
        Share::Package => inputs().fold(Hertz::ZERO, Hertz::max),
        Share::FlipFlop => {
            let clocks: Vec<Hertz> = (function.inputs.iter().enumerate())
                .filter(|(bit, _)| function.clock_inputs() >> bit & 1 == 1)
                .map(|(_, &pin)| rate(pin))
                .collect();
            // The flip-flops of a chip have one clock, or share its clocks evenly.
            let each = function.states.len() as f64 / clocks.len().max(1) as f64;
            clocks.iter().sum::<Hertz>() * each
        }
        Share::Gate | Share::Buffer | Share::Transceiver | Share::Multiplexer => {
            function.outputs.iter().map(|&pin| rate(pin)).sum()
        }
    };
    chip.supply.volts() * farads * cycles
}

/// The power dissipation capacitance of a chip's sheet, nearest to its supply, and what it is per.
fn power_capacitance(chip: &Chip) -> Option<(Farads, Share)> {
    let sheet = &chip.part.sheets[chip.sheet?];
    let blocks = sheet.blocks.iter().filter(|block| !block.power.is_empty());
    let nearest = blocks.min_by_key(|block| (block.voltage.raw() - chip.supply.raw()).abs())?;
    let row = nearest.power.first()?;
    let given = sheet.columns.iter().zip(&row.figures);
    let mut given = given.filter_map(|(column, figure)| Some((column.kind, (*figure)?)));
    let typical = given.clone().find(|(kind, _)| *kind == ColumnKind::Typ);
    let (_, farads) = typical.or_else(|| given.next())?;
    Some((farads.farads(), row.per))
}

/// The rail that a rail hangs on behind a switch or a fuse; itself when it does not.
pub fn source_rail(circuit: &Circuit, net: NetKey) -> NetKey {
    let via = circuit.nets[net].rail.and_then(|rail| rail.via);
    via.map_or(net, |(_, source_rail)| source_rail)
}

/// Chips that are fed, but of which no sheet tells what they draw at rest; of a supply, or all of them.
pub fn without_figure<'c>(circuit: &'c Circuit, power: &Power, supply: Option<SupplyKey>) -> Vec<&'c str> {
    let draws_from = |chip: &Chip| {
        let mut pins = chip.part.pins_of(PinKind::Power);
        let rail = pins.find_map(|pin| chip.nets[pin]);
        supply.is_none_or(|supply| {
            rail.is_some_and(|rail| circuit.supplies[supply].plus.contains(&source_rail(circuit, rail)))
        })
    };
    let chips = circuit.chips.iter();
    let chips = chips.filter(|(key, chip)| chip.fed && power.chips[*key].quiescent.is_none() && draws_from(chip));
    chips.map(|(_, chip)| chip.path.as_str()).collect()
}
