//! The rows of a circuit, and their keys.

use crate::contents::Names;
use crate::key::{Finder, KeyVec};
use crate::model::{DiscreteKind, InitialContents, Model};
use crate::part::family::Estimate;
use crate::part::sheet::Pair;
use crate::part::{Family, Part, PinIndex};
use crate::quantity::{Current, Frequency, Length, Power, Voltage};
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
    pub chips: KeyVec<ChipKey, Chip>,
    pub discretes: KeyVec<DiscreteKey, Discrete>,
    pub nets: KeyVec<NetKey, Net>,
    pub connectors: KeyVec<ConnectorKey, Connector>,
    pub cables: KeyVec<CableKey, Cable>,
    /// The bench supplies.
    pub supplies: KeyVec<SupplyKey, Supply>,
    /// Findings of checks that are meant to be.
    pub waivers: Vec<Waiver>,
    /// The names by which values are read.
    pub names: Arc<Names>,
    /// Paths that the design says are not used.
    pub false_paths: Vec<TimingPath>,
    /// Synchronisers, from the first flip-flop to the second.
    pub synchronisers: Vec<TimingPath>,
    /// What it was frozen from.
    pub(super) model: Arc<Model>,
    /// Nets by each of their paths.
    pub(super) net_paths: Finder<NetKey>,
    /// Chips by path; the first of several with one path.
    pub(super) chip_paths: Finder<ChipKey>,
    pub(super) discrete_paths: Finder<DiscreteKey>,
    pub(super) connector_paths: Finder<ConnectorKey>,
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
    pub initial_contents: Option<InitialContents>,
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
    pub span: Span,
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
    pub kind: DiscreteKind,
    /// The chips whose supply a capacitor stands at.
    pub decouples: Vec<ChipKey>,
    /// The power that a resistor, or each one of a network, is rated for, when the design gives it.
    pub rating: Option<Power>,
    /// The net of each pin, pin 1 first; `None` when nothing is connected.
    pub nets: Vec<Option<NetKey>>,
    pub span: Span,
}

/// One electrical node.
#[derive(Clone, Debug)]
pub struct Net {
    /// The path that messages use: of its first name in order of writing, rails first.
    pub path: String,
    /// All its names: the board, and the name there.
    pub names: Vec<(BoardKey, Arc<str>)>,
    /// The rail that it is, when a board declares one of its names as a rail.
    pub rail: Option<Rail>,
    /// The names that are declared so, in the order of `names`.
    pub rail_names: Vec<(BoardKey, Arc<str>)>,
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
    pub board: BoardKey,
    /// Its name on the board.
    pub name: String,
    /// `header-2x5`.
    pub kind: String,
    /// Its pins, pin 1 first, as many as its kind has.
    pub pins: Vec<ConnectorPin>,
    pub span: Span,
}

/// One pin of a connector.
#[derive(Clone, Debug)]
pub struct ConnectorPin {
    /// Its label; `None` when the design does not speak of it.
    pub label: Option<Arc<str>>,
    /// A remark for the wiring list.
    pub remark: Option<Arc<str>>,
    /// The net behind it.
    pub net: Option<NetKey>,
    /// True when the design says that it is open on purpose.
    pub open: bool,
    /// Cables whose wire ends here.
    pub cables: Vec<CableKey>,
    /// Where it was written; the connector's place when it was not.
    pub span: Span,
}

#[derive(Clone, Debug)]
pub struct Cable {
    /// `W1`.
    pub name: String,
    /// `ribbon`, `jumper`.
    pub kind: String,
    pub length: Length,
    /// Its wires: each joins two or more connector pins (connector, index of the pin).
    pub wires: Vec<Vec<(ConnectorKey, usize)>>,
    pub span: Span,
}

/// A bench supply.
#[derive(Clone, Debug)]
pub struct Supply {
    /// `PS1`.
    pub name: String,
    pub voltage: Voltage,
    /// The current that it can give.
    pub current: Current,
    /// Nets at its plus poles.
    pub plus: Vec<NetKey>,
    /// Nets at its minus poles.
    pub minus: Vec<NetKey>,
    /// The connector pins that its poles are connected to.
    pub pins: Vec<(ConnectorKey, usize)>,
    pub span: Span,
}

/// A timing path of which the design says something.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TimingPath {
    /// The pins that it starts at.
    pub from: Vec<(ChipKey, PinIndex)>,
    /// The pins that it ends at.
    pub to: Vec<(ChipKey, PinIndex)>,
    /// Why that is so.
    pub reason: String,
    /// Where that was written.
    pub span: Span,
}

/// A finding of a check that is meant to be.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Waiver {
    pub rule: String,
    /// The path of the place that its finding names.
    pub place: String,
    /// Why it is meant to be.
    pub reason: String,
    /// The board that says so; `None` for an assembly.
    pub board: Option<BoardKey>,
    pub span: Span,
}

impl Net {
    /// Its names that are signals on their boards, when it is a rail of another one.
    pub fn signals_on_rail(&self) -> impl Iterator<Item = &(BoardKey, Arc<str>)> {
        let may = self.rail.is_some() && self.rail_names.len() < self.names.len();
        let mut rails = self.rail_names.iter().peekable();
        // Both lists are in one order.
        let names = self.names.iter().filter(move |_| may);
        names.filter(move |name| rails.next_if_eq(name).is_none())
    }
}
