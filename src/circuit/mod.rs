//! The hub: the elaborated machine, flat and frozen.
//!
//! # What a circuit is
//!
//! A [`Circuit`] is everything that is physically there when a board lies on the bench, or when several boards are
//! joined by cables: chips with numbered pins, discretes, connectors, nets. Boards and repetition are gone; what is
//! left of them is the *path* of each thing, `A.U1`, `A.U1.Q3`, `B1.REG.4`, the same in every command and message.
//! A circuit made from a single board has no outer step: `U1`, `U1.Q3`.
//!
//! A [`Net`] is one electrical node: all pins that copper, connectors and closed cables hold together. Nets of
//! several boards that a cable joins are one net, which keeps the name that each board gives it.
//!
//! # What holds
//!
//! - A circuit comes only from [`elaborate()`], and never changes. Every key in it opens a row of it.
//! - A chip pin is on at most one net; `None` means that nothing is connected there.
//! - A chip whose supply pins do not reach a supply is in the circuit, with [`Chip::fed`] false: it drives nothing.
//! - Rails of a single board count as fed from the bench; rails of an assembly are fed only through a supply. A rail
//!   behind a switch, or behind a resistor of 10 ohm or less (a fuse), counts as fed: a trial that leaves the switch open
//!   runs on the circuit that [`elaborate::without_rails`] makes.
//! - A timer has a resistor and a capacitor only where exactly one of each can be read from the board.
//! - Everything is in order of writing, so that the same text gives the same circuit.
//!
//! What a circuit does *not* hold: levels, delays, times, findings. These are results of their own, keyed by the
//! circuit's keys.

pub mod elaborate;
mod signal;

pub use elaborate::{Changes, Shelf, Socketed, elaborate, elaborate_from};
pub use signal::{Signal, SignalError};

use crate::contents::Names;
use crate::image::Image;
use crate::key::{Finder, KeyVec};
use crate::part::family::Estimate;
use crate::part::sheet::Pair;
use crate::part::{Family, Part, PinIndex};
use crate::quantity::{Capacitance, Current, Frequency, Length, Power, Resistance, Voltage};
use crate::text::Span;
use std::sync::Arc;

crate::key_type!(
    /// A board put in place.
    BoardKey, "board"
);
crate::key_type!(
    /// A chip.
    ChipKey, "chip"
);
crate::key_type!(
    /// A resistor, capacitor, LED, switch, ...
    DiscreteKey, "discrete"
);
crate::key_type!(
    /// A net.
    NetKey, "net"
);
crate::key_type!(
    /// A connector of a board in place.
    ConnectorKey, "connector"
);
crate::key_type!(
    /// A cable.
    CableKey, "cable"
);
crate::key_type!(
    /// A bench supply.
    SupplyKey, "supply"
);

/// The elaborated machine.
#[derive(Clone, Debug, Default)]
pub struct Circuit {
    /// The name of the board or assembly.
    pub name: String,
    /// True when it is an assembly.
    pub assembly: bool,
    /// The boards in place.
    pub boards: KeyVec<BoardKey, Board>,
    /// The chips.
    pub chips: KeyVec<ChipKey, Chip>,
    /// The discretes.
    pub discretes: KeyVec<DiscreteKey, Discrete>,
    /// The nets.
    pub nets: KeyVec<NetKey, Net>,
    /// The connectors.
    pub connectors: KeyVec<ConnectorKey, Connector>,
    /// The cables.
    pub cables: KeyVec<CableKey, Cable>,
    /// The bench supplies.
    pub supplies: KeyVec<SupplyKey, Supply>,
    /// Findings of checks that are meant to be.
    pub accepted: Vec<Acceptance>,
    /// The names by which values are read.
    pub names: Names,
    /// Paths that the design says are not used.
    pub unused_paths: Vec<Way>,
    /// Synchronisers, from the first flip-flop to the second.
    pub synchronisers: Vec<Way>,
    /// Nets by each of their paths.
    net_paths: Finder<NetKey>,
    /// Chips by path; the first of several with one path.
    chip_paths: Finder<ChipKey>,
    /// Discretes by path.
    discrete_paths: Finder<DiscreteKey>,
    /// Connectors by path.
    connector_paths: Finder<ConnectorKey>,
}

