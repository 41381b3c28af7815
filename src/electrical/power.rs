//! What chips, boards and supplies draw: at rest from the sheets, and while signals move.
//!
//! - At rest a chip draws what its family's sheet guarantees for a package. A sheet gives one figure for many parts, so it
//!   is the most for small ones, and bus drivers of bipolar families may draw more.
//! - Moving a net costs a charge C V for each rise, that is a current C V f from the supply of the chip that drives it
//!   (P = CL V^2 f; the sheets of HC parts). C is what is typical of pins, copper and cables. Where several outputs
//!   drive a net, each has an equal share.
//! - Inside, a chip costs the charge of its power dissipation capacitance Cpd for each cycle (P = Cpd V^2 f N): per gate,
//!   buffer, channel or multiplexer for each connected output, as often as it rises; per flip-flop for each that a clock
//!   moves, as often as the clock rises; per package once, at the rate of its fastest input.
//! - An input with TTL levels takes extra supply current while it is held at a TTL high. It counts for each input whose
//!   net is not sure to rise above the supply less 1 V, as if it were high all the time.
//! - A lamp counts with the most that it may carry while it is lit, on the board that it stands on.

use super::capacitance::Capacitances;
use super::sheet::at_supply;
use super::view::View;
use crate::circuit::{BoardKey, Chip, ChipKey, Circuit, NetKey, SupplyKey};
use crate::key::KeyVec;
use crate::language::ast::Share;
use crate::part::{ColumnKind, LevelName, PinKind};

/// An input nearer than this to its supply takes no extra current: volts.
const FULL_HIGH: f64 = 1.0;

/// How often each net rises in a second.
pub type Activity = KeyVec<NetKey, f64>;

/// What a chip draws, in amperes.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ChipPower {
    /// At rest; `None` when no sheet tells it.
    pub rest: Option<f64>,
    /// For its inputs that are held at a TTL high, at most.
    pub inputs: f64,
    /// For the nets that it moves.
    pub loads: f64,
    /// For what moves inside it.
    pub inside: f64,
    /// Its supply, in volts.
    pub supply: f64,
}

impl ChipPower {
    /// All of it.
    pub fn total(&self) -> f64 {
        self.rest.unwrap_or_default() + self.inputs + self.loads + self.inside
    }

    /// What becomes heat in it, in watts: its lamps aside.
    pub fn heat(&self) -> f64 {
        self.total() * self.supply
    }
}

/// What a board draws, in amperes.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct BoardPower {
    /// Chips that are fed.
    pub chips: usize,
    /// Chips of which no sheet tells the current at rest.
    pub untold: usize,
    /// Of its chips at rest, inputs at a TTL high with them.
    pub rest: f64,
    /// Of its chips for the nets that they move, and for what moves inside.
    pub moving: f64,
    /// Of its lamps while all are lit.
    pub lamps: f64,
}

impl BoardPower {
    /// All of it.
    pub fn total(&self) -> f64 {
        self.rest + self.moving + self.lamps
    }
}

/// What a circuit draws.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Power {
    /// By chip.
    pub chips: KeyVec<ChipKey, ChipPower>,
    /// By board.
    pub boards: KeyVec<BoardKey, BoardPower>,
    /// By bench supply: what its boards draw, in amperes.
    pub supplies: KeyVec<SupplyKey, f64>,
}

impl Power {
    /// Of a circuit; at rest when no activity is given.
    pub fn new(circuit: &Circuit, view: &View, activity: Option<&Activity>) -> Power {
        let rest = |chip: &Chip| ChipPower {
            rest: (chip.electrical.as_ref()).and_then(|family| {
                at_supply(family, LevelName::SupplyCurrent, chip.supply.as_f64())
            }),
            supply: chip.supply.as_f64(),
            ..ChipPower::default()
        };
        let mut chips: KeyVec<ChipKey, ChipPower> = circuit.chips.values().map(rest).collect();
        for (key, inputs) in ttl_highs(circuit, view).iter() {
            chips[key].inputs = *inputs;
        }
        if let Some(activity) = activity {
            for (key, chip) in circuit.chips.iter().filter(|(_, chip)| chip.fed) {
                chips[key].inside = inside(chip, activity);
            }
            let capacitances = Capacitances::new(circuit, false);
            for (key, net) in view.nets.iter() {
                let load = capacitances.nets[key];
                let farads = (load.pins + load.traces + load.cables).as_f64();
                let fed = || {
                    net.drivers
                        .iter()
                        .filter(|driver| circuit.chips[driver.chip].fed)
                };
                let share = farads * activity[key] / fed().count().max(1) as f64;
                for driver in fed() {
                    let chip = &mut chips[driver.chip];
                    chip.loads += share * chip.supply;
                }
            }
        }
        let mut boards = KeyVec::filled(circuit.boards.len(), BoardPower::default());
        let mut supplies = KeyVec::filled(circuit.supplies.len(), 0.0);
        for (key, chip) in circuit.chips.iter().filter(|(_, chip)| chip.fed) {
            let power = chips[key];
            let board: &mut BoardPower = &mut boards[chip.board];
            board.chips += 1;
            board.untold += usize::from(power.rest.is_none());
            board.rest += power.rest.unwrap_or_default() + power.inputs;
            board.moving += power.loads + power.inside;
        }
        for (&led, range) in &view.leds {
            boards[circuit.discretes[led].board].lamps += range.most;
        }
        for (key, board) in boards.iter() {
            if let Some(supply) = supply_of(circuit, key) {
                supplies[supply] += board.total();
            }
        }
        Power {
            chips,
            boards,
            supplies,
        }
    }
}

