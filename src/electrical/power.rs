//! What chips, boards and supplies draw: at rest from the sheets, and while signals move.
//!
//! - At rest a chip draws what its family's sheet guarantees for a package. A sheet gives one figure for many parts, so it
//!   is the most for small ones, and bus drivers of bipolar families may draw more.
//! - Moving a net costs a charge C V for each rise, that is a current C V f from the supply of the chip that drives it
//!   (P = CL V^2 f; the sheets of HC parts). C is what is typical of pins, copper and cables. Where several outputs
//!   drive a net, each has an equal share.
//! - A lamp counts with the most that it may carry while it is lit, on the board that it stands on.

use super::capacitance::Capacitances;
use super::sheet::at_supply;
use super::view::View;
use crate::circuit::{BoardKey, ChipKey, Circuit, NetKey, SupplyKey};
use crate::key::KeyVec;
use crate::part::{LevelName, PinKind};

/// How often each net rises in a second.
pub type Activity = KeyVec<NetKey, f64>;

/// What a chip draws, in amperes.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ChipPower {
    /// At rest; `None` when no sheet tells it.
    pub rest: Option<f64>,
    /// For the nets that it moves.
    pub loads: f64,
    /// Its supply, in volts.
    pub supply: f64,
}

impl ChipPower {
    /// All of it.
    pub fn total(&self) -> f64 {
        self.rest.unwrap_or_default() + self.loads
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
    /// Of its chips at rest.
    pub rest: f64,
    /// Of its chips for the nets that they move.
    pub loads: f64,
    /// Of its lamps while all are lit.
    pub lamps: f64,
}

impl BoardPower {
    /// All of it.
    pub fn total(&self) -> f64 {
        self.rest + self.loads + self.lamps
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
        let rest = |chip: &crate::circuit::Chip| ChipPower {
            rest: (chip.electrical.as_ref())
                .and_then(|family| at_supply(family, LevelName::SupplyCurrent, chip.supply.as_f64())),
            loads: 0.0,
            supply: chip.supply.as_f64(),
        };
        let mut chips: KeyVec<ChipKey, ChipPower> = circuit.chips.values().map(rest).collect();
        if let Some(activity) = activity {
            let capacitances = Capacitances::new(circuit, false);
            for (key, net) in view.nets.iter() {
                let load = capacitances.nets[key];
                let farads = (load.pins + load.traces + load.cables).as_f64();
                let fed = || net.drivers.iter().filter(|driver| circuit.chips[driver.chip].fed);
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
            board.rest += power.rest.unwrap_or_default();
            board.loads += power.loads;
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

/// The bench supply that feeds the chips of a board; the first one when there are several.
pub fn supply_of(circuit: &Circuit, board: BoardKey) -> Option<SupplyKey> {
    let chips = circuit.chips.values().filter(|chip| chip.board == board);
    let mut rails = chips.flat_map(|chip| {
        let power = chip.part.pins_of(PinKind::Power);
        power.filter_map(|pin| chip.nets[pin])
    });
    let feeds = |net: NetKey| {
        let mut supplies = circuit.supplies.iter();
        supplies.find(|(_, supply)| supply.plus.contains(&net)).map(|(key, _)| key)
    };
    let lamps = || {
        let nets = circuit.nets.iter();
        let mut rails = nets.filter(|(_, net)| net.names.iter().any(|(other, _)| *other == board));
        rails.find_map(|(key, _)| feeds(key))
    };
    rails.find_map(feeds).or_else(lamps)
}