/// A board in place.
#[derive(Clone, Debug)]
pub struct Board {
    /// Its path: `A`; empty for a board that stands alone.
    pub path: String,
    /// The name of its design.
    pub design: String,
    /// What it is, in words.
    pub title: String,
    /// The mean length of copper from one pin of a net to the next, when its design tells it.
    pub trace: Option<Length>,
    /// Where it was put in place, or where the design begins.
    pub span: Span,
}

/// A chip.
#[derive(Clone, Debug)]
pub struct Chip {
    /// Its path: `A.U1`.
    pub path: String,
    /// The board that it stands on.
    pub board: BoardKey,
    /// Its reference designator: `U1`.
    pub reference: String,
    /// The number as it was written: `74HC574`.
    pub number: String,
    /// Its model.
    pub part: Arc<Part>,
    /// The row of [`Part::sheets`] that it takes; `None` for a part without sheets.
    pub sheet: Option<usize>,
    /// The logic family, when the number names one: `HC`.
    pub family: Option<String>,
    /// The electrical sheet of that family, when the library has one.
    pub electrical: Option<Arc<Family>>,
    /// When the design allows an estimate, how the sheet's figures become those of the family.
    pub estimate: Option<Estimate>,
    /// The frequency written beside an oscillator can.
    pub frequency: Option<Frequency>,
    /// What its memory holds from the beginning.
    pub holds: Option<Holds>,
    /// The net of each pin of the part; `None` when nothing is connected.
    pub nets: Vec<Option<NetKey>>,
    /// Pins that the design says are open on purpose.
    pub open: Vec<PinIndex>,
    /// True when its supply pins reach a supply of some voltage.
    pub fed: bool,
    /// The voltage between its power and ground pins; zero when not fed.
    pub supply: Voltage,
    /// The resistor and the capacitor of each timer of its function, and behind them of the input that swings by
    /// itself; `None` where there are none.
    pub timing: Vec<Option<Pair>>,
    /// Where it was written.
    pub span: Span,
}

/// The first address of contents that a chip takes, and the last one where that is said.
pub type Window = (u64, Option<u64>);

/// What a memory holds from the beginning.
#[derive(Clone, Debug)]
pub struct Holds {
    /// The contents or the program.
    pub name: String,
    /// Which byte of each word it takes.
    pub lane: u32,
    /// The address of the contents that is the chip's address 0, and the last one that it takes, where that is said.
    pub window: Window,
    /// Where it is written.
    pub span: Span,
    /// Its bytes, at its own addresses.
    pub image: Arc<Image>,
}

/// A part without logic.
#[derive(Clone, Debug)]
pub struct Discrete {
    /// Its path: `A.R1`.
    pub path: String,
    /// The board that it stands on.
    pub board: BoardKey,
    /// Its reference designator.
    pub reference: String,
    /// What it is.
    pub kind: DiscreteKind,
    /// The power that a resistor, or each one of a network, stands, when the design tells it.
    pub rating: Option<Power>,
    /// The net of each pin, pin 1 first; `None` when nothing is connected.
    pub nets: Vec<Option<NetKey>>,
    /// Where it was written.
    pub span: Span,
}

/// The kinds of discretes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum DiscreteKind {
    /// Two pins.
    Resistor(Resistance),
    /// Resistors in one package: with pin 1 common to all (true), or in pairs 1-2, 3-4, ...
    Network(Resistance, bool),
    /// Two pins; the chips whose supply it stands at.
    Capacitor(Capacitance, Vec<ChipKey>),
    /// Anode, cathode; the resistor in series that was written with it.
    Led(String, Option<Resistance>),
    /// Two pins, joined while it is pressed.
    Button,
    /// Two pins, joined while it is closed.
    Switch,
    /// Common, up, down.
    Changeover,
    /// One pin.
    TestPoint,
}