/// What the inputs of each chip add that may be held at a TTL high.
fn ttl_highs(circuit: &Circuit, view: &View) -> KeyVec<ChipKey, f64> {
    let mut extra = KeyVec::filled(circuit.chips.len(), 0.0);
    for net in view.nets.values() {
        let Some(high) = net.high else { continue };
        for listener in &net.listeners {
            let chip = &circuit.chips[listener.chip];
            let supply = chip.supply.as_f64();
            let unit = (chip.electrical.as_ref())
                .and_then(|family| at_supply(family, LevelName::ExtraSupplyCurrent, supply));
            if let Some(unit) = unit
                && high.volts.least < supply - FULL_HIGH
            {
                extra[listener.chip] += unit;
            }
        }
    }
    extra
}

/// What moves inside a chip: Cpd V f for each share of it that its sheet counts.
fn inside(chip: &Chip, activity: &Activity) -> f64 {
    let Some((farads, per)) = power_capacitance(chip) else {
        return 0.0;
    };
    let function = &chip.part.function;
    let rate = |pin: usize| chip.nets[pin].map_or(0.0, |net| activity[net]);
    let inputs = || function.inputs.iter().map(|&pin| rate(pin));
    let cycles: f64 = match per {
        Share::Package => inputs().fold(0.0, f64::max),
        Share::FlipFlop => {
            let clocks: Vec<f64> = (function.inputs.iter().enumerate())
                .filter(|(bit, _)| function.clock_inputs() >> bit & 1 == 1)
                .map(|(_, &pin)| rate(pin))
                .collect();
            // The flip-flops of a chip have one clock, or share its clocks evenly.
            let each = function.states.len() as f64 / clocks.len().max(1) as f64;
            clocks.iter().sum::<f64>() * each
        }
        Share::Gate | Share::Buffer | Share::Transceiver | Share::Multiplexer => {
            function.outputs.iter().map(|&pin| rate(pin)).sum()
        }
    };
    farads * chip.supply.as_f64() * cycles
}

/// The power dissipation capacitance of a chip's sheet, nearest to its supply, and what it is per.
fn power_capacitance(chip: &Chip) -> Option<(f64, Share)> {
    let sheet = &chip.part.sheets[chip.sheet?];
    let blocks = sheet.blocks.iter().filter(|block| !block.power.is_empty());
    let nearest = blocks.min_by_key(|block| (block.voltage.raw() - chip.supply.raw()).abs())?;
    let row = nearest.power.first()?;
    let given = sheet.columns.iter().zip(&row.figures);
    let mut given = given.filter_map(|(column, figure)| Some((column.kind, (*figure)?)));
    let typical = given.clone().find(|(kind, _)| *kind == ColumnKind::Typ);
    let (_, farads) = typical.or_else(|| given.next())?;
    Some((farads.as_f64(), row.per))
}

/// The bench supply that feeds the chips of a board; the first one when there are several.
pub fn supply_of(circuit: &Circuit, board: BoardKey) -> Option<SupplyKey> {
    let chips = circuit.chips.values().filter(|chip| chip.board == board);
    let mut rails = chips.flat_map(|chip| {
        let power = chip.part.pins_of(PinKind::Power);
        power.filter_map(|pin| chip.nets[pin])
    });
    let feeds = |net: NetKey| {
        let mut supplies = circuit.supplies.iter();
        supplies
            .find(|(_, supply)| supply.plus.contains(&net))
            .map(|(key, _)| key)
    };
    let lamps = || {
        let nets = circuit.nets.iter();
        let mut rails = nets.filter(|(_, net)| net.names.iter().any(|(other, _)| *other == board));
        rails.find_map(|(key, _)| feeds(key))
    };
    rails.find_map(feeds).or_else(lamps)
}