impl DiscreteKind {
    /// The word of the language.
    pub fn word(&self) -> &'static str {
        match self {
            DiscreteKind::Resistor(_) => "resistor",
            DiscreteKind::Network(..) => "network",
            DiscreteKind::Capacitor(..) => "capacitor",
            DiscreteKind::Led(..) => "led",
            DiscreteKind::Button => "button",
            DiscreteKind::Switch => "switch",
            DiscreteKind::Changeover => "changeover",
            DiscreteKind::TestPoint => "testpoint",
        }
    }
}

/// One electrical node.
#[derive(Clone, Debug)]
pub struct Net {
    /// The path that messages use: of its first name in order of writing, rails first.
    pub path: String,
    /// All its names: the board, and the name there.
    pub names: Vec<(BoardKey, String)>,
    /// The rail that it is, when a board declares one of its names as a rail.
    pub rail: Option<Rail>,
    /// The names that are declared so, in the order of `names`.
    pub rail_names: Vec<(BoardKey, String)>,
    /// Chip pins on it.
    pub chip_pins: Vec<(ChipKey, PinIndex)>,
    /// Discrete pins on it: the discrete, and the index of the pin.
    pub discrete_pins: Vec<(DiscreteKey, usize)>,
    /// Connector pins on it: the connector, and the index of the pin.
    pub connector_pins: Vec<(ConnectorKey, usize)>,
    /// Length of all cable wires on it together.
    pub wire: Length,
    /// Where it was first written.
    pub span: Span,
}

/// What a net is as a supply.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rail {
    /// The voltage that the board declares.
    pub declared: Voltage,
    /// The voltage that it has: `None` when no supply reaches it.
    pub fed: Option<Voltage>,
    /// When it hangs on another rail behind a switch or a fuse: the first of these, and that rail.
    pub via: Option<(DiscreteKey, NetKey)>,
    /// Where it was declared.
    pub span: Span,
}

/// A connector of a board in place.
#[derive(Clone, Debug)]
pub struct Connector {
    /// Its path: `A.BUS`.
    pub path: String,
    /// The board.
    pub board: BoardKey,
    /// Its name on the board.
    pub name: String,
    /// `header-2x5`.
    pub kind: String,
    /// Its pins, pin 1 first, as many as its kind has.
    pub pins: Vec<ConnectorPin>,
    /// Where it was written.
    pub span: Span,
}

/// One pin of a connector.
#[derive(Clone, Debug)]
pub struct ConnectorPin {
    /// Its label; `None` when the design does not speak of it.
    pub label: Option<String>,
    /// A remark for the wiring list.
    pub remark: Option<String>,
    /// The net behind it.
    pub net: Option<NetKey>,
    /// True when the design says that it is open on purpose.
    pub open: bool,
    /// Cables whose wire ends here.
    pub cables: Vec<CableKey>,
    /// Where it was written; the connector's place when it was not.
    pub span: Span,
}

/// A cable.
#[derive(Clone, Debug)]
pub struct Cable {
    /// `W1`.
    pub name: String,
    /// `ribbon`, `jumper`.
    pub kind: String,
    /// Its length.
    pub length: Length,
    /// Its wires: each joins two or more connector pins (connector, index of the pin).
    pub wires: Vec<Vec<(ConnectorKey, usize)>>,
    /// Where it was written.
    pub span: Span,
}

/// A bench supply.
#[derive(Clone, Debug)]
pub struct Supply {
    /// `PS1`.
    pub name: String,
    /// Its voltage.
    pub voltage: Voltage,
    /// The current that it can give.
    pub current: Current,
    /// Nets at its plus poles.
    pub plus: Vec<NetKey>,
    /// Nets at its minus poles.
    pub minus: Vec<NetKey>,
    /// The connector pins that its poles are connected to.
    pub pins: Vec<(ConnectorKey, usize)>,
    /// Where it was written.
    pub span: Span,
}

/// A way from one place to another, of which the design says something.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Way {
    /// The pins that it comes from.
    pub from: Vec<(ChipKey, PinIndex)>,
    /// The pins that it leads to.
    pub to: Vec<(ChipKey, PinIndex)>,
    /// Why that is so.
    pub reason: String,
    /// Where that was written.
    pub span: Span,
}

/// A finding of a check that is meant to be.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Acceptance {
    /// The rule.
    pub rule: String,
    /// The path of the place that its finding names.
    pub place: String,
    /// Why it is meant to be.
    pub reason: String,
    /// The board that says so; `None` for an assembly.
    pub board: Option<BoardKey>,
    /// Where it was written.
    pub span: Span,
}

impl Net {
    /// Its names that are signals on their boards, when it is a rail of another one.
    pub fn signals_on_rail(&self) -> impl Iterator<Item = &(BoardKey, String)> {
        let may = self.rail.is_some() && self.rail_names.len() < self.names.len();
        let mut rails = self.rail_names.iter().peekable();
        // Both lists are in one order.
        let names = self.names.iter().filter(move |_| may);
        names.filter(move |name| rails.next_if_eq(name).is_none())
    }
}

impl Circuit {
    /// The net of a path: `A.m0`, a chip pin `A.U1.Q3` or `A.U1.5`, a connector pin `A.BUS.4`.
    pub fn net(&self, path: &str) -> Option<NetKey> {
        self.net_paths
            .find(path, |net| self.has_path(net, path))
            .or_else(|| self.pin_net(path))
    }

    /// The chip of a path.
    pub fn chip(&self, path: &str) -> Option<ChipKey> {
        self.chip_paths
            .find(path, |key| self.chips[key].path == path)
    }

    /// The discrete of a path.
    pub fn discrete(&self, path: &str) -> Option<DiscreteKey> {
        self.discrete_paths
            .find(path, |key| self.discretes[key].path == path)
    }

    /// The connector of a path.
    pub fn connector(&self, path: &str) -> Option<ConnectorKey> {
        self.connector_paths
            .find(path, |key| self.connectors[key].path == path)
    }

    /// The path of a chip's pin: `A.U1.Q3`.
    pub fn pin_path(&self, chip: ChipKey, pin: PinIndex) -> String {
        let chip = &self.chips[chip];
        format!("{}.{}", chip.path, chip.part.pins[pin].name)
    }

    /// The path of a connector's pin: `A.BUS.4`.
    pub fn connector_pin_path(&self, connector: ConnectorKey, index: usize) -> String {
        format!("{}.{}", self.connectors[connector].path, index + 1)
    }

    /// Every path that a net has, in order, for the offer of a near name.
    pub fn net_names(&self) -> Vec<String> {
        let nets = self.nets.values().flat_map(|net| &net.names);
        let mut names: Vec<String> = nets.map(|name| self.name_path(name)).collect();
        names.sort_unstable();
        names.dedup();
        names
    }

    /// The path of a net's name.
    fn name_path(&self, (board, name): &(BoardKey, String)) -> String {
        within(&self.boards[*board].path, name)
    }

    /// True when a path is one of a net's.
    fn has_path(&self, net: NetKey, path: &str) -> bool {
        self.nets[net].names.iter().any(|(board, name)| {
            let board = self.boards[*board].path.as_str();
            match path.strip_suffix(name.as_str()) {
                Some(before) => match before.strip_suffix('.') {
                    Some(before) if !board.is_empty() => before == board,
                    _ => before.is_empty() && board.is_empty(),
                },
                None => false,
            }
        })
    }

    fn pin_net(&self, path: &str) -> Option<NetKey> {
        let (owner, pin) = path.rsplit_once('.')?;
        if let Some(chip) = self.chip(owner) {
            let chip = &self.chips[chip];
            let numbered = pin
                .parse()
                .ok()
                .and_then(|number| chip.part.pin_numbered(number));
            return chip.nets[chip.part.pin_named(pin).or(numbered)?];
        }
        let index = pin.parse::<usize>().ok()?.checked_sub(1)?;
        if let Some(connector) = self.connector(owner) {
            return self.connectors[connector].pins.get(index)?.net;
        }
        let discrete = self.discrete(owner)?;
        self.discretes[discrete].nets.get(index).copied().flatten()
    }
}

/// The path of a thing on a board; a board that stands alone has no path of its own.
fn within(board: &str, name: &str) -> String {
    if board.is_empty() {
        name.to_owned()
    } else {
        format!("{board}.{name}")
    }
}
